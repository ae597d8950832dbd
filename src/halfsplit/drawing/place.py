"""From rows, columns and tracks to pixels: each column as wide, each row as high as what is written there."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from itertools import accumulate
from math import ceil

from halfsplit.drawing.channels import Channels, Line
from halfsplit.drawing.glyphs import End, owners
from halfsplit.drawing.labels import BOX_MARGIN, GAP, Cell, Writing, box_lines, box_room, cells_of
from halfsplit.drawing.order import Order
from halfsplit.drawing.rows import Layers

TRACK, RAIL_TRACK, CHANNEL = 14.0, 24.0, 12.0
"""Distance of the tracks of a channel, of the feed rails at the top; room above and below the tracks."""
MARGIN, RAIL_MARGIN, FOOT = 16.0, 44.0, 40.0
"""Around the drawing; at the left where a feed rail is named; for the column numbers."""


SPREAD = 40.0
"""Most that a column is widened on a page with room."""


@dataclass(frozen=True, slots=True)
class Grid:
    """The part of the layout that does not depend on what is written: it can be kept while readings come in."""

    layers: Layers
    order: Order
    columns: Mapping[str, int]
    channels: Channels
    rails: frozenset[End]


@dataclass(frozen=True, slots=True)
class Band:
    """The heights of a row: its upper edge, the zone of the symbols, its lower edge."""

    top: float
    mid_top: float
    mid_bottom: float
    bottom: float

    @property
    def middle(self) -> float:
        return (self.mid_top + self.mid_bottom) / 2


@dataclass(frozen=True, slots=True)
class Placement:
    """Pixels: ``x`` by post, ``bands`` by row, ``tracks`` by (channel, track), ``numbers``: the numbered columns."""

    grid: Grid
    cells: Mapping[str, Cell]
    row: Mapping[str, int]
    x: Mapping[str, float]
    gutters: Mapping[float, float]
    bands: tuple[Band, ...]
    tracks: Mapping[tuple[int, int], float]
    numbers: tuple[float, ...]
    width: float
    height: float

    def edge(self, end: End) -> tuple[float, float]:
        """Where an end leaves the band of its row."""
        band = self.bands[self.row[end.post]]
        return self.x[end.post], band.top if end.side == "top" else band.bottom

    def pin(self, end: End) -> tuple[float, float]:
        """Where the zone of the symbols begins at an end."""
        band = self.bands[self.row[end.post]]
        return self.x[end.post], band.mid_top if end.side == "top" else band.mid_bottom

    def way(self, end: End, line: Line) -> list[tuple[float, float]]:
        """From the edge of the row to the track of the line."""
        if line.track is None:
            return [self.edge(end)]
        edge, track = self.edge(end), self.tracks[line.channel, line.track]
        detour = line.detours.get(end)
        if detour is None:
            return [edge, (edge[0], track)]
        own, gutter = self.tracks[line.channel, detour.track], self.gutters[detour.place] + 5.0 * detour.lane
        return [edge, (edge[0], own), (gutter, own), (gutter, track)]


def place(grid: Grid, writing: Writing, width: float = 0.0) -> Placement:
    """Pixels for a grid; the columns are spread where ``width`` leaves room."""
    cells = {
        cell.post: cell
        for glyph in grid.layers.glyphs.values()
        for cell in cells_of(glyph, grid.columns, writing)
    }
    row = {
        post.key: number
        for number, keys in enumerate(grid.order.rows)
        for key in keys
        for post in grid.layers.glyphs[key].posts
    }
    centres, edges = _centres(grid, cells, writing, width)
    boundaries = [RAIL_MARGIN if grid.rails else MARGIN, *edges]
    bands, tracks, bottom = _heights(grid, cells, row)
    solid = sorted(
        {
            grid.columns[post.key]
            for glyph in grid.layers.glyphs.values()
            if glyph.form not in {"pass", "loop"}
            for post in glyph.posts
        }
    )
    return Placement(
        grid,
        cells,
        row,
        {post: centres[column] for post, column in grid.columns.items()},
        {number + 0.5: edge for number, edge in enumerate(boundaries, start=-1)},
        bands,
        tracks,
        tuple(centres[column] for column in solid),
        edges[-1] + MARGIN if edges else 2 * MARGIN,
        bottom + FOOT,
    )


def _centres(
    grid: Grid, cells: Mapping[str, Cell], writing: Writing, width: float
) -> tuple[list[float], list[float]]:
    """X of each column's line, and of its right edge, in whole pixels: lines are crisp."""
    count = max(grid.columns.values(), default=-1) + 1
    left, right = [12.0] * count, [12.0] * count
    for post, column in grid.columns.items():
        left[column] = max(left[column], ceil(cells[post].left))
        right[column] = max(right[column], ceil(cells[post].right))
    for glyph in grid.layers.glyphs.values():
        if glyph.free:
            places = [grid.columns[post.key] for post in glyph.posts]
            first, last = min(places), max(places)
            inner = sum(left[first + 1 : last + 1]) + sum(right[first:last])
            lacking = box_room(box_lines(glyph, writing)) - inner - BOX_MARGIN
            right[last] = max(right[last], BOX_MARGIN + GAP, ceil(lacking + GAP))
    start = RAIL_MARGIN if grid.rails else MARGIN
    spare = (width - start - sum(left) - sum(right) - MARGIN) // max(count, 1)
    right = [room + min(max(spare, 0), SPREAD) for room in right]
    edges = list(accumulate((a + b for a, b in zip(left, right, strict=True)), initial=start))[1:]
    return [edge - room for edge, room in zip(edges, right, strict=True)], edges


def _heights(
    grid: Grid, cells: Mapping[str, Cell], row: Mapping[str, int]
) -> tuple[tuple[Band, ...], dict[tuple[int, int], float], float]:
    bands: list[Band] = []
    tracks: dict[tuple[int, int], float] = {}
    y = MARGIN
    for number in range(len(grid.order.rows) + 1):
        # Adds the tracks of a channel that begins at ``y``; returns where it ends.
        used = grid.channels.tracks[number]
        pitch = TRACK if number else RAIL_TRACK
        for track in range(used):
            tracks[number, track] = y + CHANNEL / 2 + pitch * (track + 0.5)
        y += CHANNEL + pitch * used if used else CHANNEL * bool(number)
        if number < len(grid.order.rows):
            # The largest of each zone; none where the row has been left empty.
            heights = [cells[post].heights for post, place in row.items() if place == number]
            top, mid, bottom = map(max, zip((0.0, 0.0, 0.0), *heights, strict=True))
            bands.append(Band(y, y + top, y + top + mid, y + top + mid + bottom))
            y = bands[-1].bottom
    return tuple(bands), tracks, y


def with_marks(writing: Writing, grid: Grid) -> Writing:
    """The writing with each wire's mark at one of its ends, where there is room along the line."""
    owner = owners(grid.layers.glyphs)
    crowded = {"splice": 1, "pass": 2, "loop": 3}
    ends: dict[int, list[End]] = {}
    for hop in grid.layers.hops:
        ends.setdefault(hop.link, []).extend((hop.a, hop.b))
    marks = {}
    for number, link in enumerate(writing.scene.links):
        if not link.folded:
            free = [end for end in ends[number] if end not in grid.layers.hubs]
            best = min(free, key=lambda end: (crowded.get(owner[end.post].form, 0), end.side == "bottom"))
            marks[best] = (link.mark, link.name)
    return replace(writing, marks=marks)
