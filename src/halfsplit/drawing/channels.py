"""The tracks of the lines that run sideways between two rows.

A channel is routed as in the classic channel router (Hashimoto and Stevens 1971, with vertical constraints): a line
whose vertical comes down in a column lies above the line whose vertical comes up there. Where such demands form a
circle, one vertical makes a detour through the gutter beside its column. Of the orders that are left, one with fewer
crossings is taken.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from itertools import combinations

from halfsplit.drawing.columns import hub_of, nets
from halfsplit.drawing.glyphs import End, Side
from halfsplit.drawing.rows import Hop, Layers, leads

GUTTER = -0.5
"""Column position between a column and the one before it, for detours."""


@dataclass(frozen=True, slots=True)
class Detour:
    """An end that reaches its line through the gutter ``place`` (column − 0.5) of number ``lane``, on ``track``."""

    place: float
    lane: int
    track: int


@dataclass(frozen=True, slots=True)
class Line:
    """One line of a channel: ``track`` None where it runs straight down. ``hub`` owns a bar."""

    channel: int
    hops: tuple[Hop, ...]
    hub: End | None
    track: int | None
    detours: Mapping[End, Detour]

    @property
    def ends(self) -> tuple[End, ...]:
        return tuple(dict.fromkeys(end for hop in self.hops for end in (hop.a, hop.b)))


@dataclass(slots=True, eq=False)
class _Strand:
    """A line, or the detour of one of its ends, on its way to a track. ``down``, ``up``: columns of its verticals."""

    low: float
    high: float
    down: set[float]
    up: set[float]
    track: int = -1
    detours: dict[End, tuple[float, int, _Strand]] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Channels:
    """``lines`` in all channels; ``tracks``: how many each channel has; ``lanes``: detours beside each column."""

    lines: tuple[Line, ...]
    tracks: tuple[int, ...]


def channels_of(layers: Layers, columns: Mapping[str, int], rails: frozenset[End]) -> Channels:
    """All lines with their tracks. A bar of ``rails`` runs out to the left margin (column −1)."""
    lines: list[Line] = []
    tracks: list[int] = []
    for channel in range(len(layers.rows) + 1):
        groups = nets([hop for hop in layers.hops if hop.channel == channel], layers.hubs)
        routed, used = _route(channel, groups, layers.hubs, columns, rails)
        lines += routed
        tracks.append(used)
    return Channels(tuple(lines), tuple(tracks))


def crossings(channels: Channels, columns: Mapping[str, int]) -> int:
    """How often level lines are crossed by the verticals of others, detours apart."""
    by_channel: dict[int, list[Line]] = {}
    for line in channels.lines:
        by_channel.setdefault(line.channel, []).append(line)
    return sum(_crossed(line, others, columns) for others in by_channel.values() for line in others)


def _crossed(line: Line, others: Sequence[Line], columns: Mapping[str, int]) -> int:
    """How often the level part of a line is crossed: from above by what ends below it, from below likewise."""
    if line.track is None:
        return 0
    own = [columns[end.post] for end in line.ends]
    crossings = 0
    for other in others:
        ends = other.ends[:1] if other.track is None else other.ends
        for end in ends if other is not line else ():
            reaches = other.track is None or (other.track > line.track) == (end.side == "bottom")
            crossings += reaches and min(own) < columns[end.post] < max(own)
    return crossings


def _route(
    channel: int,
    groups: Sequence[list[Hop]],
    hubs: frozenset[End],
    columns: Mapping[str, int],
    rails: frozenset[End],
) -> tuple[list[Line], int]:
    owned: list[tuple[list[Hop], _Strand | None]] = []
    for group in groups:
        ends = dict.fromkeys(end for hop in group for end in (hop.a, hop.b))
        straight = len(ends) == 2 and len({columns[end.post] for end in ends}) == 1
        owned.append((group, None if straight else _strand(ends, columns, not rails.isdisjoint(ends))))
    strands = [strand for _, strand in owned if strand is not None]
    ends_at = {
        (columns[end.post], end.side): end for group, _ in owned for hop in group for end in (hop.a, hop.b)
    }
    used = _assign(strands, ends_at)
    lines = []
    for group, strand in owned:
        track = None if strand is None else strand.track
        detours = (
            {}
            if strand is None
            else {end: Detour(place, lane, side.track) for end, (place, lane, side) in strand.detours.items()}
        )
        lines.append(Line(channel, tuple(group), hub_of(group, hubs), track, detours))
    return lines, used


def _strand(ends: Iterable[End], columns: Mapping[str, int], is_rail: bool) -> _Strand:
    down = {float(columns[end.post]) for end in ends if end.side == "bottom"}
    up = {float(columns[end.post]) for end in ends if end.side == "top"}
    return _Strand(-1.0 if is_rail else min(down | up), max(down | up), down, up)


# Tracks


def _assign(strands: list[_Strand], ends_at: Mapping[tuple[int, Side], End]) -> int:
    """Gives every strand its track, from the top; the number of tracks used."""
    above = _above(strands)
    pending, placed = list(strands), list[_Strand]()
    lanes: dict[float, int] = {}
    while pending:
        ready = [strand for strand in pending if not any(other in pending for other in above[strand])]
        if not ready:
            blocked = min(pending, key=lambda strand: sum(other in pending for other in above[strand]))
            pending += _detour(blocked, pending, above, lanes, ends_at)
            continue
        for strand in ready:
            floor = max((other.track + 1 for other in above[strand]), default=0)
            strand.track = next(
                track
                for track in range(floor, len(strands) + len(placed) + 1)
                if not any(_overlap(strand, other) for other in placed if other.track == track)
            )
            placed.append(strand)
        pending = [strand for strand in pending if strand.track < 0]
    return max((strand.track + 1 for strand in placed), default=0)


def _overlap(first: _Strand, other: _Strand) -> bool:
    return first.low <= other.high and other.low <= first.high


def _above(strands: Sequence[_Strand]) -> dict[_Strand, list[_Strand]]:
    """For each strand those that must, or had better, lie above it."""
    above: dict[_Strand, list[_Strand]] = {strand: [] for strand in strands}
    wishes: list[tuple[int, int, _Strand, _Strand]] = []
    for number, (first, other) in enumerate(combinations(strands, 2)):
        for upper, lower in ((first, other), (other, first)):
            if upper.down & lower.up:
                above[lower].append(upper)
        gain = _crossings(other, first) - _crossings(first, other)
        if gain and _overlap(first, other):
            wishes.append((-abs(gain), number, *((first, other) if gain > 0 else (other, first))))
    for _gain, _number, upper, lower in sorted(wishes, key=lambda wish: wish[:2]):
        if not leads(upper, lower, above.__getitem__):
            above[lower].append(upper)
    return above


def _crossings(upper: _Strand, lower: _Strand) -> int:
    """How often the two cross if ``upper`` lies above ``lower``."""
    return sum(lower.low <= column <= lower.high for column in upper.up) + sum(
        upper.low <= column <= upper.high for column in lower.down
    )


def _detour(
    blocked: _Strand,
    pending: Sequence[_Strand],
    above: dict[_Strand, list[_Strand]],
    lanes: dict[float, int],
    ends_at: Mapping[tuple[int, Side], End],
) -> list[_Strand]:
    """Frees a strand from those that must lie above it: its verticals there go by the gutter, on tracks below them."""
    made = []
    for other in [other for other in above[blocked] if other in pending]:
        for column in sorted(other.down & blocked.up):
            place = column + GUTTER
            lanes[place] = lanes.get(place, 0) + 1
            side = _Strand(place, column, set(), {column})
            above[side] = [other, blocked]
            blocked.up.discard(column)
            blocked.low = min(blocked.low, place)
            blocked.detours[ends_at[int(column), "top"]] = (place, lanes[place], side)
            made.append(side)
    above[blocked] = [other for other in above[blocked] if other not in pending]
    return made
