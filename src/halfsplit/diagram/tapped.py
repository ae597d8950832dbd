"""What lies under a tap on a diagram: part, pin, wire or nothing; and what a wire that ends there ends on."""

from __future__ import annotations

import math
from dataclasses import replace

import shapely  # type: ignore[import-untyped]

from halfsplit.circuit.kinds import KINDS
from halfsplit.diagram.marks import Joint, Marks, Page, Part, Pin, Trace
from halfsplit.diagram.sheet import Box, Spot, holds

SNAP = 0.012
"""A tap takes what lies nearer than this share of the page's longer side."""


def box_around(page: Page, spot: Spot) -> Box:
    """The box of a part that was tapped and not drawn."""
    half = 0.018 * max(page.width, page.height)
    return spot[0] - half, spot[1] - half, spot[0] + half, spot[1] + half


def part_at(marks: Marks, page: str, spot: Spot) -> Part | None:
    """The part in whose box a spot lies, that whose middle is nearest; None in none."""
    inside = [part for part in marks.parts.values() if part.page == page and within(spot, part.box)]
    return min(inside, key=lambda symbol: math.dist(middle(symbol.box), spot), default=None)


def within(spot: Spot, box: Box) -> bool:
    """Whether a spot lies in a box."""
    return holds(box, (*spot, *spot))


def middle(box: Box) -> Spot:
    """The middle of a box."""
    return (box[0] + box[2]) / 2, (box[1] + box[3]) / 2


def edge(way: list[Spot], box: Box) -> Spot:
    """Where a way that begins in a box leaves it."""
    line, border = shapely.LineString(way), shapely.box(*box).exterior
    hits = [tuple(point) for point in shapely.get_coordinates(shapely.intersection(line, border)).tolist()]
    last = max(hits, key=lambda hit: line.project(shapely.Point(hit)), default=None)
    return (float(last[0]), float(last[1])) if last else way[0]


def pin_for(marks: Marks, part: Part, spot: Spot, name: str, *, leaving: bool) -> tuple[Marks, str]:
    """The pin of a part that a wire comes to: the one of that name, else a fresh one.

    A part may be drawn as several symbols, as a relay's coil beside its contact is: they share its pins.
    """
    symbols = {mark.key for mark in marks.parts.values() if mark.name == part.name}
    own = [pin for pin in marks.pins.values() if pin.part in symbols]
    known = next((pin for pin in own if pin.name == name), None) if name else None
    if part.kind in ("ground", "splice", "mass") and own:
        known = own[0]
    if not name and known is None:  # a second wire that is followed along the same line
        page = marks.pages[part.page]
        near = 0.3 * SNAP * max(page.width, page.height)
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


def end_at(marks: Marks, page: str, spot: Spot) -> tuple[Marks, str]:
    """What a wire that ends here ends on."""
    near = SNAP * max(marks.pages[page].width, marks.pages[page].height)
    ends = [(pin.spot, key) for key, pin in marks.pins.items() if marks.parts[pin.part].page == page]
    ends += [(joint.spot, key) for key, joint in marks.joints.items() if joint.page == page]
    away, key = min(((math.dist(end, spot), key) for end, key in ends), default=(math.inf, ""))
    if away <= near:
        return marks, key
    trace = trace_at(marks, page, spot, near)
    if trace is not None:
        joint = Joint(marks.fresh("j"), page, spot, dotted=True)
        return split(marks.with_marks(joint), trace, joint), joint.key
    part = part_at(marks, page, spot)
    if part is not None:
        return pin_for(marks, part, spot, "", leaving=False)
    joint = Joint(marks.fresh("j"), page, spot)
    return marks.with_marks(joint), joint.key


def trace_at(marks: Marks, page: str, spot: Spot, near: float) -> Trace | None:
    """The wire that passes a spot within ``near``; None where none does."""
    point = shapely.Point(spot)
    traces = [
        (float(point.distance(shapely.LineString(trace.spots))), key)
        for key, trace in marks.traces.items()
        if trace.page == page
    ]
    away, key = min(traces, default=(math.inf, ""))
    return marks.traces[key] if away <= near else None


def split(marks: Marks, trace: Trace, joint: Joint) -> Marks:
    """A wire in two, which meet at a joint."""
    first, second = halves(trace, joint.spot)
    other = marks.fresh("t")
    return marks.with_marks(
        replace(trace, spots=first, b=joint.key),
        replace(trace, key=other, spots=second, a=joint.key, doubts=()),
    )


def halves(trace: Trace, spot: Spot) -> tuple[tuple[Spot, ...], tuple[Spot, ...]]:
    """The spots of a wire before and after the place nearest to a spot, which ends the one and begins the other."""
    line = shapely.LineString(trace.spots)
    along = line.project(shapely.Point(spot))
    at = line.interpolate(along)
    middle = (float(at.x), float(at.y))
    before = [spot for spot in trace.spots if line.project(shapely.Point(spot)) < along]
    return (*before, middle), (middle, *trace.spots[len(before) :])
