"""Hops, which are lines that jump over others, and boxes that are made of four lines."""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import replace
from itertools import product

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
    ends = _Near(((end, line) for line in strokes.lines for end in (line.a, line.b)), strokes.touch)
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


class _Near:
    """Lines by the spots at which they begin or end."""

    def __init__(self, spots: Iterable[tuple[Spot, Line]], reach: float) -> None:
        self.reach = reach
        self.cells: dict[tuple[int, int], list[tuple[Spot, Line]]] = defaultdict(list)
        for spot, line in spots:
            self.cells[self._cell(spot)].append((spot, line))

    def _cell(self, spot: Spot) -> tuple[int, int]:
        return int(spot[0] // (2 * self.reach)), int(spot[1] // (2 * self.reach))

    def at(self, spot: Spot) -> Iterator[Line]:
        """The lines that begin or end here."""
        column, row = self._cell(spot)
        for cell in product((column - 1, column, column + 1), (row - 1, row, row + 1)):
            yield from (
                line for end, line in self.cells.get(cell, ()) if math.dist(end, spot) <= 1.5 * self.reach
            )

    def go_on(self, spot: Spot, line: Line) -> bool:
        """Whether another line goes on from here in the same direction."""
        return any(other.level == line.level for other in self.at(spot))


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
    by_top, by_end = (_Near(((line.a, line) for line in some), slack) for some in (uprights, levels))
    rings: list[tuple[Line, ...]] = []
    for top in levels:
        for left in by_top.at(top.a):
            for right in by_top.at(top.b):
                for bottom in by_end.at(left.b):
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
