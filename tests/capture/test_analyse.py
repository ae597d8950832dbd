"""From roles to results, and how these are shown."""

import json
from dataclasses import replace

import numpy as np
import pytest

from halfsplit.capture import (
    ROLES,
    Capture,
    Channel,
    Setup,
    analyse,
    plot_svg,
    report_lines,
    results_dict,
    role_named,
    suggested_roles,
    unassigned,
)
from halfsplit.capture.analyse import ANALYSES
from halfsplit.capture.roles import COLOURS
from halfsplit.capture.show import CAUTIONS
from halfsplit.errors import InputError, NotFoundError
from tests.capture.signals.bus import can_frame, can_pair, on_wire
from tests.capture.signals.engine import crank_engine
from tests.capture.signals.generator import rectified
from tests.capture.signals.solenoid import inject


def start() -> Capture:
    run = crank_engine(leaks={3: 4.0})
    sync = np.zeros(run.time.size)
    for time in run.dead_centres:
        sync[(run.time >= time) & (run.time < time + 0.005)] = 5.0
    return Capture(
        (
            Channel("A", run.volts, "V", rate=2000.0, start=-0.1),
            Channel("B", run.amps, "A", rate=2000.0, start=-0.1),
            Channel("C", sync, "V", rate=2000.0, start=-0.1),
        ),
        "start.csv",
    )


ROLES_OF_START = {"A": "battery volts", "B": "starter current", "C": "sync pulse"}


def test_a_start_gives_cranking_and_relative_compression() -> None:
    results = analyse(start(), ROLES_OF_START, Setup(cylinders=4, firing_order=(1, 3, 4, 2), celsius=20.0))
    assert [result.analysis for result in results] == ["cranking", "relative compression"]
    assert [result.verdict for result in results] == ["good", "fault"]
    assert "cylinder 3" in results[1].reason
    assert results[0].marks[0].start == pytest.approx(0.2, abs=0.01)  # 0.3 s after the first sample at -0.1 s


def test_channels_of_different_rates_are_brought_together() -> None:
    capture = start()
    slower = Channel("B", capture["B"].raw[::4], "A", rate=500.0, start=-0.1)
    mixed = Capture((capture["A"], slower))
    (result,) = analyse(mixed, {"A": "battery volts", "B": "starter current"})
    assert result["internal resistance"].value == pytest.approx(8.0, rel=0.1)


def test_battery_volts_alone_show_what_they_show() -> None:
    volts, _ = rectified(battery=14.2, peak=12.0)
    running = Capture((Channel("A", volts, "V", rate=40_000.0),))
    assert [result.analysis for result in analyse(running, {"A": "battery volts"})] == ["charging"]
    assert [result.analysis for result in analyse(start(), {"A": "battery volts"})] == ["cranking"]


def test_a_channel_without_a_time_base_cannot_tell() -> None:
    capture = Capture((Channel("A", np.full(5000, 12.0), "V"),))
    for role in ("battery volts", "LIN", "switched signal", "crank", "CAN receive"):
        for result in analyse(capture, {"A": role}):
            assert result.verdict == "cannot tell"
            assert "give its sample rate" in result.reason


@pytest.mark.parametrize("role", sorted(ROLES))
@pytest.mark.parametrize(
    "values",
    [
        np.zeros(5000),
        np.full(5000, 13.0),
        np.random.default_rng(1).normal(0, 5, 5000),
        np.full(5000, np.nan),
        np.arange(3.0),
    ],
    ids=["zero", "flat", "noise", "gaps", "short"],
)
def test_no_trace_in_any_role_ends_in_an_error(role: str, values: np.ndarray) -> None:
    capture = Capture((Channel("A", values, rate=20_000.0),))
    for result in analyse(capture, {"A": role}, Setup(cylinders=4)):
        assert result.verdict in ("cannot tell", "fault", "measured")
        assert result.reason
        json.dumps(result.as_dict(), allow_nan=False)


def test_every_role_but_the_drains_starts_an_analysis_or_serves_one() -> None:
    needed = {role for _, needs, _ in ANALYSES for role in needs}
    assert needed < set(ROLES)
    assert set(ROLES) - needed == {"sync pulse", "load current", "battery current", "bus frame bytes"}


def test_wrong_roles_are_told() -> None:
    capture = start()
    with pytest.raises(InputError, match=r"there is no role 'bluetooth'.*choose one of battery volts"):
        analyse(capture, {"A": "bluetooth"})
    with pytest.raises(InputError, match="two channels are given as 'crank'"):
        analyse(capture, {"A": "crank", "B": "crank"})
    with pytest.raises(NotFoundError, match="no channel 'Z'"):
        analyse(capture, {"Z": "crank"})
    assert role_named(" can  HIGH ").name == "CAN high"


def test_injectors_of_several_cylinders_are_measured_one_by_one_and_compared() -> None:
    rate = 200_000.0
    amps = [inject(rate=rate).amps, inject(rate=rate, mass=8e-3).amps, inject(rate=rate).amps]
    length = min(map(len, amps))
    noise = np.random.default_rng(6).normal(0, 0.005, (3, length))
    channels = (
        Channel(name, trace[:length] + spread, "A", rate=rate)
        for name, trace, spread in zip("ABC", amps, noise, strict=True)
    )
    results = analyse(Capture((*channels,), "three.csv"), dict.fromkeys("ABC", "injector current"))
    assert [result.verdict for result in results] == ["good", "good", "good", "fault"]
    assert [result.reason[:3] for result in results[:3]] == ["A: ", "B: ", "C: "]
    assert results[-1].reason.startswith("B opening +")


def test_roles_suggested_by_name() -> None:
    names = {
        "Battery volts": "battery volts",
        "starter current (clamp)": "starter current",
        "CAN_H": "CAN high",
        "CAN_L": "CAN low",
        "LIN-Bus": "LIN",
        "crank": "crank",
        "cam": "cam",
        "temperature": None,
    }
    values = np.random.default_rng(0).normal(size=100)
    capture = Capture(tuple(Channel(name, values, rate=1.0) for name in names))
    assert suggested_roles(capture) == {name: role for name, role in names.items() if role}


def test_one_can_line_of_a_logic_record_is_a_receiver() -> None:
    levels = on_wire([can_frame(0x123, b"\x01\x02")] * 3, 2e-6, 5e6).astype(np.uint8)
    capture = Capture((Channel("CAN_L", levels, rate=5e6), Channel("2", np.ones_like(levels), rate=5e6)))
    roles = suggested_roles(capture)
    assert roles == {"CAN_L": "CAN receive"}
    (result,) = analyse(capture, roles)
    assert result.verdict == "good"


def test_report_lines_show_verdict_reason_cautions_and_whom_to_defer_to() -> None:
    results = analyse(start(), ROLES_OF_START, Setup(cylinders=4, firing_order=(1, 3, 4, 2)))
    lines = report_lines(results)
    assert lines[0].startswith("cranking: good: ")
    assert any("caution: Cranking" in line for line in lines)
    assert lines[-1].startswith("The vehicle maker's documentation")
    assert report_lines(()) == ["No analysis fits the roles of these channels."]
    (unknown,) = analyse(Capture((Channel("A", np.zeros(9), rate=1e5),)), {"A": "LIN"})
    assert report_lines((unknown,))[0].startswith("LIN: cannot tell, because ")


def test_every_analysis_but_the_harmless_one_has_its_caution() -> None:
    trace = replace(start()["A"], unit="")
    analyses = {result.analysis for role in ROLES for result in analyse(Capture((trace,)), {"A": role})}
    assert analyses - set(CAUTIONS) == {"duty cycle"}


def test_a_clamp_recorded_in_volts_is_asked_for_its_scale_and_nothing_is_measured_from_it() -> None:
    trace = replace(start()["A"], unit="V")
    (result,) = analyse(Capture((trace,)), {"A": "starter current"})
    assert result.describe() == (
        "unit: cannot tell, because channel 'A' is in V, the starter current has to be in A: "
        "give its scale, A for each V",
    )
    (scaled, *_) = analyse(Capture((trace,)).scaled({"A": (100.0, "A")}), {"A": "starter current"})
    assert scaled.analysis == "cranking"


def test_results_as_json() -> None:
    results = analyse(start(), ROLES_OF_START, Setup(cylinders=4, firing_order=(1, 3, 4, 2)))
    shown = json.loads(json.dumps(results_dict(results), allow_nan=False))
    assert shown["results"][1]["verdict"] == "fault"
    assert {"name", "value", "unit", "uncertainty"} == set(shown["results"][0]["quantities"][0])


def test_the_drawing_is_the_same_each_time_and_names_traces_by_role() -> None:
    high, low = can_pair(on_wire([can_frame(0x123, b"\x01\x02")] * 3, 2e-6, 5e6), 5e6)
    capture = Capture((Channel("1", high, "V", rate=5e6), Channel("2", low, "V", rate=5e6)))
    roles = {"1": "CAN high", "2": "CAN low"}
    results = analyse(capture, roles)
    first, second = (plot_svg(capture, results, roles=roles) for _ in range(2))
    assert first == second
    assert first.startswith(b"<?xml")
    assert COLOURS[0].lower().encode() in first.lower()
    assert COLOURS[1].lower().encode() in first.lower()


def test_the_drawing_is_written_where_asked(tmp_path) -> None:
    capture = start()
    drawn = plot_svg(capture, (), tmp_path / "out.svg")
    assert (tmp_path / "out.svg").read_bytes() == drawn


ODD = {
    "nothing": np.zeros(0),
    "one": np.ones(1),
    "two": np.array([0.0, 1.0]),
    "eight": np.arange(8.0),
    "no numbers": np.full(3000, np.nan),
    "infinite": np.where(np.arange(3000) % 7, 1.0, np.inf),
    "constant": np.full(3000, 12.0),
    "huge": np.where(np.arange(3000) % 50 < 25, 3e38, -3e38),
    "one step": np.repeat([0.0, 5.0], 1500),
    "one spike": np.where(np.arange(3000) == 1500, 400.0, 0.0),
    "gaps": np.where(np.arange(3000) % 100, np.where(np.arange(3000) % 50 < 25, 12.0, 0.0), np.nan),
    "truth": np.arange(3000) % 3 == 0,
}
BASES = {
    "even": {"rate": 1e3},
    "slow": {"rate": 0.1},
    "fast": {"rate": 1e9},
    "none": {},
    "uneven": {"step": 1e-3},
    "edges": {"step": 1e-3, "edges": True},
    "standing": {"step": 0.0, "edges": True},
}


@pytest.mark.filterwarnings("ignore::RuntimeWarning")
@pytest.mark.parametrize("base", BASES)
@pytest.mark.parametrize("odd", ODD)
def test_no_trace_of_any_role_ends_in_anything_but_an_answer(odd: str, base: str) -> None:
    """Whatever a file holds: a result, or an error of ours that says what is wrong."""
    options = dict(BASES[base])
    if "step" in options:
        options["times"] = np.arange(ODD[odd].size) * options.pop("step")
    capture = Capture((Channel("a", ODD[odd], **options),))
    for role in ROLES:
        for result in analyse(capture, {"a": role}, Setup(cylinders=4)):
            assert result.describe()
            json.dumps(results_dict((result,)), allow_nan=False)


def test_a_start_at_a_million_samples_a_second_is_measured_as_at_two_thousand() -> None:
    slow = analyse(start(), {"B": "starter current"}, Setup(cylinders=4))
    trace = start()["B"]
    fast = replace(trace, raw=np.repeat(trace.raw, 50), rate=2000.0 * 50)
    quick = analyse(Capture((fast,)), {"B": "starter current"}, Setup(cylinders=4))
    for one, other in zip(slow, quick, strict=True):
        assert one.verdict == other.verdict
        assert other["cranking speed"].value == pytest.approx(one["cranking speed"].value, rel=0.005)


def test_one_wild_sample_is_left_out_and_noted() -> None:
    clock = np.arange(100_000) / 10_000.0
    volts = np.where(np.mod(clock * 50, 1.0) < 0.4, 13.0, 0.2)
    volts[54_321] = -40.0
    capture = Capture((Channel("A", volts, "V", rate=10_000.0),))
    (result,) = analyse(capture, {"A": "switched signal"})
    assert result.verdict == "measured"
    assert result["low level"].value == pytest.approx(0.2, abs=0.01)
    assert any("wild sample" in note for note in result.notes)


def test_a_coupled_signal_is_told_by_its_swing() -> None:
    clock = np.arange(20_000) / 10_000.0
    (result,) = analyse(
        Capture((Channel("A", 0.8 * np.sin(2 * np.pi * 40 * clock), "V", rate=10_000.0),)),
        {"A": "switched signal"},
    )
    assert result.verdict == "cannot tell"
    assert "direct part is missing" in result.reason


def test_a_battery_at_nought_volts_is_a_coupling() -> None:
    volts = 0.05 * np.sin(np.arange(40_000) / 20.0)
    results = analyse(Capture((Channel("A", volts, "V", rate=20_000.0),)), {"A": "battery volts"})
    assert {result.verdict for result in results} == {"cannot tell"}
    assert "set the coupling to DC" in results[0].reason


SHAPES = {
    "battery volts": ("V", lambda t: 12.5 + 0.05 * np.sin(900 * t)),
    "starter current": ("A", lambda t: 150 + 60 * np.sin(50 * t)),
    "crank": ("V", lambda t: 3 * np.sin(2 * np.pi * 180 * t)),
    "LIN": ("V", lambda t: np.where(np.mod(t * 9600, 1.0) < 0.5, 12.5, 0.8)),
    "switched signal": ("V", lambda t: np.where(np.mod(t * 40, 1.0) < 0.3, 13.0, 0.2)),
    "motor current": ("A", lambda t: 5 + 0.4 * np.abs(np.sin(2 * np.pi * 300 * t))),
    "drop volts": ("V", lambda t: np.where(np.mod(t * 3, 1.0) < 0.5, 0.12, 0.0)),
}


@pytest.mark.parametrize("role", SHAPES)
def test_a_channel_without_a_role_is_measured_and_its_role_suggested(role: str) -> None:
    unit, trace = SHAPES[role]
    clock = np.arange(60_000) / 100_000.0
    values = trace(clock)
    (result,) = unassigned(Capture((Channel("Kanal A", values, unit, rate=100_000.0),)), {})
    assert result.verdict == "measured"
    assert role in result.roles
    assert result["mean"].value == pytest.approx(values.mean(), abs=0.01)
    assert result["effective value"].value == pytest.approx(np.sqrt(np.mean(values**2)), abs=0.01)


def test_a_channel_with_a_role_gets_no_general_measurements() -> None:
    capture = Capture((Channel("A", np.zeros(100), "V", rate=100.0),))
    assert unassigned(capture, {"A": "battery volts"}) == ()
