"""One thing that a proof asks for, and the cause that it is asked of."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass

from halfsplit.circuit.circuit import Solution
from halfsplit.circuit.faults import Fault
from halfsplit.circuit.interventions import Jump, Replace, Unplug
from halfsplit.circuit.kinds import LOADS
from halfsplit.diagnosis.candidates import own_ends
from halfsplit.diagnosis.cost import part_of
from halfsplit.diagnosis.measurement import Measurement, Reading
from halfsplit.diagnosis.situation import Situation

Met = Callable[[float | str], bool]
"""Whether a reading says what the proof needs."""


def within(low: float, high: float) -> Met:
    """A number from ``low`` to ``high``, both included."""
    return lambda value: not isinstance(value, str) and low <= value <= high


def at_least(size: float) -> Met:
    """A number of at least this size, of either sign."""
    return lambda value: not isinstance(value, str) and abs(value) >= size


def is_word(word: str) -> Met:
    """This word."""
    return lambda value: value == word


def is_better(value: float | str) -> bool:
    """It works, be it weakly, where it did not at all."""
    return value in ("yes", "weak")


@dataclass(frozen=True)
class Requirement:
    """One proof: ``options`` of which any will do, each with what its reading must be, ``times`` over all of them."""

    text: str
    options: tuple[tuple[Measurement, Met], ...]
    times: int = 1

    def met(self, readings: Iterable[Reading]) -> bool:
        told = [
            reading
            for reading in readings
            if any(_same(reading, one) and condition(reading.value) for one, condition in self.options)
        ]
        return len(told) >= self.times

    def refuted(self, readings: Iterable[Reading]) -> bool:
        """Every option was tried as often as it needs and none met its condition."""
        given = list(readings)
        tried = all(
            sum(_same(reading, measurement) for reading in given) >= self.times + 2
            for measurement, _ in self.options
        )
        return tried and not self.met(given)


def _same(reading: Reading, measurement: Measurement) -> bool:
    mine = reading.measurement
    return (
        mine.quantity == measurement.quantity
        and mine.place == measurement.place
        and mine.changes == measurement.changes
        and reading.present != "no"
        and (mine.state == measurement.state or mine.quantity in ("ohms", "inspection"))
    )


class Case:
    """A cause in the state in which it is judged: the circuit solved healthy and with it."""

    def __init__(self, situation: Situation, fault: Fault) -> None:
        self.situation, self.circuit, self.fault = situation, situation.circuit, fault
        self.load, self.state = self._complaint()
        self.healthy: Solution = self.circuit.solve(self.state)
        self.sick: Solution = self.circuit.solve(self.state, fault=fault)

    def _complaint(self) -> tuple[str | None, str]:
        """Load and state of the first complaint that the cause explains."""
        for reading in self.situation.complaints:
            load, state = reading.measurement.at, reading.measurement.state
            if self.circuit.solve(state, fault=self.fault).works(load) != self.circuit.healthy_word(
                load, state
            ):
                return load, state
        given = self.situation.complaints or self.situation.live
        return None, given[0].measurement.state

    @property
    def missing_volts(self) -> float:
        """Volts that the load lacks."""
        if self.load is None or self.circuit.parts[self.load].kind not in LOADS:
            return 0.0
        return abs(self.healthy.across(self.load) - self.sick.across(self.load))

    def restored(self, load: str, text: str, *changes: Jump | Replace | Unplug) -> Requirement:
        """The function comes back with an intervention made; a fuse that the cause blows is made good with it."""
        good = self.circuit.healthy_word(load, self.state)
        fuses = tuple(Replace(name) for name in self.sick.blown if Replace(name) not in changes)
        made = (*changes, *fuses)
        met = is_word(good)
        if good == "yes" and self.sick.works(load) == "no" and any(isinstance(one, Jump) for one in changes):
            # A lead is no cable: what takes a hundred amps through it comes back, but not in full.
            met = is_better
        if fuses:
            text += f", with a new {' and '.join(one.name for one in fuses)}"
        return Requirement(text, ((Measurement("works", load, self.state, changes=made), met),))

    def ends(self) -> tuple[str, str] | None:
        """Where a meter goes across the cause's own place."""
        wanted = self.fault.part
        for a, b in own_ends(self.circuit):
            if (
                wanted in (a, f"wire {a} {b}".replace(":in", "").replace(":out", ""))
                or wanted == part_of(a) == part_of(b)
                or wanted == a.partition(":")[0] == b.partition(":")[0]
            ):
                return a, b
        wire = next((one for one in self.circuit.model.wires if one.name == wanted), None)
        return (wire.a, wire.b) if wire else None

    def nearer(self, measurement: Measurement) -> Met:
        """Whether a reading in volts is nearer to what the cause predicts than to healthy."""
        sick = self.sick.volts(measurement.at, measurement.to)
        healthy = self.healthy.volts(measurement.at, measurement.to)
        return lambda value: not isinstance(value, str) and abs(value - sick) < abs(value - healthy)

    def tells(self, measurement: Measurement, least: float = 0.3) -> bool:
        """Whether cause and health differ enough there to be told apart."""
        sick = self.sick.volts(measurement.at, measurement.to)
        return abs(sick - self.healthy.volts(measurement.at, measurement.to)) >= least

    def volts(self, a: str, b: str | None = None) -> Measurement:
        """The meter between two points, or from one to the battery's negative post."""
        return Measurement("volts", a, self.state, to=b, instrument="meter")

    def look(self, *detail: str) -> tuple[Measurement, Met]:
        """The place looked at, and found bad."""
        return Measurement("inspection", self.fault.part, self.state, detail=detail), is_word("bad")

    def looked_at(self) -> Requirement:
        """Where nothing else proves it: the fault seen."""
        return Requirement(f"the fault seen at {self.fault.part}", (self.look(),))
