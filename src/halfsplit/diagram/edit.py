"""What a person does to the marks of a diagram: confirm, name, join, cut, drop, draw. Marks in, marks out."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Callable, Mapping
from dataclasses import replace
from typing import Any

import shapely  # type: ignore[import-untyped]

from halfsplit.circuit.kinds import KINDS
from halfsplit.diagram.marks import Joint, Marks, Page, Part, Pin, Trace, confirmed
from halfsplit.diagram.sheet import Box, Spot, middle, within
from halfsplit.diagram.terms import code_of, kind_of
from halfsplit.errors import InputError, NotFoundError

LONGEST_NAME = 40
SNAP = 0.012
"""A tap takes what lies nearer than this share of the page's longer side."""

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
    inside = [joint for joint in marks.joints.values() if joint.page == page and within(joint.spot, box)]
    for number, joint in enumerate(inside, 1):
        made = Pin(marks.fresh("n"), part.key, pin or str(number), joint.spot)
        now = {joint.key: made.key}
        traces = [
            replace(trace, a=now.get(trace.a, trace.a), b=now.get(trace.b, trace.b))
            for trace in marks.traces.values()
        ]
        marks = marks.with_marks(made, *traces).without(joint.key)
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


def _walk(marks: Marks, fields: Fields) -> Marks:
    """The next part of a current path: its box around the tap, and the wire to it from the part before.

    ``way``: the spots of the wire from middle to middle, as it was followed on the photo; without one, a straight line.
    """
    page = _mark(marks, "pages", fields, "page")
    spot = _spot(fields)
    there = _part_at(marks, page.key, spot)
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
    stop = _edge(way[::-1], there.box)
    marks, b = _pin_for(marks, there, stop, pin, leaving=False)
    return _with_wire(marks, page.key, (a, start), (b, stop), _outside(way, marks, before, there.box))


def _walk_to_wire(marks: Marks, page: str, spot: Spot, fields: Fields) -> Marks:
    """A path that ends on a wire, or begins on one: a splice there."""
    if _trace_at(marks, page, spot, _snap(marks.pages[page])) is None:
        raise InputError(
            "nothing is marked there", remedy="type the name of the part, then tap it", where="name"
        )
    before = str(fields.get("before", ""))
    way = _way_of(fields)
    marks, b = _end_at(marks, page, spot)
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
    spot = _edge(way, part.box)
    end = "" if part.kind != "battery" else "-" if toward in ("ground", "mass") else "+"
    marks, key = _pin_for(marks, part, spot, end, leaving=True)
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
    there = _part_at(marks, page, spot)
    if there is not None:
        return "" if there.kind in ("ground", "mass") else there.key
    near = 2 * _snap(marks.pages[page])
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
    marks, a = _end_at(marks, page.key, start)
    marks, b = _end_at(marks, page.key, stop)
    return _with_wire(marks, page.key, (a, marks.spot(a)), (b, marks.spot(b)), _way_of(fields)[1:-1])


def _cut(marks: Marks, fields: Fields) -> Marks:
    """A wire cut where it was tapped: two loose ends."""
    trace, spot = _mark(marks, "traces", fields), _spot(fields)
    end = _halves(trace, spot)[0][-1]
    first = Joint(marks.fresh("j"), trace.page, end)
    second = Joint(marks.with_marks(first).fresh("j"), trace.page, end)
    return _split(marks.with_marks(first, second), replace(trace, doubts=()), spot, (first.key, second.key))


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
        marks = _split(marks, trace, joint.spot, (joint.key, joint.key))
    return marks


def _drag(marks: Marks, fields: Fields) -> Marks:
    """An end of a wire moved to another pin, wire or free place."""
    trace, end = _mark(marks, "traces", fields), str(fields.get("end", "a"))
    if end not in ("a", "b"):
        raise InputError("a wire has the ends a and b")
    marks, key = _end_at(marks.without(trace.key), trace.page, _spot(fields))
    rest = trace.spots[1:] if end == "a" else trace.spots[:-1]
    other = trace.b if end == "a" else trace.a
    if other not in marks.pins and other not in marks.joints:
        marks = marks.with_marks(Joint(other, trace.page, rest[-1] if end == "a" else rest[0]))
    spot = marks.spot(key)
    if end == "a":
        return marks.with_marks(replace(trace, spots=(spot, *rest), a=key, state="drawn"))
    return marks.with_marks(replace(trace, spots=(*rest, spot), b=key, state="drawn"))


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
    ways = Counter(end for trace in marks.traces.values() for end in (trace.a, trace.b))
    loose: dict[str, list[str]] = {}
    for key, joint in marks.joints.items():
        if joint.name and not joint.link and ways[key] == 1:
            loose.setdefault(joint.name, []).append(key)
    return loose


# What lies under a tap: part, pin, wire or nothing; and what a wire that ends there ends on


def _snap(page: Page) -> float:
    """How near to a mark a tap must come to mean it."""
    return SNAP * max(page.width, page.height)


def box_around(page: Page, spot: Spot) -> Box:
    """The box of a part that was tapped and not drawn."""
    half = 0.018 * max(page.width, page.height)
    return spot[0] - half, spot[1] - half, spot[0] + half, spot[1] + half


def _part_at(marks: Marks, page: str, spot: Spot) -> Part | None:
    """The part in whose box a spot lies, that whose middle is nearest; None in none."""
    inside = [part for part in marks.parts.values() if part.page == page and within(spot, part.box)]
    return min(inside, key=lambda symbol: math.dist(middle(symbol.box), spot), default=None)


def _edge(way: list[Spot], box: Box) -> Spot:
    """Where a way that begins in a box leaves it."""
    line, border = shapely.LineString(way), shapely.box(*box).exterior
    hits = [tuple(point) for point in shapely.get_coordinates(shapely.intersection(line, border)).tolist()]
    last = max(hits, key=lambda hit: line.project(shapely.Point(hit)), default=None)
    return (float(last[0]), float(last[1])) if last else way[0]


def _pin_for(marks: Marks, part: Part, spot: Spot, name: str, *, leaving: bool) -> tuple[Marks, str]:
    """The pin of a part that a wire comes to: the one of that name, else a fresh one.

    A part may be drawn as several symbols, as a relay's coil beside its contact is: they share its pins.
    """
    symbols = {mark.key for mark in marks.parts.values() if mark.name == part.name}
    own = [pin for pin in marks.pins.values() if pin.part in symbols]
    known = next((pin for pin in own if pin.name == name), None) if name else None
    if part.kind in ("ground", "splice", "mass") and own:
        known = own[0]
    if not name and known is None:  # a second wire that is followed along the same line
        near = 0.3 * _snap(marks.pages[part.page])
        known = next((pin for pin in own if pin.part == part.key and math.dist(pin.spot, spot) <= near), None)
    if known:
        return marks, known.key
    usual = KINDS[part.kind].pins or tuple(str(number) for number in range(1, 99))
    free = [name for name in usual if name not in {pin.name for pin in own}]
    if not name:
        if part.kind == "connector" and leaving and own:  # what came in goes out by the same cavity
            free = [own[-1].name]
        if part.kind == "relay":
            free = [name for name in (("87", "85") if leaving else ("30", "86")) if name in free] or free
        if not free and leaving and own:
            return marks, own[-1].key
        name = free[0] if free else str(len(own) + 1)
    pin = Pin(marks.fresh("n"), part.key, name, spot)
    return marks.with_marks(pin), pin.key


def _end_at(marks: Marks, page: str, spot: Spot) -> tuple[Marks, str]:
    """What a wire that ends here ends on."""
    near = _snap(marks.pages[page])
    ends = [(pin.spot, key) for key, pin in marks.pins.items() if marks.parts[pin.part].page == page]
    ends += [(joint.spot, key) for key, joint in marks.joints.items() if joint.page == page]
    away, key = min(((math.dist(end, spot), key) for end, key in ends), default=(math.inf, ""))
    if away <= near:
        return marks, key
    trace = _trace_at(marks, page, spot, near)
    if trace is not None:
        joint = Joint(marks.fresh("j"), page, spot, dotted=True)
        return _split(marks.with_marks(joint), trace, spot, (joint.key, joint.key)), joint.key
    part = _part_at(marks, page, spot)
    if part is not None:
        return _pin_for(marks, part, spot, "", leaving=False)
    joint = Joint(marks.fresh("j"), page, spot)
    return marks.with_marks(joint), joint.key


def _trace_at(marks: Marks, page: str, spot: Spot, near: float) -> Trace | None:
    """The wire that passes a spot within ``near``; None where none does."""
    point = shapely.Point(spot)
    traces = [
        (float(point.distance(shapely.LineString(trace.spots))), key)
        for key, trace in marks.traces.items()
        if trace.page == page
    ]
    away, key = min(traces, default=(math.inf, ""))
    return marks.traces[key] if away <= near else None


def _split(marks: Marks, trace: Trace, spot: Spot, ends: tuple[str, str]) -> Marks:
    """A wire in two: the first half comes to one end, the second begins at the other."""
    first, second = _halves(trace, spot)
    other = marks.fresh("t")
    return marks.with_marks(
        replace(trace, spots=first, b=ends[0]),
        replace(trace, key=other, spots=second, a=ends[1], doubts=()),
    )


def _halves(trace: Trace, spot: Spot) -> tuple[tuple[Spot, ...], tuple[Spot, ...]]:
    """The spots of a wire before and after the place nearest to a spot, which ends the one and begins the other."""
    line = shapely.LineString(trace.spots)
    along = line.project(shapely.Point(spot))
    at = line.interpolate(along)
    middle = (float(at.x), float(at.y))
    before = [spot for spot in trace.spots if line.project(shapely.Point(spot)) < along]
    return (*before, middle), (middle, *trace.spots[len(before) :])


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
