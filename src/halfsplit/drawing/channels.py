"""The tracks of the lines that run sideways between two rows.

A channel is routed as in the classic channel router (Hashimoto and Stevens 1971, with vertical constraints): a line
whose vertical comes down in a column lies above the line whose vertical comes up there. Where such demands form a
circle, one vertical makes a detour through the gutter beside its column. Of the orders that are left, one with fewer
crossings is taken.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from itertools import combinations

from halfsplit.drawing.columns import nets
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
        hops = [hop for hop in layers.hops if hop.channel == channel]
        strands: dict[int, _Strand] = {}
        groups = nets(hops, layers.hubs)
        for number, (_, group) in enumerate(groups):
            ends = dict.fromkeys(end for hop in group for end in (hop.a, hop.b))
            down, up = (
                {float(columns[end.post]) for end in ends if end.side == side} for side in ("bottom", "top")
            )
            if len(ends) > 2 or len(down | up) > 1:  # else it runs straight
                low = min(down | up) if rails.isdisjoint(ends) else -1.0
                strands[number] = _Strand(low, max(down | up), down, up)
        ends_at = {(columns[end.post], end.side): end for hop in hops for end in (hop.a, hop.b)}
        tracks.append(_assign([*strands.values()], ends_at))
        for number, (hub, group) in enumerate(groups):
            strand = strands.get(number)
            track = None if strand is None else strand.track
            ways = {} if strand is None else strand.detours
            detours = {end: Detour(place, lane, side.track) for end, (place, lane, side) in ways.items()}
            lines.append(Line(channel, tuple(group), hub, track, detours))
    return Channels(tuple(lines), tuple(tracks))


def crossings(channels: Channels, columns: Mapping[str, int]) -> int:
    """How often level lines are crossed by the verticals of others, detours apart."""
    by_channel: dict[int, list[Line]] = {}
    for line in channels.lines:
        by_channel.setdefault(line.channel, []).append(line)
    crossings = 0
    for line in channels.lines:
        if line.track is None:
            continue
        own = [columns[end.post] for end in line.ends]
        for other in by_channel[line.channel]:
            ends = other.ends[:1] if other.track is None else other.ends
            for end in ends if other is not line else ():
                # From above by what ends below it, from below likewise.
                reaches = other.track is None or (other.track > line.track) == (end.side == "bottom")
                crossings += reaches and min(own) < columns[end.post] < max(own)
    return crossings


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
