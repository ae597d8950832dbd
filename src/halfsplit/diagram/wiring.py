"""From lines to a net of wires: what meets what, where it is certain and where it is doubtful.

Ends that touch are joined; a crossing is a joint where it has a dot, and none where it has not. A line that ends on
another without a dot is a joint, a doubtful one on a page that has dots elsewhere.
"""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from itertools import pairwise

import numpy as np
import shapely  # type: ignore[import-untyped]

from halfsplit.diagram.bodies import Bodies, Body
from halfsplit.diagram.lines import Line, Strokes
from halfsplit.diagram.sheet import Spot, gap
from halfsplit.joined import Joined

REACH = 1.2
"""A loose end so near to a symbol with a gap (a contact), in letters' heights, is a pin of it."""
SOLID_REACH = 0.35
"""And so near to a closed shape."""
FACING = 1.6
"""Two ends that face each other over a third line within this gap are one wire that jumps it."""


@dataclass(frozen=True, slots=True)
class Node:
    """A point of the net. ``body``: number of the body whose pin it is, or None. ``dotted``: a dot is there."""

    spot: Spot
    body: int | None = None
    dotted: bool = False
    doubt: str = ""


@dataclass(frozen=True, slots=True)
class Stretch:
    """A line from node to node, with every corner; ``doubts`` are the spots where somebody should look."""

    a: int
    b: int
    spots: tuple[Spot, ...]
    ink: str = "#000000"
    dashed: bool = False
    doubts: tuple[tuple[Spot, str], ...] = ()

    @property
    def length(self) -> float:
        return sum(math.dist(a, b) for a, b in pairwise(self.spots))


@dataclass(frozen=True, slots=True)
class Net:
    """All nodes and stretches of a page, and the crossings that are doubtful and were not joined."""

    nodes: tuple[Node, ...]
    stretches: tuple[Stretch, ...]
    crossings: tuple[Spot, ...] = ()


@dataclass(slots=True)
class _Weave:
    """The net while it is made: spots on each line, which of them are the same point, and what is known of them."""

    lines: Sequence[Line]
    touch: float
    spots: list[Spot] = field(default_factory=list)
    joined: Joined[int] = field(default_factory=Joined)
    on: list[list[int]] = field(default_factory=list)
    dotted: set[int] = field(default_factory=set)
    bare: list[int] = field(default_factory=list)
    doubts: list[tuple[Spot, str]] = field(default_factory=list)
    crossings: list[Spot] = field(default_factory=list)

    def __post_init__(self) -> None:
        for line in self.lines:
            self.on.append([self.add(line.a), self.add(line.b)])

    def add(self, spot: Spot) -> int:
        self.spots.append(spot)
        return len(self.spots) - 1

    def end_at(self, number: int, spot: Spot, near: float) -> int | None:
        """The end of a line that is here, if one is."""
        line = self.lines[number]
        ends = self.on[number][:2]
        nearest = min(zip((line.a, line.b), ends, strict=True), key=lambda end: math.dist(end[0], spot))
        return nearest[1] if math.dist(nearest[0], spot) <= near else None

    def point(self, number: int, spot: Spot, near: float) -> int:
        """The spot of a line that is here: its end, or a new one on its way."""
        end = self.end_at(number, spot, near)
        if end is not None:
            return end
        made = self.add(spot)
        self.on[number].append(made)
        return made


def net_of(bodies: Bodies, strokes: Strokes) -> Net:
    """The net of a page: the lines that are left when bodies are cut out, joined where they meet."""
    dashes = [line for line in strokes.dashes if not _is_link(line, bodies, strokes)]
    lines = [*bodies.lines, *dashes]
    weave = _Weave(lines, strokes.touch)
    _meet(weave, strokes)
    for rounds, is_dot in ((strokes.dots, True), (bodies.rings, False)):
        for ring in rounds:
            _gather(weave, ring.middle, ring.radius, is_dot=is_dot)
    _face(weave, strokes)
    _doubt_bare(weave)
    return _finished(weave, bodies, strokes)


def _is_link(line: Line, bodies: Bodies, strokes: Strokes) -> bool:
    """A dashed line whose ends no wire meets is no wire: it joins the parts of one device, or frames something."""
    ends = [spot for other in bodies.lines for spot in (other.a, other.b)]
    ends += [dot.middle for dot in (*strokes.dots, *bodies.rings)]
    near = 1.3 * strokes.em
    return not all(
        any(math.dist(end, spot) <= near and _aligned(line, end, spot, strokes.touch) for spot in ends)
        for end in (line.a, line.b)
    )


def _aligned(line: Line, end: Spot, spot: Spot, touch: float) -> bool:
    """Whether a spot lies on the way straight on from the end of a line, or at the end itself."""
    if math.dist(end, spot) <= 2 * touch:
        return True
    return abs(end[1] - spot[1]) <= touch if line.level else abs(end[0] - spot[0]) <= touch


# Where lines meet


def _meet(weave: _Weave, strokes: Strokes) -> None:
    for first, second, spot in _crossings(weave.lines, weave.touch):
        near = 1.5 * weave.touch
        a, b = weave.end_at(first, spot, near), weave.end_at(second, spot, near)
        if a is not None and b is not None:
            weave.joined.join(a, b)
        elif a is not None or b is not None:
            made = weave.point(first, spot, near), weave.point(second, spot, near)
            weave.joined.join(*made)
            weave.bare.append(made[0])
        elif _broken_at(weave, first, second, spot) and all(
            math.dist(dot.middle, spot) > dot.radius + strokes.touch for dot in strokes.dots
        ):
            weave.crossings.append(spot)


def _crossings(lines: Sequence[Line], touch: float) -> Iterator[tuple[int, int, Spot]]:
    """Each pair of lines that cross or touch, and where."""
    if not lines:
        return
    box = np.array([line.box for line in lines])
    level = np.array([line.level for line in lines])
    straight = np.array([line.level or line.upright for line in lines])
    levels, uprights = np.flatnonzero(level), np.flatnonzero(straight & ~level)
    for start in range(0, len(levels), 1024):
        block = levels[start : start + 1024]
        x, y = box[uprights, 0][None, :], box[block, 1][:, None]
        hit = (
            (box[block, 0][:, None] - touch <= x)
            & (x <= box[block, 2][:, None] + touch)
            & (box[uprights, 1][None, :] - touch <= y)
            & (y <= box[uprights, 3][None, :] + touch)
        )
        for row, column in np.argwhere(hit).tolist():
            a, b = int(block[row]), int(uprights[column])
            yield a, b, (float(box[b, 0]), float(box[a, 1]))
    for number in np.flatnonzero(~straight).tolist():
        yield from _slanting(number, lines, touch)


def _slanting(number: int, lines: Sequence[Line], touch: float) -> Iterator[tuple[int, int, Spot]]:
    """Where a slanting wire ends on another line; what it crosses it does not meet."""
    line = lines[number]
    for other, candidate in enumerate(lines):
        if other == number:
            continue
        for end in (line.a, line.b):
            if gap((*end, *end), candidate.box) <= 1.5 * touch and (
                candidate.level
                or candidate.upright
                or min(math.dist(end, candidate.a), math.dist(end, candidate.b)) <= touch
            ):
                yield number, other, end


def _broken_at(weave: _Weave, first: int, second: int, spot: Spot) -> bool:
    """Whether a stroke of the file ends at a crossing, so that it may be meant as a joint."""
    hops = (*weave.lines[first].hops, *weave.lines[second].hops)
    if any(math.dist(hop, spot) < 8 * weave.touch for hop in hops):
        return False
    return any(
        math.dist(end, spot) <= 2 * weave.touch
        for number in (first, second)
        for end in weave.lines[number].breaks
    )


def _gather(weave: _Weave, middle: Spot, radius: float, *, is_dot: bool) -> None:
    """All lines that a dot or ring touches are one point there."""
    near = radius + weave.touch
    met = [
        weave.point(number, middle, near + 0.5 * weave.touch)
        for number, line in enumerate(weave.lines)
        if gap((*middle, *middle), line.box) <= near
        and (line.level or line.upright or line_near(middle, line, near))
    ]
    for other in met[1:]:
        weave.joined.join(met[0], other)
    if met and is_dot:
        weave.dotted.add(met[0])
    if met and not is_dot:
        weave.dotted.add(met[0]) if len(met) > 2 else None


def line_near(spot: Spot, line: Line, near: float) -> bool:
    """Whether a spot is near a slanting line."""
    return bool(shapely.Point(spot).distance(shapely.LineString([line.a, line.b])) <= near)


def _face(weave: _Weave, strokes: Strokes) -> None:
    """Two loose ends that face each other over a third line: one wire that is broken to let the other pass."""
    members: dict[int, int] = defaultdict(int)
    for number in range(len(weave.spots)):
        members[weave.joined.root(number)] += 1
    loose = [
        (number, side)
        for number in range(len(weave.lines))
        for side in (0, 1)
        if members[weave.joined.root(weave.on[number][side])] == 1 and not weave.lines[number].dashed
    ]
    for first, side in loose:
        line = weave.lines[first]
        if side != 1 or not (line.level or line.upright):
            continue
        for second, other_side in loose:
            other = weave.lines[second]
            if other_side != 0 or other.level != line.level or second == first:
                continue
            over = _over(line, other, weave, strokes)
            if over is not None:
                weave.joined.join(weave.on[first][1], weave.on[second][0])
                weave.doubts.append((over, "a wire is broken here where another passes: taken to go on"))


def _over(line: Line, other: Line, weave: _Weave, strokes: Strokes) -> Spot | None:
    """Where a third line passes between the end of one line and the beginning of another."""
    axis = 0 if line.level else 1
    if abs(line.b[1 - axis] - other.a[1 - axis]) > weave.touch:
        return None
    space = other.a[axis] - line.b[axis]
    if not weave.touch < space < FACING * strokes.em:
        return None
    middle = ((line.b[0] + other.a[0]) / 2, (line.b[1] + other.a[1]) / 2)
    for third in weave.lines:
        if (
            third.level != line.level
            and gap((*middle, *middle), third.box) < 0.3 * space
            and third.length > 2 * space
        ):
            return middle
    return None


def _doubt_bare(weave: _Weave) -> None:
    """A line that ends on another without a dot is doubtful on a page that has dots for its joints."""
    dotted = {weave.joined.root(number) for number in weave.dotted}
    if not dotted:
        return
    for number in weave.bare:
        if weave.joined.root(number) not in dotted:
            weave.doubts.append(
                (weave.spots[number], "a line ends on another without a dot: taken as joined")
            )


# The net


def _finished(weave: _Weave, bodies: Bodies, strokes: Strokes) -> Net:
    edges: dict[int, list[tuple[int, int]]] = defaultdict(list)
    for number, points in enumerate(weave.on):
        line = weave.lines[number]
        ordered = sorted(points, key=lambda node: math.dist(line.a, weave.spots[node]))
        for a, b in pairwise(ordered):
            first, second = weave.joined.root(a), weave.joined.root(b)
            if first != second:
                edges[first].append((second, number))
                edges[second].append((first, number))
    pins = _pins(weave, edges, bodies, strokes)
    dotted = {weave.joined.root(number) for number in weave.dotted}
    stops = {node for node, ways in edges.items() if len(ways) != 2 or node in pins or node in dotted}
    stops |= _ring_starts(edges, stops)
    names = {node: number for number, node in enumerate(sorted(stops))}
    nodes = tuple(Node(weave.spots[node], pins.get(node), node in dotted) for node in sorted(stops))
    stretches = tuple(_walk(weave, edges, stops, names))
    return Net(nodes, stretches, tuple(dict.fromkeys(weave.crossings)))


def _ring_starts(edges: dict[int, list[tuple[int, int]]], stops: set[int]) -> set[int]:
    """A node of each closed ring that has no stop of its own."""
    seen: set[int] = set()
    starts = set()
    for node in stops:
        seen |= _reach(node, edges, seen)
    for node in edges:
        if node not in seen:
            starts.add(node)
            seen |= _reach(node, edges, seen)
    return starts


def _reach(node: int, edges: dict[int, list[tuple[int, int]]], seen: set[int]) -> set[int]:
    reached, waiting = {node}, [node]
    while waiting:
        for other, _ in edges[waiting.pop()]:
            if other not in reached and other not in seen:
                reached.add(other)
                waiting.append(other)
    return reached


def _pins(
    weave: _Weave, edges: dict[int, list[tuple[int, int]]], bodies: Bodies, strokes: Strokes
) -> dict[int, int]:
    """Node → number of the body whose pin it is: the ends of the net that stand at a body."""
    if not bodies.bodies:
        return {}
    numbers = [number for number, body in enumerate(bodies.bodies) for _ in body.elements]
    elements = [element for body in bodies.bodies for element in body.elements]
    tree = shapely.STRtree([element.geometry for element in elements])
    pins: dict[int, int] = {}
    for node, ways in edges.items():
        near = REACH * strokes.em if len(ways) == 1 else 1.5 * weave.touch
        spot = shapely.Point(weave.spots[node])
        hits = tree.query(spot, predicate="dwithin", distance=near).tolist()
        best = min(hits, key=lambda number: spot.distance(elements[number].geometry), default=None)
        if best is None:
            continue
        away = spot.distance(elements[best].geometry)
        if len(ways) == 1 and away > _reach_of(bodies.bodies[numbers[best]]) * strokes.em:
            continue
        pins[node] = numbers[best]
    return pins


def _reach_of(body: Body) -> float:
    return REACH if body.has("slant") or body.has("curl") or body.has("ring") else SOLID_REACH


def _walk(
    weave: _Weave, edges: dict[int, list[tuple[int, int]]], stops: set[int], names: dict[int, int]
) -> Iterator[Stretch]:
    """Every way from stop to stop, once."""
    done: set[tuple[int, int, int]] = set()
    for start in sorted(stops):
        for other, line in edges[start]:
            if (start, other, line) in done:
                continue
            path, used = [start, other], [line]
            done |= {(start, other, line), (other, start, line)}
            while path[-1] not in stops:
                ways = [way for way in edges[path[-1]] if (path[-1], *way) not in done]
                if not ways:
                    break
                following, along = ways[0]
                done |= {(path[-1], following, along), (following, path[-1], along)}
                path.append(following)
                used.append(along)
            if path[-1] in names:
                yield _stretch(weave, path, used, names)


def _stretch(weave: _Weave, path: Sequence[int], used: Sequence[int], names: dict[int, int]) -> Stretch:
    spots = tuple(weave.spots[node] for node in path)
    doubts = tuple(
        (spot, words)
        for spot, words in weave.doubts
        if any(
            gap((*spot, *spot), (min(a[0], b[0]), min(a[1], b[1]), max(a[0], b[0]), max(a[1], b[1])))
            <= weave.touch
            for a, b in pairwise(spots)
        )
    )
    longest = max((weave.lines[number] for number in used), key=lambda line: line.length)
    dashed = all(weave.lines[number].dashed for number in used)
    return Stretch(names[path[0]], names[path[-1]], spots, longest.ink, dashed, doubts)
