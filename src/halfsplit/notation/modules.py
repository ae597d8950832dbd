"""Lines under a module → `Behaviour`; conditions → the model's expression tree."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, cast

from halfsplit.circuit import model as m
from halfsplit.notation import syntax as s
from halfsplit.notation.scope import NOT_NEGATIVE, SHARE, Scope, again, amount_of, said, text_of
from halfsplit.notation.syntax import L, Word, only, texts, words_of


def behaviour_pins(line: s.PartLine | None) -> tuple[str, ...]:
    """Pins of the behaviour lines in the order of `Behaviour`'s fields, so that writing keeps it."""
    named = [_pins(under) for under in line.under] if line else []
    order = ("feed", "earth", "reads", "drives", "supplies", "talks", "clamp")
    return tuple(dict.fromkeys(pin for word in order for own, pins in named if own == word for pin in pins))


def _pins(line: s.Line) -> tuple[str, tuple[str, ...]]:
    """The word of a line that names pins, and the pins; ('', ()) of any other."""
    match line:
        case s.FeedLine(groups):
            return "feed", tuple(pin.text for group in groups for pin in group)
        case s.WordsLine("earth" | "clamp" as rule, pins):
            return rule, texts(pins)
        case s.ReadsLine(pin):
            return "reads", (pin.text,)
        case s.DrivesLine(pin):
            return "drives", (pin.text,)
        case s.SuppliesLine(pin):
            return "supplies", (pin.text,)
        case s.TalksLine(_, pins):
            return "talks", texts(pins)
    return "", ()


def note_buses(scope: Scope, line: s.PartLine) -> None:
    """Learn who talks on which bus before any condition is read."""
    for under in only(line.under, s.TalksLine):
        members = scope.buses.setdefault(under.bus.text, {})
        if line.name.text in members:
            scope.collector.add("value-twice", under.at, what=f'"talks on {under.bus.text}"')
        members[line.name.text] = len(under.pins)


def behaviour_of(scope: Scope, name: str) -> m.Behaviour | None:
    """The behaviour of a module; empty for one without lines, None for every other kind."""
    if scope.kinds[name] != "module":
        return None
    line = scope.declared.get(name)
    if line is None:
        return m.Behaviour()
    # Each pin once in lines of a kind, and each alias once; a driver may have a high and a low side.
    for alias in again(alias for reads in only(line.under, s.ReadsLine) for alias in said(reads.items, "as")):
        scope.collector.add("value-twice", alias.at, what=f'the name "{alias.text}"')
    seen: set[tuple[str, str]] = set()
    for under in line.under:
        word, pins = _pins(under)
        for pin in pins:
            key = (f"{word}{under.side if isinstance(under, s.DrivesLine) else ''}", pin)
            if key in seen:
                scope.collector.add("pin-twice", under.at, pin=pin, line=word, name=name)
            seen.add(key)
    return _Module(scope, line).behaviour()


@dataclass(slots=True, eq=False)
class _Module:
    """A module and its lines, each of which is looked up by its type."""

    scope: Scope
    line: s.PartLine

    @property
    def name(self) -> str:
        return self.line.name.text

    def of(self, kind: type[L]) -> list[L]:
        return only(self.line.under, kind)

    def behaviour(self) -> m.Behaviour:
        number, sole = self.scope.number, self.scope.sole
        works, draws = (
            [line for line in self.of(s.AmountLine) if line.rule == rule] for rule in ("works", "draws")
        )
        volts = [number(line.amount, "V", "a voltage") for line in sole(works, '"works over"')]
        amps = [number(line.amount, "A", "a current") for line in sole(draws, "what it draws")]
        if draws and any(isinstance(item, s.Given) for item in self.line.items):
            self.scope.collector.add("value-twice", draws[0].at, what="what it draws")
        for line in self.of(s.TalksLine):
            self.scope.good_name(line.bus)
        return m.Behaviour(
            tuple(texts(group) for line in self.of(s.FeedLine) for group in line.groups),
            texts(words_of(self.line.under, "earth")),
            amps[-1] if amps else None,
            volts[-1] if volts else None,
            tuple(map(self._input, self.of(s.ReadsLine))),
            tuple(map(self._driver, self.of(s.DrivesLine))),
            tuple(
                m.Supply(
                    line.pin.text,
                    number(line.volts, "V", "a supply voltage") or 0.0,
                    number(line.limit, "A", "a current"),
                )
                for line in self.of(s.SuppliesLine)
            ),
            tuple(m.Talk(line.bus.text, *texts(line.pins)) for line in self.of(s.TalksLine)),
            texts(words_of(self.line.under, "clamp")),
            self._sleep(),
        )

    def _input(self, line: s.ReadsLine) -> m.Input:
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
        return m.Input(line.pin.text, text_of(items, "as"), pull, ohms, low, high)

    def _driver(self, line: s.DrivesLine) -> m.Driver:
        number, items = self.scope.number, self.scope.once(line.items)
        conditions = [item.term for item in line.items if isinstance(item, s.When)]
        if not conditions:
            self.scope.collector.add("no-when", line.at, pin=line.pin.text)
        elif len(conditions) > 1:
            self.scope.collector.add("value-twice", line.at, what='"when"')
        latch = items.get("latches")
        if isinstance(latch, s.Said) and latch.value.text != "power":
            self.scope.known_state(latch.value)
        return m.Driver(
            line.pin.text,
            line.side,
            self.condition(conditions[0]) if conditions else m.Always(),
            number(amount_of(items, ""), "ohm", "the resistance of a driver"),
            number(amount_of(items, "limit"), "A", "a current"),
            text_of(items, "latches") or None,
            number(amount_of(items, "bias"), "ohm", "a bias resistor"),
            number(amount_of(items, "pwm"), "", "a duty cycle", SHARE),
            number(amount_of(items, "hertz"), "Hz", "a frequency"),
        )

    def _sleep(self) -> m.Sleep | None:
        number, sole = self.scope.number, self.scope.sole
        sleeps, wakes = sole(self.of(s.SleepsLine), '"sleeps"'), sole(self.of(s.WakesLine), '"wakes"')
        if wakes and not sleeps:
            self.scope.collector.add("wakes-only", wakes[-1].at, name=self.name)
        if not sleeps:
            return None
        amps = number(sleeps[-1].draws, "A", "a current", NOT_NEGATIVE)
        after = number(sleeps[-1].after, "min", "a time", NOT_NEGATIVE)
        return m.Sleep(amps or 0.0, after or 0.0, self.condition(wakes[-1].term) if wakes else None)

    # conditions

    def condition(self, term: s.Term) -> m.Condition:
        """The model's tree; pins may be named by their alias, and every name must be known."""
        match term:
            case m.Not(inner):
                return m.Not(self.condition(inner))
            case m.And(terms):
                return m.And(tuple(self.condition(inner) for inner in terms))
            case m.Or(terms):
                return m.Or(tuple(self.condition(inner) for inner in terms))
            case s.PinTerm(pin, level):
                return m.PinIs(self._own_pin(pin), level)
            case s.StateTerm(state):
                self.scope.known_state(state)
                return m.InState(state.text)
            case s.HearsTerm(listener, speaker):
                known = [self.scope.known_module(name) for name in (listener, speaker)]
                pair = {listener.text, speaker.text}
                if all(known) and not any(pair <= set(members) for members in self.scope.buses.values()):
                    self.scope.collector.add(
                        "not-on-bus", listener.at, listener=listener.text, speaker=speaker.text
                    )
                return m.Hears(listener.text, speaker.text)
        return m.Always()

    def _own_pin(self, pin: Word) -> str:
        """The pin itself: one of the module's own, by number or by alias."""
        own = dict.fromkeys(self.scope.pins[self.name])
        aliases = {
            alias.text: line.pin.text for line in self.of(s.ReadsLine) for alias in said(line.items, "as")
        }
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
