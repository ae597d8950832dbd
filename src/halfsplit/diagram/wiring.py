"""From lines to a net of wires: what meets what, where it is certain and where it is doubtful.

Ends that touch are joined; a crossing is a joint where it has a dot, and none where it has not. A line that ends on
another without a dot is a joint, a doubtful one on a page that has dots elsewhere.
"""

from __future__ import annotations

import math
from collections import Counter, defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from itertools import pairwise

import shapely  # type: ignore[import-untyped]

from halfsplit.diagram.bodies import Bodies
from halfsplit.diagram.lines import Line, Strokes
from halfsplit.diagram.sheet import Spot, box_of, gap, grown
from halfsplit.joined import Joined

REACH = 1.2
"""A loose end so near to a symbol with a gap (a contact), in letters' heights, is a pin of it."""
SOLID_REACH = 0.35
"""And so near to a closed shape."""
FACING = 1.6
"""Two ends that face each other over a third line within this gap are one wire that jumps it."""
ARM = 3.0
"""Lines of a symbol that look like wires are shorter than this, in letters' heights."""
LEAST = 1.5
"""Shorter than this, a line that leads from nothing to nothing is no wire."""


@dataclass(frozen=True, slots=True)
class Node:
    """A point of the net. ``body``: number of the body whose pin it is, or None. ``dotted``: a dot is there."""

    spot: Spot
    body: int | None = None
    dotted: bool = False


@dataclass(frozen=True, slots=True)
class Stretch:
    """A line from node to node, with every corner; ``doubts`` are the spots where somebody should look."""

    a: int
    b: int
    spots: tuple[Spot, ...]
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
        ends = zip((line.a, line.b), self.on[number][:2], strict=True)
        away, nearest = min((math.dist(end, spot), node) for end, node in ends)
        return nearest if away <= near else None

    def point(self, number: int, spot: Spot, near: float) -> int:
        """The spot of a line that is here: its end, or a new one on its way."""
        end = self.end_at(number, spot, near)
        if end is not None:
            return end
        made = self.add(spot)
        self.on[number].append(made)
        return made


def net_of(bodies: Bodies, strokes: Strokes) -> Net:
    """The net of a page: the lines that are left when bodies are cut out, joined where they meet.

    The arms of symbols are left out, and lines that lead nowhere.
    """
    dashes = [line for line in strokes.dashes if not _is_link(line, bodies, strokes)]
    weave = _Weave([*bodies.lines, *dashes], strokes.touch)
    _meet(weave, strokes)
    for rounds, least in ((strokes.dots, 1), (bodies.rings, 3)):
        for ring in rounds:
            # All lines that a dot or ring touches are one point there.
            spot, near = ring.middle, ring.radius + weave.touch
            met = [
                weave.point(number, spot, near + 0.5 * weave.touch)
                for number, line in enumerate(weave.lines)
                if gap((*spot, *spot), line.box) <= near
                and (line.level or line.upright or line.geometry.dwithin(shapely.Point(spot), near))
            ]
            for other in met[1:]:
                weave.joined.join(met[0], other)
            if len(met) >= least:
                weave.dotted.add(met[0])
    _face(weave, strokes)
    return _without_scraps(_without_arms(_finished(weave, bodies, strokes), strokes.em), bodies, strokes.em)


def _is_link(line: Line, bodies: Bodies, strokes: Strokes) -> bool:
    """A dashed line whose ends no wire meets is no wire: it joins the parts of one device, or frames something."""
    spots = [spot for other in bodies.lines for spot in (other.a, other.b)]
    spots += [dot.middle for dot in (*strokes.dots, *bodies.rings)]
    across = 1 if line.level else 0

    def is_met(end: Spot, spot: Spot) -> bool:
        away = math.dist(end, spot)
        straight_on = abs(end[across] - spot[across]) <= strokes.touch
        return away <= 1.3 * strokes.em and (away <= 2 * strokes.touch or straight_on)

    return not all(any(is_met(end, spot) for spot in spots) for end in (line.a, line.b))


# Where lines meet


def _meet(weave: _Weave, strokes: Strokes) -> None:
    near = 1.5 * weave.touch
    for first, second, spot in _crossings(weave.lines, weave.touch):
        a, b = weave.end_at(first, spot, near), weave.end_at(second, spot, near)
        lines = (weave.lines[first], weave.lines[second])
        if a is not None and b is not None:
            weave.joined.join(a, b)
        elif a is not None or b is not None:
            made = weave.point(first, spot, near), weave.point(second, spot, near)
            weave.joined.join(*made)
            weave.bare.append(made[0])
        elif (
            # A stroke of the file ends at the crossing, so that it may be meant as a joint.
            any(math.dist(end, spot) <= 2 * weave.touch for line in lines for end in line.breaks)
            and all(math.dist(hop, spot) >= 8 * weave.touch for line in lines for hop in line.hops)
            and all(math.dist(dot.middle, spot) > dot.radius + strokes.touch for dot in strokes.dots)
        ):
            weave.crossings.append(spot)


def _crossings(lines: Sequence[Line], touch: float) -> Iterator[tuple[int, int, Spot]]:
    """Each pair of lines that cross or touch, and where; what a slanting wire crosses it does not meet."""
    levels = [number for number, line in enumerate(lines) if line.level]
    uprights = [number for number, line in enumerate(lines) if line.upright and not line.level]
    tree = shapely.STRtree([lines[number].geometry for number in uprights])
    for number in levels:
        around = shapely.box(*grown(lines[number].box, touch))
        for hit in sorted(tree.query(around, predicate="intersects").tolist()):
            other = uprights[hit]
            yield number, other, (lines[other].a[0], lines[number].a[1])
    for number, line in enumerate(lines):
        if line.level or line.upright:
            continue
        for other, candidate in enumerate(lines):
            straight = candidate.level or candidate.upright
            for end in (line.a, line.b) if other != number else ():
                at_end = min(math.dist(end, candidate.a), math.dist(end, candidate.b)) <= touch
                if gap((*end, *end), candidate.box) <= 1.5 * touch and (straight or at_end):
                    yield number, other, end


def _face(weave: _Weave, strokes: Strokes) -> None:
    """Two loose ends that face each other over a third line: one wire that is broken to let the other pass."""
    members = Counter(map(weave.joined.root, range(len(weave.spots))))
    begins, ends = (
        [
            number
            for number, line in enumerate(weave.lines)
            if members[weave.joined.root(weave.on[number][side])] == 1 and not line.dashed
        ]
        for side in (0, 1)
    )
    for first in ends:
        line = weave.lines[first]
        for second in begins if line.level or line.upright else ():
            other = weave.lines[second]
            if other.level != line.level or second == first:
                continue
            over = _over(line, other, weave, strokes)
            if over is not None:
                weave.joined.join(weave.on[first][1], weave.on[second][0])
                weave.doubts.append((over, "a wire is broken here where another passes: taken to go on"))


def _over(line: Line, other: Line, weave: _Weave, strokes: Strokes) -> Spot | None:
    """Where a third line passes between the end of one line and the beginning of another."""
    axis = 0 if line.level else 1
    space = other.a[axis] - line.b[axis]
    if abs(line.b[1 - axis] - other.a[1 - axis]) > weave.touch:
        return None
    if not weave.touch < space < FACING * strokes.em:
        return None
    middle = ((line.b[0] + other.a[0]) / 2, (line.b[1] + other.a[1]) / 2)
    passes = any(
        third.level != line.level
        and gap((*middle, *middle), third.box) < 0.3 * space
        and third.length > 2 * space
        for third in weave.lines
    )
    return middle if passes else None


# The net


def _finished(weave: _Weave, bodies: Bodies, strokes: Strokes) -> Net:
    root = weave.joined.root
    edges: dict[int, list[tuple[int, int]]] = defaultdict(list)
    for number, points in enumerate(weave.on):
        line = weave.lines[number]
        ordered = sorted(points, key=lambda node: math.dist(line.a, weave.spots[node]))
        for first, second in pairwise(map(root, ordered)):
            if first != second:
                edges[first].append((second, number))
                edges[second].append((first, number))
    pins = _pins(weave, edges, bodies, strokes)
    dotted = set(map(root, weave.dotted))
    # A line that ends on another without a dot is doubtful on a page that has dots for its joints.
    weave.doubts += [
        (weave.spots[number], "a line ends on another without a dot: taken as joined")
        for number in weave.bare
        if dotted and root(number) not in dotted
    ]
    stops = {node for node, ways in edges.items() if len(ways) != 2 or node in pins or node in dotted}
    pieces = Joined[int]()
    for node, ways in edges.items():
        for other, _ in ways:
            pieces.join(node, other)
    # A closed ring that has no stop of its own stops at its first node.
    stops |= {piece[0] for piece in pieces.groups(edges) if stops.isdisjoint(piece)}
    names = {node: number for number, node in enumerate(sorted(stops))}
    nodes = tuple(Node(weave.spots[node], pins.get(node), node in dotted) for node in names)
    stretches = tuple(_stretches(weave, edges, names))
    return Net(nodes, stretches, tuple(dict.fromkeys(weave.crossings)))


def _pins(
    weave: _Weave, edges: Mapping[int, Sequence[tuple[int, int]]], bodies: Bodies, strokes: Strokes
) -> dict[int, int]:
    """Node → number of the body whose pin it is: the ends of the net that stand at a body."""
    elements = [(number, each) for number, body in enumerate(bodies.bodies) for each in body.elements]
    tree = shapely.STRtree([element.geometry for _, element in elements])
    pins: dict[int, int] = {}
    for node, ways in edges.items():
        near = REACH * strokes.em if len(ways) == 1 else 1.5 * weave.touch
        spot = shapely.Point(weave.spots[node])
        hits = [elements[hit] for hit in tree.query(spot, predicate="dwithin", distance=near).tolist()]
        away, number = min(((spot.distance(each.geometry), number) for number, each in hits), default=(0, -1))
        if number < 0:
            continue
        is_open = any(map(bodies.bodies[number].has, ("slant", "curl", "ring")))
        if len(ways) > 1 or away <= (REACH if is_open else SOLID_REACH) * strokes.em:
            pins[node] = number
    return pins


def _stretches(
    weave: _Weave, edges: Mapping[int, Sequence[tuple[int, int]]], names: Mapping[int, int]
) -> Iterator[Stretch]:
    """Every way from stop to stop, once; ``names``: stop → number of its node."""
    done: set[tuple[int, int, int]] = set()
    for start in names:
        for first, line in edges[start]:
            path = [start]
            step: tuple[int, int] | None = (first, line)
            while step is not None and (path[-1], *step) not in done:
                done |= {(path[-1], *step), (step[0], path[-1], step[1])}
                path.append(step[0])
                if path[-1] in names:
                    break
                step = next((way for way in edges[path[-1]] if (path[-1], *way) not in done), None)
            if len(path) == 1 or path[-1] not in names:
                continue
            spots = tuple(weave.spots[node] for node in path)
            boxes = [box_of(pair) for pair in pairwise(spots)]
            doubts = tuple(
                (spot, words)
                for spot, words in weave.doubts
                if any(gap((*spot, *spot), box) <= weave.touch for box in boxes)
            )
            yield Stretch(names[start], names[path[-1]], spots, doubts)


# What a net has too much of: the small lines of symbols that look like wires


def _without_arms(net: Net, em: float) -> Net:
    """Two short lines from a bare joint to the same body are part of it, and the joint is its pin."""
    ways: dict[int, list[Stretch]] = defaultdict(list)
    for stretch in net.stretches:
        ways[stretch.a].append(stretch)
        ways[stretch.b].append(stretch)
    nodes = list(net.nodes)
    gone: set[int] = set()
    for number, node in enumerate(net.nodes):
        if node.body is not None or node.dotted:
            continue
        arms: dict[int, list[Stretch]] = defaultdict(list)
        for stretch in ways[number]:
            far = stretch.b if stretch.a == number else stretch.a
            arm_of = net.nodes[far].body
            if arm_of is not None and stretch.length < ARM * em and len(ways[far]) == 1:
                arms[arm_of].append(stretch)
        for body, own in arms.items():
            if len(own) > 1:
                gone |= {id(stretch) for stretch in own}
                nodes[number] = replace(node, body=body)
    for stretch in net.stretches:
        first, second = net.nodes[stretch.a].body, net.nodes[stretch.b].body
        lonely = len(ways[stretch.a]) == len(ways[stretch.b]) == 1
        if first is not None and first == second and lonely and stretch.length < ARM * em:
            gone.add(id(stretch))
    made = {node.spot for node, before in zip(nodes, net.nodes, strict=True) if node is not before}
    kept = [
        replace(stretch, doubts=tuple(doubt for doubt in stretch.doubts if doubt[0] not in made))
        for stretch in net.stretches
        if id(stretch) not in gone
    ]
    return _kept(nodes, kept, net)


def _without_scraps(net: Net, bodies: Bodies, em: float) -> Net:
    """Without pieces that have at most one pin and are short: marks beside symbols, underlines."""
    joined = Joined[int]()
    for stretch in net.stretches:
        joined.join(stretch.a, stretch.b)
    length: dict[int, float] = defaultdict(float)
    for stretch in net.stretches:
        length[joined.root(stretch.a)] += stretch.length
    pins = Counter(joined.root(number) for number, node in enumerate(net.nodes) if node.body is not None)

    def is_wire(stretch: Stretch) -> bool:
        piece = joined.root(stretch.a)
        if pins[piece]:
            return pins[piece] > 1 or length[piece] >= LEAST * em
        box = box_of(stretch.spots)
        beside = stretch.length < 4 * em and any(gap(box, body.box) < 0.5 * em for body in bodies.bodies)
        # A line alone, without corner or joint, is an ornament: a rule of a table, an underline.
        alone = len(stretch.spots) == 2 and not any(net.nodes[end].dotted for end in (stretch.a, stretch.b))
        return length[piece] >= 2 * LEAST * em and not beside and not alone

    return _kept(net.nodes, filter(is_wire, net.stretches), net)


def _kept(nodes: Sequence[Node], kept: Iterable[Stretch], net: Net) -> Net:
    """The net with these stretches, nodes without any left out, and joints of two made one wire."""
    stretches = list(kept)
    count = Counter(end for stretch in stretches for end in (stretch.a, stretch.b))
    for number, times in count.items():
        two = [stretch for stretch in stretches if number in (stretch.a, stretch.b)]
        if times != 2 or len(two) != 2 or nodes[number].body is not None or nodes[number].dotted:
            continue
        start, end = two
        stretches.remove(start)
        stretches.remove(end)
        start = start if start.b == number else _turned(start)
        end = end if end.a == number else _turned(end)
        spots, doubts = (*start.spots, *end.spots[1:]), (*start.doubts, *end.doubts)
        stretches.append(Stretch(start.a, end.b, spots, doubts))
    used = sorted({end for stretch in stretches for end in (stretch.a, stretch.b)})
    names = {number: index for index, number in enumerate(used)}
    return Net(
        tuple(nodes[number] for number in used),
        tuple(replace(stretch, a=names[stretch.a], b=names[stretch.b]) for stretch in stretches),
        net.crossings,
    )


def _turned(stretch: Stretch) -> Stretch:
    return replace(stretch, a=stretch.b, b=stretch.a, spots=stretch.spots[::-1])
