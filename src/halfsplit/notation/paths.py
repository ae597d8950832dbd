"""Paths → wires: what each word of a path stands for, and what each link says of its wire."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import Final

from halfsplit.circuit.kinds import KINDS
from halfsplit.circuit.model import Wire
from halfsplit.notation import syntax as s
from halfsplit.notation.scope import POINTS, POSITIVE, Scope
from halfsplit.notation.syntax import Word

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
            yield from _variant(scope, statement)


def _extended(path: s.PathLine, more: Sequence[s.Line], variant: str) -> Path:
    parts = [line for line in more if isinstance(line, s.ContinuationLine)]
    points = [*path.points, *(point for line in parts for point in line.points)]
    return Path(tuple(points), (*path.links, *(link for line in parts for link in line.links)), variant)


def _variant(scope: Scope, statement: s.VariantLine) -> Iterator[Path]:
    starts = [index for index, line in enumerate(statement.under) if isinstance(line, s.PathLine)]
    if not starts or starts[0] > 0:
        scope.collector.add("empty-variant", statement.at, name=statement.name.text)
    for start, end in pairwise([*starts, len(statement.under)]):
        head = statement.under[start]
        if isinstance(head, s.PathLine):
            yield _extended(head, statement.under[start + 1 : end], statement.name.text)


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
        for wire in _wires(scope, path, index):
            ends = frozenset((_place(wire.a), _place(wire.b)))
            counts[ends] += 1
            wires.append(replace(wire, number=counts[ends]))
    return tuple(wires)


def _place(point: str) -> str:
    return point.partition(":")[0]


def _wires(scope: Scope, path: Path, index: int) -> Iterator[Wire]:
    last = len(path.points) - 1
    visits = [
        None if word.text == "?" else _visit(scope, word, number in (0, last))
        for number, word in enumerate(path.points)
    ]
    for start, end in _stretches(scope, path):
        a, b = visits[start], visits[end]
        wire = _wire(
            scope, path.links[start:end], a.leave if a else "", b.arrive if b else "", path.variant, index
        )
        if a is None or b is None or wire is None:
            continue
        if _place(a.leave) == _place(b.arrive):
            scope.collector.add("own-wire", path.points[end].at, point=_place(a.leave))
        else:
            yield wire


def _stretches(scope: Scope, path: Path) -> Iterator[tuple[int, int]]:
    """Index pairs of the points that a wire joins; an unknown stretch spans the ``?`` between them."""
    known = [number for number, word in enumerate(path.points) if word.text != "?"]
    ends = [*known[:1], *known[-1:]]
    if ends[:1] != [0] or ends[-1] != len(path.points) - 1 or any(b - a > 2 for a, b in pairwise(known)):
        at = next(word.at for word in path.points if word.text == "?")
        scope.collector.add("stretch-end", at)
        return
    yield from pairwise(known)


def _visit(scope: Scope, word: Word, at_end: bool) -> Visit | None:
    name, pin, side = split(word)
    kind = scope.kinds.get(name.text)
    if kind is None:
        return None
    if kind in POINTS:
        if pin:
            scope.collector.add("no-pins", word.at, name=name.text, kind=kind, pin=pin)
            return None
        return Visit(name.text, name.text)
    if not pin:
        return _bare(scope, name, kind, at_end)
    if kind == "connector":
        cavity = f"{name.text}.{pin}"
        if side and side not in ("in", "out"):
            scope.collector.add("unknown-side", word.at, side=side, pin=cavity)
            return None
        return Visit(f"{cavity}:{side or 'in'}", f"{cavity}:{side or 'out'}")
    return _pin(scope, word, name.text, pin, side)


def _pin(scope: Scope, word: Word, name: str, pin: str, side: str) -> Visit | None:
    pins = scope.pins[name]
    if pin not in pins and KINDS[scope.kinds[name]].pins:
        if name not in scope.unread:
            scope.collector.add(
                "no-pin",
                word.at,
                name=name,
                pins=" ".join(pins),
                pin=pin,
                near=scope.collector.near(pin, pins),
            )
        return None
    if side:
        scope.collector.add("no-side", word.at, point=word.text, pin=f"{name}.{pin}")
        return None
    return Visit(f"{name}.{pin}", f"{name}.{pin}")


def _bare(scope: Scope, name: Word, kind: str, at_end: bool) -> Visit | None:
    """A part without a pin: only one with exactly two pins, and only in the middle."""
    pins = scope.pins[name.text]
    if name.text in scope.unread:
        return None
    if kind == "connector":
        scope.collector.add("bare-connector", name.at, name=name.text)
        return None
    named = [f"{name.text}.{pin}" for pin in pins]
    if len(pins) != 2 or not KINDS[kind].pins:
        scope.collector.add(
            "bare-part",
            name.at,
            name=name.text,
            pins=" ".join(pins) or "of its own",
            first=(named or [f"{name.text}.1"])[0],
        )
        return None
    if at_end:
        scope.collector.add(
            "bare-end", name.at, name=name.text, pins=" ".join(pins), first=named[0], second=named[1]
        )
        return None
    return Visit(named[0], named[1])


# details of a wire


def _wire(scope: Scope, links: Sequence[s.Link], a: str, b: str, variant: str, path: int) -> Wire | None:
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
            scope.collector.add(
                "value-twice", detail.at, what="the length" if unit == "m" else "the cross-section"
            )
        elif unit:
            table[unit] = detail.value
    gauge = int(table["AWG"]) if "AWG" in table else None
    return Wire(
        a, b, table.get("mm2"), gauge, colour, table.get("m"), 1, len(links) > 1, variant, path, links[0].at
    )


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
    base, *stripes = word.text.split("/")
    if base not in COLOURS or len(stripes) > 1 or any(stripe not in COLOURS for stripe in stripes):
        wrong = next((part for part in (base, *stripes) if part not in COLOURS), "")
        meant = OTHER_COLOURS.get(wrong.upper(), wrong.upper() if wrong.upper() in COLOURS else "")
        scope.collector.add(
            "bad-colour",
            word.at,
            colour=word.text,
            near=f'did you mean "{meant}"? ' if meant else "",
            colours=", ".join(COLOURS),
        )
    return word.text
