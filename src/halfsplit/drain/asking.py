"""What a log has to be asked about before its figures mean anything: the instrument's zero, its way round, its unit."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

LEAST_ASLEEP = 0.010
"""A vehicle asleep draws at least some 10 mA: 1 to 10 mA a module (common practice, no source)."""

BELOW_ZERO = 0.003
MOST_STEADY = 30.0
"""A: no battery gives more for the hours of a log."""

MOST_ASSUMED = 2.0
"""A: where no unit was told, a current that is never lower is more likely in milliamperes."""

LEAST_PEAK = 0.0005
"""A: no vehicle stays under half a milliampere throughout."""


@dataclass(frozen=True, slots=True)
class Question:
    """What is asked, in words, and the answer that is proposed.

    zero: A, what the instrument shows without a current, None where it is not that. turned: the proposal for the way
    round, None to leave it. unit: the proposed unit, or nothing.
    """

    words: str
    zero: float | None = None
    turned: bool | None = None
    unit: str = ""


def question(amps: NDArray[np.float64], level: float | None, *, unit_said: bool) -> Question | None:
    """What must be asked of a log (amps in A, level: asleep in A or None), or None."""
    low, middle, high = np.quantile(np.abs(amps), [0.05, 0.5, 0.999])
    if middle > MOST_STEADY or (not unit_said and low > MOST_ASSUMED):
        said = "" if unit_said else "no unit is told and "
        return Question(
            f"{said}the values would be {_plain(low)} to {_plain(high)} A, which no vehicle that is parked draws for "
            f"hours. In which unit are they? As mA they are {_plain(low)} to {_plain(high)} mA.",
            unit="mA",
        )
    if high < LEAST_PEAK:
        return Question(
            f"the current never reaches {1000 * LEAST_PEAK:g} mA, less than any vehicle draws. In which unit is it, or "
            "does the current pass the instrument at all?",
            unit="A",
        )
    if level is not None and level < -BELOW_ZERO:
        zero = round(level - LEAST_ASLEEP, 3)
        return Question(
            f"the current is below zero asleep, {1000 * level:.0f} mA, and no parked vehicle gives current to its "
            "battery. The instrument's zero is off, or it was the wrong way round, or something charges the battery. "
            f"What does it show with its jaws closed and empty? With a zero of {1000 * zero:.0f} mA or below the rest "
            "makes sense.",
            zero=zero,
        )
    return None


def _plain(value: float) -> str:
    return f"{value:,.0f}" if value >= 100 else f"{value:.3g}"
