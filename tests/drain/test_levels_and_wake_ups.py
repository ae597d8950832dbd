"""Levels, sleep and wake-ups of invented logs against their truth, and change points against the library ruptures."""

import numpy as np
import pytest
from numpy.typing import NDArray

from halfsplit.drain import CLAMP, CurrentLog, analyse
from halfsplit.drain.levels import change_points, segments

Floats = NDArray[np.float64]


def night(
    *,
    hours: float = 10,
    hertz: float = 2,
    asleep: float = 0.022,
    awake_until: float = 1800,
    wakes: tuple[tuple[float, float, float, float], ...] = (),
    noise: float = 0.03,
    seed: int = 1,
) -> tuple[Floats, Floats, Floats]:
    """An invented night: seconds, amps with noise, amps without. wakes: (first, every, seconds, amps added)."""
    generator = np.random.default_rng(seed)
    seconds = np.arange(int(hours * 3600 * hertz)) / hertz
    truth = np.full(seconds.size, asleep)
    truth[seconds < awake_until] = 0.6
    truth[seconds < awake_until / 2] = 4.5
    for first, every, length, amps in wakes:
        truth[(seconds >= first) & ((seconds - first) % every < length)] += amps
    return seconds, truth + generator.normal(size=seconds.size) * (0.001 + noise * truth), truth


WAKES = ((4000.0, 900.0, 6.0, 0.35), (6000.0, 7200.0, 180.0, 1.2))


@pytest.mark.parametrize("asleep", [0.012, 0.022, 0.08, 0.31])
@pytest.mark.parametrize("noise", [0.005, 0.03, 0.1])
def test_the_level_asleep_is_within_two_per_cent(asleep: float, noise: float) -> None:
    seconds, amps, _ = night(asleep=asleep, noise=noise, wakes=WAKES)
    found = analyse(CurrentLog.of(seconds, amps))
    assert found.level == pytest.approx(asleep, rel=0.02)
    assert found.asleep_after == pytest.approx(1800, abs=2)
    assert found.level is not None
    assert abs(found.level - asleep) < 3 * found.level_error


@pytest.mark.parametrize("seed", range(4))
def test_wake_ups_are_counted_timed_and_charged(seed: int) -> None:
    seconds, amps, truth = night(wakes=WAKES, seed=seed)
    found = analyse(CurrentLog.of(seconds, amps))
    long, short = found.kinds
    assert (long.period, short.period) == (pytest.approx(7200, rel=0.02), pytest.approx(900, rel=0.02))
    assert long.regular
    assert short.regular
    assert long.charge == pytest.approx(1.2 * 180 / 3600, rel=0.02)
    assert short.charge == pytest.approx(0.35 * 6 / 3600, rel=0.02)
    assert (long.count, short.count) == (5, 36)
    assert found.mean == pytest.approx(truth[seconds >= 1800].mean(), rel=0.02)
    assert found.ampere_hours_a_day == pytest.approx(24 * found.mean)
    assert found.wake_share == pytest.approx((found.mean - 0.022) / found.mean, rel=0.05)


def test_charge_until_asleep() -> None:
    seconds, amps, _ = night()
    found = analyse(CurrentLog.of(seconds, amps))
    assert found.charge_until_asleep == pytest.approx((4.5 * 900 + 0.6 * 900) / 3600, rel=0.02)


def test_a_quiet_night_has_no_wake_up() -> None:
    for seed in range(10):
        seconds, amps, _ = night(seed=seed)
        assert analyse(CurrentLog.of(seconds, amps)).wake_ups == ()


def test_a_blinking_lamp_is_not_a_wake_up() -> None:
    seconds, amps, truth = night(hertz=10, hours=3)
    blink = 0.01 * ((seconds % 2.0) < 0.2)
    found = analyse(CurrentLog.of(seconds, amps + blink))
    assert found.wake_ups == ()
    assert found.level == pytest.approx(float((truth + blink)[seconds > 1800].mean()), rel=0.02)


def test_steps_agree_with_an_exact_search() -> None:
    """ruptures (KernelCPD, exact) as the outside reference, on steps of random height and place."""
    import ruptures  # slow to import

    for seed in range(5):
        generator = np.random.default_rng(seed)
        places = np.sort(generator.choice(np.arange(50, 1950, 40), 8, replace=False))
        heights = np.cumsum(generator.choice([-1, 1], 9) * generator.uniform(1, 3, 9))
        value = np.repeat(heights, np.diff([0, *places, 2000])) + generator.normal(0, 0.3, 2000)
        exact = ruptures.KernelCPD(kernel="linear", min_size=2).fit_predict(
            value.reshape(-1, 1), pen=3 * 0.09 * 2 * np.log(2000)
        )
        ours = change_points(value)
        assert len(ours) == len(exact) - 1
        assert np.max(np.abs(np.array(ours) - np.array(exact[:-1]))) <= 2


def test_noise_alone_has_no_change_point() -> None:
    alarms = sum(bool(change_points(np.random.default_rng(seed).normal(size=5000))) for seed in range(60))
    assert alarms <= 1


def test_levels_of_the_log_are_told_in_order() -> None:
    seconds, amps, _ = night()
    found = segments(CurrentLog.of(seconds, amps))
    assert [round(segment.mean, 2) for segment in found] == [4.5, 0.6, 0.02]
    assert [segment.end for segment in found[:-1]] == [segment.start for segment in found[1:]]


@pytest.mark.parametrize(
    ("asleep", "wakes", "words"),
    [
        (0.022, (), "22 mA asleep and 22 mA on average: usual values."),
        (0.022, WAKES, "on average: it is woken. Look for what wakes it."),
        (0.18, (), "180 mA asleep, more than the usual 50 mA: something stays on."),
        (0.5, (), "It does not sleep: never below 0.50 A for two minutes."),
    ],
)
def test_verdicts(asleep: float, wakes: tuple[tuple[float, float, float, float], ...], words: str) -> None:
    seconds, amps, _ = night(asleep=asleep, wakes=wakes, noise=0.005)
    assert words in analyse(CurrentLog.of(seconds, amps)).verdict


def test_a_clamp_cannot_tell_below_100_ma() -> None:
    seconds, amps, _ = night()
    found = analyse(CurrentLog.of(seconds, amps), CLAMP)
    assert not found.can_tell
    assert found.verdict.startswith("Cannot tell: a clamp says nothing below 100 mA.")
    assert analyse(CurrentLog.of(seconds, amps + 0.3), CLAMP).can_tell


def test_a_coarse_instrument_makes_no_wake_ups() -> None:
    seconds, amps, _ = night(hertz=1)
    found = analyse(
        CurrentLog.of(seconds, np.round(amps + np.random.default_rng(0).normal(0, 0.004, amps.size), 2))
    )
    assert found.wake_ups == ()
    assert len(found.segments) < 20
    assert found.level == pytest.approx(0.022, rel=0.05)


def test_a_vehicle_that_wakes_and_stays_awake_is_told() -> None:
    seconds, amps, _ = night()
    found = analyse(CurrentLog.of(seconds, np.where(seconds > 12_000, amps + 1.5, amps)))
    assert found.verdict == "22 mA asleep is usual, but it woke after 3.3 h and did not sleep again: 1.52 A."


def test_a_charger_in_between_does_not_hide_the_level() -> None:
    seconds, amps, _ = night()
    found = analyse(CurrentLog.of(seconds, np.where((seconds > 20_000) & (seconds < 22_000), -0.5, amps)))
    assert found.level == pytest.approx(0.022, rel=0.02)
    assert any("something charges the battery" in remark for remark in found.remarks)


def test_a_zero_that_is_off_is_told() -> None:
    seconds, amps, _ = night(awake_until=0)
    found = analyse(CurrentLog.of(seconds, np.where(seconds < 3600, 0.3, amps - 0.06)))
    assert "the current is below zero asleep" in found.verdict


def test_a_current_that_never_settles_is_told() -> None:
    seconds = np.arange(3600.0)
    amps = np.where(seconds % 40 < 20, 0.5, 3.0) + np.random.default_rng(0).normal(0, 0.01, seconds.size)
    found = analyse(CurrentLog.of(seconds, amps))
    assert found.level is None
    assert "never settles" in found.verdict


def test_the_work_grows_as_n_log_n() -> None:
    """Counted, not timed: the cells of the split table for n and 16 n points."""
    from halfsplit.drain.levels import _lengths

    def cells(n: int) -> int:
        return sum((2 * -(-n // length) - 1) * (length - 1) for length in _lengths(n))

    assert cells(80_000) / cells(5_000) < 16 * np.log(80_000) / np.log(5_000) * 1.1


def test_the_result_as_plain_values() -> None:
    import json

    seconds, amps, _ = night(wakes=WAKES)
    told = json.loads(json.dumps(analyse(CurrentLog.of(seconds, amps)).as_dict()))
    assert told["kinds"][0]["count"] == 5
    assert told["ampere_hours_a_day"] > 0
