"""The strokes of a page sorted by what they can be: straight lines, slants, curls, shapes, dots and rings.

Wires of a diagram run level or upright. So level and upright strokes are lines, merged where they go on; a slanting
stroke shorter than a few letters is part of a symbol, as is a curl (an arc or a zigzag).
"""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field, replace
from itertools import pairwise

from halfsplit.diagram.sheet import Box, Outline, Sheet, Spot, Word, box_of, grown, holds

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
    ink: str = "#000000"
    width: float = 1.0
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


@dataclass(frozen=True, slots=True)
class Round:
    """A dot or a ring: its middle and half its width."""

    middle: Spot
    radius: float


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


def sorted_pieces(sheet: Sheet) -> Strokes:
    """The strokes of a page, sorted, each as it is drawn; dashes are told from lines."""
    em = sheet.em
    strokes = Strokes(em, max(LEAST_TOUCH, TOUCH * em))
    for outline in sheet.outlines:
        _sort(outline, strokes, sheet)
    strokes.rings = [ring for ring in _apart(strokes.rings, strokes) if not _holds_word(ring, sheet.words)]
    strokes.dots = _apart(strokes.dots, strokes)
    strokes.lines, loose = _without_dashes(strokes.lines, strokes)
    strokes.dashes = merged([*strokes.dashes, *loose], strokes.touch, DASH * em)
    return strokes


# Sorting


def _sort(outline: Outline, strokes: Strokes, sheet: Sheet) -> None:
    if outline.ink == "#ffffff" or (not outline.stroked and not outline.filled):
        return
    left, top, right, bottom = outline.box
    across, down = right - left, bottom - top
    if across > 0.97 * sheet.width and down > 0.97 * sheet.height:
        return
    if _is_closed(outline, strokes.touch):
        _sort_shape(outline, across, down, strokes)
    elif outline.stroked:
        for piece in _pieces(outline, strokes):
            _keep(piece, outline, strokes)


def _is_closed(outline: Outline, touch: float) -> bool:
    spots = outline.spots
    if len(spots) < 3:
        return False
    ends_meet = math.dist(spots[0], spots[-1]) <= 0.5 * touch
    return (outline.filled or outline.closed or (ends_meet and len(spots) > 3)) and _area(spots) > 0.3


def _area(spots: Sequence[Spot]) -> float:
    """The area that a polygon holds (the shoelace formula)."""
    return 0.5 * abs(
        sum(x1 * y2 - x2 * y1 for (x1, y1), (x2, y2) in zip(spots, (*spots[1:], spots[0]), strict=True))
    )


def _sort_shape(outline: Outline, across: float, down: float, strokes: Strokes) -> None:
    """A closed outline: a line drawn as a thin bar, a dot, a ring, a filled blob, or a shape."""
    em = strokes.em
    thin, long = min(across, down), max(across, down)
    fullness = _area(outline.spots) / (across * down) if across * down else 0.0
    if thin <= 0.35 * em and long >= 2.5 * thin and (fullness > 0.9 or not thin):
        left, top, right, bottom = outline.box
        if right - left >= bottom - top:
            y = (top + bottom) / 2
            strokes.lines.append(Line((left, y), (right, y), outline.ink, bottom - top))
        else:
            x = (left + right) / 2
            strokes.lines.append(Line((x, top), (x, bottom), outline.ink, right - left))
    elif long <= DOT * em and long < 1.6 * thin and outline.filled and fullness > 0.7:
        strokes.dots.append(_round(outline))
    elif long <= RING * em and long < 1.3 * thin and 0.7 < fullness < 0.86:
        strokes.rings.append(_round(outline))
    elif not outline.stroked and outline.filled:
        strokes.blobs.append(outline)
    elif outline.dashed and fullness > 0.9:
        strokes.frames.append(outline.box)
    else:
        strokes.shapes.append(outline)


def _round(outline: Outline) -> Round:
    left, top, right, bottom = outline.box
    return Round(((left + right) / 2, (top + bottom) / 2), max(right - left, bottom - top) / 2)


def _pieces(outline: Outline, strokes: Strokes) -> Iterator[tuple[Spot, ...]]:
    """The straight pieces of an open outline, and the curls between them."""
    run: list[Spot] = []
    # Without spots on the way straight on.
    kept: list[Spot] = []
    for spot in outline.spots:
        if kept and kept[-1] == spot:
            continue
        while len(kept) > 1 and _straight(kept[-2], kept[-1], spot):
            kept.pop()
        kept.append(spot)
    spots = kept
    for a, b in pairwise(spots):
        curly = _slants(a, b, strokes.touch) or math.dist(a, b) < STUB * strokes.em
        if curly and math.dist(a, b) < SLANT * strokes.em:
            run = [*run, b] if run else [a, b]
            continue
        if run:
            yield tuple(run)
        run = []
        yield a, b
    if run:
        yield tuple(run)


def _straight(a: Spot, b: Spot, c: Spot) -> bool:
    across = (b[0] - a[0]) * (c[1] - a[1]) - (b[1] - a[1]) * (c[0] - a[0])
    along = (b[0] - a[0]) * (c[0] - b[0]) + (b[1] - a[1]) * (c[1] - b[1])
    return along > 0 and abs(across) < 0.02 * math.dist(a, b) * math.dist(b, c)


def _slants(a: Spot, b: Spot, touch: float) -> bool:
    across, down = abs(a[0] - b[0]), abs(a[1] - b[1])
    return min(across, down) > max(0.35 * touch, 0.02 * max(across, down))


def _keep(piece: tuple[Spot, ...], outline: Outline, strokes: Strokes) -> None:
    a, b = piece[0], piece[-1]
    if len(piece) > 2:
        strokes.curls.append(piece)
        return
    line = straightened(a, b, outline, strokes.touch)
    if not line.level and not line.upright:
        strokes.slants.append(line)
    elif outline.dashed:
        strokes.dashes.append(line)
    elif line.length:
        strokes.lines.append(line)


def straightened(a: Spot, b: Spot, outline: Outline, touch: float) -> Line:
    """The line between two spots, quite level or upright where it nearly is."""
    if not _slants(a, b, touch):
        if abs(a[0] - b[0]) >= abs(a[1] - b[1]):
            y = (a[1] + b[1]) / 2
            a, b = sorted(((a[0], y), (b[0], y)))
        else:
            x = (a[0] + b[0]) / 2
            a, b = sorted(((x, a[1]), (x, b[1])), key=lambda spot: spot[1])
    return Line(a, b, outline.ink, outline.width, outline.dashed)


def _apart(rounds: Iterable[Round], strokes: Strokes) -> list[Round]:
    """Each dot or ring once, however often it is painted."""
    kept: dict[tuple[int, int], Round] = {}
    for ring in rounds:
        key = (round(ring.middle[0] / strokes.touch), round(ring.middle[1] / strokes.touch))
        if key not in kept or kept[key].radius < ring.radius:
            kept[key] = ring
    return list(kept.values())


def _holds_word(ring: Round, words: Iterable[Word]) -> bool:
    x, y = ring.middle
    box = (x - ring.radius, y - ring.radius, x + ring.radius, y + ring.radius)
    return any(holds(grown(box, 0.3 * ring.radius), word.box) for word in words)


# Merging


def merged(lines: Iterable[Line], touch: float, across: float = 0.0) -> list[Line]:
    """Level and upright lines that go on in one another, as one each; ``across``: the gap that is bridged."""
    joined: list[Line] = []
    for along in (0, 1):
        chosen = [line for line in lines if (line.level if along == 0 else line.upright and not line.level)]
        for row in _rows(chosen, 1 - along, 0.5 * touch):
            joined += _merged_row(row, along, max(across, touch))
    return joined


def _rows(lines: Iterable[Line], axis: int, near: float) -> Iterator[list[Line]]:
    """Lines at the same height (or at the same distance from the left)."""
    row: list[Line] = []
    for line in sorted(lines, key=lambda line: line.a[axis]):
        if row and line.a[axis] - row[0].a[axis] > near:
            yield row
            row = []
        row.append(line)
    if row:
        yield row


def _merged_row(row: Sequence[Line], along: int, near: float) -> Iterator[Line]:
    ordered = sorted(row, key=lambda line: line.a[along])
    longest = max(ordered, key=lambda line: line.length)
    height = longest.a[1 - along]

    def spot(value: float) -> Spot:
        return (value, height) if along == 0 else (height, value)

    current: Line | None = None
    for line in ordered:
        a, b = line.a[along], line.b[along]
        if current is None or a - current.b[along] > near:
            if current is not None:
                yield current
            current = replace(line, a=spot(a), b=spot(b), breaks=(*line.breaks, spot(a), spot(b)))
            continue
        current = replace(
            current,
            b=spot(max(b, current.b[along])),
            breaks=(*current.breaks, *line.breaks, spot(a), spot(b)),
            hops=(*current.hops, *line.hops),
            width=max(current.width, line.width),
            ink=line.ink if line.length > current.length else current.ink,
        )
    if current is not None:
        yield current


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
        row.sort(key=lambda line: line.a[axis])
        for before, after in pairwise(row):
            space = after.a[axis] - before.b[axis]
            alike = max(before.length, after.length) < 1.35 * min(before.length, after.length) + 0.2
            if 0.5 * strokes.touch < space < 1.6 * max(before.length, strokes.touch) and alike:
                dashes |= {id(before), id(after)}
    return (
        [line for line in lines if id(line) not in dashes],
        [replace(line, dashed=True) for line in lines if id(line) in dashes],
    )
