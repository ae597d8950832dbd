"""Charging against a three-phase rectifier solved from its equations."""

from typing import Any

import numpy as np
import pytest

from halfsplit.capture.measure.charging import ChargingResult, charging
from tests.capture.signals.generator import rectified

RATE = 40_000.0


def measured(kind: str, noise: float = 0.02, **options: Any) -> ChargingResult:
    volts, amps = rectified(rate=RATE, **options)
    trace = volts if kind == "volts" else amps
    return charging(
        trace + np.random.default_rng(1).normal(0, noise * np.ptp(trace), trace.size), RATE, kind=kind
    )  # type: ignore[arg-type]


@pytest.mark.parametrize("kind", ["volts", "amps"])
@pytest.mark.parametrize(("hertz", "peak"), [(220.0, 10.5), (220.0, 12.0), (600.0, 14.0)])
@pytest.mark.parametrize(
    ("fault", "pattern"),
    [
        ({}, "even"),
        ({"open_diode": 0}, "open diode"),
        ({"open_diode": 4}, "open diode"),
        ({"shorted_diode": 1}, "shorted diode"),
        ({"shorted_diode": 5}, "shorted diode"),
        ({"missing_phase": True}, "missing phase"),
    ],
)
def test_rectifier(kind: str, hertz: float, peak: float, fault: dict[str, Any], pattern: str) -> None:
    result = measured(kind, hertz=hertz, peak=peak, **fault)
    assert result.pattern == pattern
    assert result["hump frequency"].value == pytest.approx(6 * hertz, rel=0.02)
    assert (result.verdict == "fault") == (pattern != "even")


def test_mean_and_ripple() -> None:
    volts, _ = rectified(rate=RATE, battery=14.2, peak=12.0)
    result = charging(volts, RATE)
    assert result["mean"].value == pytest.approx(volts.mean(), abs=0.01)
    assert result["ripple"].value == pytest.approx(np.ptp(volts), rel=0.15)
    assert result.verdict == "good", result.reason


@pytest.mark.parametrize("noise", [0.0, 0.1, 0.3])
def test_noise(noise: float) -> None:
    assert measured("amps", noise=noise, open_diode=1).pattern == "open diode"


def test_inverted_clamp() -> None:
    _, amps = rectified(rate=RATE, open_diode=1)
    result = charging(-amps, RATE, kind="amps")
    assert result.pattern == "open diode"
    assert any("other way round" in note for note in result.notes)


def test_controlled_generators_are_not_condemned_by_their_mean_alone() -> None:
    volts, _ = rectified(rate=RATE, peak=11.0)
    shifted = volts - volts.mean() + 12.8
    assert charging(shifted, RATE).verdict == "measured"
    assert charging(volts - volts.mean() + 11.5, RATE).verdict == "fault"
    assert "overcharges" in charging(volts - volts.mean() + 15.6, RATE).reason


def test_traces_that_cannot_carry_it() -> None:
    assert "too slow" in charging(np.full(2000, 14.0), 1000.0).reason
    assert "AC" in charging(np.random.default_rng(1).normal(0, 0.1, 20_000), RATE).reason
    flat = charging(14.0 + np.random.default_rng(1).normal(0, 0.01, 20_000), RATE)
    assert flat.verdict == "cannot tell"
    volts, _ = rectified(rate=RATE)
    assert "clipped" in charging(np.minimum(volts, np.quantile(volts, 0.6)), RATE).reason
