"""Cranking and relative compression against an engine simulated from slider-crank, gas law and starter equations."""

from typing import Any

import numpy as np
import pytest

from halfsplit.capture.measure.cranking import CrankingResult, cranking, least_volts
from halfsplit.capture.measure.relative_compression import CompressionResult, relative_compression
from tests.capture.signals.engine import Cranking, crank_engine

RATE = 2000.0
ORDERS = {
    3: (1, 3, 2),
    4: (1, 3, 4, 2),
    5: (1, 2, 4, 5, 3),
    6: (1, 5, 3, 6, 2, 4),
    8: (1, 8, 4, 3, 6, 5, 7, 2),
}


def engine(cylinders: int = 4, **options: Any) -> Cranking:
    return crank_engine(cylinders=cylinders, order=ORDERS[cylinders], **options)


def noisy(values: np.ndarray, spread: float) -> np.ndarray:
    return values + np.random.default_rng(1).normal(0, spread, values.size)


def measured(run: Cranking, **options: Any) -> CrankingResult:
    return cranking(noisy(run.volts, 0.02), noisy(run.amps, 4.0), RATE, cylinders=4, **options)


def compression(
    run: Cranking,
    cylinders: int = 4,
    *,
    kind: str = "amps",
    sync: bool = True,
    noise: float = 4.0,
    **options: Any,
) -> CompressionResult:
    trace = noisy(run.amps, noise) if kind == "amps" else noisy(run.volts, noise / 200)
    pulses = np.array(run.dead_centres) if sync else None
    return relative_compression(
        trace,
        RATE,
        kind=kind,
        cylinders=cylinders,
        firing_order=ORDERS[cylinders],
        sync=pulses,
        **options,  # type: ignore[arg-type]
    )


def test_volts_amps_and_speed_of_a_sound_start() -> None:
    run = engine()
    result = measured(run, celsius=20.0)
    steady = (run.time > 0.8) & (run.time < 3.2)
    assert result.verdict == "good", result.reason
    assert result["rest volts"].value == pytest.approx(12.5, abs=0.02)
    assert result["lowest volts"].value == pytest.approx(run.volts.min(), abs=0.15)
    assert result["mean cranking volts"].value == pytest.approx(run.volts[steady].mean(), abs=0.05)
    assert result["mean current"].value == pytest.approx(run.amps[steady].mean(), rel=0.05)
    assert result["inrush current"].value == pytest.approx(run.amps.max(), rel=0.05)
    assert result["cranking speed"].value == pytest.approx(run.rpm[steady].mean(), rel=0.02)
    assert result["internal resistance"].value == pytest.approx(8.0, rel=0.05)


@pytest.mark.parametrize("cylinders", [3, 4, 5, 6, 8])
def test_speed_for_every_number_of_cylinders(cylinders: int) -> None:
    run = engine(cylinders, leaks={2: 3.0})
    result = cranking(run.volts, noisy(run.amps, 4.0), RATE, cylinders=cylinders)
    assert result["cranking speed"].value == pytest.approx(run.rpm[run.time > 0.9].mean(), rel=0.03)


def test_volts_alone_and_current_alone() -> None:
    run = engine()
    by_volts = cranking(noisy(run.volts, 0.02), None, RATE, cylinders=4)
    by_amps = cranking(None, noisy(run.amps, 4.0), RATE, cylinders=4)
    assert by_volts["cranking speed"].value == pytest.approx(by_amps["cranking speed"].value, rel=0.02)
    assert "mean current" not in by_volts
    assert "lowest volts" not in by_amps


def test_inverted_clamp_and_its_zero_error() -> None:
    run = engine()
    result = cranking(run.volts, -noisy(run.amps, 4.0) - 12.0, RATE, cylinders=4)
    assert result["mean current"].value == pytest.approx(run.amps[run.time > 0.7].mean(), rel=0.05)
    assert any("other way round" in note for note in result.notes)
    assert any("zero error" in note for note in result.notes)


def test_weak_battery_is_told_from_a_slow_starter() -> None:
    weak = measured(engine(battery_ohms=0.032, rest=12.0), celsius=20.0)
    assert weak.verdict == "fault"
    assert "volts fall with the current" in weak.reason
    slow = measured(engine(starter_ohms=0.035, friction=36.0), celsius=20.0)
    assert slow.verdict == "fault"
    assert "starter's cables" in slow.reason
    stuck = measured(engine(starter_ohms=0.06, friction=80.0), celsius=20.0)
    assert stuck.verdict == "fault"
    assert "does not turn" in stuck.reason


def test_the_cold_lowers_the_limit_and_a_flat_battery_is_charged_first() -> None:
    """9.6 V at 20 °C and about 8.5 V at -18 °C: common practice, from memory."""
    assert least_volts(None) == least_volts(20.0) == 9.6
    assert least_volts(-18.0) == 8.5
    run = engine(battery_ohms=0.026, rest=12.0)
    assert measured(run, celsius=20.0).verdict == "fault"
    assert measured(run, celsius=20.0, state_of_charge=0.4).verdict == "cannot tell"


def test_engine_that_fires_is_noted() -> None:
    result = measured(engine(fires_at=1.8))
    assert any("engine fired" in note for note in result.notes)


@pytest.mark.parametrize(
    ("volts", "amps", "rate", "words"),
    [
        (np.full(4000, 12.5), None, 2000.0, "no starter turns"),
        (None, np.full(4000, 2.0), 2000.0, "no starter turns"),
        (np.full(100, 12.5), None, 50.0, "too slow"),
        (np.full(200, 12.5), None, 2000.0, "too short"),
        (None, None, 2000.0, "neither"),
        (np.where(np.arange(4000) % 999 == 0, np.nan, 12.5), None, 2000.0, "missing or over range"),
    ],
)
def test_traces_that_cannot_carry_it(volts: np.ndarray, amps: np.ndarray, rate: float, words: str) -> None:
    result = cranking(volts, amps, rate)
    assert result.verdict == "cannot tell"
    assert words in result.reason


@pytest.mark.parametrize("cylinders", [3, 4, 5, 6, 8])
@pytest.mark.parametrize("kind", ["amps", "volts"])
def test_the_weak_cylinder_is_named(cylinders: int, kind: str) -> None:
    for weak in (1, cylinders):
        run = engine(cylinders, leaks={weak: 4.0})
        result = compression(run, cylinders, kind=kind)
        assert result.verdict == "fault", result.reason
        assert result.named
        assert result.cylinders[int(np.argmin(result.shares))] == weak
        others = [
            share for number, share in zip(result.cylinders, result.shares, strict=True) if number != weak
        ]
        assert min(others) > 0.8
        assert result.reason.count("cylinder") == 1


@pytest.mark.parametrize("leak", [0.6, 1.0, 2.0, 4.0])
def test_share_follows_the_gas_pressure(leak: float) -> None:
    """Peak pressures of the simulated cylinders; within 0.12 of them over the whole range."""
    run = engine(leaks={4: leak})
    result = compression(run)
    strongest = max(run.pressures.values())
    for number, share in zip(result.cylinders, result.shares, strict=True):
        assert share == pytest.approx(run.pressures[number] / strongest, abs=0.12)


@pytest.mark.parametrize("weak", [(2, 3), (3, 4), (1, 2)])
def test_two_weak_cylinders(weak: tuple[int, int]) -> None:
    result = compression(engine(leaks=dict.fromkeys(weak, 4.0)))
    named = tuple(n for n, share in zip(result.cylinders, result.shares, strict=True) if share < 0.85)
    assert named == weak


def test_a_cylinder_without_any_compression() -> None:
    result = compression(engine(leaks={2: 80.0}))
    assert result.shares[1] < 0.2
    assert min(result.shares[0], *result.shares[2:]) > 0.9


def test_all_alike_is_good() -> None:
    result = compression(engine())
    assert result.verdict == "good"
    assert min(result.shares) > 0.95
    assert any("equally low" in note for note in result.notes)


def test_without_a_sync_pulse_places_are_given_and_no_cylinder_is_named() -> None:
    result = compression(engine(leaks={3: 4.0}), sync=False)
    assert result.verdict == "fault"
    assert not result.named
    assert result.reason.startswith("place")
    assert "record a sync pulse" in result.reason


def test_a_sync_pulse_at_a_known_angle_and_of_another_cylinder() -> None:
    run = engine(leaks={3: 4.0})
    early = np.array(run.dead_centres) - 8 / 360 * 60 / run.rpm[run.time > 1].mean()
    result = relative_compression(
        run.amps, RATE, kind="amps", cylinders=4, firing_order=ORDERS[4], sync=early, sync_degrees=-8.0
    )
    assert result.cylinders[int(np.argmin(result.shares))] == 3
    moved = relative_compression(
        run.amps,
        RATE,
        kind="amps",
        cylinders=4,
        firing_order=ORDERS[4],
        sync=early,
        sync_degrees=-8.0,
        sync_cylinder=4,
    )
    assert moved.cylinders[int(np.argmin(moved.shares))] == 2  # counted from 4 the third is 2


def test_engine_that_fires_during_the_test() -> None:
    """Cycles after the first firing do not count; too few before it cannot be told."""
    late = compression(engine(fires_at=2.6, leaks={3: 3.0}))
    assert late.verdict == "fault"
    assert late.cylinders[int(np.argmin(late.shares))] == 3
    assert all(time < 2.75 for time in late.peaks)
    early = compression(engine(fires_at=0.9, leaks={3: 3.0}))
    assert early.verdict == "cannot tell"


@pytest.mark.parametrize("noise", [2.0, 10.0, 25.0])
def test_noise(noise: float) -> None:
    result = compression(engine(leaks={3: 3.0}), noise=noise)
    assert result.cylinders[int(np.argmin(result.shares))] == 3
    assert max(quantity.uncertainty for quantity in result.quantities if quantity.unit == "%") < 8.0


def test_offset_and_inverted_clamp_change_nothing() -> None:
    run = engine(leaks={3: 3.0})
    plain = compression(run).shares
    for trace in (run.amps + 30.0, -run.amps):
        result = relative_compression(
            noisy(trace, 4.0),
            RATE,
            kind="amps",
            cylinders=4,
            firing_order=ORDERS[4],
            sync=np.array(run.dead_centres),
        )
        assert result.shares == pytest.approx(plain, abs=0.03)


def test_clipped_slow_short_and_wrong_order() -> None:
    run = engine()
    cut = relative_compression(np.minimum(run.amps, 180.0), RATE, kind="amps", cylinders=4)
    assert "clipped" in cut.reason
    slow = relative_compression(run.amps[::20], RATE / 20, kind="amps", cylinders=4)
    assert "too slow" in slow.reason
    short = relative_compression(run.amps[:2400], RATE, kind="amps", cylinders=4)
    assert short.verdict == "cannot tell"
    wrong = relative_compression(run.amps, RATE, kind="amps", cylinders=4, firing_order=(1, 3, 3, 2))
    assert "does not name 4 cylinders" in wrong.reason
    wasted = relative_compression(
        run.amps,
        RATE,
        kind="amps",
        cylinders=4,
        sync=np.sort(np.r_[run.dead_centres, np.array(run.dead_centres) + 0.243]),
    )
    assert "not once in two turns" in wasted.reason
