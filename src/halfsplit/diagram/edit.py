"""What a person does to the marks of a diagram: confirm, name, join, cut, drop, draw. Marks in, marks out."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import replace
from typing import Any

from halfsplit.circuit.kinds import KINDS
from halfsplit.diagram.marks import Joint, Marks, Part, Pin, Trace, confirmed
from halfsplit.diagram.sheet import Box, Spot, holds
from halfsplit.diagram.tapped import (
    SNAP,
    box_around,
    edge,
    end_at,
    halves,
    middle,
    part_at,
    pin_for,
    split,
    trace_at,
    within,
)
from halfsplit.diagram.terms import code_of, kind_of
from halfsplit.errors import InputError, NotFoundError

LONGEST_NAME = 40

Fields = Mapping[str, Any]


def changed(marks: Marks, act: str, fields: Fields) -> Marks:
    """The marks after one act. Raises `InputError` where it cannot be done, `NotFoundError` where a mark is gone."""
    do = ACTS.get(act)
    if do is None:
        raise InputError(f"{act[:40]!r} is nothing that can be done to a diagram")
    return do(marks, fields)


def _mark(marks: Marks, kind: str, fields: Fields, field: str = "key") -> Any:
    key = str(fields.get(field, ""))
    mark = getattr(marks, kind).get(key)
    if mark is None:
        raise NotFoundError(
            f"there is no {kind[:-1]} {key[:20]!r} on this diagram: somebody may have dropped it"
        )
    return mark


def _spot(fields: Fields, x: str = "x", y: str = "y") -> Spot:
    try:
        spot = float(fields[x]), float(fields[y])
    except (KeyError, TypeError, ValueError):
        raise InputError("the place of the tap is missing") from None
    if not all(math.isfinite(coordinate) and abs(coordinate) < 1e6 for coordinate in spot):
        raise InputError("the place of the tap is not on the page")
    return spot


def _name(fields: Fields, field: str = "name") -> str:
    name = " ".join(str(fields.get(field, "")).split())[:LONGEST_NAME]
    if not name:
        raise InputError("the name is missing", remedy="write it as it stands on the diagram", where=field)
    return name


def _confirm(marks: Marks, fields: Fields) -> Marks:
    """All that has no doubt, or the one that is named; its doubts are settled then."""
    key = str(fields.get("key", ""))
    if key in marks.traces:
        trace = marks.traces[key]
        ends = {marks.pins[end].part for end in (trace.a, trace.b) if end in marks.pins}
        marks = marks.with_marks(replace(trace, doubts=()))
        return confirmed(marks, {key, *ends})
    if key:
        return confirmed(marks, {_mark(marks, "parts", fields).key})
    page = str(fields.get("page", ""))
    sure = [trace for trace in marks.traces.values() if trace.page == page and not trace.doubts]
    parts = [part.key for part in marks.parts.values() if part.page == page]
    return confirmed(marks, {*parts, *(trace.key for trace in sure)})


def _rename(marks: Marks, fields: Fields) -> Marks:
    """A part (name, kind, value) or a pin; a name of DIN 40719-2 tells the kind where none is given."""
    key = str(fields.get("key", ""))
    if key in marks.pins:
        return marks.with_marks(replace(marks.pins[key], name=_name(fields)))
    part = _mark(marks, "parts", fields)
    name = _part_name(_name(fields))
    kind = str(fields.get("kind") or "") or part.kind
    if kind not in KINDS:
        raise InputError(f"{kind[:20]!r} is no kind of part", remedy=f"choose {', '.join(KINDS)}")
    value = str(fields.get("value", part.value))[:20]
    return marks.with_marks(replace(part, name=name, kind=kind, value=value, state="confirmed"))


def _part_name(name: str) -> str:
    cleaned = "".join(
        character if character.isascii() and (character.isalnum() or character == "_") else "_"
        for character in name
    )
    if not cleaned[:1].isalpha():
        raise InputError(f"{name!r} does not begin with a letter", remedy="write a name such as K7")
    return cleaned


def _drop(marks: Marks, fields: Fields) -> Marks:
    key = str(fields.get("key", ""))
    if key not in {**marks.parts, **marks.traces, **marks.pins, **marks.crossings}:
        raise NotFoundError("that mark is gone already")
    return marks.without(key)


def _part(marks: Marks, fields: Fields) -> Marks:
    """A box around a part, with its name; wires that end inside get pins there."""
    page = _mark(marks, "pages", fields, "page").key
    (x1, y1), (x2, y2) = _spot(fields), _spot(fields, "x2", "y2")
    box = (min(x1, x2), min(y1, y2), max(x1, x2), max(y1, y2))
    name, pin = _split_name(_name(fields))
    part = Part(marks.fresh("p"), page, name, _kind(name, fields), box, state="drawn")
    marks = marks.with_marks(part)
    inside = [
        joint
        for joint in marks.joints.values()
        if joint.page == page and holds(box, (*joint.spot, *joint.spot))
    ]
    for number, joint in enumerate(inside, 1):
        marks = _pinned(marks, part, joint, pin or str(number))
    return marks


def _split_name(text: str) -> tuple[str, str]:
    """``K7.87`` as part and pin."""
    name, _, pin = text.partition(".")
    return _part_name(name), pin[:LONGEST_NAME]


def _kind(name: str, fields: Fields) -> str:
    given = str(fields.get("kind", ""))
    if given in KINDS:
        return given
    code = code_of(name)
    return kind_of(code.letters if code else "", name, 1 if code and code.letters == "E" else 2)


def _pinned(marks: Marks, part: Part, joint: Joint, name: str) -> Marks:
    """A joint that became the pin of a part."""
    pin = Pin(marks.fresh("n"), part.key, name, joint.spot)
    traces = [
        replace(
            trace,
            a=pin.key if trace.a == joint.key else trace.a,
            b=pin.key if trace.b == joint.key else trace.b,
        )
        for trace in marks.traces.values()
        if joint.key in (trace.a, trace.b)
    ]
    return marks.with_marks(pin, *traces).without(joint.key)


def _walk(marks: Marks, fields: Fields) -> Marks:
    """The next part of a current path: its box around the tap, and the wire to it from the part before.

    ``way``: the spots of the wire from middle to middle, as it was followed on the photo; without one, a straight line.
    """
    page = _mark(marks, "pages", fields, "page")
    spot = _spot(fields)
    there = part_at(marks, page.key, spot)
    if there is None and not fields.get("name"):
        return _walk_to_wire(marks, page.key, spot, fields)
    name, pin = _split_name(_name(fields)) if fields.get("name") else ("", "")
    if there is None:
        there = Part(
            marks.fresh("p"), page.key, name, _kind(name, fields), box_around(page, spot), state="drawn"
        )
        marks = marks.with_marks(there)
    before = str(fields.get("before", ""))
    if before == there.key or (before not in marks.parts and before not in marks.joints):
        return marks
    way = _way_of(fields) or [_from(marks, before), spot]
    marks, a, start = _start(marks, before, way, there.kind)
    stop = edge(way[::-1], there.box)
    marks, b = pin_for(marks, there, stop, pin, leaving=False)
    return _with_wire(marks, page.key, (a, start), (b, stop), _outside(way, marks, before, there.box))


def _walk_to_wire(marks: Marks, page: str, spot: Spot, fields: Fields) -> Marks:
    """A path that ends on a wire, or begins on one: a splice there."""
    near = SNAP * max(marks.pages[page].width, marks.pages[page].height)
    if trace_at(marks, page, spot, near) is None:
        raise InputError(
            "nothing is marked there", remedy="type the name of the part, then tap it", where="name"
        )
    before = str(fields.get("before", ""))
    way = _way_of(fields)
    marks, b = end_at(marks, page, spot)
    if before not in marks.parts and before not in marks.joints:
        return marks
    way = way or [_from(marks, before), spot]
    marks, a, start = _start(marks, before, way)
    return _with_wire(marks, page, (a, start), (b, spot), _outside(way, marks, before, (*spot, *spot)))


def _way_of(fields: Fields) -> list[Spot]:
    return [(float(x), float(y)) for x, y in fields.get("way") or ()]


def _from(marks: Marks, key: str) -> Spot:
    return middle(marks.parts[key].box) if key in marks.parts else marks.joints[key].spot


def _start(marks: Marks, before: str, way: list[Spot], toward: str = "") -> tuple[Marks, str, Spot]:
    """Where a path goes on: a pin of the part before, or the splice itself. ``toward``: the kind of part it leads to.

    A path leaves a battery at its positive end, unless it leads straight to ground.
    """
    if before in marks.joints:
        return marks, before, marks.joints[before].spot
    part = marks.parts[before]
    spot = edge(way, part.box)
    end = "" if part.kind != "battery" else "-" if toward in ("ground", "mass") else "+"
    marks, key = pin_for(marks, part, spot, end, leaving=True)
    return marks, key, spot


def _outside(way: list[Spot], marks: Marks, before: str, box: Box) -> list[Spot]:
    """The corners of a way that lie in neither of the parts that it joins."""
    first = marks.parts[before].box if before in marks.parts else (*way[0], *way[0])
    return [spot for spot in way if not within(spot, first) and not within(spot, box)]


def _with_wire(marks: Marks, page: str, a: tuple[str, Spot], b: tuple[str, Spot], way: list[Spot]) -> Marks:
    if a[0] == b[0]:
        raise InputError("the wire begins and ends at the same point")
    spots = (a[1], *way, b[1])
    return marks.with_marks(Trace(marks.fresh("t"), page, spots, a[0], b[0], state="drawn"))


def goes_on(marks: Marks, fields: Fields) -> str:
    """The mark from which a path goes on after a tap; '' after a ground, where it ends."""
    page, spot = str(fields.get("page", "")), _spot(fields)
    there = part_at(marks, page, spot)
    if there is not None:
        return "" if there.kind in ("ground", "mass") else there.key
    near = 2 * SNAP * max(marks.pages[page].width, marks.pages[page].height)
    at = min(
        ((math.dist(joint.spot, spot), key) for key, joint in marks.joints.items() if joint.page == page),
        default=(math.inf, ""),
    )
    return at[1] if at[0] < near and not fields.get("before") else ""


# Wires


def _draw(marks: Marks, fields: Fields) -> Marks:
    """A wire from one tap to another: each end on the pin, joint, wire or part that lies there."""
    page = _mark(marks, "pages", fields, "page")
    start, stop = _spot(fields), _spot(fields, "x2", "y2")
    way = [(float(x), float(y)) for x, y in fields.get("way") or ()] or [start, stop]
    marks, a = end_at(marks, page.key, start)
    marks, b = end_at(marks, page.key, stop)
    if a == b:
        raise InputError("the wire begins and ends at the same point")
    spots = (marks.spot(a), *way[1:-1], marks.spot(b))
    return marks.with_marks(Trace(marks.fresh("t"), page.key, spots, a, b, state="drawn"))


def _cut(marks: Marks, fields: Fields) -> Marks:
    """A wire cut where it was tapped: two loose ends."""
    trace, spot = _mark(marks, "traces", fields), _spot(fields)
    first, second = halves(trace, spot)
    joint = Joint(marks.fresh("j"), trace.page, first[-1])
    marks = marks.with_marks(joint)
    two = Joint(marks.fresh("j"), trace.page, second[0])
    other = marks.fresh("t")
    return marks.with_marks(
        two,
        replace(trace, spots=first, b=joint.key, doubts=()),
        replace(trace, key=other, spots=second, a=two.key, doubts=()),
    )


def _cross(marks: Marks, fields: Fields) -> Marks:
    """A crossing is said to be a joint, or not."""
    crossing = _mark(marks, "crossings", fields)
    traces = [marks.traces[key] for key in crossing.traces if key in marks.traces]
    marks = marks.without(crossing.key)
    if str(fields.get("joined", "")) not in ("1", "true", "True") or len(traces) != 2:
        return marks
    joint = Joint(marks.fresh("j"), crossing.page, crossing.spot, dotted=True)
    marks = marks.with_marks(joint)
    for trace in traces:
        marks = split(marks, trace, joint)
    return marks


def _drag(marks: Marks, fields: Fields) -> Marks:
    """An end of a wire moved to another pin, wire or free place."""
    trace, end = _mark(marks, "traces", fields), str(fields.get("end", "a"))
    if end not in ("a", "b"):
        raise InputError("a wire has the ends a and b")
    marks, key = end_at(marks.without(trace.key), trace.page, _spot(fields))
    rest = trace.spots[1:] if end == "a" else trace.spots[:-1]
    spots = (marks.spot(key), *rest) if end == "a" else (*rest, marks.spot(key))
    other = trace.b if end == "a" else trace.a
    if other not in marks.pins and other not in marks.joints:
        made = Joint(other, trace.page, rest[-1] if end == "a" else rest[0])
        marks = marks.with_marks(made)
    a, b = (key, trace.b) if end == "a" else (trace.a, key)
    return marks.with_marks(replace(trace, spots=spots, a=a, b=b, state="drawn"))


def _label(marks: Marks, fields: Fields) -> Marks:
    """Colour and cross-section of a wire."""
    trace = _mark(marks, "traces", fields)
    mm2 = str(fields.get("mm2", "")).replace(",", ".")
    size = float(mm2) if mm2.replace(".", "", 1).isdigit() else None
    return marks.with_marks(
        replace(trace, colour=str(fields.get("colour", trace.colour))[:9].upper(), mm2=size)
    )


def _link(marks: Marks, fields: Fields) -> Marks:
    """Loose ends of one name are the same point: somebody says so."""
    name = _name(fields)
    ends = loose_ends(marks)
    joined = [replace(marks.joints[key], link=name) for key in ends.get(name, ())]
    if not joined:
        raise NotFoundError(f"no loose end is called {name!r}")
    return marks.with_marks(*joined)


def loose_ends(marks: Marks) -> dict[str, list[str]]:
    """Name of a signal or reference → the loose ends of wires that carry it and that nobody joined yet."""
    ways: dict[str, int] = {}
    for trace in marks.traces.values():
        for end in (trace.a, trace.b):
            ways[end] = ways.get(end, 0) + 1
    loose: dict[str, list[str]] = {}
    for key, joint in marks.joints.items():
        if joint.name and not joint.link and ways.get(key) == 1:
            loose.setdefault(joint.name, []).append(key)
    return loose


ACTS: Mapping[str, Callable[[Marks, Fields], Marks]] = {
    "confirm": _confirm,
    "rename": _rename,
    "drop": _drop,
    "part": _part,
    "walk": _walk,
    "draw": _draw,
    "cut": _cut,
    "cross": _cross,
    "drag": _drag,
    "label": _label,
    "link": _link,
}
"""What can be done: act → how."""
