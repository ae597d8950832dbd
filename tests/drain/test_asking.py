"""What a log is asked about: the clamp's zero, the way round, the unit; and how far a forecast goes."""

import numpy as np
import pytest

from halfsplit.drain import Battery, CurrentLog, analyse, days_until_no_start

SECONDS = np.arange(0.0, 4 * 3600.0, 2.0)


def night(asleep: float = 0.018) -> np.ndarray:
    """A current in A: asleep, and awake at 0.8 A for 20 s of each 10 minutes, 44 mA on average."""
    noise = np.random.default_rng(4).normal(0, 0.0005, SECONDS.size)
    return np.where(SECONDS % 600 < 20, 0.8, asleep) + noise


def test_the_true_figures() -> None:
    found = analyse(CurrentLog.of(SECONDS, night()))
    assert found.level == pytest.approx(0.018, rel=0.02)
    assert found.mean == pytest.approx(0.044, rel=0.03)


@pytest.mark.parametrize("offset", [-0.03, -0.05, -0.2])
def test_a_zero_that_is_off_is_asked_about_and_taken_off(offset: float) -> None:
    raw = night() + offset
    found = analyse(CurrentLog.of(SECONDS, raw))
    assert found.verdict.startswith("Cannot tell")
    assert not found.can_tell
    assert found.question is not None
    assert found.question.zero == pytest.approx(0.018 + offset - 0.010, abs=0.001)
    mended = analyse(CurrentLog.of(SECONDS, raw, zero=offset))
    assert mended.level == pytest.approx(0.018, rel=0.02)
    assert mended.mean == pytest.approx(0.044, rel=0.03)
    assert mended.question is None


@pytest.mark.parametrize("awake", [0.0, 900.0])
def test_a_clamp_that_was_the_wrong_way_round_is_turned(awake: float) -> None:
    raw = np.where(awake > SECONDS, 2.5, night())
    found = analyse(CurrentLog.of(SECONDS, -raw))
    assert found.level == pytest.approx(0.018, rel=0.02)
    assert found.question is None
    assert any("turned" in remark for remark in found.remarks)
    assert analyse(CurrentLog.of(SECONDS, -raw, turned=False)).question is not None


def test_milliamperes_without_a_unit_are_not_taken_for_amperes() -> None:
    from halfsplit.drain.read import parse_log

    text = "time,current\n" + "\n".join(
        f"{s:.0f},{1000 * a:.1f}" for s, a in zip(SECONDS, night(), strict=True)
    )
    found = analyse(parse_log(text))
    assert found.question is not None
    assert found.question.unit == "mA"
    assert "In which unit" in found.verdict
    assert analyse(parse_log(text, unit="mA")).level == pytest.approx(0.018, rel=0.02)


def test_amperes_that_no_vehicle_draws_are_asked_about_even_if_they_are_named() -> None:
    assert analyse(CurrentLog.of(SECONDS, 1000 * night(0.05))).question is not None
    assert analyse(CurrentLog.of(SECONDS, 1e-6 * night())).question is not None


@pytest.mark.parametrize(
    ("mean", "error", "words"),
    [
        (0.0, 0.0005, "More than 120 days"),
        (1e-30, 1e-30, "More than 120 days"),
        (0.012, 0.5, "Cannot tell the days"),
        (0.012, 1e9, "Cannot tell the days"),
        (0.05, 0.001, "About"),
        (-0.04, 0.001, "More than 120 days"),
    ],
)
def test_no_forecast_goes_beyond_120_days(mean: float, error: float, words: str) -> None:
    found = days_until_no_start(mean, error, Battery(70))
    assert max(found.days, found.high) <= 120
    assert found.words.startswith(words)
    assert "self-discharge" in found.words
