"""Motor current of a pump or fan: mean, commutator segments, speed, an uneven segment, locked or running free.

Each segment carries the current while its EMF is the largest, so the current dips and rises once a segment (with an
odd number of segments and two brushes, twice as often). No two segments are alike: the pattern of dips comes again
every turn. The ripple's rate over the pattern's rate is the number of ripples a turn; the pattern's rate is the speed.
A rotor that stands has no ripple, and the current stays at battery volts over resistance.
"""

from dataclasses import dataclass
from typing import ClassVar, Final

import numpy as np

from halfsplit.capture.measure.result import CannotTell, Mark, Quantity, Result, Verdict, answers
from halfsplit.capture.measure.signal import (
    Floats,
    autocorrelation,
    clipped,
    maxima,
    noise,
    require,
    smooth,
    strongest_line,
)
from halfsplit.capture.measure.starting import upright
from halfsplit.capture.measure.trust import coupled

_LEAST_RATE: Final = 2000.0
_SLOWEST, _FASTEST = 40.0, 20_000.0
"""Ripples a second between which a motor's commutation lies."""

_MOST_SEGMENTS: Final = 40
_MOST_RIPPLES: Final = 96

_UNEVEN: Final = 2.2
"""Depth of two ripples in a row, against the usual one, from which the segment between them is uneven.

Segments that are 5 % apart, as sound ones may be, reach 1.7 with ten of them; one a third weaker gives 2.3 and more.
"""

_SHORTEST_TURN: Final = 1 / 400
"""Seconds: no motor of a pump or fan turns faster than 24,000 rpm (common practice, no source)."""

_MOST_JUDGED: Final = 12
"""Ripples a turn up to which that holds: with more the ripple is so small that sound segments differ as much."""

_LEAST_ALIKE: Final = 6
_ALIKE: Final = 1.4
"""Depth against the usual one within which ripples are alike."""

_NOISY_DEPTH: Final = 0.05
"""Noise of the mean turn, against the usual depth, up to which its ripples can be compared."""


@dataclass(frozen=True, kw_only=True)
class MotorResult(Result):
    """`segments` is the number of ripples a turn (0 if not told), `depths` their sizes against the usual one."""

    analysis: ClassVar[str] = "motor current"

    segments: int = 0
    depths: tuple[float, ...] = ()


@answers(MotorResult)
def motor_current(
    amps: Floats, rate: float, *, segments: int | None = None, rated_amps: float | None = None
) -> MotorResult:
    """Current of a direct-current motor at `rate` samples a second.

    `segments` are the ripples a turn, if known; `rated_amps` serves the verdict on load.
    """
    require(rate, amps, least_rate=_LEAST_RATE, least_seconds=0.05, what="a motor's commutation")
    if coupled(amps):
        return _without_direct_part(amps, rate, segments)
    amps, turned = upright(amps)
    steady = _steady(amps, rate)
    part, error = amps[steady], noise(amps)
    mean, inrush = float(part.mean()), float(amps.max())
    notes = ["the clamp sits the other way round: the sign was turned"] if turned else []
    quantities = [Quantity("mean current", mean, "A", error / part.size**0.5 + 0.01 * mean)]
    if steady.start > 0.02 * rate:
        quantities.append(Quantity("inrush current", inrush, "A", error))
    ripple, period = _ripple(part, rate, mean)
    if period is not None and period * rate < 6:
        raise CannotTell(f"{rate:g} samples a second give {period * rate:.1f} samples a ripple: 6 are needed")
    turned_in = _turn(ripple, rate, period, segments) if period is not None else None
    count, depths = 0, tuple[float, ...]()
    if period is None:
        verdict, reason = _without_ripple(mean, inrush, rate, error)
    elif turned_in is None:
        quantities.append(Quantity("ripple frequency", 1.0 / period, "Hz", 0.01 / period))
        notes.append("all ripples are alike: no turn is seen; give the number of segments for the speed")
        verdict, reason = "measured", f"{mean:.2f} A, {1.0 / period:.0f} ripples a second"
    else:
        count, turn = turned_in
        quantities.append(Quantity("ripple frequency", count / turn, "Hz", 0.01 * count / turn))
        quantities += _speed(count, turn)
        depths = _depths(ripple, rate, turn, count)
        verdict, reason = _judged(mean, 60.0 / turn, depths, rated_amps)
    return MotorResult(
        verdict=verdict,
        reason=reason,
        quantities=tuple(quantities),
        marks=(Mark(steady.start / rate, steady.stop / rate, "steady"),),
        notes=tuple(notes),
        segments=count,
        depths=depths,
    )


def _speed(count: int, turn: float) -> tuple[Quantity, ...]:
    speed = 60.0 / turn
    return (Quantity("ripples a turn", float(count), ""), Quantity("speed", speed, "rpm", speed * 0.01))


def _without_direct_part(amps: Floats, rate: float, segments: int | None) -> MotorResult:
    """A clamp with alternating coupling: the ripple tells the speed, but nothing tells the load."""
    part = amps[amps.size // 2 :]
    swing = float(np.ptp(np.quantile(part, (0.01, 0.99))))
    ripple, period = _ripple(part, rate, swing)
    count, turn = (_turn(ripple, rate, period, segments) if period and period * rate >= 6 else None) or (
        0,
        0.0,
    )
    seen = f", though it turns at {60.0 / turn:.0f} rpm" if count else ""
    swings = f"the current swings by {swing:.2g} A about nought"
    return MotorResult(
        verdict="cannot tell",
        reason=f"{swings}; the direct part is missing: set the coupling to DC{seen}",
        quantities=(Quantity("swing", swing, "A", noise(amps)), *(_speed(count, turn) if count else ())),
        segments=count,
    )


def _steady(amps: Floats, rate: float) -> slice:
    """The last part of the running time: half of it, at most a second. Raises `CannotTell` where it carries nothing."""
    average = smooth(amps, int(0.01 * rate))
    if average.max() <= 0:
        raise CannotTell("no current flows in the recorded time")
    on = np.flatnonzero(average > 0.3 * float(np.median(average[average > 0.2 * average.max()])))
    if on.size < 0.05 * rate:
        raise CannotTell("the motor runs for less than 0.05 s in this trace")
    first, last = int(on[0]), int(on[-1]) + 1 - int(0.005 * rate)
    length = min((last - first) // 2, int(1.0 * rate))
    steady = slice(last - length if first > 0.01 * rate else max(first, last - 2 * length), last)
    mean = float(amps[steady].mean())
    if mean < 0.1:
        why = "the motor does not run, or a clamp cannot tell"
        raise CannotTell(f"the mean current is {1e3 * mean:.0f} mA: {why}")
    if clipped(amps[steady]) > 0.02:
        raise CannotTell("the current is clipped: choose a wider range")
    return steady


def _ripple(part: Floats, rate: float, mean: float) -> tuple[Floats, float | None]:
    """The ripple, and seconds from one to the next by its strongest line; None without one above the noise."""
    ripple = part - smooth(part, int(rate / _SLOWEST * 1.5))
    if float(ripple.std()) < 1e-3 * mean:
        return ripple, None
    line, height = strongest_line(ripple, rate, _SLOWEST, min(_FASTEST, 0.4 * rate), finer=2)
    return ripple, None if height < 12 else 1.0 / line


def _turn(ripple: Floats, rate: float, period: float, segments: int | None) -> tuple[int, float] | None:
    """Ripples a turn and seconds a turn; None where every ripple is like the next.

    The trace is like itself some ripples later, and more so a whole turn later. The turn is the first lag that comes
    near the best one; its last eight repetitions then give it once more, since a motor may still gain speed.
    """
    if segments:
        return segments, segments * period
    lag = _first_alike(ripple, min(ripple.size // 3, int(1.5 * _MOST_SEGMENTS * period * rate)))
    if lag is None:
        return None
    lag = _first_alike(ripple[-int(8 * lag) :], int(1.1 * lag)) or lag
    # The ripples of that turn are the lowest order at which the kinks of the mean turn, from segment to segment, add
    # up. Kinks are the second derivative: each line weighs with the square of its order. Those at equal distances add
    # up at their number and its multiples; uneven ones spread over all orders. Lines that the noise could make do not
    # count.
    lines = np.abs(np.fft.rfft(_laid_over(ripple, rate, lag / rate)))
    most = min(_MOST_RIPPLES, lines.size // 2)
    if most < 2 or lag / rate <= _SHORTEST_TURN:
        return None
    orders = np.arange(1, most + 1)
    floor = 5.0 * float(np.median(lines[most:]))
    kinks = np.where(lines[1 : most + 1] > floor, orders**2 * lines[1 : most + 1], 0.0)
    multiples = np.concatenate((kinks, np.zeros(2 * most)))
    together = kinks + multiples[2 * orders - 1] + multiples[3 * orders - 1]
    likely = np.where(kinks >= 0.45 * kinks.max(), together, 0.0)
    count = int(orders[np.argmax(likely >= 0.8 * likely.max())])
    return (count, lag / rate) if count > 1 else None


def _first_alike(ripple: Floats, longest: int) -> int | None:
    """The lag in samples of the first maximum of the autocorrelation that stands out with the best ones."""
    if longest < 8:
        return None
    correlation = autocorrelation(ripple - ripple.mean(), longest + 1)
    tops = maxima(correlation)
    tops = tops[correlation[tops] > 0.3]
    if not tops.size:
        return None
    best = float(correlation[tops].max())
    wall = best - max(0.06 * (best - float(np.median(correlation[tops]))), 0.002)
    return int(tops[correlation[tops] >= wall][0])


def _laid_over(ripple: Floats, rate: float, turn: float) -> Floats:
    """The mean of the last turns, from the highest place of the first ripple."""
    turns = min(int(ripple.size / rate / turn), 12)
    width = int(turn * rate)
    rows = [ripple[ripple.size - int((k + 1) * turn * rate) :][:width] for k in range(turns)]
    mean = np.mean(rows, axis=0)
    return np.roll(mean, -int(np.argmax(mean)))


def _depths(ripple: Floats, rate: float, turn: float, count: int) -> tuple[float, ...]:
    """Peak to peak of each ripple of a turn against the median one, from the last turns laid over each other."""
    if ripple.size < 2 * turn * rate or turn * rate < 4 * count:
        return ()
    mean = _laid_over(ripple, rate, turn)
    parts = np.array_split(mean, count)
    if noise(mean) > _NOISY_DEPTH * float(np.median([np.ptp(part) for part in parts])):
        return ()
    sizes = np.array([float(part.max() - part.min()) for part in parts])
    return tuple((sizes / np.median(sizes)).tolist())


def _without_ripple(mean: float, inrush: float, rate: float, error: float) -> tuple[Verdict, str]:
    if error > 0.02 * mean:
        return "cannot tell", f"noise of {error:.2f} A hides any ripple of {mean:.2f} A"
    if rate < 10_000:
        return "cannot tell", f"{rate:g} samples a second may be too slow for the ripple: record it faster"
    if mean > 0.8 * inrush:
        return "fault", f"{mean:.2f} A without any ripple, as high as at the start: the rotor is locked"
    return "cannot tell", f"{mean:.2f} A without a ripple: no motor with brushes, or a filter smooths it"


def _judged(mean: float, speed: float, depths: tuple[float, ...], rated: float | None) -> tuple[Verdict, str]:
    head = f"{mean:.2f} A at {speed:.0f} rpm"
    if depths:
        pairs = [min(pair) for pair in zip(depths, (*depths[1:], *depths[:1]), strict=True)]
        # One ripple, or two in a row, stand out from all others, which are alike.
        deepest, count = int(np.argmax(depths)), len(depths)
        others = np.delete(depths, [(deepest + step) % count for step in (-1, 0, 1)]) if count > 3 else pairs
        alike = count >= _LEAST_ALIKE and max(others) < _ALIKE and min(others) > 1 / _ALIKE
        if (count <= _MOST_JUDGED and max(pairs) > _UNEVEN) or (alike and max(depths) > _UNEVEN):
            depth = f"{100 * max(depths):.0f} % of the usual depth"
            return "fault", f"{head}; a segment is uneven: its ripple has {depth}"
    if rated is None:
        return "measured", f"{head}; give the rated current for a verdict on the load"
    if mean < 0.5 * rated:
        return "fault", f"{head}, under half of {rated:g} A: it runs free, nothing loads it"
    if mean > 1.5 * rated:
        return "fault", f"{head}, over 1.5 times {rated:g} A: it is overloaded or drags"
    return "good", f"{head}, near its rated {rated:g} A"
