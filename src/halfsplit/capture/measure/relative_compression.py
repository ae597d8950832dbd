"""Relative compression from the ripple of the starter's current, or of the battery's volts, while cranking.

Gas torque turns against the crank before each dead centre and with it after. The starter's torque is k I and its
speed (V - R I) / k, so the torque that the load asks for is

    k I + J dw/dt = k (I - T dI/dt) with the sign of dw/dt = -(R / k) dI/dt, hence  load = k (I + T dI/dt)

with T = J R / k^2, the time constant of engine and starter (some 40 to 160 ms). Taken from I alone, a weak cylinder
lends speed to its neighbours and makes them look strong; I + T dI/dt has no such memory. Each cylinder is measured
by the swing of that trace from its highest value before dead centre to its lowest after it. The swing hardly depends
on T (0.06 s is used) and follows the peak pressure: see the table in `docs/captures.md`.

All cylinders equally low look like all equally good. The share is against the strongest cylinder.
"""

import itertools
from collections.abc import Sequence
from dataclasses import dataclass, field
from itertools import pairwise
from typing import ClassVar, Final, Literal

import numpy as np

from halfsplit.capture.measure.result import CannotTell, Mark, Quantity, Result, answers
from halfsplit.capture.measure.signal import Floats, clipped, maxima, require, smooth
from halfsplit.capture.measure.starting import LEAST_RATE, by_current, by_volts, rhythm, upright

WEAK: Final = 0.85
"""Share under which a cylinder is weak; within 10 to 15 % is usual (common practice, no source)."""

_WEAK_OF_MANY: Final = 0.75
"""The same from seven cylinders on, whose compressions overlap: a sound one beside a weak one reads down to 0.83."""

_INERTIA: Final = 0.06
"""Seconds: T in the formula above."""

_LEAST_CYCLES: Final = 2
_UNSURE: Final = 0.08
"""Standard error of a share from which it cannot be judged."""


@dataclass(frozen=True, kw_only=True)
class CompressionResult(Result):
    """`shares[i]` of the strongest for `cylinders[i]`; without a sync pulse the numbers are places in the order.

    `peaks` are the times in seconds of the humps that were used, cycle by cycle.
    """

    analysis: ClassVar[str] = "relative compression"

    cylinders: tuple[int, ...] = ()
    shares: tuple[float, ...] = ()
    named: bool = False
    cycles: int = 0
    peaks: Floats = field(default_factory=lambda: np.empty(0), compare=False, repr=False)


@answers(CompressionResult)
def relative_compression(
    signal: Floats,
    rate: float,
    *,
    kind: Literal["amps", "volts"],
    cylinders: int,
    firing_order: Sequence[int] = (),
    sync: Floats | None = None,
    sync_cylinder: int = 1,
    sync_degrees: float = 0.0,
) -> CompressionResult:
    """Shares from starter amps or battery volts at `rate` samples a second.

    `sync` are the times (s from the first sample) of a pulse once a cycle, `sync_degrees` crank degrees after the
    dead centre of `sync_cylinder` (an ignition pulse: about 0 to -10). Raises nothing: see the verdict.
    """
    require(rate, signal, least_rate=LEAST_RATE, least_seconds=1.0, what="relative compression")
    order = _order(firing_order, cylinders)
    if kind == "volts":
        raised, span = -signal, by_volts(signal, rate)
        notes = ["from the battery's volts: coarser than from the current"]
    else:
        raised, turned = upright(signal)
        span = by_current(raised, rate)
        notes = ["the clamp sits the other way round: the sign was turned"] if turned else []
    beat = rhythm(raised[span.steady(rate)], rate, cylinders)
    cycle = beat.period * cylinders
    first = span.first + (int(0.6 * cycle * rate) if span.onset is not None else 0)
    # Smoothed over a fifth of a compression, then without the engine's inertia.
    even = smooth(smooth(raised, int(0.2 * beat.period * rate)), int(0.15 * beat.period * rate))
    even = even + _INERTIA * rate * np.gradient(even)
    peaks = _peaks(even, first, span.end, beat.period * rate)
    # From each hump to the lowest value before the next one.
    heights = np.array([even[a] - even[a:b].min() for a, b in pairwise(peaks)])
    peaks, heights = _regular(peaks[:-1], heights, cylinders)
    if clipped(signal[peaks[0] : peaks[-1]]) > 0.02:
        raise CannotTell("the ripple is clipped: choose a wider range, or take less gain")
    place = _sync_place(peaks / rate, beat.period, cylinders, sync, sync_degrees)
    table = _table(heights, place or 0, cylinders)
    begin = order.index(sync_cylinder) if sync_cylinder in order else 0
    numbers = order[begin:] + order[:begin] if place is not None else tuple(sorted(order))
    used = peaks[place or 0 :][: table.size] / rate
    return _judged(table, numbers, used, cycle, named=place is not None, notes=notes)


def _order(firing_order: Sequence[int], cylinders: int) -> tuple[int, ...]:
    """The firing order, where none is known that of the numbers. Raises `CannotTell` for one that cannot be."""
    if cylinders < 2:
        raise CannotTell("one cylinder has none to compare with")
    order = tuple(firing_order) or tuple(range(1, cylinders + 1))
    if sorted(order) != list(range(1, cylinders + 1)):
        written = "-".join(map(str, order))
        raise CannotTell(f"the firing order {written} does not name {cylinders} cylinders once each")
    return order


def _peaks(even: Floats, first: int, last: int, period: float) -> np.ndarray:
    """One sample number for each compression, tracked from the highest hump near the start.

    The next hump is looked for between 0.65 and 1.4 periods on; where there is none (a cylinder without
    compression) its place is taken to be one period on. The period follows the humps slowly.
    """
    start = first + int(np.argmax(even[first : first + int(1.5 * period)]))
    places = [start]
    step = period
    while places[-1] + 1.5 * step < last:
        begin, end = places[-1] + int(0.65 * step), places[-1] + int(1.4 * step)
        tops = begin + maxima(even[begin:end])
        places.append(int(tops[np.argmax(even[tops])]) if tops.size else places[-1] + int(step))
        if len(places) > 4:
            mean = np.clip((places[-1] - places[-5]) / 4, 0.7 * period, 1.4 * period)
            step = 0.8 * step + 0.2 * float(mean)
    return np.array(places, dtype=np.int64)


def _regular(peaks: np.ndarray, heights: Floats, cylinders: int) -> tuple[np.ndarray, Floats]:
    """Cut off where the engine fires: humps that come much faster, or shrink together, no longer count."""
    count = heights.size // cylinders
    if count < _LEAST_CYCLES:
        needed = f"{2 * cylinders} are needed"
        raise CannotTell(f"{heights.size} compressions in a steady rhythm were recorded: {needed}")
    lengths = np.array([peaks[(i + 1) * cylinders - 1] - peaks[i * cylinders] for i in range(count)])
    sizes = heights[: count * cylinders].reshape(count, cylinders).max(axis=1)
    usual, size = np.median(lengths[: max(2, count // 2)]), np.median(sizes[: max(2, count // 2)])
    off = np.flatnonzero((lengths < 0.75 * usual) | (sizes < 0.5 * size) | (sizes > 2.0 * size))
    keep = int(off[0]) * cylinders if off.size else heights.size
    if keep < _LEAST_CYCLES * cylinders:
        raise CannotTell("the engine fires or changes its speed before two full cycles: keep it from firing")
    return peaks[:keep], heights[:keep]


def _sync_place(
    times: Floats, period: float, cylinders: int, sync: Floats | None, degrees: float
) -> int | None:
    """Which place of the cycle (the number of the hump modulo cylinders) belongs to the sync pulse's cylinder.

    The load is highest some 30 degrees before the dead centre, a sixth of a period of four cylinders.
    """
    if sync is None or not sync.size:
        return None
    centres = sync - degrees / 720.0 * period * cylinders
    inside = centres[(centres > times[0] - 0.4 * period) & (centres < times[-1] + 0.6 * period)]
    if inside.size < 2:
        return None
    expected = times + 60.0 / 720.0 / 2.0 * period * cylinders
    nearest = np.argmin(np.abs(expected[None, :] - inside[:, None]), axis=1)
    counts = np.bincount(nearest % cylinders, minlength=cylinders)
    best = int(np.argmax(counts))
    if counts[best] < 0.7 * inside.size:
        raise CannotTell("the sync pulse comes at different places of the cycle: it is not once in two turns")
    return best


def _table(heights: Floats, start: int, cylinders: int) -> Floats:
    """Cycles by cylinders, each cycle divided by its highest hump's usual size."""
    count = (heights.size - start) // cylinders
    if count < 1:
        raise CannotTell("less than one full cycle lies after the sync pulse")
    table = heights[start : start + count * cylinders].reshape(count, cylinders)
    strongest = int(np.argmax(table.mean(axis=0)))
    drift = np.mean(np.sort(table, axis=1)[:, -max(1, cylinders // 2) :], axis=1, keepdims=True)
    even = table / drift
    return np.asarray(even / even[:, strongest].mean())


def _judged(
    table: Floats, numbers: tuple[int, ...], peaks: Floats, cycle: float, *, named: bool, notes: list[str]
) -> CompressionResult:
    error, factor = _error(table)
    shares = dict(sorted(zip(numbers, table.mean(axis=0).tolist(), strict=True)))
    lowest, second = min(shares.values()), sorted(shares.values())[-2]
    label = "cylinder" if named else "place"
    limit = WEAK if len(shares) < 7 else _WEAK_OF_MANY
    alone = len(shares) > 2 and second < limit
    weak = [n for n, share in shares.items() if share + factor * error < limit and not alone]
    shaky = alone or error > _UNSURE
    if weak:
        parts = " and ".join(f"{label} {n} at {100 * shares[n]:.0f} %" for n in weak)
        name_it = "; record a sync pulse of cylinder 1 to name it (places count from the first hump)"
        reason = f"{parts} of the strongest{'' if named else name_it}"
    elif shaky:
        reason = "the humps differ from cycle to cycle by more than they differ between cylinders: crank for longer"
    else:
        reason = f"all within {100 * (1 - lowest):.0f} % of the strongest"
    times = zip(peaks.tolist(), itertools.cycle(numbers), strict=False)
    return CompressionResult(
        verdict="fault" if weak else "cannot tell" if shaky else "good",
        reason=reason,
        quantities=(
            *(Quantity(f"{label} {n}", 100 * share, "%", 100 * error) for n, share in shares.items()),
            Quantity("cranking speed", 120.0 / cycle, "rpm", 120.0 / cycle * 0.01),
        ),
        marks=tuple(Mark(time, time, f"{label} {number}") for time, number in times),
        notes=(*notes, "against the strongest cylinder; all equally low would look alike"),
        cylinders=tuple(shares),
        shares=tuple(shares.values()),
        named=named,
        cycles=len(table),
        peaks=peaks,
    )


def _error(table: Floats) -> tuple[float, float]:
    """Standard error of a share, and how many of them are as rare as three of a normal distribution.

    From all cylinders together, since two or three cycles of one tell little of how they scatter (Student's t).
    """
    from scipy.special import ndtr, stdtrit  # slow to import

    cycles, cylinders = table.shape
    if cycles < _LEAST_CYCLES:
        return 0.1, 3.0
    free = (cycles - 1) * cylinders
    spread = float(np.sqrt(np.sum((table - table.mean(axis=0)) ** 2) / free))
    return spread / float(np.sqrt(cycles)), float(stdtrit(free, ndtr(3.0)))
