"""Declarations of parts → `Part`: values by their unit, positions, joins, park switch, tags, place."""

from __future__ import annotations

from collections.abc import Sequence
from types import MappingProxyType
from typing import Final

from halfsplit.circuit.kinds import KINDS
from halfsplit.circuit.model import BODY, Behaviour, Join, Part
from halfsplit.notation import syntax as s
from halfsplit.notation.scope import POINTS, POSITIVE, SHARE, Scope, again, said, takes, text_of
from halfsplit.notation.syntax import Word, only, texts, words_of

TAGS: Final = ("pyro", "orange")
"""Circuits with explosive charges, and with high voltage: never probed, lamped or jumped."""

RATED: Final = ("fuse", "breaker")
_ONE_OF: Final = ("W", "A", "ohm")
_CALLED: Final = {
    "share": "a share of the supply",
    "A": "a current",
    "W": "a power",
    "ohm": "a resistance",
}
"""Key of a value → what it is called; every other is a voltage."""


def build_part(scope: Scope, name: str, behaviour: Behaviour | None) -> Part:
    """One part, declared or not; its pins are those of its kind and those that the file uses."""
    kind = scope.kinds[name]
    line = scope.declared.get(name)
    if line is None:
        first = next(iter(scope.used[name].values()))
        return Part(name, kind, scope.pins[name], behaviour=behaviour, declared=False, at=first)
    table = scope.once(
        item for item in line.items if isinstance(item, s.Said) and item.word not in ("position", "kind")
    )
    positions = _positions(scope, line)
    park = next(((a.text, b.text, c.text) for a, b, c in (under.words for under in _parks(line))), None)
    for under in only(line.under, s.JoinsLine):
        check_position(scope, name, under.position, positions or ("open", "closed"))
        if under.a.text == under.b.text:
            scope.collector.add("joined-to-itself", under.b.at, pin=under.a.text)
    return Part(
        name,
        kind,
        scope.pins[name],
        MappingProxyType(values(scope, line)),
        text_of(table, "words"),
        text_of(table, "at"),
        positions,
        _joins(line),
        park,
        behaviour,
        _mass(scope, line, table),
        _tags(scope, line),
        any(under.rule == "drifts" for under in only(line.under, s.WordsLine)),
        at=line.at,
    )


def check_rating(scope: Scope, name: str) -> None:
    """A fuse without a rating could never blow: an error, declared or not."""
    kind, line = scope.kinds[name], scope.declared.get(name)
    given = line is not None and any(isinstance(item, s.Given) for item in line.items)
    if kind in RATED and not given and name not in scope.unread:
        at = line.at if line else next(iter(scope.used[name].values()))
        scope.collector.add("no-rating", at, name=name, kind=kind)


# values


def values(scope: Scope, line: s.PartLine) -> dict[str, float]:
    """The values of a declaration by unit or word, checked against the table of kinds."""
    kind, name, table = line.kind.text, line.name.text, dict[str, float]()
    for item in line.items:
        if isinstance(item, s.Given):
            key, amount = _key(scope, kind, item), item.amount
            limits = SHARE if key == "share" else POSITIVE
            if key in table:
                scope.collector.add("value-twice", amount.at, what=f"the value in {key}")
            elif key and scope.number(amount, amount.unit, _CALLED.get(key, "a voltage"), limits) is not None:
                table[key] = amount.value
    several = [unit for unit in _ONE_OF if unit in table]
    if KINDS[kind].load and len(several) > 1:
        scope.collector.add("one-value", line.name.at, name=name, units=" and ".join(several))
    if kind == "relay":
        drops, pulls = ({**KINDS[kind].defaults, **table}[word] for word in ("drops", "pulls"))
        if drops >= pulls:
            shown = {"drops": f"{drops:g} V", "pulls": f"{pulls:g} V"}
            scope.collector.add("drops-over-pulls", line.name.at, name=name, **shown)
    return table


def _key(scope: Scope, kind: str, item: s.Given) -> str | None:
    """The key of a value in `Part.values`; None after an error."""
    amount, units = item.amount, KINDS[kind].units
    if item.word in units:
        good = amount.unit == "V" or scope.number(amount, "V", f"when a relay {item.word}")
        return item.word if good else None
    if item.word:
        scope.collector.add("not-for-kind", amount.at, word=item.word, kind=kind, takes=takes(kind))
        return None
    key = amount.unit or "share"
    if key in units:
        return key
    mistake = "wrong-unit" if amount.unit else "no-unit"
    scope.collector.add(mistake, amount.at, kind=kind, value=amount.text, takes=takes(kind))
    return None


# switches and motors


def _positions(scope: Scope, line: s.PartLine) -> tuple[str, ...]:
    words = said(line.items, "position")
    for word in again(words):
        scope.collector.add("position-twice", word.at, name=line.name.text, position=word.text)
    if len(words) == 1:
        scope.collector.add("few-positions", words[0].at, name=line.name.text, count="one position only")
    return texts(words)


def _joins(line: s.PartLine) -> tuple[Join, ...]:
    joins = only(line.under, s.JoinsLine)
    return tuple(Join(under.position.text, under.a.text, under.b.text) for under in joins)


def check_position(scope: Scope, name: str, word: Word | s.Amount, known: Sequence[str]) -> bool:
    """Whether a switch has that position."""
    if word.text in known:
        return True
    scope.collector.add(
        "unknown-position",
        word.at,
        name=name,
        positions=" ".join(known),
        position=word.text,
        near=scope.collector.near(word.text, known),
    )
    return False


def _parks(line: s.PartLine) -> list[s.WordsLine]:
    return [under for under in only(line.under, s.WordsLine) if under.rule == "parks"]


# tags, masses


def _tags(scope: Scope, line: s.PartLine) -> tuple[str, ...]:
    words = [*said(line.items, "kind"), *words_of(line.under, "tagged")]
    for word in words:
        if word.text not in TAGS:
            scope.collector.add("unknown-tag", word.at, tag=word.text)
    return tuple(dict.fromkeys(texts(words)))


def _mass(scope: Scope, line: s.PartLine, table: dict[str, s.Given | s.Said]) -> str:
    item = table.get("on")
    if not isinstance(item, s.Said):
        return BODY
    if line.kind.text != "ground":
        scope.collector.add(
            "not-for-kind", item.value.at, word="on", kind=line.kind.text, takes='delete "on" and the name'
        )
    mass = item.value.text
    if scope.kinds.get(mass) != "mass" and mass not in scope.unread:
        masses = [name for name, kind in scope.kinds.items() if kind == "mass"]
        scope.collector.add("unknown-mass", item.value.at, mass=mass, near=scope.collector.near(mass, masses))
    return mass


# pins


def pins_of(scope: Scope, name: str, behaviour_pins: Sequence[str]) -> tuple[str, ...]:
    """Pins in the kind's order; those of modules and connectors in the order of their first use."""
    kind, line = KINDS[scope.kinds[name]], scope.declared.get(name)
    used = [pin for pin in scope.used.get(name, {}) if pin]
    if kind.name in POINTS:
        return ()
    if not kind.pins:
        return tuple(dict.fromkeys((*behaviour_pins, *used)))
    if line is None:
        return (*kind.pins, *(pin for pin in kind.optional if pin in used))
    parked = [word for under in scope.sole(_parks(line), '"parks"')[:1] for word in under.words]
    for pin in again(parked):
        scope.collector.add("park-pins", pin.at, pin=pin.text)
    joined = [pin for join in _joins(line) for pin in (join.a, join.b)]
    fixed = dict.fromkeys((*(joined or kind.pins), *texts(parked)))
    # A sensor with a share of its supply has three pins, drawn or not.
    shares = [item for item in line.items if isinstance(item, s.Given) and not item.amount.unit]
    all_pins = kind.name == "sensor" and shares
    return (*fixed, *(pin for pin in kind.optional if pin in used or all_pins))
