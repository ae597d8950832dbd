"""Paths → wires: what each word of a path stands for, and what each link says of its wire."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise, takewhile
from typing import Final

from halfsplit.circuit.kinds import KINDS
from halfsplit.circuit.model import Wire
from halfsplit.notation import syntax as s
from halfsplit.notation.scope import POINTS, POSITIVE, Scope
from halfsplit.notation.syntax import Word, only

COLOURS: Final = ("BK", "BN", "RD", "OG", "YE", "GN", "BU", "VT", "GY", "WH", "PK", "GD", "TQ", "SR", "GNYE")
"""Letters of IEC 60757."""

_ELSEWHERE: Final = """SW:BK BLK:BK BLACK:BK BR:BN BROWN:BN RT:RD RED:RD R:RD OR:OG ORANGE:OG GE:YE YELLOW:YE Y:YE
    GREEN:GN G:GN BL:BU BLUE:BU VI:VT LI:VT VIOLET:VT PURPLE:VT GR:GY GREY:GY GRAY:GY WS:WH WHITE:WH W:WH RS:PK
    RO:PK PINK:PK B:BK"""
OTHER_COLOURS: Final = dict(pair.split(":") for pair in _ELSEWHERE.split())
"""How colours are written elsewhere, in capitals → IEC 60757."""
_LARGEST_GAUGE: Final = 40


@dataclass(frozen=True, slots=True)
class Path:
    """A path with its continuations, and the production that has it."""

    points: tuple[Word, ...]
    links: tuple[s.Link, ...]
    variant: str


@dataclass(frozen=True, slots=True)
class Visit:
    """The point at which a path arrives, and the one from which it goes on."""

    arrive: str
    leave: str


def paths_of(scope: Scope, statements: Sequence[s.Statement]) -> Iterator[Path]:
    """All paths in the order of the file."""
    for statement in statements:
        if isinstance(statement, s.PathLine):
            yield _extended(statement, statement.under, "")
        elif isinstance(statement, s.VariantLine):
            heads = [
                (index, line) for index, line in enumerate(statement.under) if isinstance(line, s.PathLine)
            ]
            if not heads or heads[0][0] > 0:
                scope.collector.add("empty-variant", statement.at, name=statement.name.text)
            for index, head in heads:
                more = takewhile(lambda line: not isinstance(line, s.PathLine), statement.under[index + 1 :])
                yield _extended(head, more, statement.name.text)


def _extended(path: s.PathLine, more: Iterable[s.Line], variant: str) -> Path:
    """A path with the lines that go on with it."""
    parts = only(more, s.ContinuationLine)
    points = [*path.points, *(point for line in parts for point in line.points)]
    return Path(tuple(points), (*path.links, *(link for line in parts for link in line.links)), variant)


# names in paths


def note_pins(scope: Scope, path: Path) -> None:
    """Learn the names and pins of a path before any wire is made: the pins of modules come from here."""
    for word in path.points:
        if word.text == "?":
            continue
        name, pin, _ = split(word)
        if scope.kind_of(name) is not None and pin:
            scope.used.setdefault(name.text, {}).setdefault(pin, word.at)
        elif name.text in scope.kinds:
            scope.used.setdefault(name.text, {}).setdefault("", word.at)


def split(word: Word) -> tuple[Word, str, str]:
    """Name, pin and side of a point: ``X31.4:in``."""
    point, _, side = word.text.partition(":")
    name, _, pin = point.partition(".")
    return Word(name, word.at), pin, side


# wires


def wires_of(scope: Scope, paths: Sequence[Path]) -> tuple[Wire, ...]:
    """All wires; those between the same two points are counted up."""
    counts: Counter[frozenset[str]] = Counter()
    wires = []
    for index, path in enumerate(paths):
        last = len(path.points) - 1
        visits = [_visit(scope, word, number in (0, last)) for number, word in enumerate(path.points)]
        known = [number for number, word in enumerate(path.points) if word.text != "?"]
        if known[:1] != [0] or known[-1] != last or any(b - a > 2 for a, b in pairwise(known)):
            at = next(word.at for word in path.points if word.text == "?")
            scope.collector.add("stretch-end", at)
            continue
        # An unknown stretch spans the `?` between the points that it joins.
        for start, end in pairwise(known):
            a, b = visits[start], visits[end]
            ends = (a.leave if a else "", b.arrive if b else "")
            wire = _wire(scope, path.links[start:end], ends, path.variant, index)
            if a is None or b is None or wire is None:
                continue
            places = frozenset(end.partition(":")[0] for end in ends)
            if len(places) == 1:
                scope.collector.add("own-wire", path.points[end].at, point=next(iter(places)))
                continue
            counts[places] += 1
            wires.append(replace(wire, number=counts[places]))
    return tuple(wires)


def _visit(scope: Scope, word: Word, at_end: bool) -> Visit | None:
    name, pin, side = split(word)
    kind = scope.kinds.get(name.text)
    if kind is None:  # `?`, or a name with an error of its own
        return None
    point = f"{name.text}.{pin}"
    if kind in POINTS:
        if not pin:
            return Visit(name.text, name.text)
        scope.collector.add("no-pins", word.at, name=name.text, kind=kind, pin=pin)
    elif not pin:
        return _bare(scope, name, kind, at_end)
    elif kind == "connector":
        if side in ("", "in", "out"):
            return Visit(f"{point}:{side or 'in'}", f"{point}:{side or 'out'}")
        scope.collector.add("unknown-side", word.at, side=side, pin=point)
    elif KINDS[kind].pins and pin not in scope.pins[name.text]:
        if name.text not in scope.unread:
            scope.no_pin(word, name.text, pin)
    elif side:
        scope.collector.add("no-side", word.at, point=word.text, pin=point)
    else:
        return Visit(point, point)
    return None


def _bare(scope: Scope, name: Word, kind: str, at_end: bool) -> Visit | None:
    """A part without a pin: only one with exactly two pins, and only in the middle."""
    pins = scope.pins[name.text]
    named = [f"{name.text}.{pin}" for pin in pins]
    shown = " ".join(pins) or "of its own"
    if name.text in scope.unread:
        return None
    if kind == "connector":
        scope.collector.add("bare-connector", name.at, name=name.text)
    elif len(pins) != 2 or not KINDS[kind].pins:
        first = (named or [f"{name.text}.1"])[0]
        scope.collector.add("bare-part", name.at, name=name.text, pins=shown, first=first)
    elif at_end:
        first, second = named
        scope.collector.add("bare-end", name.at, name=name.text, pins=shown, first=first, second=second)
    else:
        return Visit(named[0], named[1])
    return None


# details of a wire


def _wire(
    scope: Scope, links: Sequence[s.Link], ends: tuple[str, str], variant: str, path: int
) -> Wire | None:
    described = [link for link in links if link.details]
    if len(described) > 1:
        scope.collector.add("stretch-details", described[1].at)
        return None
    details = described[0].details if described else ()
    table: dict[str, float] = {}
    colour = ""
    for detail in details:
        if isinstance(detail, Word):
            if colour:
                scope.collector.add("value-twice", detail.at, what="the colour")
            colour = _colour(scope, detail)
            continue
        unit = _detail(scope, detail)
        if unit in table or (unit in ("mm2", "AWG") and {"mm2", "AWG"} & set(table)):
            what = "the length" if unit == "m" else "the cross-section"
            scope.collector.add("value-twice", detail.at, what=what)
        elif unit:
            table[unit] = detail.value
    gauge = int(table["AWG"]) if "AWG" in table else None
    size, length, unknown = table.get("mm2"), table.get("m"), len(links) > 1
    return Wire(*ends, size, gauge, colour, length, 1, unknown, variant, path, links[0].at)


def _detail(scope: Scope, amount: s.Amount) -> str:
    """The unit of a good detail, '' after an error."""
    if amount.unit == "AWG":
        if amount.value != int(amount.value) or not 0 <= amount.value <= _LARGEST_GAUGE:
            scope.collector.add("bad-gauge", amount.at, value=amount.text)
            return ""
        return "AWG"
    what = {"mm2": "a cross-section", "m": "a length"}.get(amount.unit)
    if what is None:
        scope.collector.add("detail-unit", amount.at, value=amount.text)
        return ""
    return amount.unit if scope.number(amount, amount.unit, what, POSITIVE) is not None else ""


def _colour(scope: Scope, word: Word) -> str:
    colours = word.text.split("/")
    wrong = [colour.upper() for colour in colours if colour not in COLOURS]
    if wrong or len(colours) > 2:
        meant = OTHER_COLOURS.get(wrong[0], wrong[0] if wrong[0] in COLOURS else "") if wrong else ""
        near, known = f'did you mean "{meant}"? ' if meant else "", ", ".join(COLOURS)
        scope.collector.add("bad-colour", word.at, colour=word.text, near=near, colours=known)
    return word.text
