"""Symbols and boxes of a page, as bodies at which a wire ends, by what their strokes have in common.

No table of symbols: a body is a closed shape, a short slant, a curl, a filled blob or a bar with free ends, and what
stands close to it. A box that holds bodies of its own which wires lead to is a frame, and cuts nothing.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

import numpy as np
import shapely  # type: ignore[import-untyped]
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components

from halfsplit.diagram.lines import SLANT, Line, Round, Strokes
from halfsplit.diagram.sheet import Box, Word, around, box_of, gap, grown, holds

CLOSE = 0.3
"""Strokes of one symbol are nearer to one another than this share of a letter's height."""
PLATE = 4.5
"""Longest bar of a ground or a battery, in letters' heights."""
FACING = 0.9
"""Plates side by side are nearer to one another than this."""
FRAME = 3.0
"""Smallest side of a frame."""


@dataclass(frozen=True, slots=True)
class Element:
    """One stroke of a body: its geometry, and its ``kind``: shape, slant, curl, plate, blob or ring."""

    kind: str
    geometry: shapely.Geometry
    box: Box

    @property
    def solid(self) -> bool:
        return self.kind in ("shape", "blob")


@dataclass(frozen=True, slots=True)
class Body:
    """Strokes that are one symbol."""

    elements: tuple[Element, ...]

    @property
    def box(self) -> Box:
        return around(element.box for element in self.elements)

    def has(self, kind: str) -> bool:
        return any(element.kind == kind for element in self.elements)


@dataclass(frozen=True, slots=True)
class Bodies:
    """The bodies of a page, its frames, and the lines that are left to be wires."""

    bodies: tuple[Body, ...]
    frames: tuple[Box, ...]
    lines: tuple[Line, ...]
    rings: tuple[Round, ...]


def bodies_of(strokes: Strokes, words: Sequence[Word], codes: Sequence[Word]) -> Bodies:
    """The bodies of a page; ``codes`` are the words that read like the name of a part."""
    slants, diagonals = _slants(strokes)
    elements = [Element("slant", _string(line.a, line.b), line.box) for line in slants]
    elements += [Element("curl", shapely.LineString(curl), box_of(curl)) for curl in strokes.curls]
    elements += [_solid("blob", outline.spots) for outline in strokes.blobs]
    shapes = [_solid("shape", outline.spots) for outline in strokes.shapes]
    boxes = [shape.box for shape in shapes]
    frames = [shape for shape in shapes if _is_frame(shape, elements, shapes, strokes, codes)]
    framed = {id(shape) for shape in frames}
    elements += [shape for shape in shapes if id(shape) not in framed]
    elements += [
        _solid("shape", _corners(box))
        for box in strokes.frames
        if not _is_frame(_solid("frame", _corners(box)), elements, shapes, strokes, codes)
        and any(holds(box, word.box, 1.0) for word in words)
    ]
    del boxes
    plates, lines = _plates([*strokes.lines, *diagonals], elements, strokes)
    elements += [Element("plate", _string(line.a, line.b), line.box) for line in plates]
    contacts, rings = _contacts(strokes.rings, lines, slants, strokes)
    elements += [_solid("ring", _circle(ring)) for ring in contacts]
    return Bodies(
        tuple(_clustered(elements, strokes.em)),
        (*(shape.box for shape in frames), *strokes.frames),
        tuple(_cut(lines, elements, strokes)),
        tuple(rings),
    )


def _string(a: tuple[float, float], b: tuple[float, float]) -> shapely.Geometry:
    return shapely.LineString([a, b])


def _solid(kind: str, spots: Sequence[tuple[float, float]]) -> Element:
    geometry = shapely.Polygon(spots)
    return Element(kind, geometry if geometry.is_valid else geometry.convex_hull, box_of(spots))


def _corners(box: Box) -> tuple[tuple[float, float], ...]:
    left, top, right, bottom = box
    return (left, top), (right, top), (right, bottom), (left, bottom)


def _circle(ring: Round) -> tuple[tuple[float, float], ...]:
    x, y = ring.middle
    turns = np.linspace(0, 2 * np.pi, 12, endpoint=False)
    return tuple((x + ring.radius * math.cos(turn), y + ring.radius * math.sin(turn)) for turn in turns)


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


def _is_frame(
    shape: Element,
    elements: Sequence[Element],
    shapes: Sequence[Element],
    strokes: Strokes,
    codes: Sequence[Word],
) -> bool:
    """Whether a box only goes around others: wires lead through its edge to bodies inside."""
    left, top, right, bottom = box = shape.box
    if min(right - left, bottom - top) < FRAME * strokes.em or shape.geometry.area < 0.9 * (right - left) * (
        bottom - top
    ):
        return False
    inside = [
        figure
        for figure in (*elements, *shapes)
        if figure is not shape and holds(grown(box, -0.25 * strokes.em), figure.box)
    ]
    if not inside or not _led_to(inside, box, strokes):
        return False
    named = [
        word
        for word in codes
        if holds(box, word.box) and any(gap(word.box, element.box) < 3 * strokes.em for element in inside)
    ]
    return len(named) != 1


def _led_to(inside: Sequence[Element], box: Box, strokes: Strokes) -> bool:
    """Whether a line leads from the edge of a box to something in it."""
    for line in strokes.lines:
        for end, other in ((line.a, line.b), (line.b, line.a)):
            if not holds(box, (*end, *end), -strokes.touch) or holds(box, (*other, *other), -strokes.touch):
                continue
            if any(gap((*end, *end), element.box) < 0.6 * strokes.em for element in inside) or any(
                holds(grown(element.box, 0.1), (*end, *end)) for element in inside
            ):
                return True
    return False


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
            and not any(_ends_in(line, solid, strokes.touch) for solid in solids)
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
        ) or any(holds(grown(other.box, touch), (*end, *end)) for end in (line.a, line.b))
        count += 2 if near_end else 1
    return count


def _ends_at(line: Line, spot: tuple[float, float], near: float) -> bool:
    return math.dist(line.a, spot) <= near or math.dist(line.b, spot) <= near


def _ends_in(line: Line, solid: Element, touch: float) -> bool:
    """Whether one end of the line stands at a solid body while the other does not."""
    box = grown(solid.box, touch)
    inside = [holds(box, (*end, *end)) for end in (line.a, line.b)]
    return any(inside) and not all(inside)


def _contacts(
    rings: Sequence[Round], lines: Sequence[Line], slants: Sequence[Line], strokes: Strokes
) -> tuple[list[Round], list[Round]]:
    """Rings that are contacts of a switch: a blade stands on them, or near one on which a single line ends."""
    contacts: list[Round] = []
    rest: list[Round] = []
    for ring in rings:
        near = ring.radius + strokes.touch
        blade = min((_away(ring.middle, slant) for slant in slants), default=math.inf)
        meeting = sum(_away(ring.middle, line) <= near for line in lines)
        through = sum(
            _away(ring.middle, line) <= near and not _ends_at(line, ring.middle, near) for line in lines
        )
        is_contact = blade <= near or (blade < 2.5 * strokes.em and meeting == 1 and not through)
        (contacts if is_contact else rest).append(ring)
    return contacts, rest


def _away(spot: tuple[float, float], line: Line) -> float:
    """The distance from a spot to a line between its ends."""
    (ax, ay), (bx, by), (x, y) = line.a, line.b, spot
    length = (bx - ax) ** 2 + (by - ay) ** 2
    share = 0.0 if not length else min(1.0, max(0.0, ((x - ax) * (bx - ax) + (y - ay) * (by - ay)) / length))
    return math.dist(spot, (ax + share * (bx - ax), ay + share * (by - ay)))


# Clusters, and cutting


def _clustered(elements: Sequence[Element], em: float) -> list[Body]:
    """Elements that belong to one symbol, together."""
    if not elements:
        return []
    geometries = np.array([element.geometry for element in elements], dtype=object)
    tree = shapely.STRtree(geometries)
    near = {"ring": 2.5 * em, "plate": FACING * em}
    reach = np.array([near.get(element.kind, CLOSE * em) for element in elements])
    first, second = tree.query(geometries, predicate="dwithin", distance=reach)
    pairs = [
        (a, b)
        for a, b in zip(first.tolist(), second.tolist(), strict=True)
        if a != b and _belong(elements[a], elements[b], em)
    ]
    rows, columns = zip(*pairs, strict=True) if pairs else ((), ())
    size = len(elements)
    graph = coo_array((np.ones(len(rows)), (rows, columns)), shape=(size, size))
    count, label = connected_components(graph, directed=False)
    groups: list[list[Element]] = [[] for _ in range(count)]
    for element, number in zip(elements, label.tolist(), strict=True):
        groups[number].append(element)
    return [Body(tuple(group)) for group in groups]


def _belong(a: Element, b: Element, em: float) -> bool:
    """Whether two strokes that stand near one another are of one symbol."""
    if a.solid and b.solid:
        return bool(
            shapely.intersection(a.geometry, b.geometry).area > 0.1 * min(a.geometry.area, b.geometry.area)
        )
    if "ring" in (a.kind, b.kind):
        return "slant" in (a.kind, b.kind) or bool(shapely.distance(a.geometry, b.geometry) < CLOSE * em)
    if "plate" in (a.kind, b.kind) and {a.kind, b.kind} <= {"plate", "curl"}:
        return _face(a.box, b.box)
    return bool(shapely.distance(a.geometry, b.geometry) < CLOSE * em)


def _face(a: Box, b: Box) -> bool:
    """Whether two bars lie side by side, like the plates of a battery."""
    level = a[2] - a[0] > a[3] - a[1]
    if level != (b[2] - b[0] > b[3] - b[1]):
        return False
    near, far = (0, 2) if level else (1, 3)
    return min(a[far], b[far]) - max(a[near], b[near]) > 0.5 * min(a[far] - a[near], b[far] - b[near])


def _cut(lines: Iterable[Line], elements: Sequence[Element], strokes: Strokes) -> list[Line]:
    """The lines without what lies within a solid body or across a bar."""
    solids = [element for element in elements if element.kind in ("shape", "blob", "plate", "ring")]
    if not solids:
        return list(lines)
    tree = shapely.STRtree([element.geometry for element in solids])
    pieces: list[Line] = []
    for line in lines:
        hits = tree.query(_string(line.a, line.b), predicate="intersects")
        pieces += _pieces(line, [solids[number] for number in hits.tolist()], strokes)
    return pieces


def _pieces(line: Line, solids: Sequence[Element], strokes: Strokes) -> list[Line]:
    if not solids:
        return [line]
    stretches = [(0.0, 1.0)]
    for solid in solids:
        inside = shapely.intersection(_string(line.a, line.b), solid.geometry)
        if inside.is_empty or (solid.solid and inside.length <= 0.5 * strokes.touch):
            continue
        shares = [
            math.dist(line.a, (spot[0], spot[1])) / line.length
            for spot in shapely.get_coordinates(inside).tolist()
        ]
        stretches = [piece for stretch in stretches for piece in _without(stretch, min(shares), max(shares))]
    least = 0.5 * strokes.touch / line.length if line.length else 1.0
    return [_part(line, start, stop) for start, stop in stretches if stop - start > least]


def _without(stretch: tuple[float, float], start: float, stop: float) -> list[tuple[float, float]]:
    before, after = (stretch[0], min(stretch[1], start)), (max(stretch[0], stop), stretch[1])
    return [part for part in (before, after) if part[1] > part[0]]


def _part(line: Line, start: float, stop: float) -> Line:
    if start == 0.0 and stop == 1.0:
        return line
    (ax, ay), (bx, by) = line.a, line.b

    def at(share: float) -> tuple[float, float]:
        return ax + share * (bx - ax), ay + share * (by - ay)

    return replace(line, a=at(start), b=at(stop))
