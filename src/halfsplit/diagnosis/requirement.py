"""One thing that a proof asks for, and the cause that it is asked of."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, replace

from halfsplit.circuit.circuit import Solution
from halfsplit.circuit.faults import Fault, pair
from halfsplit.circuit.interventions import Intervention, Jump, Replace
from halfsplit.circuit.kinds import LOADS
from halfsplit.circuit.model import Join
from halfsplit.circuit.wiring import place
from halfsplit.diagnosis.candidates import own_ends, own_pins, splice_terminals
from halfsplit.diagnosis.cost import Bay, part_of, place_key, reach_minutes
from halfsplit.diagnosis.measurement import NUMERIC, Measurement, Reading
from halfsplit.diagnosis.situation import Situation
from halfsplit.units import format_quantity

BACK = 0.85
"""Share of its healthy volts from which a load has them back; a motor may still be weak for other reasons."""
RIVAL = 0.02
"""Probability from which another cause is a rival that a proof has to exclude."""
HEAVY_AMPS = 30.0
"""What a fused lead does not carry is bridged with a booster cable."""
MOST_JOINED = 3
"""Readings that a drop is put together from at most: the errors of all of them are in it."""
AGAIN = 1
"""Times that a test is made once more where it did not say what the proof needs; never a look at a place."""


@dataclass(frozen=True)
class Met:
    """Whether a reading says what the proof needs, and how the limit is told; empty for what is told by a word."""

    check: Callable[[float | str], bool]
    words: str = ""

    def __call__(self, value: float | str) -> bool:
        return self.check(value)


def within(low: float, high: float, unit: str = "V") -> Met:
    """A number from ``low`` to ``high``, both included."""
    ends = [format_quantity(end, unit, 2) for end in (low, high) if math.isfinite(end)]
    both = f"at most {ends[-1]}" if low == -high else " to ".join(ends)
    limit = f"at least {ends[0]}" if math.isfinite(low) else f"at most {ends[0]}"
    words = both if len(ends) == 2 else limit
    return Met(lambda value: not isinstance(value, str) and low <= value <= high, words)


def at_least(size: float, unit: str = "V") -> Met:
    """A number of at least this size, of either sign."""
    words = f"at least {format_quantity(size, unit, 2)}"
    return Met(lambda value: not isinstance(value, str) and abs(value) >= size, words)


def is_word(word: str) -> Met:
    """This word."""
    return Met(lambda value: value == word, word)


Option = tuple[Measurement, Met]


@dataclass(frozen=True)
class Requirement:
    """One proof: ``options`` of which any will do, each with what its reading must be, ``times`` over all of them.

    ``bracket``: the ends of an element whose drop, taken from two readings against the same point in the same state,
    counts once; with it the finding is half of the proof. ``seen``: chance that a look finds what is there.
    """

    text: str
    options: tuple[Option, ...]
    times: int = 1
    bracket: tuple[str, str | None] | None = None
    seen: float = 1.0

    def or_else(self, words: str, *options: Option) -> Requirement:
        """The same, or one of these instead."""
        return replace(self, text=f"{self.text}, or {words}", options=(*self.options, *options))

    def minutes(self, test: Measurement, bay: Bay) -> float:
        """Minutes of an option; of a look that misses it those of what is then done instead as well."""
        others = [bay.minutes(other) for other, _ in self.options if other.quantity != "inspection"]
        missed = 1.0 - self.seen if test.quantity == "inspection" else 0.0
        return bay.minutes(test) + missed * min(others, default=0.0)

    def met(self, readings: Iterable[Reading]) -> bool:
        """Whether readings show it."""
        return self.lacking(list(readings)) <= 0

    def lacking(self, readings: list[Reading]) -> int:
        """How many readings it still asks for."""
        shown = 0
        for test, condition in self.options:
            made = [reading for reading in readings if same_test(reading, test)]
            met = sum(condition(reading.value) for reading in made)
            # A look that found nothing is not made good by another one: looks by the same eyes are no new evidence. Of
            # a word that was once another, two stand against one.
            least = len(made) if test.quantity == "inspection" else len(made) // 2 + 1
            shown += met if met >= least or test.quantity in NUMERIC else 0
        if shown < self.times and self.bracket is not None:
            test, condition = self.options[0]
            shown += any(condition(drop) for drop in drops(readings, self.bracket, test.state))
        return self.times - shown

    def may_be_asked(self, readings: Iterable[Reading], test: Measurement) -> bool:
        """Whether an option was not made as often yet as it is made at most."""
        made = [reading.value for reading in readings if same_test(reading, test)]
        if test.quantity == "inspection":
            return len(made) < self.times
        split = test.quantity not in NUMERIC and len({*made}) > 1
        return len(made) < self.times + AGAIN + split

    def refuted(self, readings: Iterable[Reading]) -> bool:
        """Every option was tried as often as it needs and none met its condition."""
        given = list(readings)
        return not self.met(given) and not any(self.may_be_asked(given, option) for option, _ in self.options)


def asked(text: str, test: Measurement, met: Met, times: int = 1) -> Requirement:
    """A requirement that one test alone meets."""
    return Requirement(text, ((test, met),), times)


def same_test(reading: Reading, measurement: Measurement) -> bool:
    """Whether a reading is of this measurement, made while the fault was there."""
    mine = reading.measurement
    there = reading.present != "no" or mine.quantity == "inspection"
    return (
        there
        and mine.quantity == measurement.quantity
        and mine.place == measurement.place
        and mine.changes == measurement.changes
        and (mine.state == measurement.state or mine.quantity in ("ohms", "inspection"))
    )


def drops(readings: Iterable[Reading], ends: tuple[str, str | None], state: str) -> Iterator[float]:
    """The volts between two points by two or three readings that join them over other points, nothing changed between.

    None of the readings is of the two points themselves.
    """
    joined: dict[str | None, list[tuple[str | None, float]]] = {}
    for reading in readings:
        test = reading.measurement
        plain = test.quantity == "volts" and test.state == state and not test.changes
        if plain and reading.present != "no" and {test.at, test.to} != set(ends):
            joined.setdefault(test.at, []).append((test.to, reading.number))
            joined.setdefault(test.to, []).append((test.at, -reading.number))
    start, end = ends
    waiting: list[tuple[tuple[str | None, ...], float]] = [((start,), 0.0)]
    while waiting:
        way, volts = waiting.pop(0)
        for point, drop in joined.get(way[-1], ()):
            if point == end:
                yield volts + drop
            elif point not in way and len(way) < MOST_JOINED:
                waiting.append(((*way, point), volts + drop))


class Case:
    """A cause in the state in which it is judged: the circuit solved with it and without.

    ``beside``: the other fault of a pair. ``functions``: what does not happen because of the cause, loads that work and
    units that answer, each with the word of a sound vehicle; empty where it explains none of what was told.
    ``around``: what takes the other fault out of the way, where behind it this one shows in nothing that was told.
    """

    def __init__(
        self,
        situation: Situation,
        fault: Fault,
        beside: Fault | None = None,
        around: tuple[Intervention, ...] = (),
    ) -> None:
        self.situation, self.circuit, self.fault = situation, situation.circuit, fault
        self.beside, self.around = (None if around else beside), around
        self.functions = self._functions()
        known = (*situation.wrong, *situation.live)
        heard = [*(asked for asked, _ in self.functions), *(reading.measurement for reading in known)]
        # Before anything was told, any state will do.
        self.state = next((measurement.state for measurement in heard), next(iter(self.circuit.states)))
        self.healthy, self.sick = self._solved(self.state)

    def _solved(self, state: str) -> tuple[Solution, Solution]:
        """The circuit without the cause, and with it."""
        both = pair(self.fault, self.beside) if self.beside else self.fault
        return self.circuit.solve(state, fault=self.beside), self.circuit.solve(state, fault=both)

    def _functions(self) -> tuple[tuple[Measurement, str], ...]:
        """The complaints that this cause explains, each with the word of a sound vehicle; else what was read so."""
        explained: dict[tuple[str, str], tuple[Measurement, str]] = {}
        for reading in sorted(self.situation.wrong, key=lambda seen: seen.source == "reading"):
            asked = reading.measurement
            if asked.quantity in WORD_OF and not (reading.source == "reading" and explained):
                words, state = WORD_OF[asked.quantity], asked.state
                good = words(self.circuit.solve(state), asked.at)
                healthy, sick = (words(solution, asked.at) for solution in self._solved(state))
                if healthy == good != sick:
                    function = Measurement(asked.quantity, asked.at, state), good
                    explained.setdefault((asked.at, state), function)
        return tuple(explained.values())

    @property
    def function(self) -> Measurement | None:
        """What does not happen because of it: the first of the complaints that it explains."""
        return self.functions[0][0] if self.functions else None

    @property
    def good(self) -> str:
        """The word of a sound vehicle for that."""
        return self.functions[0][1] if self.functions else ""

    @property
    def load(self) -> str | None:
        """The load that does not work because of it."""
        return self.function.at if self.function and self.function.quantity == "works" else None

    @property
    def missing_volts(self) -> float:
        """Volts that the load lacks."""
        if self.load is None or self.circuit.parts[self.load].kind not in LOADS:
            return 0.0
        return abs(self.healthy.across(self.load) - self.sick.across(self.load))

    def restored(self, text: str, *changes: Intervention) -> list[Requirement]:
        """All that was complained of comes back with an intervention made, or there is a second fault.

        A fuse that the cause blows is made good with it. What a stand-in proves is what it alone changes: with the fuse
        alone made good the function must still lack.
        """
        if not self.functions:
            return []
        fuses = tuple(Replace(name) for name in self.sick.blown if Replace(name) not in changes)
        named = " and ".join(fuse.name for fuse in fuses)
        asked = []
        if fuses:
            lacks = Met(lambda value: value != self.good, f"not {self.good}")
            before = f"with a new {named} alone the function still lacks"
            asked.append(Requirement(before, ((self.with_made(0, *fuses), lacks),)))
        for number, (function, good) in enumerate(self.functions):
            back = f"also {function.at} in state “{function.state}”" if number else "the function"
            whole = text.replace("the function", back)
            whole += f", with a new {named}" if fuses else ""
            made = (*(self._in_state(change, function.state) for change in changes), *fuses)
            options = [(self.with_made(number, *made), is_word(good))]
            part = self.circuit.parts[function.at]
            if part.kind in LOADS and any(isinstance(change, Jump) for change in made):
                # The volts across the load are back: what is weak in the load itself is not this cause's.
                a, b = (f"{part.name}.{pin}" for pin in own_pins(part))
                least = BACK * abs(self.circuit.solve(function.state).volts(a, b))
                back_at = Measurement("volts", a, function.state, b, "meter", (*self.around, *made))
                options += [(back_at, at_least(least))] if least >= 1.0 else []
            asked.append(Requirement(whole, tuple(options)))
        return asked

    def _in_state(self, change: Intervention, state: str) -> Intervention:
        """A lead over a switch: over the contact that is closed in a state."""
        if not isinstance(change, Jump) or part_of(change.a) != part_of(change.b):
            return change
        name = part_of(change.a)
        if self.circuit.parts[name].kind != "switch":
            return change
        closed = self.joined(name, state)
        leads = [replace(change, a=f"{name}.{join.a}", b=f"{name}.{join.b}") for join in closed]
        return change if change in leads or not leads else leads[0]

    def joined(self, switch: str, state: str) -> list[Join]:
        """The contacts of a switch that a state tells to be closed."""
        position = self.circuit.states[state].switches.get(switch)
        return [join for join in self.circuit.parts[switch].connections if join.position == position]

    def with_made(self, number: int, *changes: Intervention) -> Measurement:
        """One of the functions asked for with interventions made."""
        function = self.functions[number][0]
        return Measurement(function.quantity, function.at, function.state, changes=(*self.around, *changes))

    def bridge(self, ends: tuple[str, str]) -> Jump:
        """What joins the two ends for a trial: a fused lead, or a booster cable where the load draws too much."""
        amps = abs(self.healthy.amps(self.load)) if self.load else 0.0
        return Jump(*ends, heavy=amps > HEAVY_AMPS)

    def ends(self) -> tuple[str, str] | None:
        """Where a meter goes across the cause's own place; beyond a splice the nearest terminal stands for it."""
        wanted = self.fault.part
        wire = self.circuit.model.wire(wanted)
        if wire is not None:
            return self._terminal(wire.a, wire.b), self._terminal(wire.b, wire.a)
        for a, b in own_ends(self.circuit):
            if wanted == a or wanted == part_of(a) == part_of(b) or wanted == place(a) == place(b):
                return a, b
        return None

    def _terminal(self, end: str, other: str) -> str:
        """The end itself; of a splice the terminal that is at its volts with this cause, the nearest to get at."""
        terminals = splice_terminals(self.circuit, end, other)
        model, opened = self.circuit.model, self.situation.bay.opened

        def way(point: str) -> tuple[float, float]:
            key = place_key(part_of(point), model)
            minutes = 0.0 if key is None or key in opened else reach_minutes(key, model)
            return round(abs(self.sick.volts(point, end)), 1), minutes

        return min(terminals, key=way, default=end)

    def nearer(self, measurement: Measurement) -> Met:
        """Whether a reading in volts is nearer to what the cause predicts than to healthy."""
        healthy, sick = self.both(measurement)
        middle = format_quantity(0.5 * (sick + healthy), "V", 2)
        return Met(
            lambda value: not isinstance(value, str) and abs(value - sick) < abs(value - healthy),
            f"{'over' if sick > healthy else 'under'} {middle}",
        )

    def tells(self, measurement: Measurement, least: float = 0.3) -> bool:
        """Whether cause and health differ enough there to be told apart."""
        healthy, sick = self.both(measurement)
        return abs(sick - healthy) >= least

    def both(self, measurement: Measurement) -> tuple[float, float]:
        """Volts without the cause, and with it."""
        ends = measurement.at, measurement.to
        return self.healthy.volts(*ends), self.sick.volts(*ends)

    def volts(self, a: str, b: str | None = None) -> Measurement:
        """The meter between two points, or from one to the battery's negative post."""
        return Measurement("volts", a, self.state, to=b, instrument="meter", changes=self.around)

    def look(self, *detail: str) -> Option:
        """The place looked at, and found bad."""
        return Measurement("inspection", self.fault.part, self.state, detail=detail), is_word("bad")

    def looked_at(self) -> Requirement:
        """Where nothing else proves it: the fault seen."""
        seen = self.situation.context.priors.seen(self.fault)
        return Requirement(f"the fault seen at {self.fault.part}", (self.look(),), seen=seen)

    def ticked(self, at: str, aspect: str, text: str) -> Requirement:
        """Something that the technician ticks off as good."""
        return asked(text, Measurement("inspection", at, self.state, detail=(aspect,)), is_word("good"))


WORD_OF: dict[str, Callable[[Solution, str], str]] = {
    "works": lambda solution, name: solution.works(name),
    "answers": lambda solution, name: "yes" if solution.answers(name) else "no",
}
"""What a solution says of a load or a unit, by the quantity that asks for it."""
