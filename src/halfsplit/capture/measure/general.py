"""What can be said of any trace: extremes, mean, effective value, frequency and duty, rise, noise, clipping.

For a channel whose role is not known. Nothing is judged; the roles whose traces look like this one are named.
"""

from dataclasses import dataclass
from typing import Any, ClassVar, Final

import numpy as np

from halfsplit.capture.measure.duty_cycle import duty_cycle, duty_edges
from halfsplit.capture.measure.result import Quantity, Result
from halfsplit.capture.measure.shape import Shape, roles_like
from halfsplit.capture.measure.signal import Edges, Floats, clipped, noise, repetition, thinned, two_levels

_TAKEN: Final = ("frequency", "duty", "rise time", "fall time")
"""Quantities of the duty cycle that any switched signal has."""

_LONGEST: Final = 1 << 16
"""Samples in which a frequency is looked for."""

_REPEATS: Final = 0.7
_CLIPPED: Final = 0.01


@dataclass(frozen=True, kw_only=True)
class GeneralResult(Result):
    """`channel` is the trace's name, `roles` those that its shape suggests, the likeliest first."""

    analysis: ClassVar[str] = "general"

    channel: str = ""
    roles: tuple[str, ...] = ()

    def details(self) -> tuple[str, ...]:
        """The suggested roles."""
        return (f"its shape suggests: {', '.join(self.roles)}",) if self.roles else ()

    def as_dict(self) -> dict[str, Any]:
        """With the channel and the suggested roles."""
        return super().as_dict() | {"channel": self.channel, "roles": list(self.roles)}


def general(name: str, values: Floats, rate: float | None, unit: str) -> GeneralResult:
    """Measure a sampled trace in `unit`; without a rate (samples a second) times are left out."""
    known = values[np.isfinite(values)]
    if not known.size:
        return GeneralResult(verdict="cannot tell", reason=f"channel {name!r} holds no number", channel=name)
    mean, error = float(known.mean()), noise(known)
    quantities = [
        Quantity("lowest", float(known.min()), unit, error),
        Quantity("highest", float(known.max()), unit, error),
        Quantity("mean", mean, unit, error / known.size**0.5),
        Quantity("effective value", float(np.sqrt(np.mean(known**2))), unit),
        Quantity("noise", error, unit),
    ]
    if rate and known.size == values.size:
        quantities += _repeated(values, rate)
    share = clipped(known)
    cut = f"{100 * share:.0f} % of the samples are cut off: choose a wider range"
    roles = roles_like(_shape(values, rate, unit))
    return GeneralResult(
        verdict="measured",
        reason=_reason(name, roles),
        quantities=tuple(quantities),
        notes=() if share < _CLIPPED else (cut,),
        channel=name,
        roles=roles,
    )


def general_edges(name: str, signal: Edges, resolution: float) -> GeneralResult:
    """The same from a record of edges whose clock has steps of `resolution` seconds."""
    measured = duty_edges(signal, resolution)
    quantities = tuple(quantity for quantity in measured.quantities if quantity.name in _TAKEN)
    widths = np.diff(signal.times)
    shortest = float(np.quantile(widths, 0.02)) if widths.size else 0.0
    roles = roles_like(Shape("", 0.0, 1.0, 0.0, 1.0, 0.5, levels=(0.0, 1.0), shortest=shortest))
    return GeneralResult(
        verdict="measured",
        reason=_reason(name, roles),
        quantities=(Quantity("edges", float(signal.times.size), ""), *quantities),
        channel=name,
        roles=roles,
    )


def _reason(name: str, roles: tuple[str, ...]) -> str:
    return f"channel {name!r} has no role" + (f"; it looks like {' or '.join(roles)}" if roles else "")


def _repeated(values: Floats, rate: float) -> list[Quantity]:
    """What any switched trace has, or the frequency at which one without levels comes again."""
    if two_levels(values) is not None:
        switched = [each for each in duty_cycle(values, rate).quantities if each.name in _TAKEN]
        if switched:
            return switched
    part = values[:_LONGEST]
    if part.size < 32 or not float(np.ptp(part)):
        return []
    period, alike = repetition(part, rate, 4 / rate, part.size / rate / 3)
    if alike < _REPEATS or period <= 0:
        return []
    return [Quantity("frequency", 1.0 / period, "Hz", 0.5 / (period**2 * rate))]


def _shape(values: Floats, rate: float | None, unit: str) -> Shape:
    part = thinned(values)
    part = part[np.isfinite(part)]
    low, middle, high = np.quantile(part, (0.02, 0.5, 0.98)).tolist()
    levels = two_levels(part)
    shortest = 0.0
    if levels and rate:
        walls = np.flatnonzero(np.diff(values[:_LONGEST] > levels.middle))
        shortest = float(np.quantile(np.diff(walls), 0.02)) / rate if walls.size > 3 else 0.0
    rests = (levels.low, levels.high) if levels else None
    return Shape(unit, float(part.min()), float(part.max()), low, high, middle, rests, shortest)
