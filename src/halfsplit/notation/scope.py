"""What every part of the lowering needs to know: the names of a circuit, and how to take a number from a line."""

from __future__ import annotations

import re
from collections.abc import Collection, Iterable, Iterator
from dataclasses import dataclass, field
from itertools import islice
from typing import Final

from halfsplit.circuit.kinds import CODES, KINDS
from halfsplit.circuit.model import AS_DRAWN, Position
from halfsplit.notation import syntax as s
from halfsplit.notation.amounts import LARGEST
from halfsplit.notation.mistakes import Collector
from halfsplit.notation.syntax import L, Word
from halfsplit.notation.words import KEYWORDS

CODE: Final = re.compile(r"([A-Z]+)[0-9]")
"""The whole leading run of capitals, followed by a digit."""

POINTS: Final = ("splice", "ground", "mass")
"""Kinds that are one point and have no pins."""


@dataclass(frozen=True, slots=True)
class Limits:
    """What makes sense: from ``low`` (itself only if ``closed``) to ``high``."""

    low: float = 0.0
    high: float = LARGEST
    closed: bool = False

    def hold(self, value: float) -> bool:
        return (self.low <= value if self.closed else self.low < value) and value <= self.high

    def __str__(self) -> str:
        low = f"from {self.low:.12g} to" if self.closed else f"over {self.low:.12g} and up to"
        return f"{low} {self.high:.12g}"


POSITIVE: Final = Limits()
NOT_NEGATIVE: Final = Limits(closed=True)
SHARE: Final = Limits(high=1.0, closed=True)
ANY: Final = Limits(low=-LARGEST, closed=True)


@dataclass(slots=True)
class Scope:
    """Names of the circuit.

    ``kinds`` grows by the undeclared names of the paths; ``used`` holds the pins that paths use, part by part,
    in order, each with its first place; ``buses`` says how many lines (2, or 1) each module has on a bus.
    """

    collector: Collector
    unread: frozenset[str]
    declared: dict[str, s.PartLine] = field(default_factory=dict)
    kinds: dict[str, str] = field(default_factory=dict)
    used: dict[str, dict[str, Position]] = field(default_factory=dict)
    states: dict[str, s.StateLine] = field(default_factory=dict)
    stages: dict[str, s.StageLine] = field(default_factory=dict)
    gauges: dict[str, s.GaugeLine] = field(default_factory=dict)
    pins: dict[str, tuple[str, ...]] = field(default_factory=dict)
    buses: dict[str, dict[str, int]] = field(default_factory=dict)
    # names

    def declare(self, statement: s.PartLine | s.StageLine | s.GaugeLine) -> bool:
        """Take a name; whether it may be used."""
        name = statement.name
        if not self.good_name(name):
            return False
        before = {**self.declared, **self.stages, **self.gauges}.get(name.text)
        if before is not None:
            self.collector.add("duplicate-name", name.at, name=name.text, line=before.at.line)
            return False
        return True

    def good_name(self, name: Word) -> bool:
        if name.text in KEYWORDS:
            self.collector.add("keyword-name", name.at, name=name.text, meant=name.text.capitalize())
            return False
        return True

    def kind_of(self, name: Word) -> str | None:
        """The kind of a part that a path names, declared or by its letter code; None after an error."""
        if name.text in self.kinds:
            return self.kinds[name.text]
        if name.text in self.unread or not self.good_name(name):
            return None
        code = CODE.match(name.text)
        kind = CODES.get(code[1]) if code else "ground" if name.text == "GND" else None
        if kind is None:
            mistake = "heater-or-ground" if code and code[1] == "E" else "unknown-kind"
            self.collector.add(
                mistake, name.at, name=name.text, near=self.collector.near(name.text, self.kinds)
            )
            self.unread |= {name.text}
            return None
        self.kinds[name.text] = kind
        return kind

    def known(self, name: Word, what: str, names: Collection[str], mistake: str = "unknown-name") -> bool:
        """Whether a name is one of ``names``; an error with the nearest, and with the list where it is short."""
        if name.text in names:
            return True
        if name.text not in self.unread:
            shown = ", ".join(islice(names, 12)) + (", …" if len(names) > 12 else "")
            self.collector.add(
                mistake,
                name.at,
                name=name.text,
                what=what,
                near=self.collector.near(name.text, names),
                hint=f"there are: {shown}" if names else "there are none",
            )
        return False

    def known_module(self, name: Word) -> bool:
        """Whether a name is a module's."""
        if self.kinds.get(name.text) == "module":
            return True
        return self.known(name, "module", [other for other, kind in self.kinds.items() if kind == "module"])

    def known_state(self, name: Word) -> bool:
        """Whether a state is declared; none is called unknown while a state's line has an error of its own."""
        if "state" in self.unread:
            return True
        return self.known(name, "state", self.states or [AS_DRAWN.name], "unknown-state")

    def no_pin(self, word: Word, name: str, pin: str) -> None:
        """Tells that a part has no such pin, and which it has."""
        pins = self.pins[name]
        shown, near = " ".join(pins) or "of its own", self.collector.near(pin, pins)
        self.collector.add("no-pin", word.at, name=name, pins=shown, pin=pin, near=near)

    def sole(self, lines: list[L], what: str) -> list[L]:
        """Lines of a kind that may be given once."""
        for line in lines[1:]:
            self.collector.add("value-twice", line.at, what=what)
        return lines

    # numbers

    def number(
        self, amount: s.Amount | None, unit: str, what: str, limits: Limits = POSITIVE
    ) -> float | None:
        """The value of an amount in the unit that belongs there ('' for a share), within sense; None after an error."""
        if amount is None:
            return None
        if amount.unit != unit:
            shown = f"in {unit}" if unit else "as a share from 0 to 1, or in %"
            self.collector.add("expected-unit", amount.at, value=amount.text, what=what, unit=shown)
            return None
        if not limits.hold(amount.value):
            self.collector.add("range", amount.at, value=amount.text, what=what, limits=str(limits))
            return None
        return amount.value

    def once(self, items: Iterable[object]) -> dict[str, s.Given | s.Said]:
        """Items of a line by their word; each may be given once."""
        table: dict[str, s.Given | s.Said] = {}
        for item in items:
            if not isinstance(item, s.Given | s.Said):
                continue
            key = f"{item.word} " if item.word == "pulled" and isinstance(item, s.Given) else item.word
            if key in table:
                at = item.amount.at if isinstance(item, s.Given) else item.value.at
                self.collector.add("value-twice", at, what=f'"{item.word}"' if item.word else "the value")
            else:
                table[key] = item
        return table


def again(words: Iterable[Word]) -> Iterator[Word]:
    """The words that were there before."""
    seen: set[str] = set()
    for word in words:
        if word.text in seen:
            yield word
        seen.add(word.text)


def said(items: Iterable[object], word: str) -> list[Word]:
    """What a line says under a word, each time."""
    return [item.value for item in items if isinstance(item, s.Said) and item.word == word]


def amount_of(table: dict[str, s.Given | s.Said], word: str) -> s.Amount | None:
    """The amount that a line gives under a word."""
    item = table.get(word)
    return item.amount if isinstance(item, s.Given) else None


def text_of(table: dict[str, s.Given | s.Said], word: str) -> str:
    """The text that a line gives under a word, '' for none."""
    item = table.get(word)
    return item.value.text if isinstance(item, s.Said) else ""


def takes(kind: str) -> str:
    """What values a kind of part takes, as a remedy."""
    units = [
        {"share": "a share from 0 to 1", "pulls": '"pulls" V', "drops": '"drops" V'}.get(unit, unit)
        for unit in KINDS[kind].units
    ]
    return f"a {kind} takes {', '.join(units)}" if units else f"a {kind} takes no values"
