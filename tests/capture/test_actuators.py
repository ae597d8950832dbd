"""Injector, ignition coil and motor against simulations from their own differential equations."""

from typing import Any

import numpy as np
import pytest

from halfsplit.capture.measure.ignition_coil import CoilResult, ignition_coil
from halfsplit.capture.measure.injector import InjectorResult, compare, injector
from halfsplit.capture.measure.motor_current import MotorResult, motor_current
from tests.capture.signals.coil import ignite
from tests.capture.signals.motor import run_motor
from tests.capture.signals.solenoid import inject

RATE = 200_000.0


def noisy(values: np.ndarray, spread: float) -> np.ndarray:
    return values + np.random.default_rng(6).normal(0, spread, values.size)


def injected(noise: float = 0.01, rate: float = RATE, **options: Any) -> tuple[InjectorResult, float, float]:
    run = inject(rate=rate, **options)
    on = options.get("on", 0.004)
    result = injector(noisy(run.volts, 10 * noise), noisy(run.amps, noise), rate)
    opened = run.opened[0] - run.starts[0] if run.opened else float("nan")
    closed = run.closed[0] - run.starts[0] - on if run.closed else float("nan")
    return result, opened, closed


@pytest.mark.parametrize("noise", [0.0, 0.01, 0.02])
@pytest.mark.parametrize("on", [0.0025, 0.004, 0.008])
def test_opening_and_closing(noise: float, on: float) -> None:
    result, opened, closed = injected(noise, on=on)
    assert result.verdict == "good", result.reason
    assert result.on_time == pytest.approx(on, abs=2e-5)
    assert result.opening == pytest.approx(opened, abs=6e-5)
    assert result.closing == pytest.approx(closed, abs=5e-5)


def test_slower_rate_widens_the_error_and_too_slow_a_rate_says_so() -> None:
    result, opened, _ = injected(rate=50_000.0)
    assert result.opening == pytest.approx(opened, abs=1e-4)
    assert "too slow" in injected(rate=5000.0)[0].reason


def test_a_needle_that_does_not_move_is_a_fault_and_noise_that_hides_it_is_not() -> None:
    assert injected(stuck=True)[0].verdict == "fault"
    assert "does not move" in injected(stuck=True)[0].reason
    assert injected(0.15, stuck=True)[0].verdict == "cannot tell"


def test_current_alone_and_volts_alone() -> None:
    run = inject()
    by_amps = injector(None, noisy(run.amps, 0.005), RATE)
    by_volts = injector(noisy(run.volts, 0.05), None, RATE)
    assert by_amps.opening == pytest.approx(run.opened[0] - run.starts[0], abs=1e-4)
    assert by_amps.on_time == pytest.approx(0.004, abs=1e-4)
    assert by_volts.closing == pytest.approx(run.closed[0] - run.starts[0] - 0.004, abs=5e-5)
    assert np.isnan(by_volts.opening)
    assert by_volts["flyback peak"].value == pytest.approx(run.volts.max(), rel=0.02)


def test_a_clipped_flyback_is_told() -> None:
    run = inject()
    result = injector(np.minimum(run.volts, 30.0), run.amps, RATE)
    assert any("clipped" in note for note in result.notes)


def test_differences_between_injectors() -> None:
    alike, slow = injected()[0], injected(mass=4e-3)[0]
    compared = compare({"cylinder 1": alike, "cylinder 2": alike, "cylinder 3": slow, "cylinder 4": alike})
    assert compared.verdict == "fault"
    assert "cylinder 3" in compared.reason
    assert compare({"cylinder 1": alike, "cylinder 2": alike}).verdict == "good"


def test_no_pulse_and_no_feed() -> None:
    assert injector(np.full(20_000, 13.0), None, RATE).verdict == "cannot tell"
    assert "no feed" in injector(noisy(np.zeros(20_000), 0.1), None, RATE).reason
    assert injector(None, noisy(np.zeros(20_000), 0.01), RATE).verdict == "cannot tell"


def ignited(noise: float = 0.05, rate: float = RATE, **options: Any) -> tuple[CoilResult, list[float]]:
    run = ignite(rate=rate, **({"events": 7} | options))
    return ignition_coil(noisy(run.amps, noise), noisy(run.volts, 5 * noise), rate), run.burns


@pytest.mark.parametrize("henry", [0.002, 0.0035, 0.006])
@pytest.mark.parametrize("noise", [0.0, 0.05, 0.15])
def test_coil(henry: float, noise: float) -> None:
    result, burns = ignited(noise, henry=henry)
    assert result.verdict == "good", result.reason
    assert result["dwell"].value == pytest.approx(0.0035, abs=8e-5)
    assert result["inductance"].value == pytest.approx(1e3 * henry, rel=0.08)
    assert result["burn time"].value == pytest.approx(np.median(burns), abs=5e-5)
    assert result["firing peak"].value == pytest.approx(340, rel=0.08)


def test_current_limit() -> None:
    limited = ignited(limit=7.0)[0]
    assert limited["peak current"].value == pytest.approx(7.0, rel=0.03)
    assert limited["time at the current limit"].value == pytest.approx(38, abs=8)
    assert "time at the current limit" not in ignited(limit=None)[0]


def test_missed_events_and_sparks_that_do_not_burn() -> None:
    missed, _ = ignited(missed=(3,))
    assert missed.verdict == "fault"
    assert missed.missed == pytest.approx([3 * 0.025 + 0.0085], abs=2e-4)
    dead, _ = ignited(no_spark=(2, 5))
    assert dead.verdict == "fault"
    assert dead.unburnt == pytest.approx([2 * 0.025 + 0.0085, 5 * 0.025 + 0.0085], abs=2e-4)


def test_volts_alone_slow_rate_and_no_event() -> None:
    run = ignite(events=5)
    alone = ignition_coil(None, noisy(run.volts, 0.2), RATE)
    assert alone["dwell"].value == pytest.approx(0.0035, abs=5e-5)
    slow = ignite(events=5, rate=20_000.0)
    result = ignition_coil(slow.amps, slow.volts, 20_000.0)
    assert "burn time" not in result
    assert any("are needed" in note for note in result.notes)
    assert ignition_coil(noisy(np.zeros(50_000), 0.02), None, RATE).verdict == "cannot tell"
    assert ignition_coil(-run.amps, None, RATE).verdict == "cannot tell"


def test_a_clipped_firing_peak_is_a_lower_bound() -> None:
    run = ignite(events=4)
    result = ignition_coil(run.amps, np.minimum(run.volts, 100.0), RATE)
    assert any("lower bound" in note for note in result.notes)


def ran(noise: float = 0.05, **options: Any) -> tuple[MotorResult, float]:
    run = run_motor(**options)
    return motor_current(noisy(run.amps, noise), 50_000.0), run.rpm


@pytest.mark.parametrize("segments", [6, 8, 10, 12])
@pytest.mark.parametrize("noise", [0.0, 0.05])
def test_motor_speed(segments: int, noise: float) -> None:
    result, rpm = ran(noise, segments=segments)
    assert result.verdict == "measured"
    assert result["speed"].value == pytest.approx(rpm, rel=0.02)


@pytest.mark.parametrize("segments", [6, 8, 10])
def test_segments_from_the_repeating_pattern(segments: int) -> None:
    assert ran(segments=segments)[0].segments == segments


def test_uneven_segment() -> None:
    result, rpm = ran(strengths=(1.0, 0.97, 1.02, 0.7, 1.01, 0.96, 1.03, 0.98))
    assert result.verdict == "fault"
    assert "uneven" in result.reason
    assert result["speed"].value == pytest.approx(rpm, rel=0.02)


@pytest.mark.parametrize("segments", [24, 36])
def test_many_segments_are_counted_right(segments: int) -> None:
    strengths = tuple((1 + np.random.default_rng(4).uniform(-0.002, 0.002, segments)).tolist())
    result, rpm = ran(0.02, segments=segments, strengths=strengths)
    assert result.segments == segments
    assert result.verdict == "measured"
    assert result["speed"].value == pytest.approx(rpm, rel=0.02)


def test_a_clamp_without_its_direct_part_does_not_stop_the_motor() -> None:
    run = run_motor()
    steady = run.amps[run.amps.size // 2 :]
    result = motor_current(steady - steady.mean(), 50_000.0)
    assert result.verdict == "cannot tell"
    assert "set the coupling to DC" in result.reason
    assert result["speed"].value == pytest.approx(run.rpm, rel=0.02)


def test_locked_rotor() -> None:
    result, _ = ran(locked=True)
    assert result.verdict == "fault"
    assert "locked" in result.reason


def test_even_segments_need_their_number_for_the_speed() -> None:
    run = run_motor(strengths=(1.0,) * 8)
    unknown = motor_current(noisy(run.amps, 0.05), 50_000.0)
    assert "speed" not in unknown
    assert any("give the number of segments" in note for note in unknown.notes)
    known = motor_current(noisy(run.amps, 0.05), 50_000.0, segments=8)
    assert known["speed"].value == pytest.approx(run.rpm, rel=0.02)


def test_free_running_and_overload_need_the_rated_current() -> None:
    run = run_motor()
    for rated, verdict, words in (
        (2.4, "good", "near"),
        (8.0, "fault", "runs free"),
        (1.2, "fault", "overloaded"),
    ):
        result = motor_current(run.amps, 50_000.0, rated_amps=rated)
        assert result.verdict == verdict
        assert words in result.reason


def test_motor_traces_that_cannot_carry_it() -> None:
    run = run_motor()
    assert "too slow" in motor_current(run.amps[::50], 1000.0).reason
    assert motor_current(noisy(np.zeros(20_000), 0.01), 50_000.0).verdict == "cannot tell"
    assert "clipped" in motor_current(np.minimum(run.amps, 2.2), 50_000.0).reason
    turned = motor_current(-run.amps, 50_000.0)
    assert any("other way round" in note for note in turned.notes)
