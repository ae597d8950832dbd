"""The voltages of a CAN pair against ISO 11898-2, and what they say about the two wires.

Recessive: both lines rest at 2.0 to 3.0 V, the difference is -0.5 to 0.05 V. Dominant: CAN high 2.75 to 4.5 V,
CAN low 0.5 to 2.25 V, the difference 1.5 to 3.0 V into two terminators of 120 ohm (60 ohm together).

Only the dominant level is driven. A unit behind an open line is joined to the other line by its own terminator,
so there both lines follow the one that is whole. With one terminator missing the difference grows, since the
drivers meet 120 ohm in place of 60, and the return to recessive, which the terminators alone bring about,
takes twice as long.
"""

from dataclasses import dataclass
from typing import Final

import numpy as np

from halfsplit.capture.measure.result import Quantity
from halfsplit.capture.measure.signal import Edges, Floats, noise, smooth, thinned

SWING: Final = 0.45
"""Volts by which a line moves if it carries signals."""

_NOISE_ALONE: Final = 5.2
"""Standard deviations from the 0.5 % to the 99.5 % quantile of noise without a signal."""

_TOGETHER: Final = 0.35
_GROUND: Final = 0.5
_SUPPLY: Final = 5.6
_LARGE: Final = 2.6
"""Dominant difference in volts above which a terminator may be missing; 432 identifiers of ten real vehicles had
1.87 to 2.46 V (Popa et al. 2022)."""


@dataclass(frozen=True)
class Line:
    """One wire: its lowest and highest level (0.5 and 99.5 % of the samples), the middle one, its noise; volts."""

    low: float
    high: float
    rest: float
    noise: float = 0.0

    @property
    def moves(self) -> bool:
        """Whether it carries signals."""
        return self.high - self.low > SWING + _NOISE_ALONE * self.noise


def line(values: Floats) -> Line:
    """The levels of a wire."""
    low, rest, high = np.quantile(thinned(values), [0.005, 0.5, 0.995])
    return Line(float(low), float(high), float(rest), noise(values))


def wiring_fault(high: Floats, low: Floats) -> str | None:
    """What is wrong with a pair whose difference carries no signal, or one of whose lines does not move."""
    first, second = line(high), line(low)
    if first.moves and second.moves:
        return _both_move(high, low, first, second)
    if first.moves:
        return _flat(second, "CAN low")
    if second.moves:
        return _flat(first, "CAN high")
    if min(first.rest, second.rest) > _SUPPLY:
        return f"the pair is shorted to supply: both lines stay at {first.rest:.1f} and {second.rest:.1f} V"
    if max(first.high - first.low, second.high - second.low) < 0.1:
        return None
    calm = [smooth(thinned(wire), 5) for wire in (high, low)]  # noise is each line's own
    alike = float(np.corrcoef(calm[0], calm[1])[0, 1])
    if alike > 0.8 and abs(first.rest - second.rest) < _TOGETHER and first.rest > 1.0:
        return "the two lines are together: they move by less than half a volt, and alike"
    return None


def _both_move(high: Floats, low: Floats, first: Line, second: Line) -> str | None:
    difference = line(high - low)
    if difference.moves:
        return None
    if abs(difference.rest) > _TOGETHER:
        return "both lines move alike at a fixed distance: one lead is not on the pair, or the ground lead is off"
    up, down = first.high - first.rest, first.rest - first.low
    if up > 1.5 * down and up > 0.8:
        return (
            "CAN low is open between here and the sender: both lines follow CAN high through the terminator"
        )
    if down > 1.5 * up and down > 0.8:
        return (
            "CAN high is open between here and the sender: both lines follow CAN low through the terminator"
        )
    return "the two lines are together: they carry the same voltage"


def _flat(wire: Line, name: str) -> str:
    if wire.rest < _GROUND:
        return f"{name} is shorted to body: it stays at {wire.rest:.2f} V while the other line moves"
    if wire.rest > _SUPPLY:
        return f"{name} is shorted to supply: it stays at {wire.rest:.2f} V while the other line moves"
    return f"{name} is open between here and the sender, or its lead is off: it stays at {wire.rest:.2f} V"


def silent_reason(high: Floats, low: Floats) -> str:
    """Why a pair without signals cannot be judged."""
    first, second = line(high), line(low)
    levels = f"CAN high rests at {first.rest:.2f} V, CAN low at {second.rest:.2f} V"
    if max(first.rest, second.rest) < _GROUND:
        return f"nothing is sent and {levels}: the bus is asleep, unfed or shorted to body; wake it and record again"
    return f"nothing is sent while it was recorded ({levels}); wake the bus and record again"


@dataclass(frozen=True)
class Levels:
    """Volts of both lines in both states: medians over the middles of the bits, and the spread of one sample."""

    recessive_high: float
    recessive_low: float
    dominant_high: float
    dominant_low: float
    difference: float
    spread: float
    return_time: float
    """Seconds from 90 to 10 % of the difference when a dominant stretch ends; nan if the rate is too low."""


def levels(high: Floats, low: Floats, rate: float, signal: Edges, bit: float) -> Levels:
    """Measure where the signal has rested for 0.4 of a bit; `signal` is high where recessive."""
    state = np.full(high.size, -1, np.int8)  # where it has not settled
    ends = np.append(signal.times[1:], high.size / rate)
    for start, end, up in zip(signal.times, ends, signal.rising, strict=True):
        state[int((start + 0.4 * bit) * rate) : int((end - 0.1 * bit) * rate)] = up
    recessive, dominant = state == 1, state == 0
    difference = high - low
    return Levels(
        recessive_high=float(np.median(high[recessive])),
        recessive_low=float(np.median(low[recessive])),
        dominant_high=float(np.median(high[dominant])),
        dominant_low=float(np.median(low[dominant])),
        difference=float(np.median(difference[dominant])),
        spread=float(np.std(difference[recessive])),
        return_time=_return_time(difference, rate, signal, bit),
    )


def _return_time(difference: Floats, rate: float, signal: Edges, bit: float) -> float:
    if bit * rate < 20:
        return float("nan")
    times = []
    for edge in signal.of(True)[:400]:
        first = int((edge - 0.5 * bit) * rate)
        part = difference[max(first, 0) : int((edge + 0.9 * bit) * rate)]
        if part.size < 10:
            continue
        top, rest = float(np.median(part[: part.size // 4])), float(np.median(part[-part.size // 6 :]))
        if top - rest > SWING:
            below_90 = np.flatnonzero(part < rest + 0.9 * (top - rest))
            below_10 = np.flatnonzero(part < rest + 0.1 * (top - rest))
            times.append(float(below_10[0] - below_90[0]) / rate)
    return float(np.median(times)) if times else float("nan")


def judged(levels: Levels, bit: float) -> list[str]:
    """What of the levels lies outside ISO 11898-2, the most telling first."""
    wrong = []
    slow = levels.return_time > 0.2 * bit
    if levels.difference > 3.0 or (levels.difference > _LARGE and slow):
        wrong.append(
            f"a terminator is missing by the look of it: the dominant difference is {levels.difference:.2f} V and the "
            f"return takes {100 * levels.return_time / bit:.0f} % of a bit; with the bus off it must be 60 ohm"
        )
    if levels.difference < 1.5:
        wrong.append(
            f"the dominant difference is {levels.difference:.2f} V, under 1.5 V: too low a resistance or a weak line"
        )
    for words, value, least, most in (
        ("CAN high rests at {:.2f} V", levels.recessive_high, 2.0, 3.0),
        ("CAN low rests at {:.2f} V", levels.recessive_low, 2.0, 3.0),
        ("CAN high is {:.2f} V when dominant", levels.dominant_high, 2.75, 4.5),
        ("CAN low is {:.2f} V when dominant", levels.dominant_low, 0.5, 2.25),
    ):
        if not least <= value <= most:
            wrong.append(f"{words.format(value)}, outside {least} to {most} V")
    return wrong


def quantities(levels: Levels) -> tuple[Quantity, ...]:
    """The levels with the spread of one sample as their uncertainty."""
    volts = {
        "CAN high recessive": levels.recessive_high,
        "CAN low recessive": levels.recessive_low,
        "CAN high dominant": levels.dominant_high,
        "CAN low dominant": levels.dominant_low,
        "dominant difference": levels.difference,
    }
    rows = tuple(Quantity(name, value, "V", levels.spread) for name, value in volts.items())
    seen = np.isfinite(levels.return_time)
    return (*rows, Quantity("return to recessive", levels.return_time, "s")) if seen else rows
