"""Crank and cam against wheels made from first principles and against recordings of real engines."""

from collections.abc import Callable
from functools import cache
from pathlib import Path

import numpy as np
import pytest

from halfsplit.capture import Capture, Result, analyse
from halfsplit.capture.measure.crank_cam import CrankCamResult, crank_cam
from halfsplit.capture.measure.sensor import sensor_edges
from halfsplit.capture.measure.signal import Edges, level_edges
from tests.capture.signals.wheel import hall, inductive, teeth, turns_of

RATE = 50_000.0
WHEELS = {
    "60-2": (60, (58, 59)),
    "36-1": (36, (35,)),
    "36-2": (36, (34, 35)),
    "12-1": (12, (11,)),
    "36-2-1": (36, (12, 13, 30)),
    "36-2-2-2": (36, (9, 10, 26, 27, 34, 35)),
    "58-3": (58, (55, 56, 57)),
}


@cache
def wheel_edges(
    name: str,
    rpm: float = 800.0,
    seconds: float = 0.8,
    *,
    sensor: str = "hall",
    noise: float = 0.0,
    **speed: float,
) -> Edges:
    places, missing = WHEELS[name]
    time = np.arange(int(seconds * RATE)) / RATE
    angle, rpms = turns_of(time, rpm, **speed)  # type: ignore[arg-type]
    there = teeth(places, *missing)
    volts = hall(angle, there, 1 / places) if sensor == "hall" else inductive(angle, rpms, there, 1 / places)
    return sensor_edges(volts + np.random.default_rng(1).normal(0, noise, volts.size), RATE)


@pytest.mark.parametrize("name", WHEELS)
@pytest.mark.parametrize("sensor", ["hall", "inductive"])
def test_pattern_and_speed_of_every_wheel(name: str, sensor: str) -> None:
    result = crank_cam(wheel_edges(name, sensor=sensor))
    assert result.verdict == "good", result.reason
    assert result.wheel == name
    assert result["speed"].value == pytest.approx(800.0, rel=0.005)


def test_a_wheel_in_use_that_lacks_a_tooth_is_not_called_good() -> None:
    """60-2 without its 21st tooth: no wheel in use has that pattern, and its teeth decide."""
    time = np.arange(int(0.8 * RATE)) / RATE
    angle, _ = turns_of(time, 800.0)
    edges = sensor_edges(hall(angle, teeth(60, 20, 58, 59), 1 / 60), RATE)
    asked, told = crank_cam(edges), crank_cam(edges, teeth=58)
    assert asked.verdict == "cannot tell"
    assert "60-2 with a tooth broken off" in asked.reason
    assert told.verdict == "fault"


@pytest.mark.parametrize("name", ["60-2", "36-1", "36-2-1"])
def test_pattern_holds_while_compression_swings_the_speed_by_a_quarter(name: str) -> None:
    result = crank_cam(wheel_edges(name, rpm=220.0, seconds=2.0, sensor="inductive", ripple=0.25))
    assert result.wheel == name
    assert result["speed"].value == pytest.approx(
        220 * np.sqrt(1 - 0.25**2), rel=0.02
    )  # mean over time of a turn


def test_speed_over_time_follows_a_run_up() -> None:
    result = crank_cam(wheel_edges("60-2", rpm=300.0, end_rpm=3000.0, seconds=1.5, sensor="inductive"))
    assert result.wheel == "60-2"
    expected = 300 + 2700 * result.times / 1.5
    assert np.median(np.abs(result.speeds / expected - 1)) < 0.01
    assert result["lowest speed"].value == pytest.approx(310, rel=0.08)


@pytest.mark.parametrize("noise", [0.02, 0.1, 0.25])
def test_noise_leaves_the_pattern(noise: float) -> None:
    assert crank_cam(wheel_edges("60-2", noise=noise)).wheel == "60-2"


def test_an_inverted_lead_gives_the_same_wheel() -> None:
    edges = wheel_edges("60-2", sensor="inductive")
    turned = Edges(edges.times, ~edges.rising, not edges.starts_high)
    assert crank_cam(turned).wheel == "60-2"


def without_teeth(edges: Edges, *lost: float) -> Edges:
    """The edges without the fall and the rise of the teeth that fall at these times."""
    keep = np.ones(edges.times.size, bool)
    for time in lost:
        keep &= (edges.times < time - 1e-4) | (edges.times > time + 8e-4)
    return Edges(edges.times[keep], edges.rising[keep], edges.starts_high)


def test_a_tooth_that_is_lost_once_is_told_with_its_time_and_not_called_a_fault() -> None:
    edges = wheel_edges("60-2")
    lost = float(edges.of(False)[200])
    result = crank_cam(without_teeth(edges, lost))
    assert result.verdict == "cannot tell"
    assert result.wheel == "60-2"
    assert any(mark.label == "pattern broken" and mark.start <= lost <= mark.stop for mark in result.marks)


def test_a_tooth_that_is_lost_in_every_second_turn_is_a_fault() -> None:
    edges = wheel_edges("60-2", seconds=1.5)
    result = crank_cam(without_teeth(edges, *edges.of(False)[90 :: 2 * 58].tolist()))
    assert result.verdict == "fault"
    assert "turn after turn" in result.reason


def test_a_tooth_missing_from_a_wheel_of_known_teeth_is_a_fault_and_else_a_wheel_of_its_own() -> None:
    edges = wheel_edges("60-2", seconds=1.5)
    broken = without_teeth(edges, *edges.of(False)[20::58].tolist())
    assert crank_cam(broken).verdict != "fault"
    told = crank_cam(broken, teeth=58)
    assert told.verdict == "fault"
    assert "1 of the 58 teeth" in told.reason


def test_a_bent_tooth_is_a_fault() -> None:
    edges = wheel_edges("36-1", seconds=1.5)
    pitch = 60 / 800 / 36
    times = edges.times.copy()
    for tooth in edges.of(False)[15::35]:
        times[(times > tooth - 0.1 * pitch) & (times < tooth + 0.6 * pitch)] += 0.3 * pitch
    assert crank_cam(Edges(times, edges.rising, edges.starts_high)).verdict == "fault"


def test_teeth_without_order_cannot_be_told() -> None:
    random = np.random.default_rng(3)
    times = np.cumsum(random.choice([1.0, 1.0, 1.0, 2.0, 3.0, 4.0], 400)) * 1e-3
    levels = np.tile([1.0, 0.0], 200)
    result = crank_cam(level_edges(times, levels))
    assert result.verdict == "cannot tell"
    assert "no order" in result.reason


def test_even_teeth_of_two_widths_tell_the_turn() -> None:
    code = [0, 0, 1, 0, 1, 1, 0, 1, 1, 1, 0, 0, 1, 0, 1, 0, 0, 0, 1, 1, 0, 1, 0, 1]
    pitch = 60 / 500 / 24
    falls = np.arange(24 * 10) * pitch
    rises = falls + np.where(np.resize(code, falls.size), 0.75, 0.25) * pitch
    times = np.column_stack((falls, rises)).ravel()
    result = crank_cam(Edges(times, np.resize([False, True], times.size), True))
    assert result.wheel == "24 by width"
    assert result["speed"].value == pytest.approx(500, rel=0.01)


def test_an_even_wheel_alone_gives_no_speed_but_says_what_to_do() -> None:
    WHEELS["24"] = (24, ())
    result = crank_cam(wheel_edges("24"))
    assert "speed" not in result
    assert result["tooth frequency"].value == pytest.approx(800 / 60 * 24, rel=0.005)
    assert "give its teeth" in result.reason
    assert "rpm with 36 teeth" in result.reason
    known = crank_cam(wheel_edges("24"), teeth=24)
    assert known["speed"].value == pytest.approx(800, rel=0.005)


@cache
def cam_edges(
    seconds: float = 0.8, rpm: float = 800.0, late: float = 0.0, drop_cycle: int | None = None
) -> Edges:
    """Three teeth on the camshaft; `late` crank degrees of delay; the middle one dropped in one cycle."""
    time = np.arange(int(seconds * RATE)) / RATE
    angle, _ = turns_of(time, rpm)
    cam = angle / 2 - late / 720
    level = hall(cam, [0.1, 0.35, 0.7], 0.1)
    if drop_cycle is not None:
        level[(np.floor(cam) == drop_cycle) & (np.abs(np.mod(cam, 1) - 0.35) < 0.08)] = 5.0
    return sensor_edges(level, RATE)


def test_cam_edges_in_crank_degrees() -> None:
    result = crank_cam(wheel_edges("60-2"), cam_edges())
    assert result.verdict == "good", result.reason
    assert len(result.cam) == 6
    falls = sorted(edge.degrees for edge in result.cam if not edge.rising)
    steps = np.diff([*falls, falls[0] + 720])
    assert sorted(np.round(steps)) == pytest.approx(sorted([0.25 * 720, 0.35 * 720, 0.4 * 720]), abs=1)


def test_a_missing_cam_tooth_is_told_with_its_turn() -> None:
    result = crank_cam(wheel_edges("60-2", seconds=1.5), cam_edges(1.5, drop_cycle=4))
    assert result.verdict == "fault"
    assert "is missing" in result.reason


@pytest.mark.parametrize("late", [-12.0, 8.0, 15.0])
def test_drift_against_a_reference(late: float) -> None:
    good = crank_cam(wheel_edges("60-2"), cam_edges())
    result = crank_cam(wheel_edges("60-2"), cam_edges(late=late), reference=good)
    assert result.verdict == "fault"
    assert result["cam shift"].value == pytest.approx(late, abs=0.5)


def test_the_same_engine_does_not_drift() -> None:
    good = crank_cam(wheel_edges("60-2"), cam_edges())
    again = crank_cam(wheel_edges("60-2", rpm=790.0), cam_edges(rpm=790.0), reference=good)
    assert again.verdict == "good"
    assert abs(again["cam shift"].value) < 0.5


@pytest.mark.parametrize(
    ("values", "rate", "words"),
    [
        (np.zeros(10_000), 50_000.0, "flat"),
        (np.sin(np.arange(200) / 3), 100.0, "too slow"),
        (np.sin(np.arange(4000) * 2.0), 20_000.0, "fewer than four samples a tooth"),
    ],
)
def test_a_trace_that_cannot_carry_it(values: np.ndarray, rate: float, words: str) -> None:
    with pytest.raises(Exception, match=words):
        sensor_edges(values, rate)


def measured(folder: Path, name: str, crank: str, cam: str | None = None) -> CrankCamResult:
    capture = Capture.read(folder / name)
    roles = {crank: "crank"} | ({cam: "cam"} if cam else {})
    (result,) = analyse(capture, roles)
    assert isinstance(result, CrankCamResult)
    return result


Folder = Callable[[str], Path]


def test_real_60_2(outside_data: Folder) -> None:
    """322 rpm is published for it with the wheel counted as the camshaft's; the wheel itself turns half as fast."""
    result = measured(outside_data("crank-cam"), "crank-60-2-analogue-cranking.csv", "crank")
    assert result.wheel == "60-2"
    assert result["speed if the wheel sits on the camshaft"].value == pytest.approx(322, rel=0.02)
    assert 3.3 < result["gap"].value < 3.75  # README: stretched to 3.6-3.75


def test_real_60_2_that_speeds_up_over_the_range_of_its_input(outside_data: Folder) -> None:
    result = measured(outside_data("crank-cam"), "crank-60-2-analogue-speeding-up.csv", "crank")
    assert result.wheel == "60-2"
    assert result.verdict != "fault"
    assert result["lowest speed"].value == pytest.approx(175, rel=0.25)  # README: about 175 rpm at the start
    assert result["speed"].value < 700


def test_real_wheel_with_several_gaps(outside_data: Folder) -> None:
    result = measured(outside_data("crank-cam"), "crank-several-gaps-cranking.csv", "crank", "cam")
    assert result.wheel == "36-2-2-2"
    assert result.verdict == "good"
    assert result["highest speed"].value == pytest.approx(243, rel=0.05)


def test_the_same_wheel_without_its_cam_is_read_in_two_ways(outside_data: Folder) -> None:
    result = measured(outside_data("crank-cam"), "crank-several-gaps-cranking.csv", "crank")
    assert result.verdict == "cannot tell"
    assert "12-2" in result.reason
    assert "36-2-2-2" in result.reason


def test_real_12_plus_1(outside_data: Folder) -> None:
    result = measured(outside_data("crank-cam"), "crank-12-plus-1-cranking.csv", "crank")
    assert result.wheel == "12+1"
    assert result["highest speed"].value == pytest.approx(188, rel=0.03)


def test_real_unknown_wheel_is_not_told(outside_data: Folder) -> None:
    result = measured(outside_data("crank-cam"), "crank-analogue-unknown-wheel.csv", "crank")
    assert result.verdict == "cannot tell"


def test_real_cranking_c_has_no_speed_above_that_of_a_start(outside_data: Folder) -> None:
    result = measured(outside_data("crank-cam"), "crank-cam-cranking-c.csv", "crank", "cam")
    assert result.verdict != "fault"
    assert result["highest speed"].value < 500


def test_real_36_2_1(outside_data: Folder) -> None:
    result = measured(outside_data("crank-cam"), "crank-36-2-1-running.csv", "Channel 0", "Channel 1")
    assert result.wheel == "36-2-1"
    assert result["speed at the start"].value == pytest.approx(1436, rel=0.02)
    assert result.verdict == "good"


def test_real_24_plus_1(outside_data: Folder) -> None:
    result = measured(outside_data("crank-cam"), "crank-24-plus-1-running.csv", "pri", "sec")
    assert result.wheel == "24+1"
    assert result["speed at the start"].value == pytest.approx(808, rel=0.02)


def test_real_cranking_a(outside_data: Folder) -> None:
    result = measured(outside_data("crank-cam"), "crank-cam-cranking-a.csv", "crank", "cam")
    assert result["speed at the start"].value == pytest.approx(133, rel=0.02)
    assert np.min(np.abs(result.speeds[:8] / 204 - 1)) < 0.02


def test_real_cranking_b_is_sound_and_its_sister_lacks_a_tooth(outside_data: Folder) -> None:
    folder = outside_data("crank-cam")
    sound = measured(folder, "crank-cam-cranking-b.csv", "crank", "cam")
    broken = measured(folder, "crank-cam-cranking-b-one-cam-tooth-missing.csv", "crank", "cam")
    assert sound.verdict == "good"
    assert broken.verdict == "fault"
    assert "is missing" in broken.reason


def test_marks_are_in_the_captures_own_time(outside_data: Folder) -> None:
    result: Result = measured(outside_data("crank-cam"), "crank-36-2-1-running.csv", "Channel 0", "Channel 1")
    assert min(mark.start for mark in result.marks) > 5.2


def test_peaks_that_the_input_turned_over_are_turned_up_again() -> None:
    """An engine that speeds up over an input that turns over what is beyond its range: the wheel is still told."""
    rate = 6000.0
    clock = np.arange(int(3 * rate)) / rate
    angle, speed = turns_of(clock, 150.0, end_rpm=600.0, ripple=0.1)
    volts = inductive(angle, speed, teeth(60, 58, 59).tolist(), 1 / 60)
    top = 0.6 * float(np.abs(volts).max())
    turned = np.maximum(np.where(volts > top, volts - 2 * top, volts), -top)
    result = crank_cam(sensor_edges(turned, rate))
    assert (result.verdict, result.wheel) == ("good", "60-2")
