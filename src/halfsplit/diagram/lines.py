"""The strokes of a page sorted by what they can be: straight lines, slants, curls, shapes, dots and rings.

Wires of a diagram run level or upright. So level and upright strokes are lines, merged where they go on; a slanting
stroke shorter than a few letters is part of a symbol, as is a curl (an arc or a zigzag).
"""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field, replace
from itertools import groupby, pairwise

import shapely  # type: ignore[import-untyped]

from halfsplit.diagram.sheet import Box, Outline, Sheet, Spot, box_of, grown, holds, within

TOUCH = 0.12
"""Ends nearer than this share of a letter's height touch."""
LEAST_TOUCH = 0.7
"""And nearer than this, points."""
SLANT = 4.0
"""A slanting stroke of so many letters' heights and more can be a wire."""
DOT, RING = 1.0, 1.2
"""Widest dot and ring, in letters' heights."""
STUB = 0.35
"""Pieces shorter than this are parts of a curve."""
DASH = 1.2
"""Longest dash, and longest gap between two, in letters' heights."""


@dataclass(frozen=True, slots=True)
class Line:
    """A straight line from ``a`` to ``b``; level and upright ones run to the right and downwards.

    ``breaks``: where the strokes end of which it is made. ``hops``: stretches that jump over another line.
    """

    a: Spot
    b: Spot
    dashed: bool = False
    breaks: tuple[Spot, ...] = ()
    hops: tuple[Spot, ...] = ()

    @property
    def length(self) -> float:
        return math.dist(self.a, self.b)

    @property
    def level(self) -> bool:
        return self.a[1] == self.b[1]

    @property
    def upright(self) -> bool:
        return self.a[0] == self.b[0]

    @property
    def box(self) -> Box:
        return box_of((self.a, self.b))

    @property
    def geometry(self) -> shapely.Geometry:
        return shapely.LineString((self.a, self.b))


@dataclass(frozen=True, slots=True)
class Round:
    """A dot or a ring: its middle and half its width."""

    middle: Spot
    radius: float

    @property
    def box(self) -> Box:
        (x, y), radius = self.middle, self.radius
        return x - radius, y - radius, x + radius, y + radius


@dataclass(slots=True)
class Strokes:
    """A page's strokes, sorted. ``touch`` and ``em`` are the lengths by which it was done."""

    em: float
    touch: float
    lines: list[Line] = field(default_factory=list)
    dashes: list[Line] = field(default_factory=list)
    slants: list[Line] = field(default_factory=list)
    curls: list[tuple[Spot, ...]] = field(default_factory=list)
    shapes: list[Outline] = field(default_factory=list)
    blobs: list[Outline] = field(default_factory=list)
    dots: list[Round] = field(default_factory=list)
    rings: list[Round] = field(default_factory=list)
    frames: list[Box] = field(default_factory=list)


def sorted_strokes(sheet: Sheet) -> Strokes:
    """The strokes of a page, sorted; collinear ones merged, dashes told, hops bridged, boxes of four lines closed."""
    em = sheet.em
    strokes = Strokes(em, max(LEAST_TOUCH, TOUCH * em))
    for outline in sheet.outlines:
        left, top, right, bottom = outline.box
        if right - left > 0.97 * sheet.width and bottom - top > 0.97 * sheet.height:
            continue
        area = _area(outline, strokes.touch)
        if area > 0.3:
            _sort_shape(outline, area, strokes)
        elif outline.stroked:
            _sort_pieces(outline, strokes)
    strokes.rings = [
        ring
        for ring in _apart(strokes.rings, strokes.touch)
        if not any(holds(grown(ring.box, 0.3 * ring.radius), word.box) for word in sheet.words)
    ]
    strokes.dots = _apart(strokes.dots, strokes.touch)
    strokes.lines, loose = _without_dashes(strokes.lines, strokes)
    strokes.dashes = _merged([*strokes.dashes, *loose], strokes.touch, DASH * em)
    _bridge(strokes)
    strokes.lines = _merged(strokes.lines, strokes.touch)
    _close_boxes(strokes)
    return strokes


# Sorting


def _area(outline: Outline, touch: float) -> float:
    """The area that a closed outline holds (the shoelace formula); 0 of an open one."""
    spots = outline.spots
    ends_meet = len(spots) > 3 and math.dist(spots[0], spots[-1]) <= 0.5 * touch
    if len(spots) < 3 or not (outline.filled or outline.closed or ends_meet):
        return 0.0
    around = zip(spots, (*spots[1:], spots[0]), strict=True)
    return 0.5 * abs(sum(x1 * y2 - x2 * y1 for (x1, y1), (x2, y2) in around))


def _sort_shape(outline: Outline, area: float, strokes: Strokes) -> None:
    """A closed outline: a line drawn as a thin bar, a dot, a ring, a filled blob, or a shape."""
    left, top, right, bottom = outline.box
    across, down, em = right - left, bottom - top, strokes.em
    thin, long = sorted((across, down))
    x, y = (left + right) / 2, (top + bottom) / 2
    fullness = area / (across * down) if across * down else 0.0
    if thin <= 0.35 * em and long >= 2.5 * thin and (fullness > 0.9 or not thin):
        strokes.lines.append(Line((left, y), (right, y)) if across >= down else Line((x, top), (x, bottom)))
    elif long <= DOT * em and long < 1.6 * thin and outline.filled and fullness > 0.7:
        strokes.dots.append(Round((x, y), long / 2))
    elif long <= RING * em and long < 1.3 * thin and 0.7 < fullness < 0.86:
        strokes.rings.append(Round((x, y), long / 2))
    elif not outline.stroked and outline.filled:
        strokes.blobs.append(outline)
    elif outline.dashed and fullness > 0.9:
        strokes.frames.append(outline.box)
    else:
        strokes.shapes.append(outline)


def _sort_pieces(outline: Outline, strokes: Strokes) -> None:
    """An open outline: its straight pieces, and the curls between them."""
    corners: list[Spot] = []
    for spot in outline.spots:
        while len(corners) > 1 and _straight(corners[-2], corners[-1], spot):
            corners.pop()
        if not corners or corners[-1] != spot:
            corners.append(spot)

    def is_curly(piece: tuple[Spot, Spot]) -> bool:
        long = math.dist(*piece)
        return long < SLANT * strokes.em and (_slants(*piece, strokes.touch) or long < STUB * strokes.em)

    for curly, run in groupby(pairwise(corners), is_curly):
        pieces = list(run)
        if curly and len(pieces) > 1:
            strokes.curls.append((pieces[0][0], *(b for _, b in pieces)))
            continue
        for a, b in pieces:
            line = _straightened(a, b, strokes.touch, dashed=outline.dashed)
            if not line.level and not line.upright:
                strokes.slants.append(line)
            elif line.length:
                (strokes.dashes if line.dashed else strokes.lines).append(line)


def _straight(a: Spot, b: Spot, c: Spot) -> bool:
    """Whether b lies on the way straight on from a to c."""
    across = (b[0] - a[0]) * (c[1] - a[1]) - (b[1] - a[1]) * (c[0] - a[0])
    along = (b[0] - a[0]) * (c[0] - b[0]) + (b[1] - a[1]) * (c[1] - b[1])
    return along > 0 and abs(across) < 0.02 * math.dist(a, b) * math.dist(b, c)


def _slants(a: Spot, b: Spot, touch: float) -> bool:
    across, down = abs(a[0] - b[0]), abs(a[1] - b[1])
    return min(across, down) > max(0.35 * touch, 0.02 * max(across, down))


def _straightened(a: Spot, b: Spot, touch: float, *, dashed: bool = False) -> Line:
    """The line between two spots, quite level or upright where it nearly is."""
    if not _slants(a, b, touch):
        if abs(a[0] - b[0]) >= abs(a[1] - b[1]):
            y = (a[1] + b[1]) / 2
            a, b = sorted(((a[0], y), (b[0], y)))
        else:
            x = (a[0] + b[0]) / 2
            a, b = sorted(((x, a[1]), (x, b[1])))
    return Line(a, b, dashed)


def _apart(rounds: Iterable[Round], touch: float) -> list[Round]:
    """Each dot or ring once, however often it is painted."""
    kept: dict[tuple[int, int], Round] = {}
    for ring in rounds:
        key = (round(ring.middle[0] / touch), round(ring.middle[1] / touch))
        if key not in kept or kept[key].radius < ring.radius:
            kept[key] = ring
    return list(kept.values())


# Merging


def _merged(lines: Iterable[Line], touch: float, across: float = 0.0) -> list[Line]:
    """Level and upright lines that go on in one another, as one each; ``across``: the gap that is bridged."""
    joined: list[Line] = []
    for along in (0, 1):
        chosen = [line for line in lines if (line.level if along == 0 else line.upright and not line.level)]
        row: list[Line] = []  # at the same height, or at the same distance from the left
        for line in sorted(chosen, key=lambda line: line.a[1 - along]):
            if row and line.a[1 - along] - row[0].a[1 - along] > 0.5 * touch:
                joined += _merged_row(row, along, max(across, touch))
                row = []
            row.append(line)
        joined += _merged_row(row, along, max(across, touch))
    return joined


def _merged_row(row: Iterable[Line], along: int, near: float) -> list[Line]:
    """The lines of a row, those that touch joined, all at the height of the longest."""
    joined: list[Line] = []
    ordered = sorted(row, key=lambda line: line.a[along])
    height = max(ordered, key=lambda line: line.length).a[1 - along] if ordered else 0.0
    for line in ordered:
        a, b = ((end[0], height) if along == 0 else (height, end[1]) for end in (line.a, line.b))
        breaks = (*line.breaks, a, b)
        if not joined or a[along] - joined[-1].b[along] > near:
            joined.append(replace(line, a=a, b=b, breaks=breaks))
            continue
        first = joined.pop()
        breaks, hops = (*first.breaks, *breaks), (*first.hops, *line.hops)
        joined.append(replace(first, b=max(b, first.b), breaks=breaks, hops=hops))
    return joined


def _without_dashes(lines: Sequence[Line], strokes: Strokes) -> tuple[list[Line], list[Line]]:
    """The lines, and the short ones that stand in a row of dashes."""
    rows: dict[tuple[bool, int], list[Line]] = defaultdict(list)
    for line in lines:
        if line.length < DASH * strokes.em:
            height = line.a[1] if line.level else line.a[0]
            rows[line.level, round(2 * height / strokes.touch)].append(line)
    dashes: set[int] = set()
    for (level, _), row in rows.items():
        axis = 0 if level else 1
        for before, after in pairwise(sorted(row, key=lambda line: line.a[axis])):
            space = after.a[axis] - before.b[axis]
            alike = max(before.length, after.length) < 1.35 * min(before.length, after.length) + 0.2
            if 0.5 * strokes.touch < space < 1.6 * max(before.length, strokes.touch) and alike:
                dashes |= {id(before), id(after)}
    return (
        [line for line in lines if id(line) not in dashes],
        [replace(line, dashed=True) for line in lines if id(line) in dashes],
    )


# Hops, which are lines that jump over others, and boxes that are made of four lines


def _bridge(strokes: Strokes) -> None:
    """A half circle between two lines that go on in one another, over a third, is a hop: it becomes a line."""
    at = _finder(((end, line) for line in strokes.lines for end in (line.a, line.b)), strokes.touch)
    others: list[tuple[Spot, ...]] = []
    for curl in strokes.curls:
        line = _straightened(curl[0], curl[-1], strokes.touch)
        far = math.dist(curl[0], curl[-1])
        rise = shapely.distance(shapely.points(curl), line.geometry).max()
        is_hop = (
            (line.level or line.upright)
            and 0.2 * strokes.em < far < 2.5 * strokes.em
            and 0.25 * far < rise < 0.75 * far
            and all(any(other.level == line.level for other in at(end)) for end in (curl[0], curl[-1]))
            and any(line.geometry.crosses(other.geometry) for other in strokes.lines)
        )
        if is_hop:
            middle = ((line.a[0] + line.b[0]) / 2, (line.a[1] + line.b[1]) / 2)
            strokes.lines.append(replace(line, hops=(middle,)))
        else:
            others.append(curl)
    strokes.curls = others


def _finder(spots: Iterable[tuple[Spot, Line]], reach: float) -> Callable[[Spot], list[Line]]:
    """The lines that have one of these spots near to another spot."""
    held = list(spots)
    tree = shapely.STRtree([shapely.Point(spot) for spot, _ in held])

    def at(spot: Spot) -> list[Line]:
        hits = tree.query(shapely.Point(spot), predicate="dwithin", distance=1.5 * reach)
        return [held[number][1] for number in sorted(hits.tolist())]

    return at


def _close_boxes(strokes: Strokes) -> None:
    """Four lines that meet at their ends alone, with nothing in their way, are a box: wires do not run in a ring."""
    for kind in ("lines", "dashes"):
        lines: list[Line] = getattr(strokes, kind)
        slack = strokes.touch if kind == "lines" else DASH * strokes.em
        rings = _rings_of(lines, slack, strokes)
        used = {id(line) for ring in rings for line in ring}
        setattr(strokes, kind, [line for line in lines if id(line) not in used])
        for ring in rings:
            left, top, right, bottom = box = box_of(spot for line in ring for spot in (line.a, line.b))
            if kind == "dashes":
                strokes.frames.append(box)
            else:
                corners = ((left, top), (right, top), (right, bottom), (left, bottom))
                strokes.shapes.append(Outline(corners, closed=True))


def _rings_of(lines: Sequence[Line], slack: float, strokes: Strokes) -> list[tuple[Line, ...]]:
    dots = [dot.middle for dot in strokes.dots]
    uprights = [line for line in lines if line.upright and not line.level]
    levels = [line for line in lines if line.level and line.length > 0.6 * strokes.em]
    by_top, by_end = (_finder(((line.a, line) for line in some), slack) for some in (uprights, levels))
    rings: list[tuple[Line, ...]] = []
    for top in levels:
        for left in by_top(top.a):
            for right in by_top(top.b):
                for bottom in by_end(left.b):
                    ring = (top, left, right, bottom)
                    if math.dist(bottom.b, right.b) > 1.5 * slack or left is right or bottom is top:
                        continue
                    if not any(within(dot, grown(line.box, strokes.touch)) for dot in dots for line in ring):
                        rings.append(ring)
    return rings
