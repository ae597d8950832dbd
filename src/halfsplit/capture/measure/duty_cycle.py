"""Duty cycle of a switched signal: frequency, share of time high, levels, slow edges, missing pulses.

Times are taken where the signal crosses half way between its levels, interpolated between samples. A valve or lamp
that is switched to ground is on while its line is low: `low_share` says that share too.
"""

from dataclasses import dataclass
from typing import ClassVar, Final

import numpy as np

from halfsplit.capture.measure.pulses import MISSING, missed
from halfsplit.capture.measure.result import CannotTell, Mark, Quantity, Result, answers
from halfsplit.capture.measure.signal import Edges, Floats, Levels, edges, noise, require, thinned, two_levels

_SLOW: Final = 0.1
"""Share of the shorter state from which the 10 to 90 % time of an edge counts as slow."""


@dataclass(frozen=True, kw_only=True)
class DutyResult(Result):
    """`missing` are the times in seconds at which a pulse was due and did not come."""

    analysis: ClassVar[str] = "duty cycle"

    missing: tuple[float, ...] = ()


@answers(DutyResult)
def duty_cycle(values: Floats, rate: float) -> DutyResult:
    """Measure a switched signal sampled at `rate`, in any unit (volts as a rule)."""
    require(rate, values, least_rate=10.0, least_seconds=0.0, what="a switched signal")
    levels = two_levels(values)
    if levels is None:
        part = thinned(values)
        low, middle, high = np.quantile(part, (0.01, 0.5, 0.99))
        if high - low <= 8 * noise(part) or high <= low:
            raise CannotTell(f"the signal does not switch: it stays at {middle:.4g} (0 or 100 % duty)")
        swing = f"the signal swings from {low:.4g} to {high:.4g} without two levels at which it rests"
        coupling = "; the direct part is missing: set the coupling to DC" if low < 0 < high else ""
        raise CannotTell(swing + coupling)
    crossings = edges(values, rate, *levels.walls(0.3))
    if crossings.times.size < 2:
        raise CannotTell(f"{crossings.times.size} edges were recorded: three periods are needed")
    times = {
        name: _edge_time(values, rate, crossings, levels, rising=name == "rise") for name in ("rise", "fall")
    }
    return _measured(crossings, 1.0 / rate, levels, times)


@answers(DutyResult)
def duty_edges(signal: Edges, resolution: float) -> DutyResult:
    """The same from edges of a logic record; `resolution` is its clock's step in seconds."""
    return _measured(signal, resolution, None, {})


def _measured(
    crossings: Edges, resolution: float, levels: Levels | None, times: dict[str, float]
) -> DutyResult:
    """`times` are those of the edges of either direction, by `rise` and `fall`."""
    rises, falls = crossings.of(True), crossings.of(False)
    if rises.size < 3 or falls.size < 3:
        raise CannotTell(f"{crossings.times.size} edges were recorded: three periods are needed")
    after = np.searchsorted(falls, rises, side="right")
    highs = falls[after[after < falls.size]] - rises[after < falls.size]
    periods = np.diff(rises)
    period = float(np.median(periods))
    if period < 8 * resolution or float(np.median(highs)) < 2 * resolution:
        raise CannotTell(
            f"a period of {period:.3g} s has fewer than 8 samples of {resolution:.3g} s: record it faster"
        )
    regular = periods < MISSING * period
    shares = (highs[: periods.size] / periods)[regular]
    mean, jitter, duty = (float(x) for x in (periods[regular].mean(), periods[regular].std(), shares.mean()))
    root = max(int(regular.sum()), 1) ** 0.5
    error = 100 * (float(np.std(shares)) / root + 0.3 * resolution / period)
    quantities = [
        Quantity("frequency", 1.0 / mean, "Hz", (jitter + 0.3 * resolution) / period**2 / root),
        Quantity("duty", 100 * duty, "%", error),
        Quantity("low share", 100 * (1 - duty), "%", error),
        Quantity("jitter of the period", jitter, "s", 0.3 * resolution),
    ]
    if levels:
        quantities += [
            Quantity("low level", levels.low, "", levels.low_spread),
            Quantity("high level", levels.high, "", levels.high_spread),
        ]
    quantities += [Quantity(f"{name} time", time, "s", 0.5 * resolution) for name, time in times.items()]
    limit = _SLOW * period * min(duty, 1 - duty)
    slow = [f"its {name} takes {time:.2g} s" for name, time in times.items() if time > limit]
    return _judged(tuple(quantities), missed(rises, neighbours=4), slow, rises, period)


def _judged(
    quantities: tuple[Quantity, ...],
    missing: tuple[float, ...],
    slow: list[str],
    rises: Floats,
    period: float,
) -> DutyResult:
    frequency, duty = quantities[0].value, quantities[1].value
    reason = f"{frequency:.4g} Hz, {duty:.1f} % high"
    if missing:
        reason += f"; {len(missing)} pulses are missing, the first at {missing[0]:.4f} s"
    elif slow:
        reason += f"; slow edges: {' and '.join(slow)}, over a tenth of the shorter state"
    return DutyResult(
        verdict="fault" if missing or slow else "measured",
        reason=reason,
        quantities=quantities,
        marks=(
            Mark(float(rises[0]), float(rises[-1]), "measured"),
            *(Mark(time, time + period, "missing") for time in missing[:200]),
        ),
        missing=missing,
    )


def _edge_time(values: Floats, rate: float, crossings: Edges, levels: Levels, *, rising: bool) -> float:
    """Median time from 10 to 90 % of the swing (or back), in seconds."""
    spans = []
    sense = values if rising else -values
    low, high = (levels.low, levels.high) if rising else (-levels.high, -levels.low)
    bottom, top = low + 0.1 * (high - low), low + 0.9 * (high - low)
    for time in crossings.of(rising)[:100]:
        place = int(time * rate)
        reach = int(min(0.01, 0.45 * float(np.median(np.diff(crossings.times)))) * rate) + 2
        before, after = sense[max(place - reach, 0) : place + 1], sense[place + 1 : place + 1 + reach]
        under, over = np.flatnonzero(before <= bottom), np.flatnonzero(after >= top)
        if under.size and over.size:
            spans.append((over[0] + before.size - under[-1]) / rate)
    return max(float(np.median(spans)) - 1.0 / rate, 0.0) if spans else float("nan")
