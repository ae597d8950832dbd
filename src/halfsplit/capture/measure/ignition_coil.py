"""Ignition coil: dwell, inductance, current limit, firing peak, burn time and missed events of the primary.

While the driver is on, L di/dt = V - R i; so the slope at the foot of the ramp is V / L. The cut turns the stored
energy L i^2 / 2 into the firing peak; while the gap burns, the secondary's burn volts stand over the supply in the
primary, divided by the turns ratio; when the energy is spent the rest rings out about the supply. A peak that rings out
at once burned nowhere.
"""

from dataclasses import dataclass
from typing import ClassVar, Final

import numpy as np

from halfsplit.capture.measure.pulses import Pulse, above, missed, ramps, resting, slope_noise, slopes, usual
from halfsplit.capture.measure.result import CannotTell, Mark, Quantity, Result, Verdict, answers
from halfsplit.capture.measure.signal import Floats, clipped, noise, require, smooth

_LEAST_RATE: Final = 10_000.0
_SHORTEST: Final = 0.4e-3
_BURN_RATE, _PEAK_RATE = 50_000.0, 150_000.0
"""Samples a second that the burn and the firing peak need; the peak lasts some 10 us."""

LEAST_BURN: Final = 0.4e-3
"""Seconds under which a spark did not burn; 0.8 to 2 ms is usual. Common practice, no source."""


@dataclass(frozen=True, kw_only=True)
class CoilResult(Result):
    """`missed` are the times (s) at which an event was due, `unburnt` the cuts after which nothing burned."""

    analysis: ClassVar[str] = "ignition coil"

    events: int = 0
    missed: tuple[float, ...] = ()
    unburnt: tuple[float, ...] = ()


@answers(CoilResult)
def ignition_coil(
    amps: Floats | None, volts: Floats | None, rate: float, *, supply: float | None = None
) -> CoilResult:
    """Primary current and the volts of its driven end (either may be None) at `rate` samples a second.

    `supply` is the coil's feed in volts for the inductance, where the volts were not recorded.
    """
    require(rate, amps, volts, least_rate=_LEAST_RATE, least_seconds=1e-3, what="an ignition coil")
    pulses = _pulses(amps, volts, rate)
    if not pulses:
        raise CannotTell("no whole charging of the coil was recorded: it is not driven, or the leads are off")
    dwell = np.array([(p.last - p.first) / rate for p in pulses])
    quantities = [usual("dwell", dwell, "s", 1 / rate), Quantity("events", float(len(pulses)), "")]
    notes: list[str] = []
    if amps is not None:
        feed = supply if supply is not None else resting(volts) if volts is not None else None
        quantities += _current(amps, pulses, rate, feed, notes)
    unburnt: tuple[float, ...] = ()
    if volts is not None:
        more, unburnt = _spark(volts, pulses, rate, notes)
        quantities += more
    lost = missed(np.array([p.last / rate for p in pulses]), neighbours=2)
    if lost and float(np.quantile(dwell, 0.9)) > 2 * float(np.quantile(dwell, 0.1)):
        raise CannotTell(
            f"{len(pulses)} events of very different length: noise or a coupling hides some of them"
        )
    verdict, reason = _judged(quantities, lost, unburnt)
    return CoilResult(
        verdict=verdict,
        reason=reason,
        quantities=tuple(quantities),
        marks=(
            *(Mark(p.first / rate, p.last / rate, "dwell") for p in pulses[:100]),
            *(Mark(t, t, "missed") for t in lost),
        ),
        notes=tuple(notes),
        events=len(pulses),
        missed=lost,
        unburnt=unburnt,
    )


def _pulses(amps: Floats | None, volts: Floats | None, rate: float) -> list[Pulse]:
    if amps is not None:
        pulses = ramps(amps, rate, (0.12, 0.06), 0.3, _SHORTEST)
        if pulses is None:
            reached = f"the current reaches {np.quantile(amps, 0.999):.2f} A only"
            raise CannotTell(f"{reached}: the coil is not charged, or the clamp is reversed")
        return pulses
    if volts is None:
        raise CannotTell("neither current nor volts were recorded")
    rest, error = resting(volts), noise(volts)
    if rest < _LEAST_SUPPLY:
        lacking = "the direct part is missing (set the coupling to DC)"
        raise CannotTell(f"the coil's volts rest at {rest:.1f} V: {lacking}")
    if error > _MOST_NOISE * rest:
        raise CannotTell(f"noise of {error:.1f} V hides when the coil is charged: record the current too")
    return above(-volts, rate, -0.4 * rest, -0.97 * rest, _SHORTEST)


def _current(
    amps: Floats, pulses: list[Pulse], rate: float, feed: float | None, notes: list[str]
) -> list[Quantity]:
    peaks = [float(smooth(pulse.of(amps), int(20e-6 * rate)).max()) for pulse in pulses]
    quantities = [Quantity("peak current", float(np.median(peaks)), "A", noise(amps))]
    starts = np.array([_first_slope(pulse.of(amps), rate) for pulse in pulses])
    starts = starts[np.isfinite(starts) & (starts > 0)]
    if starts.size:
        slope = usual("first slope", starts, "A/s")
        quantities.append(slope)
        if feed is not None:
            henry = feed / slope.value
            error = float(np.hypot(slope.uncertainty / slope.value, 0.05))
            quantities.append(Quantity("inductance", henry * 1e3, "mH", henry * 1e3 * error))
            notes.append("the driver's own volts are not known: the inductance may read some 5 % high")
    at_limit = []
    for ramp in (pulse.of(amps) for pulse in pulses):
        # The current stands at its top while its slope is under a tenth of the first.
        width = max(0.02 * ramp.size / rate, 4 / rate)
        slope_here = slopes(ramp, rate, width)
        start = float(np.quantile(slope_here[: max(slope_here.size // 3, 4)], 0.8))
        level = np.abs(slope_here) < max(0.1 * start, 3 * slope_noise(amps, rate, width))
        at_limit.append(float(np.mean(level & (ramp > 0.9 * np.quantile(ramp, 0.99)))))
    share = float(np.median(at_limit))
    if share > 0.04:
        quantities.append(Quantity("time at the current limit", 100 * share, "% of the dwell", 2.0))
    return quantities


def _first_slope(ramp: Floats, rate: float) -> float:
    """Slope at the foot from a second-degree curve over the part from 8 to 60 % of the peak."""
    top = float(np.quantile(ramp, 0.99))
    inside = np.flatnonzero((ramp > 0.08 * top) & (ramp < 0.6 * top))
    if inside.size < 8:
        return float("nan")
    first, last = int(inside[0]), int(inside[-1])
    times = np.arange(first, last + 1) / rate
    return float(np.polyfit(times, ramp[first : last + 1], 2)[1])


def _unseen(volts: Floats, rate: float, rest: float, pulses: list[Pulse]) -> str:
    """Why a trace cannot show the burn, '' where it can."""
    if rate < _BURN_RATE:
        needed = f"{_BURN_RATE:g} are needed"
        return f"{rate:g} samples a second do not show the firing peak and the burn: {needed}"
    if noise(volts) > _MOST_NOISE * abs(rest) or rest < _LEAST_SUPPLY:
        return "the volts are too noisy, or lack their direct part: the burn is not seen"
    charging = [float(np.quantile(pulse.of(volts), 0.1)) for pulse in pulses]
    if rest - float(np.median(charging)) < _LEAST_FALL:
        return "the volts do not fall while the coil is charged: the trace is cut off below, the burn is not seen"
    return ""


def _spark(
    volts: Floats, pulses: list[Pulse], rate: float, notes: list[str]
) -> tuple[list[Quantity], tuple[float, ...]]:
    rest = resting(volts)
    if unseen := _unseen(volts, rate, rest, pulses):
        notes.append(unseen)
        return [], ()
    peaks, burns, unburnt = [], [], []
    for pulse in pulses:
        tail = volts[pulse.last : pulse.last + int(0.008 * rate)]
        if tail.size < int(0.002 * rate):
            continue
        reach = tail[: int(_LIMITED * rate)]
        top = int(np.argmax(reach > rest + 0.5 * (reach.max() - rest)))
        cut = pulse.last + top
        if clipped(volts[max(cut - 3, 0) : cut + int(0.1e-3 * rate)]) > 0.01:
            notes.append("the firing peak is clipped: its value is a lower bound")
        peaks.append(float(reach.max()))
        burns.append(_burn(tail[top:] - rest, rate))
        unburnt += [pulse.last / rate] if burns[-1] < LEAST_BURN else []
    if len(unburnt) == len(burns) and (rate < _PEAK_RATE or max(burns, default=0.0) < _LEAST_SEEN):
        notes.append("no burn is seen after any cut: too slow a rate, a coupling or a cut-off trace hides it")
        return [], ()
    if rate < _PEAK_RATE:
        notes.append(f"the firing peak is shorter than the samples: {_PEAK_RATE:g} a second show it")
    notes[:] = list(dict.fromkeys(notes))
    if not peaks:
        return [], ()
    peak = Quantity("firing peak", float(np.median(peaks)), "V", float(np.std(peaks)))
    seen = [peak] if rate >= _PEAK_RATE else []
    return [*seen, usual("burn time", np.array(burns), "s", 1 / rate)], tuple(unburnt)


def _burn(over: Floats, rate: float) -> float:
    """Seconds from the peak until the volts over the supply leave the burn's level, half of it for 8 us on end."""
    after = int(70e-6 * rate)
    plateau = float(np.median(over[after : after + max(int(0.15e-3 * rate), 4)]))
    if plateau < 3.0:
        return 0.0
    low = over[after:] < 0.5 * plateau
    width = max(int(8e-6 * rate), 1)
    held = np.convolve(low, np.ones(width), "valid") >= width
    ends = np.flatnonzero(held)
    return float((after + (ends[0] if ends.size else over.size - after)) / rate)


_LIMITED: Final = 2e-3
"""Seconds for which a driver may hold its current limit, with volts like the supply's, before it cuts."""

_LEAST_SEEN: Final = 0.05e-3
"""Seconds: without a spark the coil still rings for longer than this."""

_MOST_MISSED: Final = 0.34
"""Share of events up to which those that are missed stand out from an order."""

_LEAST_SUPPLY: Final = 5.0
_LEAST_FALL: Final = 3.0
"""Volts by which the driven end falls while the coil is charged, whatever the offset of the recording."""
_MOST_NOISE: Final = 0.15
"""Noise against the supply up to which a coil's volts show charging and burn."""


def _judged(
    quantities: list[Quantity], missed: tuple[float, ...], unburnt: tuple[float, ...]
) -> tuple[Verdict, str]:
    named = {q.name: q.value for q in quantities}
    head = f"{named['events']:.0f} events, dwell {1e3 * named['dwell']:.2f} ms"
    if "peak current" in named:
        head += f", {named['peak current']:.1f} A"
    if "burn time" in named:
        head += f", burns {1e3 * named['burn time']:.2f} ms"
    if len(missed) > _MOST_MISSED * named["events"]:
        return "cannot tell", f"{head}: the events come in no order, noise may hide some of them"
    if missed:
        return "fault", f"{head}; {len(missed)} events are missed, the first at {missed[0]:.4f} s"
    if unburnt:
        return "fault", f"{head}; nothing burns after {len(unburnt)} cuts, the first at {unburnt[0]:.4f} s"
    return ("good" if "burn time" in named else "measured"), head
