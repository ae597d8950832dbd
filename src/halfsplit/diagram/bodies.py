"""Symbols and boxes of a page, as bodies at which a wire ends, by what their strokes have in common.

No table of symbols: a body is a closed shape, a short slant, a curl, a filled blob or a bar with free ends, and what
stands close to it. A box that holds bodies of its own which wires lead to is a frame, and cuts nothing.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import shapely  # type: ignore[import-untyped]

from halfsplit.diagram.lines import SLANT, Line, Round, Strokes
from halfsplit.diagram.sheet import Box, Spot, Word, around, gap, grown, holds, within
from halfsplit.joined import Joined

CLOSE = 0.3
"""Strokes of one symbol are nearer to one another than this share of a letter's height."""
PLATE = 4.5
"""Longest bar of a ground or a battery, in letters' heights."""
FACING = 0.9
"""Plates side by side are nearer to one another than this."""
FRAME = 3.0
"""Smallest side of a frame."""


@dataclass(frozen=True)
class Element:
    """One stroke of a body: its geometry, and its ``kind``: shape, slant, curl, plate, blob or ring."""

    kind: str
    geometry: shapely.Geometry

    @property
    def solid(self) -> bool:
        return self.kind in ("shape", "blob")

    @cached_property
    def box(self) -> Box:
        left, top, right, bottom = self.geometry.bounds
        return left, top, right, bottom


@dataclass(frozen=True)
class Body:
    """Strokes that are one symbol."""

    elements: tuple[Element, ...]

    @cached_property
    def box(self) -> Box:
        return around(element.box for element in self.elements)

    def has(self, kind: str) -> bool:
        return any(element.kind == kind for element in self.elements)


@dataclass(frozen=True, slots=True)
class Bodies:
    """The bodies of a page, and the lines that are left to be wires."""

    bodies: tuple[Body, ...]
    lines: tuple[Line, ...]
    rings: tuple[Round, ...]


def bodies_of(strokes: Strokes, words: Sequence[Word], codes: Sequence[Word]) -> Bodies:
    """The bodies of a page; ``codes`` are the words that read like the name of a part."""
    slants, diagonals = _slants(strokes)
    elements = [Element("slant", line.geometry) for line in slants]
    elements += [Element("curl", shapely.LineString(curl)) for curl in strokes.curls]
    elements += [_solid("blob", outline.spots) for outline in strokes.blobs]
    shapes = [_solid("shape", outline.spots) for outline in strokes.shapes]
    dashed = [box for box in strokes.frames if any(holds(box, word.box, 1.0) for word in words)]
    boxes = [*shapes, *(Element("shape", shapely.box(*box)) for box in dashed)]
    others = [*elements, *shapes]
    elements += [shape for shape in boxes if not _is_frame(shape, others, strokes, codes)]
    plates, lines = _plates([*strokes.lines, *diagonals], elements, strokes)
    elements += [Element("plate", line.geometry) for line in plates]
    contacts, rings = _contacts(strokes.rings, lines, slants, strokes)
    elements += [
        Element("ring", shapely.Point(ring.middle).buffer(ring.radius, quad_segs=3)) for ring in contacts
    ]
    return Bodies(
        tuple(_clustered(elements, strokes.em)), tuple(_cut(lines, elements, strokes.touch)), tuple(rings)
    )


def _solid(kind: str, spots: Sequence[Spot]) -> Element:
    geometry = shapely.Polygon(spots)
    return Element(kind, geometry if geometry.is_valid else geometry.convex_hull)


def _slants(strokes: Strokes) -> tuple[list[Line], list[Line]]:
    """Short slants, which are parts of symbols, and long ones whose ends both meet a line, which are wires."""
    ends = [spot for line in strokes.lines for spot in (line.a, line.b)]
    ends += [dot.middle for dot in strokes.dots]
    short: list[Line] = []
    wires: list[Line] = []
    for line in strokes.slants:
        long = line.length >= SLANT * strokes.em
        meets = all(
            any(math.dist(end, spot) < 2 * strokes.touch for spot in ends) for end in (line.a, line.b)
        )
        (wires if long and meets else short).append(line)
    return short, wires


# Frames


def _is_frame(shape: Element, others: Sequence[Element], strokes: Strokes, codes: Sequence[Word]) -> bool:
    """Whether a box only goes around others: wires lead through its edge to bodies inside."""
    left, top, right, bottom = box = shape.box
    full = shape.geometry.area >= 0.9 * (right - left) * (bottom - top)
    if min(right - left, bottom - top) < FRAME * strokes.em or not full:
        return False
    room = grown(box, -0.25 * strokes.em)
    inside = [figure for figure in others if figure is not shape and holds(room, figure.box)]
    # A line leads from the edge of the box to something in it.
    ways = [way for line in strokes.lines for way in ((line.a, line.b), (line.b, line.a))]
    core = grown(box, -strokes.touch)
    led_to = any(
        within(end, core)
        and not within(start, core)
        and any(gap((*end, *end), element.box) < 0.6 * strokes.em for element in inside)
        for end, start in ways
    )
    named = [
        word
        for word in codes
        if holds(box, word.box) and any(gap(word.box, element.box) < 3 * strokes.em for element in inside)
    ]
    return led_to and len(named) != 1


# Bars with free ends, and the contacts of switches


def _plates(
    lines: Sequence[Line], elements: Sequence[Element], strokes: Strokes
) -> tuple[list[Line], list[Line]]:
    """Short bars that one wire ends on or crosses while their own ends are free: grounds, batteries, diodes."""
    solids = [element for element in elements if element.solid]
    curls = [spot for curl in strokes.curls for spot in (curl[0], curl[-1])]
    stops = [*curls, *(dot.middle for dot in strokes.dots), *(ring.middle for ring in strokes.rings)]
    plates: list[Line] = []
    rest: list[Line] = []
    for line in lines:
        is_plate = (
            line.length <= PLATE * strokes.em
            and not line.hops
            and (line.level or line.upright)
            and _met(line, lines, strokes.touch) <= 1
            and not any(_ends_at(line, stop, 2 * strokes.touch) for stop in stops)
            # no end stands at a solid body while the other does not
            and not any(
                sum(within(end, grown(solid.box, strokes.touch)) for end in (line.a, line.b)) == 1
                for solid in solids
            )
        )
        (plates if is_plate else rest).append(line)
    return plates, rest


def _met(line: Line, lines: Sequence[Line], touch: float) -> int:
    """How many others meet the line; one that meets its very end counts twice."""
    count = 0
    box = grown(line.box, touch)
    for other in lines:
        if other is line or gap(box, other.box) > 0:
            continue
        near_end = any(
            math.dist(end, spot) <= 1.5 * touch for end in (line.a, line.b) for spot in (other.a, other.b)
        ) or any(within(end, grown(other.box, touch)) for end in (line.a, line.b))
        count += 2 if near_end else 1
    return count


def _ends_at(line: Line, spot: Spot, near: float) -> bool:
    return math.dist(line.a, spot) <= near or math.dist(line.b, spot) <= near


def _contacts(
    rings: Sequence[Round], lines: Sequence[Line], slants: Sequence[Line], strokes: Strokes
) -> tuple[list[Round], list[Round]]:
    """Rings that are contacts of a switch: a blade stands on them, or near one on which a single line ends."""
    contacts: list[Round] = []
    rest: list[Round] = []
    tree = shapely.STRtree([line.geometry for line in lines])
    for ring in rings:
        spot, near = shapely.Point(ring.middle), ring.radius + strokes.touch
        blade = min((spot.distance(slant.geometry) for slant in slants), default=math.inf)
        meeting = [lines[hit] for hit in tree.query(spot, predicate="dwithin", distance=near).tolist()]
        ends = len(meeting) == 1 and _ends_at(meeting[0], ring.middle, near)
        is_contact = blade <= near or (blade < 2.5 * strokes.em and ends)
        (contacts if is_contact else rest).append(ring)
    return contacts, rest


# Clusters, and cutting


def _clustered(elements: Sequence[Element], em: float) -> list[Body]:
    """Elements that belong to one symbol, together."""
    tree = shapely.STRtree([element.geometry for element in elements])
    near = {"ring": 2.5 * em, "plate": FACING * em}
    joined = Joined[int]()
    for a, element in enumerate(elements):
        reach = near.get(element.kind, CLOSE * em)
        for b in tree.query(element.geometry, predicate="dwithin", distance=reach).tolist():
            if a != b and _belong(element, elements[b], em):
                joined.join(a, b)
    return [
        Body(tuple(elements[number] for number in group)) for group in joined.groups(range(len(elements)))
    ]


def _belong(a: Element, b: Element, em: float) -> bool:
    """Whether two strokes that stand near one another are of one symbol."""
    kinds = {a.kind, b.kind}
    if a.solid and b.solid:
        shared = shapely.intersection(a.geometry, b.geometry).area
        return bool(shared > 0.1 * min(a.geometry.area, b.geometry.area))
    if "ring" in kinds and "slant" in kinds:
        return True
    if "plate" in kinds and kinds <= {"plate", "curl"}:
        # Bars that lie side by side, like the plates of a battery.
        level, other = (box[2] - box[0] > box[3] - box[1] for box in (a.box, b.box))
        near, far = (0, 2) if level else (1, 3)
        beside = min(a.box[far], b.box[far]) - max(a.box[near], b.box[near])
        return level == other and beside > 0.5 * min(box[far] - box[near] for box in (a.box, b.box))
    return bool(shapely.distance(a.geometry, b.geometry) < CLOSE * em)


def _cut(lines: Iterable[Line], elements: Sequence[Element], touch: float) -> Iterator[Line]:
    """The lines without what lies within a solid body or across a bar."""
    solids = [element for element in elements if element.solid or element.kind in ("plate", "ring")]
    tree = shapely.STRtree([element.geometry for element in solids])
    for line in lines:
        way = line.geometry
        hits = tree.query(way, predicate="intersects").tolist()
        gone: list[tuple[float, float]] = []  # shares of the line
        for solid in (solids[hit] for hit in hits):
            inside = shapely.intersection(way, solid.geometry)
            if not inside.is_empty and (not solid.solid or inside.length > 0.5 * touch):
                spots = shapely.get_coordinates(inside).tolist()
                shares = [math.dist(line.a, spot) / line.length for spot in spots]
                gone.append((min(shares), max(shares)))
        if not gone:
            if not hits or line.length > 0.5 * touch:
                yield line
            continue
        start = 0.0
        for low, high in (*sorted(gone), (1.0, 1.0)):
            if (low - start) * line.length > 0.5 * touch:
                a, b = ((way.interpolate(share, normalized=True)) for share in (start, low))
                yield replace(line, a=(a.x, a.y), b=(b.x, b.y))
            start = max(start, high)
