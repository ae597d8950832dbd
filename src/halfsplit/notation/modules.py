"""Lines under a module → `Behaviour`; conditions → the model's expression tree."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Literal, TypeVar, cast

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
from halfsplit.notation.syntax import Word

L = TypeVar("L", bound=s.Line)


def behaviour_pins(line: s.PartLine | None) -> tuple[str, ...]:
    """Pins of the behaviour lines in the order of `Behaviour`'s fields, so that writing keeps it."""
    lines = line.under if line else ()
    pins = (pin for kind in _WORDS for under in lines if isinstance(under, kind) for pin in _pins(under))
    return tuple(dict.fromkeys(pins))


def _pins(line: s.Line) -> list[str]:
    match line:
        case s.FeedLine(groups):
            return [pin.text for group in groups for pin in group]
        case s.EarthLine(pins) | s.ClampLine(pins) | s.TalksLine(_, pins):
            return [*_texts(pins)]
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
    return _Module(scope, line).behaviour()


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


_WORDS: dict[type, str] = {  # in the order of `Behaviour`, which writing keeps
    s.FeedLine: "feed",
    s.EarthLine: "earth",
    s.ReadsLine: "reads",
    s.DrivesLine: "drives",
    s.SuppliesLine: "supplies",
    s.TalksLine: "talks",
    s.ClampLine: "clamp",
}


@dataclass(slots=True, eq=False)
class _Module:
    """A module and its lines, each of which is looked up by its type."""

    scope: Scope
    line: s.PartLine

    @property
    def name(self) -> str:
        return self.line.name.text

    def of(self, kind: type[L]) -> list[L]:
        return [under for under in self.line.under if isinstance(under, kind)]

    def sole(self, kind: type[L], what: str) -> list[L]:
        """The same, of a line that may be given once."""
        lines = self.of(kind)
        for line in lines[1:]:
            self.scope.collector.add("value-twice", line.at, what=what)
        return lines

    def behaviour(self) -> Behaviour:
        number = self.scope.number
        works = self.sole(s.WorksLine, '"works over"')
        draws = self.sole(s.DrawsLine, "what it draws")
        if draws and any(isinstance(item, s.Given) for item in self.line.items):
            self.scope.collector.add("value-twice", draws[0].at, what="what it draws")
        return Behaviour(
            tuple(_texts(group) for line in self.of(s.FeedLine) for group in line.groups),
            tuple(pin.text for line in self.of(s.EarthLine) for pin in line.pins),
            ([None] + [number(line.amount, "A", "a current") for line in draws])[-1],
            ([None] + [number(line.amount, "V", "a voltage") for line in works])[-1],
            tuple(map(self._input, self.of(s.ReadsLine))),
            tuple(map(self._driver, self.of(s.DrivesLine))),
            tuple(map(self._supply, self.of(s.SuppliesLine))),
            tuple(map(self._talk, self.of(s.TalksLine))),
            tuple(pin.text for line in self.of(s.ClampLine) for pin in line.pins),
            self._sleep(),
        )

    def _input(self, line: s.ReadsLine) -> Input:
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
        return Input(line.pin.text, text_of(items, "as"), pull, ohms, low, high)

    def _driver(self, line: s.DrivesLine) -> Driver:
        number, items = self.scope.number, self.scope.once(line.items)
        conditions = [item.term for item in line.items if isinstance(item, s.When)]
        if not conditions:
            self.scope.collector.add("no-when", line.at, pin=line.pin.text)
        elif len(conditions) > 1:
            self.scope.collector.add("value-twice", line.at, what='"when"')
        latch = items.get("latches")
        if isinstance(latch, s.Said) and latch.value.text != "power":
            self.scope.known_state(latch.value)
        return Driver(
            line.pin.text,
            line.side,
            self.condition(conditions[0]) if conditions else Always(),
            number(amount_of(items, ""), "ohm", "the resistance of a driver"),
            number(amount_of(items, "limit"), "A", "a current"),
            text_of(items, "latches") or None,
            number(amount_of(items, "bias"), "ohm", "a bias resistor"),
            number(amount_of(items, "pwm"), "", "a duty cycle", SHARE),
            number(amount_of(items, "hertz"), "Hz", "a frequency"),
        )

    def _supply(self, line: s.SuppliesLine) -> Supply:
        volts = self.scope.number(line.volts, "V", "a supply voltage")
        return Supply(line.pin.text, volts or 0.0, self.scope.number(line.limit, "A", "a current"))

    def _talk(self, line: s.TalksLine) -> Talk:
        self.scope.good_name(line.bus)
        return Talk(line.bus.text, *_texts(line.pins))

    def _sleep(self) -> Sleep | None:
        number = self.scope.number
        sleeps, wakes = self.sole(s.SleepsLine, '"sleeps"'), self.sole(s.WakesLine, '"wakes"')
        if wakes and not sleeps:
            self.scope.collector.add("wakes-only", wakes[-1].at, name=self.name)
        if not sleeps:
            return None
        amps = number(sleeps[-1].draws, "A", "a current", NOT_NEGATIVE)
        after = number(sleeps[-1].after, "min", "a time", NOT_NEGATIVE)
        return Sleep(amps or 0.0, after or 0.0, self.condition(wakes[-1].term) if wakes else None)

    # conditions

    def condition(self, term: s.Term) -> Condition:
        """The model's tree; pins may be named by their alias, and every name must be known."""
        match term:
            case Not(inner):
                return Not(self.condition(inner))
            case And(terms):
                return And(tuple(self.condition(inner) for inner in terms))
            case Or(terms):
                return Or(tuple(self.condition(inner) for inner in terms))
            case s.PinTerm(pin, level):
                return PinIs(self._own_pin(pin), level)
            case s.StateTerm(state):
                self.scope.known_state(state)
                return InState(state.text)
            case s.HearsTerm(listener, speaker):
                known = [self.scope.known_module(name) for name in (listener, speaker)]
                pair = {listener.text, speaker.text}
                if all(known) and not any(pair <= set(members) for members in self.scope.buses.values()):
                    self.scope.collector.add(
                        "not-on-bus", listener.at, listener=listener.text, speaker=speaker.text
                    )
                return Hears(listener.text, speaker.text)
        return Always()

    def _own_pin(self, pin: Word) -> str:
        """The pin itself: one of the module's own, by number or by alias."""
        own = dict.fromkeys(self.scope.pins[self.name])
        aliases = {alias.text: line.pin.text for line in self.of(s.ReadsLine) for alias in _aliases(line)}
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


def _aliases(line: s.ReadsLine) -> list[Word]:
    return [item.value for item in line.items if isinstance(item, s.Said) and item.word == "as"]


def _texts(words: Iterable[Word]) -> tuple[str, ...]:
    return tuple(word.text for word in words)
