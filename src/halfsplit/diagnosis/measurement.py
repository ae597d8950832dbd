"""Measurements and readings: what is asked of a vehicle, and what it answered."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Literal, Self

from halfsplit.circuit.instruments import INSTRUMENTS
from halfsplit.circuit.interventions import Intervention, LampFor
from halfsplit.quantities import QUANTITIES

Present = Literal["yes", "no", "unknown"]

NUMERIC = tuple(name for name, quantity in QUANTITIES.items() if quantity.numeric)
ANSWERS = {name: quantity.words for name, quantity in QUANTITIES.items() if quantity.words}
"""The words that a reading in words may be, by quantity."""
PIN_DRAG = "pin drag"
TRIED_AGAIN = "still dead with latch cleared, key cycled, leads straight at its pins and a substitute load"
CODING = "coding, immobiliser and software as they should be"
COMMAND = "its command seen in live data or by an actuator test"
ENDS = "both ends of the same wire: colour and cavity as drawn"
"""What else an inspection may be about. Leads at its pins leave out the terminals, which a look may miss."""
UNITS = {name: quantity.unit for name, quantity in QUANTITIES.items() if quantity.unit}
"""SI unit of a value, by quantity."""
MILLIVOLTS = 0.002
"""Volts to which a meter reads a steady drop on its smallest range; common practice, no source."""
OVER_RANGE = float("inf")
"""An ohmmeter that shows OL."""


@dataclass(frozen=True, slots=True)
class Measurement:
    """What is measured where, in which state, with what, after which interventions.

    ``at`` and ``to`` are points, or a part, cavity or wire by ``quantity``; ``to`` None is the battery's
    negative post. ``detail`` tells what else defines it: the kind of a fault code and its pin, the aspect of a look.
    """

    quantity: str
    at: str
    state: str
    to: str | None = None
    instrument: str | None = None
    changes: tuple[Intervention, ...] = ()
    detail: tuple[str, ...] = ()

    @property
    def in_millivolts(self) -> bool:
        """Whether it is a drop along what a lamp in place of a fuse feeds: steady, and read on the smallest range."""
        lamp = any(isinstance(change, LampFor) for change in self.changes)
        return lamp and self.quantity == "volts" and self.to is not None

    @property
    def floor(self) -> float:
        """The part of the standard deviation of a reading in volts or amperes that does not grow with it."""
        return MILLIVOLTS if self.in_millivolts else INSTRUMENTS[self.instrument or "meter"].floor

    @property
    def place(self) -> tuple[str, str | None, tuple[str, ...]]:
        """What is probed, apart from state and instrument."""
        return self.at, self.to, self.detail


class Between(float):
    """A reading of which only the range is known, from ``low`` up to ``high`` (SI); its number is a typical one.

    For readings that are thought of, not made: nothing is told apart within the range.
    """

    low: float
    high: float

    def __new__(cls, typical: float, low: float, high: float) -> Self:
        made = super().__new__(cls, typical)
        made.low, made.high = low, high
        return made


@dataclass(frozen=True, slots=True)
class Reading:
    """One piece of evidence. ``value`` in SI or one of the words; ``struck`` holds the reason once it is struck out."""

    id: str
    measurement: Measurement
    value: float | str
    present: Present = "yes"
    source: str = "reading"
    struck: str | None = None
    words: str = field(default="", compare=False)

    @property
    def number(self) -> float:
        return float(self.value)


def answers_for(measurement: Measurement) -> tuple[str, ...]:
    """The words that this measurement may answer; empty for a number."""
    return ANSWERS.get(measurement.quantity, ())
