"""Declarations of parts → `Part`: values by their unit, positions, joins, park switch, tags, place."""

from __future__ import annotations

from collections.abc import Sequence
from types import MappingProxyType
from typing import Final

from halfsplit.circuit.kinds import KINDS
from halfsplit.circuit.model import BODY, Behaviour, Join, Part
from halfsplit.notation import syntax as s
from halfsplit.notation.scope import POSITIVE, SHARE, Scope, takes, text_of
from halfsplit.notation.syntax import Word

TAGS: Final = ("pyro", "orange")
"""Circuits with explosive charges, and with high voltage: never probed, lamped or jumped."""

RATED: Final = ("fuse", "breaker")
_ONE_OF: Final = ("W", "A", "ohm")
_PLAIN: Final = ("words", "at")


def build_part(scope: Scope, name: str, behaviour: Behaviour | None) -> Part:
    """One part, declared or not; its pins are those of its kind and those that the file uses."""
    kind = scope.kinds[name]
    line = scope.declared.get(name)
    if line is None:
        first = next(iter(scope.used[name].values()))
        return Part(name, kind, scope.pins[name], behaviour=behaviour, declared=False, at=first)
    said = scope.once(
        item for item in line.items if isinstance(item, s.Said) and item.word not in ("position", "kind")
    )
    positions, joins, park = _positions(scope, line), _joins(line), _park(line)
    _check_joins(scope, line, positions, joins)
    return Part(
        name,
        kind,
        scope.pins[name],
        values(scope, line),
        text_of(said, "words"),
        text_of(said, "at"),
        positions,
        joins,
        park,
        behaviour,
        _mass(scope, line, said),
        _tags(scope, line),
        any(isinstance(under, s.DriftsLine) for under in line.under),
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


def values(scope: Scope, line: s.PartLine) -> MappingProxyType[str, float]:
    """The values of a declaration by unit or word, checked against the table of kinds."""
    kind, name, table = line.kind.text, line.name.text, dict[str, float]()
    for item in line.items:
        if isinstance(item, s.Given):
            key = _key(scope, kind, item)
            if key in table:
                scope.collector.add("value-twice", item.amount.at, what=f"the value in {key}")
            elif key and _in_sense(scope, key, item.amount):
                table[key] = item.amount.value
    several = [unit for unit in _ONE_OF if unit in table]
    if KINDS[kind].load and len(several) > 1:
        scope.collector.add("one-value", line.name.at, name=name, units=" and ".join(several))
    if kind == "relay":
        _check_relay(scope, line, {**KINDS[kind].defaults, **table})
    return MappingProxyType(table)


def _key(scope: Scope, kind: str, item: s.Given) -> str | None:
    """The key of a value in `Part.values`; None after an error."""
    amount, units = item.amount, KINDS[kind].units
    if item.word:
        if item.word not in units:
            scope.collector.add("not-for-kind", amount.at, word=item.word, kind=kind, takes=takes(kind))
            return None
        return (
            item.word
            if amount.unit == "V" or scope.number(amount, "V", f"when a relay {item.word}")
            else None
        )
    key = amount.unit or "share"
    if key in units:
        return key
    mistake = "wrong-unit" if amount.unit else "no-unit"
    scope.collector.add(mistake, amount.at, kind=kind, value=amount.text, takes=takes(kind))
    return None


def _in_sense(scope: Scope, key: str, amount: s.Amount) -> bool:
    what = {
        "share": "a share of the supply",
        "A": "a current",
        "V": "a voltage",
        "W": "a power",
        "ohm": "a resistance",
    }.get(key, "a voltage")
    return scope.number(amount, amount.unit, what, SHARE if key == "share" else POSITIVE) is not None


def _check_relay(scope: Scope, line: s.PartLine, table: dict[str, float]) -> None:
    if table["drops"] >= table["pulls"]:
        scope.collector.add(
            "drops-over-pulls",
            line.name.at,
            name=line.name.text,
            drops=f"{table['drops']:g} V",
            pulls=f"{table['pulls']:g} V",
        )


# switches and motors


def _positions(scope: Scope, line: s.PartLine) -> tuple[str, ...]:
    words = [item.value for item in line.items if isinstance(item, s.Said) and item.word == "position"]
    seen: list[str] = []
    for word in words:
        if word.text in seen:
            scope.collector.add("position-twice", word.at, name=line.name.text, position=word.text)
        seen.append(word.text)
    if len(words) == 1:
        scope.collector.add("few-positions", words[0].at, name=line.name.text, count="one position only")
    return tuple(seen)


def _joins(line: s.PartLine) -> tuple[Join, ...]:
    return tuple(
        Join(under.position.text, under.a.text, under.b.text)
        for under in line.under
        if isinstance(under, s.JoinsLine)
    )


def _check_joins(scope: Scope, line: s.PartLine, positions: tuple[str, ...], joins: Sequence[Join]) -> None:
    known = positions or ("open", "closed")
    for under in line.under:
        if not isinstance(under, s.JoinsLine):
            continue
        check_position(scope, line.name.text, under.position, known)
        if under.a.text == under.b.text:
            scope.collector.add("joined-to-itself", under.b.at, pin=under.a.text)


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


def _park(line: s.PartLine) -> tuple[str, str, str] | None:
    parks = [under for under in line.under if isinstance(under, s.ParksLine)]
    if not parks:
        return None
    common, parked, running = (word.text for word in parks[0].pins)
    return common, parked, running


def _check_park(scope: Scope, line: s.PartLine) -> None:
    parks = [under for under in line.under if isinstance(under, s.ParksLine)]
    for under in parks[1:]:
        scope.collector.add("value-twice", under.at, what='"parks"')
    for under in parks[:1]:
        seen: set[str] = set()
        for pin in under.pins:
            if pin.text in seen:
                scope.collector.add("park-pins", pin.at, pin=pin.text)
            seen.add(pin.text)


# tags, masses


def _tags(scope: Scope, line: s.PartLine) -> tuple[str, ...]:
    words = [item.value for item in line.items if isinstance(item, s.Said) and item.word == "kind"]
    words += [under.tag for under in line.under if isinstance(under, s.TagLine)]
    for word in words:
        if word.text not in TAGS:
            scope.collector.add("unknown-tag", word.at, tag=word.text)
    return tuple(dict.fromkeys(word.text for word in words))


def _mass(scope: Scope, line: s.PartLine, said: dict[str, s.Given | s.Said]) -> str:
    item = said.get("on")
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
    if not kind.pins:
        return (
            ()
            if kind.name in ("splice", "ground", "mass")
            else tuple(dict.fromkeys((*behaviour_pins, *used)))
        )
    fixed = kind.pins
    if line is not None:
        _check_park(scope, line)
        joins = _joins(line)
        if joins:
            fixed = tuple(dict.fromkeys(pin for join in joins for pin in (join.a, join.b)))
        fixed = tuple(dict.fromkeys((*fixed, *(_park(line) or ()))))
    extra = [pin for pin in kind.optional if pin in used or _three_pins(line)]
    return (*fixed, *extra)


def _three_pins(line: s.PartLine | None) -> bool:
    """A sensor with a share of its supply has three pins, drawn or not."""
    return (
        line is not None
        and line.kind.text == "sensor"
        and any(isinstance(item, s.Given) and not item.amount.unit for item in line.items)
    )
