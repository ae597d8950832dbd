"""Where in a trace the starter turns the engine, and how fast the compressions follow one another.

The starter's current follows the load: it stands highest where a piston works against its compression. On a
four-stroke engine one compression of each cylinder falls in two turns, so the ripple has cylinders / 2 waves a
turn. Where a cylinder is weak the ripple repeats only every two turns, and the engine's inertia makes the slow part
of it the larger one; the derivative of the trace undoes that, so the rate is looked for there.
"""

from dataclasses import dataclass
from typing import Final

import numpy as np

from halfsplit.capture.measure.result import CannotTell
from halfsplit.capture.measure.signal import (
    Floats,
    autocorrelation,
    beside,
    joined,
    runs,
    smooth,
    strongest_line,
)

LEAST_RATE: Final = 200.0
"""Samples a second; the ripple of a starter is 3 to 25 Hz."""

SLOWEST, FASTEST = 60.0, 450.0
"""Crankshaft speeds in rpm between which a starter turns an engine (common practice, no source)."""

_AVERAGE: Final = 0.15
"""Seconds over which the ripple is averaged to find the span."""

_BREATH: Final = 0.35
"""Seconds for which the averaged trace may leave the level of cranking."""

_LEAST_AMPS: Final = 30.0
_LEAST_DIP: Final = 0.4


@dataclass(frozen=True)
class Span:
    """Sample numbers: the starter takes hold at `onset` and lets go at `end`; `rest` is the level before.

    `onset` is None where the recording starts while the engine turns already, and `rest` then too.
    """

    onset: int | None
    first: int
    end: int
    rest: float | None

    def steady(self, rate: float) -> slice:
        """From 0.35 s after the onset, or a third of the span if that is shorter, to a little before the end."""
        skip = min(int(0.35 * rate), (self.end - self.first) // 3) if self.onset is not None else 0
        return slice(self.first + skip, max(self.end - int(0.03 * rate), self.first + skip + 8))


def by_current(amps: Floats, rate: float) -> Span:
    """The longest stretch in which the averaged current is over 0.35 of its high level.

    `amps` must be positive while cranking. Raises `CannotTell` where no starter current is seen.
    """
    average = smooth(amps, int(_AVERAGE * rate))
    rest = float(np.median(amps[: max(int(0.05 * rate), 4)]))
    level = float(np.quantile(average, 0.9))
    if level - min(rest, level / 2) < _LEAST_AMPS:
        raise CannotTell(f"the current reaches {level:.0f} A at most: no starter turns in this trace")
    wall = 0.35 * level if rest > 0.35 * level else rest + 0.35 * (level - rest)
    return _span(average > wall, amps, rest if rest < wall else None, rate, wall)


def by_volts(volts: Floats, rate: float) -> Span:
    """The longest stretch in which the averaged volts are low."""
    average = smooth(volts, int(_AVERAGE * rate))
    rest = float(np.median(volts[: max(int(0.05 * rate), 4)]))
    low, highest = float(np.quantile(average, 0.1)), float(average.max())
    if highest - low < _LEAST_DIP:
        raise CannotTell(f"the volts dip by {highest - low:.2f} V only: no starter turns in this trace")
    known = rest - low > _LEAST_DIP
    wall = low + 0.5 * ((rest if known else highest) - low)
    return _span(average < wall, -volts, rest if known else None, rate, -wall)


def _span(mask: np.ndarray, raised: Floats, rest: float | None, rate: float, wall: float) -> Span:
    # A cylinder without compression lets the current fall for a moment: short gaps do not end the span.
    first, end = max(joined(runs(mask), int(_BREATH * rate)), key=lambda run: run[1] - run[0])
    if end - first < 0.4 * rate:
        raise CannotTell(f"the starter turns for {(end - first) / rate:.2f} s only: 0.4 s are needed")
    if rest is None or first == 0:
        return Span(None, first, end, rest)
    half = int(_AVERAGE * rate / 2)
    sharp = np.flatnonzero(raised[max(first - half, 0) : first + 2 * half] > wall)
    onset = max(first - half, 0) + int(sharp[0]) if sharp.size else first
    return Span(onset, onset, max(end - half, onset + 1), rest)


@dataclass(frozen=True)
class Rhythm:
    """Seconds from compression to compression and the height of the repetition (1: exactly alike)."""

    period: float
    likeness: float


def rhythm(signal: Floats, rate: float, cylinders: int | None) -> Rhythm:
    """The rhythm of the compressions in the steady part of a trace.

    The strongest line of the derivative's spectrum between the speeds that a starter reaches; then the
    autocorrelation over two turns sharpens it. Raises `CannotTell` where nothing repeats.
    """
    per_turn = (cylinders or 4) / 2.0
    least, most = SLOWEST / 60.0 * per_turn, FASTEST / 60.0 * per_turn
    if signal.size < 2.5 * rate / least and signal.size < 0.5 * rate:
        raise CannotTell(f"the engine turns steadily for {signal.size / rate:.2f} s only: 0.5 s are needed")
    even = smooth(signal, int(rate / (4 * most)))
    slow = smooth(even, int(2.0 * rate / least))
    ripple = even - slow
    frequency, _ = strongest_line(np.diff(ripple), rate, least, most, finer=8)
    if not frequency > 0:
        raise CannotTell("the trace shows no ripple that repeats: no compressions are seen in it")
    waves = (cylinders or 1) if signal.size > 1.6 * (cylinders or 1) * rate / frequency else 1
    period, likeness = waves / frequency, 0.0
    correlation = autocorrelation(ripple - ripple.mean(), int(1.2 * period * rate) + 2)
    first = int(0.85 * period * rate)
    part = correlation[first : int(1.15 * period * rate) + 1]
    if part.size >= 3:
        best = first + int(np.argmax(part))
        likeness = float(correlation[best])
        if 0 < best < correlation.size - 1:
            period = (best + beside(correlation, best)) / rate
    if likeness < 0.25:
        raise CannotTell("the trace shows no ripple that repeats: no compressions are seen in it")
    return Rhythm(period / waves, likeness)


def upright(amps: Floats) -> tuple[Floats, bool]:
    """The current with its larger side positive, and whether it was turned (the clamp sat the other way round)."""
    low, high = np.quantile(amps, [0.02, 0.98])
    turned = bool(-low > max(high, 0.0))
    return (-amps, True) if turned else (amps, False)
