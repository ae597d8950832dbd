"""Injector: on-time, opening and closing of the needle, flyback, from its volts and its current.

The current of a coil rises as i = V / R (1 - exp(-t R / L)): its slope only ever falls. When the armature moves, its
flux grows and the back-EMF takes from the current; when it strikes the stop that ends at once and the slope leaps up:
the only place of a ramp with a rising slope is the opening. After the driver opens, the coil's volts decay with the
flux left in the iron, bent upwards all the way (convex). The armature's fall bends them down until it strikes the
seat: the strongest downward bend is the closing. A trace without the bend shows a needle that does not move.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from itertools import islice, zip_longest
from typing import ClassVar, Final

import numpy as np

from halfsplit.capture.measure.pulses import Pulse, above, ramps, resting, slope_noise, slopes, usual
from halfsplit.capture.measure.result import CannotTell, Mark, Quantity, Result, Verdict, answers
from halfsplit.capture.measure.signal import Floats, clipped, noise, require

_LEAST_RATE: Final = 10_000.0
_SHORTEST: Final = 0.3e-3
_SURE: Final = 6.0
"""A bend counts from this many times its noise."""

_WIDTHS: Final = (0.012, 0.02, 0.035, 0.06)
"""Shares of a pulse over which its slope is taken."""

_UNLIKE: Final = 10.0
"""Per cent by which an injector's times may differ from the others'. Common practice, no source."""


@dataclass(frozen=True, kw_only=True)
class InjectorResult(Result):
    """Medians over the pulses in seconds and volts; nan where the trace does not show it."""

    analysis: ClassVar[str] = "injector"

    on_time: float = float("nan")
    opening: float = float("nan")
    closing: float = float("nan")


@answers(InjectorResult)
def injector(volts: Floats | None, amps: Floats | None, rate: float) -> InjectorResult:
    """The low side's volts against ground and the current (either may be None) at `rate` samples a second.

    Opening is counted from the start of the pulse, closing from its end.
    """
    require(rate, volts, amps, least_rate=_LEAST_RATE, least_seconds=1e-3, what="an injector")
    pulses = _pulses(volts, amps, rate)
    if not pulses:
        raise CannotTell("no whole pulse was recorded: the injector is not driven, or the leads are off")
    opening, still, blur = _openings(amps, pulses, rate)
    closing = _closings(volts, pulses, rate)
    spans = np.array([(p.last - p.first) / rate for p in pulses])
    quantities = [usual("on-time", spans, "s", 1.0 / rate), Quantity("pulses", float(len(pulses)), "")]
    # The last is half the stretch that the slope was taken over.
    for name, times, half in (("opening", opening, blur), ("closing", closing, max(25e-6, 2.0 / rate))):
        quantities += [usual(name, times, "s", 1.0 / rate, half)] if times.size else []
    notes = []
    if volts is not None:
        reach = int(0.5e-3 * rate)
        peaks = [float(volts[p.last : p.last + reach].max()) for p in pulses if p.last + reach <= volts.size]
        peak = float(np.median(peaks)) if peaks else float("nan")
        quantities.append(Quantity("flyback peak", peak, "V", noise(volts)))
        if any(clipped(volts[max(p.last - 3, 0) : p.last + reach]) > 0.01 for p in pulses[:20]):
            wider = "take an attenuator or a wider range; its peak is a lower bound"
            notes.append(f"the flyback is clipped: {wider}")
    verdict, reason = _judged(spans, opening, closing, still=still, recorded=amps is not None)
    return InjectorResult(
        verdict=verdict,
        reason=reason,
        quantities=tuple(quantities),
        marks=_marks(pulses, opening, closing, rate),
        notes=tuple(notes),
        on_time=float(np.median(spans)),
        opening=_median(opening),
        closing=_median(closing),
    )


_MOST_NOISE: Final = 0.15
"""Noise against the feed up to which the volts show when the injector is on."""


def _pulses(volts: Floats | None, amps: Floats | None, rate: float) -> list[Pulse]:
    if volts is not None:
        rest = resting(volts)
        if rest < 5.0:
            lacking = "no feed reaches it, or the leads are exchanged"
            raise CannotTell(f"the low side rests at {rest:.1f} V: {lacking}")
        if noise(volts) <= _MOST_NOISE * rest:
            return above(-volts, rate, -0.4 * rest, -0.6 * rest, _SHORTEST)
        if amps is None:
            raise CannotTell(f"noise of {noise(volts):.1f} V hides the pulses: record the current too")
    if amps is None:
        raise CannotTell("neither volts nor current was recorded")
    pulses = ramps(amps, rate, (0.15, 0.08), 0.05, _SHORTEST)
    if pulses is None:
        raise CannotTell("no current flows in the recorded time")
    return pulses


def _openings(amps: Floats | None, pulses: list[Pulse], rate: float) -> tuple[Floats, bool, float]:
    """Seconds from the start of each pulse to the leap of the slope; whether clean ramps show none; its uncertainty.

    The slope is taken over ever longer stretches until most pulses show the leap: noise asks for the longer ones.
    """
    if amps is None:
        return np.empty(0), False, 0.0
    if any(clipped(pulse.of(amps)) > 0.05 for pulse in pulses[:20]):
        raise CannotTell("the current is clipped: choose a wider range")
    length = float(np.median([p.last - p.first for p in pulses]))
    clean = False
    for share in _WIDTHS:
        width = max(int(share * length), 3)
        bends = [_leap(pulse.of(amps), rate, width) for pulse in pulses]
        openings, sure = [at for at, _ in bends if at is not None], all(sure for _, sure in bends)
        if openings and (sure or len(openings) >= 0.8 * len(pulses)):
            return np.array(openings), False, 0.5 * width / rate
        clean = clean or sure
    return np.empty(0), clean, 0.0


def _leap(ramp: Floats, rate: float, width: int) -> tuple[float | None, bool]:
    """Seconds to the leap of the slope, if it is over the noise; and whether a leap could have been seen."""
    skip = 2 * width
    if ramp.size < 6 * skip:
        return None, False
    slope = slopes(ramp, rate, width / rate)[skip + width : -width]
    bend = slope[skip:] - slope[:-skip]
    best = int(np.argmax(bend))
    error = _SURE * 1.5 * slope_noise(ramp, rate, width / rate)
    first = float(np.abs(slope[: max(slope.size // 4, 1)]).mean())
    at = (skip + width + best + 0.5 * skip) / rate if bend[best] > max(error, 0.08 * first) else None
    return at, error < 0.5 * first


def _closings(volts: Floats | None, pulses: list[Pulse], rate: float) -> Floats:
    """Seconds from the end of each pulse to the strongest downward bend of the decaying volts."""
    if volts is None:
        return np.empty(0)
    rest = resting(volts)
    closings = []
    for pulse, until in zip(pulses, [*(p.first for p in pulses[1:]), volts.size], strict=True):
        tail = volts[pulse.last : min(until, pulse.last + int(0.006 * rate))]
        if tail.size < int(0.5e-3 * rate):
            continue
        top = int(np.argmax(tail))
        over = tail - rest
        low = np.flatnonzero(over[top:] < 0.05 * over[top])
        part = tail[top : top + (int(low[0]) if low.size else tail.size)]
        width = max(25e-6, 2.0 / rate)
        skip = int(2 * width * rate) + 1
        if part.size < 8 * skip:
            continue
        slope = slopes(part, rate, width)[2 * skip : -skip]
        bend = slope[skip:] - slope[:-skip]
        best = int(np.argmin(bend))
        if bend[best] < -max(_SURE * slope_noise(volts, rate, width), 0.02 * float(np.abs(slope).max())):
            closings.append((top + 2 * skip + best + 0.5 * skip) / rate)
    return np.array(closings)


def _median(values: Floats) -> float:
    return float(np.median(values)) if values.size else float("nan")


def _marks(pulses: list[Pulse], opening: Floats, closing: Floats, rate: float) -> tuple[Mark, ...]:
    """Where each pulse is on, and where it opens and closes if that was seen in all of them."""
    opens = opening.tolist() if opening.size == len(pulses) else []
    closes = closing.tolist() if closing.size == len(pulses) else []
    marks = []
    for pulse, opened, closed in islice(zip_longest(pulses, opens, closes), 100):
        start, stop = pulse.first / rate, pulse.last / rate
        marks.append(Mark(start, stop, "on"))
        marks += [Mark(start + opened, start + opened, "opens")] if opened is not None else []
        marks += [Mark(stop + closed, stop + closed, "closes")] if closed is not None else []
    return tuple(marks)


def _judged(
    spans: Floats, opening: Floats, closing: Floats, *, still: bool, recorded: bool
) -> tuple[Verdict, str]:
    head = f"{len(spans)} pulses of {1e3 * float(np.median(spans)):.2f} ms"
    if opening.size:
        head += f", opens after {1e3 * float(np.median(opening)):.2f} ms"
    if closing.size:
        head += f", closes after {1e3 * float(np.median(closing)):.2f} ms"
    if still:
        return "fault", f"{head}: the current rises without a bend, the needle does not move"
    if recorded and not opening.size:
        return "cannot tell", f"noise or rate hide any bend of the current ({head})"
    if opening.size and opening.size < 0.8 * len(spans):
        others = "noise hides the others, or the needle sticks at times"
        return "cannot tell", f"{head}: a bend in {opening.size} of {len(spans)} pulses only: {others}"
    return ("good" if opening.size or closing.size else "measured"), head


@answers(InjectorResult)
def compare(results: Mapping[str, InjectorResult]) -> InjectorResult:
    """Differences between injectors, by the names of their channels: each time against the median of all of them."""
    known = {name: result for name, result in results.items() if result.verdict != "cannot tell"}
    if len(known) < 2:
        raise CannotTell("fewer than two injectors could be measured")
    quantities = []
    for time in ("on-time", "opening", "closing", "flyback peak"):
        if all(time in result for result in known.values()):
            middle = float(np.median([result[time].value for result in known.values()]))
            for name, result in known.items():
                share = 100 * (result[time].value / middle - 1)
                quantities.append(Quantity(f"{name} {time}", share, "% from the median"))
    odd = [f"{each.name} {each.value:+.0f} %" for each in quantities if abs(each.value) > _UNLIKE]
    stuck = [f"{name} does not move" for name, result in known.items() if result.verdict == "fault"]
    reason = "; ".join([*stuck, *odd]) or f"all alike within {_UNLIKE:g} %"
    verdict: Verdict = "fault" if stuck or odd else "good"
    return InjectorResult(verdict=verdict, reason=reason, quantities=tuple(quantities))
