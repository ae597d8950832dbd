"""Duty cycle and voltage drop against signals whose values are set."""

import numpy as np
import pytest

from halfsplit.capture.measure.duty_cycle import DutyResult, duty_cycle, duty_edges
from halfsplit.capture.measure.signal import level_edges
from halfsplit.capture.measure.voltage_drop import voltage_drop

RATE = 100_000.0


def square(
    hertz: float = 97.3,
    duty: float = 0.37,
    seconds: float = 0.5,
    rise: float = 0.0,
    lost: tuple[int, ...] = (),
) -> np.ndarray:
    time = np.arange(int(seconds * RATE)) / RATE
    phase = np.mod(time * hertz, 1.0)
    high = phase < duty
    for number in lost:
        high &= np.floor(time * hertz) != number
    values = np.where(high, 12.0, 0.3)
    if rise:
        share = 1 - np.exp(-1 / RATE / rise)
        now = values[0]
        for i, value in enumerate(values):
            now += (value - now) * share
            values[i] = now
    return values


def noisy(values: np.ndarray, spread: float) -> np.ndarray:
    return values + np.random.default_rng(4).normal(0, spread, values.size)


@pytest.mark.parametrize("duty", [0.02, 0.37, 0.5, 0.97])
@pytest.mark.parametrize("noise", [0.0, 0.3])
def test_frequency_duty_and_levels(duty: float, noise: float) -> None:
    result = duty_cycle(noisy(square(duty=duty), noise), RATE)
    assert result.verdict == "measured", result.reason
    assert result["frequency"].value == pytest.approx(97.3, rel=2e-3)
    assert result["duty"].value == pytest.approx(100 * duty, abs=0.2)
    assert result["low share"].value == pytest.approx(100 * (1 - duty), abs=0.2)
    assert result["low level"].value == pytest.approx(0.3, abs=0.05)
    assert result["high level"].value == pytest.approx(12.0, abs=0.05)


def test_missing_pulses_are_counted_with_their_times() -> None:
    result = duty_cycle(noisy(square(lost=(10, 30, 31)), 0.1), RATE)
    assert result.verdict == "fault"
    assert result.missing == pytest.approx([10 / 97.3, 30 / 97.3, 31 / 97.3], abs=2e-4)
    assert result["frequency"].value == pytest.approx(97.3, rel=2e-3)


def test_a_change_of_speed_is_no_missing_pulse() -> None:
    time = np.arange(int(0.5 * RATE)) / RATE
    phase = np.mod(60 * time + 80 * time**2, 1.0)
    assert duty_cycle(np.where(phase < 0.5, 5.0, 0.0), RATE).missing == ()


def test_slow_edges_are_a_fault_with_their_time() -> None:
    result = duty_cycle(square(rise=400e-6), RATE)
    assert result.verdict == "fault"
    assert "slow edges" in result.reason
    assert result["rise time"].value == pytest.approx(2.2 * 400e-6, rel=0.1)  # 10 to 90 % of an RC is 2.2 RC


def test_a_record_of_edges() -> None:
    times = np.arange(40) * 0.005
    result = duty_edges(level_edges(times, np.tile([1.0, 0.0], 20)), 1e-6)
    assert isinstance(result, DutyResult)
    assert result["frequency"].value == pytest.approx(100.0)
    assert result["duty"].value == pytest.approx(50.0)


@pytest.mark.parametrize(
    ("values", "rate", "words"),
    [
        (np.full(1000, 12.1), RATE, "does not switch: it stays at 12.1"),
        (square(seconds=0.02), RATE, "three periods are needed"),
        (np.tile([1.0, 1.0, 0.0, 0.0], 300), RATE, "fewer than 8 samples"),
    ],
)
def test_signals_that_cannot_carry_it(values: np.ndarray, rate: float, words: str) -> None:
    result = duty_cycle(values, rate)
    assert result.verdict == "cannot tell"
    assert words in result.reason


def load(ohms: float, amps: float = 8.0, offset: float = 0.0, seconds: float = 2.0) -> tuple[np.ndarray, ...]:
    """A load that is on from 0.5 to 1.5 s through a path of `ohms`; battery of 12.6 V with 20 mohm."""
    time = np.arange(int(seconds * 1000)) / 1000
    current = np.where((time > 0.5) & (time < 1.5), amps * (1 + 2 * np.exp(-(time - 0.5) / 0.02)), 0.0)
    upper = 12.6 - 0.02 * current
    return noisy(upper, 0.01), noisy(upper - ohms * current, 0.01), noisy(current + offset, 0.05)


@pytest.mark.parametrize("milliohms", [5.0, 25.0, 90.0, 400.0])
def test_drop_and_resistance(milliohms: float) -> None:
    upper, lower, amps = load(milliohms / 1000)
    result = voltage_drop(upper, lower, amps, 1000.0)
    assert result["resistance"].value == pytest.approx(milliohms, abs=1.0)
    assert result["drop"].value == pytest.approx(8e-3 * milliohms, abs=0.01)
    assert result.verdict == ("fault" if milliohms * 8e-3 > 0.5 else "good")


@pytest.mark.parametrize("inrush", [3.0, 7.0, 12.0])
def test_the_inrush_of_a_lamp_is_not_taken_for_its_load(inrush: float) -> None:
    """A filament's cold resistance is about a tenth of the hot one: common practice, no source."""
    time = np.arange(40_000) / 10_000
    on = (time > 0.8) & (time < 3.2)
    amps = noisy(np.where(on, 0.45 * (1 + (inrush - 1) * np.exp(-(time - 0.8) / 0.05)), 0.0), 0.01)
    drop = noisy(0.012 * amps, 0.002)
    result = voltage_drop(drop, None, amps, 10_000.0)
    assert result["current"].value == pytest.approx(0.45, rel=0.02)
    assert result["drop"].value == pytest.approx(0.0054, rel=0.05)
    assert result["resistance"].value == pytest.approx(12.0, rel=0.1)


def test_a_load_that_is_never_steady_cannot_tell() -> None:
    time = np.arange(4000) / 1000
    amps = noisy(5 + 4 * np.sin(2 * np.pi * 0.7 * time), 0.02)
    result = voltage_drop(0.02 * amps, None, amps, 1000.0)
    assert result.verdict == "cannot tell"
    assert "never steady" in result.reason


def test_zero_errors_of_clamp_and_leads_are_taken_out() -> None:
    upper, lower, amps = load(0.025, offset=1.5)
    result = voltage_drop(upper + 0.08, lower, amps, 1000.0)
    assert result["resistance"].value == pytest.approx(25.0, abs=1.0)
    assert result["current"].value == pytest.approx(8.0, abs=0.1)


def test_limits_differ_by_path() -> None:
    """Feed 0.5 V, ground 0.2 V: common practice, no source."""
    upper, lower, amps = load(0.04)
    assert voltage_drop(upper, lower, amps, 1000.0, path="feed").verdict == "good"
    assert voltage_drop(upper, lower, amps, 1000.0, path="ground").verdict == "fault"
    assert voltage_drop(upper, lower, amps, 1000.0, path="roof").verdict == "cannot tell"


def test_no_current_shown_clears_nothing() -> None:
    quiet = noisy(np.full(2000, 0.02), 0.005)
    result = voltage_drop(quiet, None, None, 1000.0)
    assert result.verdict == "cannot tell"
    assert "no current is shown" in result.reason
    loaded = voltage_drop(noisy(np.full(2000, 0.9), 0.005), None, None, 1000.0)
    assert loaded.verdict == "fault"


def test_inverted_clamp_and_exchanged_leads_are_noted() -> None:
    upper, lower, amps = load(0.09)
    result = voltage_drop(lower, upper, -amps, 1000.0)
    assert result.verdict == "fault"
    assert any("exchanged" in note for note in result.notes)
    assert any("other way round" in note for note in result.notes)


def test_a_clamp_below_100_milliamperes_cannot_tell() -> None:
    upper, lower, amps = load(0.5, amps=0.06)
    result = voltage_drop(upper, lower, amps, 1000.0)
    assert result.verdict == "cannot tell"
