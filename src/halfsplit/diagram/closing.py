"""Hops, which are lines that jump over others, and boxes that are made of four lines."""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import replace

from halfsplit.diagram.lines import DASH, Line, Strokes, merged, sorted_pieces, straightened
from halfsplit.diagram.sheet import Outline, Sheet, Spot, box_of, grown, holds


def sorted_strokes(sheet: Sheet) -> Strokes:
    """The strokes of a page, sorted; collinear ones merged, hops bridged, boxes of four lines closed."""
    strokes = sorted_pieces(sheet)
    _bridge(strokes)
    strokes.lines = merged(strokes.lines, strokes.touch)
    _close_boxes(strokes)
    return strokes


def _bridge(strokes: Strokes) -> None:
    """A half circle between two lines that go on in one another, over a third, is a hop: it becomes a line."""
    ends = _Ends(strokes)
    others: list[tuple[Spot, ...]] = []
    for curl in strokes.curls:
        line = straightened(curl[0], curl[-1], Outline(curl), strokes.touch)
        far = math.dist(curl[0], curl[-1])
        rise = max(_distance(spot, curl[0], curl[-1]) for spot in curl)
        is_hop = (
            (line.level or line.upright)
            and 0.2 * strokes.em < far < 2.5 * strokes.em
            and 0.25 * far < rise < 0.75 * far
            and ends.go_on(curl[0], line)
            and ends.go_on(curl[-1], line)
            and any(_crosses(line, other) for other in strokes.lines)
        )
        if is_hop:
            middle = ((line.a[0] + line.b[0]) / 2, (line.a[1] + line.b[1]) / 2)
            strokes.lines.append(replace(line, hops=(middle,)))
        else:
            others.append(curl)
    strokes.curls = others


class _Ends:
    """Where level and upright lines end."""

    def __init__(self, strokes: Strokes) -> None:
        self.touch = strokes.touch
        self.cells: dict[tuple[int, int], list[tuple[Spot, Line]]] = defaultdict(list)
        for line in strokes.lines:
            for end in (line.a, line.b):
                self.cells[self._cell(end)].append((end, line))

    def _cell(self, spot: Spot) -> tuple[int, int]:
        return int(spot[0] // (2 * self.touch)), int(spot[1] // (2 * self.touch))

    def near(self, spot: Spot) -> Iterator[tuple[Spot, Line]]:
        column, row = self._cell(spot)
        for x in (column - 1, column, column + 1):
            for y in (row - 1, row, row + 1):
                yield from (
                    entry
                    for entry in self.cells.get((x, y), ())
                    if math.dist(entry[0], spot) < 1.5 * self.touch
                )

    def go_on(self, spot: Spot, line: Line) -> bool:
        """Whether another line goes on from here in the same direction."""
        return any(other.level == line.level for _, other in self.near(spot))


def _distance(spot: Spot, a: Spot, b: Spot) -> float:
    """From a spot to the line through two others."""
    length = math.dist(a, b) or 1.0
    return abs((b[0] - a[0]) * (spot[1] - a[1]) - (b[1] - a[1]) * (spot[0] - a[0])) / length


def _crosses(line: Line, other: Line) -> bool:
    """Whether two lines, one level and one upright, cross."""
    if line.level == other.level:
        return False
    level, upright = (line, other) if line.level else (other, line)
    return level.a[0] < upright.a[0] < level.b[0] and upright.a[1] < level.a[1] < upright.b[1]


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
                strokes.shapes.append(Outline(corners, closed=True, ink=ring[0].ink))


def _rings_of(lines: Sequence[Line], slack: float, strokes: Strokes) -> list[tuple[Line, ...]]:
    dots = [dot.middle for dot in strokes.dots]
    uprights = [line for line in lines if line.upright and not line.level]
    levels = [line for line in lines if line.level and line.length > 0.6 * strokes.em]
    by_top: dict[tuple[int, int], list[Line]] = defaultdict(list)
    for line in uprights:
        by_top[_cell(line.a, slack)].append(line)
    by_end: dict[tuple[int, int], list[Line]] = defaultdict(list)
    for line in levels:
        by_end[_cell(line.a, slack)].append(line)
    rings: list[tuple[Line, ...]] = []
    for top in levels:
        for left in _at(by_top, top.a, slack):
            for right in _at(by_top, top.b, slack):
                for bottom in _at(by_end, left.b, slack):
                    closes = (
                        math.dist(bottom.b, right.b) <= 1.5 * slack
                        and left is not right
                        and bottom is not top
                    )
                    ring = (top, left, right, bottom)
                    if closes and not any(
                        holds(grown(line.box, strokes.touch), (*dot, *dot)) for dot in dots for line in ring
                    ):
                        rings.append(ring)
    return rings


def _cell(spot: Spot, size: float) -> tuple[int, int]:
    return int(spot[0] // (2 * size)), int(spot[1] // (2 * size))


def _at(cells: dict[tuple[int, int], list[Line]], spot: Spot, slack: float) -> Iterator[Line]:
    """Lines that begin here."""
    column, row = _cell(spot, slack)
    for x in (column - 1, column, column + 1):
        for y in (row - 1, row, row + 1):
            yield from (line for line in cells.get((x, y), ()) if math.dist(line.a, spot) <= 1.5 * slack)
