"""Lines under a module → `Behaviour`; conditions → the model's expression tree."""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import singledispatchmethod
from typing import Literal, cast

from halfsplit.circuit.model import (
    Always,
    And,
    Behaviour,
    Condition,
    Driver,
    Hears,
    Input,
    InState,
    Not,
    Or,
    PinIs,
    Sleep,
    Supply,
    Talk,
)
from halfsplit.notation import syntax as s
from halfsplit.notation.scope import NOT_NEGATIVE, SHARE, Scope, amount_of, text_of
from halfsplit.notation.terms import AndTerm, HearsTerm, NotTerm, OrTerm, PinTerm, StateTerm, Term, Word


def behaviour_pins(line: s.PartLine | None) -> tuple[str, ...]:
    """Pins of the behaviour lines in the order of `Behaviour`'s fields, so that writing keeps it."""
    order = (s.FeedLine, s.EarthLine, s.ReadsLine, s.DrivesLine, s.SuppliesLine, s.TalksLine, s.ClampLine)
    lines = line.under if line else ()
    return tuple(
        dict.fromkeys(
            pin for kind in order for under in lines if isinstance(under, kind) for pin in _pins(under)
        )
    )


def _pins(line: s.Line) -> list[str]:
    match line:
        case s.FeedLine(groups):
            return [pin.text for group in groups for pin in group]
        case s.EarthLine(pins) | s.ClampLine(pins) | s.TalksLine(_, pins):
            return [pin.text for pin in pins]
        case s.ReadsLine(pin) | s.DrivesLine(pin) | s.SuppliesLine(pin):
            return [pin.text]
    return []


def note_buses(scope: Scope, line: s.PartLine) -> None:
    """Learn who talks on which bus before any condition is read."""
    for under in line.under:
        if isinstance(under, s.TalksLine):
            members = scope.buses.setdefault(under.bus.text, {})
            if line.name.text in members:
                scope.collector.add("value-twice", under.at, what=f'"talks on {under.bus.text}"')
            members[line.name.text] = len(under.pins)


def behaviour_of(scope: Scope, name: str) -> Behaviour | None:
    """The behaviour of a module; empty for one without lines, None for every other kind."""
    if scope.kinds[name] != "module":
        return None
    line = scope.declared.get(name)
    if line is None:
        return Behaviour()
    _check_pins(scope, name, line)
    reader = _Lines(scope, name, line)
    for under in line.under:
        reader.take(under)
    reader.check()
    return reader.behaviour()


def _check_pins(scope: Scope, name: str, line: s.PartLine) -> None:
    """Each pin once in lines of a kind, and each alias once; a driver may have a high and a low side."""
    seen: set[tuple[str, str]] = set()
    for under in line.under:
        for alias in _aliases(under) if isinstance(under, s.ReadsLine) else ():
            if ("as", alias.text) in seen:
                scope.collector.add("value-twice", alias.at, what=f'the name "{alias.text}"')
            seen.add(("as", alias.text))
        word = _WORDS.get(type(under), "")
        for pin in _pins(under):
            side = under.side if isinstance(under, s.DrivesLine) else ""
            key = (f"{word}{side}", pin)
            if key in seen:
                scope.collector.add("pin-twice", under.at, pin=pin, line=word, name=name)
            seen.add(key)


_WORDS: dict[type, str] = {
    s.FeedLine: "feed",
    s.EarthLine: "earth",
    s.ReadsLine: "reads",
    s.DrivesLine: "drives",
    s.SuppliesLine: "supplies",
    s.TalksLine: "talks",
    s.ClampLine: "clamp",
}


@dataclass(slots=True, eq=False)
class _Collected:
    feeds: list[tuple[str, ...]] = field(default_factory=list)
    earths: list[str] = field(default_factory=list)
    clamps: list[str] = field(default_factory=list)
    inputs: list[Input] = field(default_factory=list)
    drivers: list[Driver] = field(default_factory=list)
    supplies: list[Supply] = field(default_factory=list)
    talks: list[Talk] = field(default_factory=list)
    draws: float | None = None
    works_over: float | None = None
    sleep: s.SleepsLine | None = None
    wakes: s.WakesLine | None = None


class _Lines:
    """Takes the lines of one module, one method for each type of line."""

    def __init__(self, scope: Scope, name: str, line: s.PartLine) -> None:
        self.scope, self.name, self.line, self.got = scope, name, line, _Collected()
        self.own = dict.fromkeys(scope.pins[name])
        self.aliases = {
            alias.text: under.pin.text
            for under in line.under
            if isinstance(under, s.ReadsLine)
            for alias in _aliases(under)
        }

    def behaviour(self) -> Behaviour:
        got = self.got
        return Behaviour(
            tuple(got.feeds),
            tuple(got.earths),
            got.draws,
            got.works_over,
            tuple(got.inputs),
            tuple(got.drivers),
            tuple(got.supplies),
            tuple(got.talks),
            tuple(got.clamps),
            self._sleep(),
        )

    def check(self) -> None:
        if self.got.wakes is not None and self.got.sleep is None:
            self.scope.collector.add("wakes-only", self.got.wakes.at, name=self.name)

    @singledispatchmethod
    def take(self, line: s.Line) -> None:
        """Lines that are not behaviour, such as a tag, are read elsewhere."""

    @take.register
    def _feed(self, line: s.FeedLine) -> None:
        self.got.feeds += [tuple(pin.text for pin in group) for group in line.groups]

    @take.register
    def _earth(self, line: s.EarthLine) -> None:
        self.got.earths += [pin.text for pin in line.pins]

    @take.register
    def _clamp(self, line: s.ClampLine) -> None:
        self.got.clamps += [pin.text for pin in line.pins]

    @take.register
    def _draws(self, line: s.DrawsLine) -> None:
        on_head = any(isinstance(item, s.Given) for item in self.line.items)
        if self.got.draws is not None or on_head:
            self.scope.collector.add("value-twice", line.at, what="what it draws")
        self.got.draws = self.scope.number(line.amount, "A", "a current")

    @take.register
    def _works(self, line: s.WorksLine) -> None:
        if self.got.works_over is not None:
            self.scope.collector.add("value-twice", line.at, what='"works over"')
        self.got.works_over = self.scope.number(line.amount, "V", "a voltage")

    @take.register
    def _reads(self, line: s.ReadsLine) -> None:
        number, items = self.scope.number, self.scope.once(line.items)
        low = number(amount_of(items, "low"), "V", "a threshold")
        high = number(amount_of(items, "high"), "V", "a threshold")
        if low is not None and high is not None and low >= high:
            self.scope.collector.add(
                "level-order",
                line.at,
                name=self.name,
                pin=line.pin.text,
                low=f"{low:g} V",
                high=f"{high:g} V",
            )
        pull = cast(Literal["up", "down"] | None, text_of(items, "pulled") or None)
        ohms = number(amount_of(items, "pulled "), "ohm", "a pull resistor")
        self.got.inputs.append(Input(line.pin.text, text_of(items, "as"), pull, ohms, low, high))

    @take.register
    def _drives(self, line: s.DrivesLine) -> None:
        number, items = self.scope.number, self.scope.once(line.items)
        conditions = [item.term for item in line.items if isinstance(item, s.When)]
        if not conditions:
            self.scope.collector.add("no-when", line.at, pin=line.pin.text)
        elif len(conditions) > 1:
            self.scope.collector.add("value-twice", line.at, what='"when"')
        self.got.drivers.append(
            Driver(
                line.pin.text,
                line.side,
                self.condition(conditions[0]) if conditions else Always(),
                number(amount_of(items, ""), "ohm", "the resistance of a driver"),
                number(amount_of(items, "limit"), "A", "a current"),
                self._latch(items),
                number(amount_of(items, "bias"), "ohm", "a bias resistor"),
                number(amount_of(items, "pwm"), "", "a duty cycle", SHARE),
                number(amount_of(items, "hertz"), "Hz", "a frequency"),
            )
        )

    def _latch(self, items: dict[str, s.Given | s.Said]) -> str | None:
        item = items.get("latches")
        if not isinstance(item, s.Said):
            return None
        if item.value.text != "power":
            self.scope.known_state(item.value)
        return item.value.text

    @take.register
    def _supplies(self, line: s.SuppliesLine) -> None:
        number = self.scope.number
        volts = number(line.volts, "V", "a supply voltage")
        limit = number(line.limit, "A", "a current")
        self.got.supplies.append(Supply(line.pin.text, volts or 0.0, limit))

    @take.register
    def _talks(self, line: s.TalksLine) -> None:
        self.scope.good_name(line.bus)
        high, *low = (pin.text for pin in line.pins)
        self.got.talks.append(Talk(line.bus.text, high, low[0] if low else None))

    @take.register
    def _sleeps(self, line: s.SleepsLine) -> None:
        if self.got.sleep is not None:
            self.scope.collector.add("value-twice", line.at, what='"sleeps"')
        self.got.sleep = line

    @take.register
    def _wakes(self, line: s.WakesLine) -> None:
        if self.got.wakes is not None:
            self.scope.collector.add("value-twice", line.at, what='"wakes"')
        self.got.wakes = line

    def _sleep(self) -> Sleep | None:
        line, number = self.got.sleep, self.scope.number
        if line is None:
            return None
        amps = number(line.draws, "A", "a current", NOT_NEGATIVE)
        after = number(line.after, "min", "a time", NOT_NEGATIVE)
        return Sleep(
            amps or 0.0, after or 0.0, self.condition(self.got.wakes.term) if self.got.wakes else None
        )

    # conditions

    def condition(self, term: Term) -> Condition:
        """The model's tree; pins may be named by their alias, and every name must be known."""
        match term:
            case NotTerm(inner):
                return Not(self.condition(inner))
            case AndTerm(terms):
                return And(tuple(self.condition(inner) for inner in terms))
            case OrTerm(terms):
                return Or(tuple(self.condition(inner) for inner in terms))
            case PinTerm(pin, level):
                return PinIs(self._input(pin), level)
            case StateTerm(state):
                self.scope.known_state(state)
                return InState(state.text)
            case HearsTerm(listener, speaker):
                self._check_hears(listener, speaker)
                return Hears(listener.text, speaker.text)
        return Always()

    def _input(self, pin: Word) -> str:
        """The pin itself: one of the module's own, by number or by alias."""
        own, aliases = self.own, self.aliases
        if pin.text not in own and pin.text not in aliases and self.name not in self.scope.unread:
            known = [*own, *aliases]
            self.scope.collector.add(
                "no-input",
                pin.at,
                name=self.name,
                pin=pin.text,
                near=self.scope.collector.near(pin.text, known),
                hint=f"its pins are: {' '.join(known)}" if known else "write a reads line",
            )
        return pin.text if pin.text in own else aliases.get(pin.text, pin.text)

    def _check_hears(self, listener: Word, speaker: Word) -> None:
        known = [self.scope.known_module(name) for name in (listener, speaker)]
        pair = {listener.text, speaker.text}
        if all(known) and not any(pair <= set(members) for members in self.scope.buses.values()):
            self.scope.collector.add("not-on-bus", listener.at, listener=listener.text, speaker=speaker.text)


def _aliases(line: s.ReadsLine) -> list[Word]:
    return [item.value for item in line.items if isinstance(item, s.Said) and item.word == "as"]
