"""What a net has too much of: the small lines of symbols that look like wires."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import replace

from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components

from halfsplit.diagram.bodies import Bodies
from halfsplit.diagram.lines import Strokes
from halfsplit.diagram.sheet import box_of, gap
from halfsplit.diagram.wiring import Net, Stretch

ARM = 3.0
"""Lines of a symbol that look like wires are shorter than this, in letters' heights."""
LEAST = 1.5
"""Shorter than this, a line that leads from nothing to nothing is no wire."""


def tidied(net: Net, bodies: Bodies, strokes: Strokes) -> Net:
    """A net without the arms of symbols, and without lines that lead nowhere."""
    return _without_scraps(_without_arms(net, strokes.em), bodies, strokes.em)


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
            other = net.nodes[stretch.b if stretch.a == number else stretch.a]
            if other.body is not None and stretch.length < ARM * em and _single(stretch, number, ways):
                arms[other.body].append(stretch)
        for body, own in arms.items():
            if len(own) > 1:
                gone |= {id(stretch) for stretch in own}
                nodes[number] = replace(node, body=body)
    for stretch in net.stretches:
        same = (
            net.nodes[stretch.a].body is not None and net.nodes[stretch.a].body == net.nodes[stretch.b].body
        )
        lonely = len(ways[stretch.a]) == len(ways[stretch.b]) == 1
        if same and lonely and stretch.length < ARM * em:
            gone.add(id(stretch))
    made = {node.spot for node, before in zip(nodes, net.nodes, strict=True) if node is not before}
    kept = [
        replace(stretch, doubts=tuple(doubt for doubt in stretch.doubts if doubt[0] not in made))
        for stretch in net.stretches
        if id(stretch) not in gone
    ]
    return _kept(nodes, kept, net)


def _single(stretch: Stretch, number: int, ways: dict[int, list[Stretch]]) -> bool:
    """Whether nothing else is wired to the far end of a stretch."""
    return len(ways[stretch.b if stretch.a == number else stretch.a]) == 1


def _without_scraps(net: Net, bodies: Bodies, em: float) -> Net:
    """Without pieces that have at most one pin and are short: marks beside symbols, underlines."""
    ends = [(stretch.a, stretch.b) for stretch in net.stretches]
    starts, stops = zip(*ends, strict=True) if ends else ((), ())
    graph = coo_array(([1] * len(ends), (starts, stops)), shape=(len(net.nodes), len(net.nodes)))
    piece: list[int] = connected_components(graph, directed=False)[1].tolist()
    length: dict[int, float] = defaultdict(float)
    pins: dict[int, int] = defaultdict(int)
    for stretch in net.stretches:
        length[piece[stretch.a]] += stretch.length
    for number, node in enumerate(net.nodes):
        pins[piece[number]] += node.body is not None
    kept = [
        stretch
        for stretch in net.stretches
        if pins[piece[stretch.a]] > 1
        or (pins[piece[stretch.a]] == 1 and length[piece[stretch.a]] >= LEAST * em)
        or (
            (length[piece[stretch.a]] >= 2 * LEAST * em and not _beside(stretch, bodies, em))
            and _has_corner_or_joint(stretch, net)
        )
    ]
    return _kept(net.nodes, kept, net)


def _beside(stretch: Stretch, bodies: Bodies, em: float) -> bool:
    box = box_of(stretch.spots)
    return stretch.length < 4 * em and any(gap(box, body.box) < 0.5 * em for body in bodies.bodies)


def _has_corner_or_joint(stretch: Stretch, net: Net) -> bool:
    """A line alone, without corner or joint, is an ornament: a rule of a table, an underline."""
    return len(stretch.spots) > 2 or any(
        net.nodes[end].body is not None or net.nodes[end].dotted for end in (stretch.a, stretch.b)
    )


def _kept(nodes: Sequence, stretches: Sequence[Stretch], net: Net) -> Net:  # type: ignore[type-arg]
    """The net with these stretches, nodes without any left out, and joints of two made one wire."""
    count: dict[int, int] = defaultdict(int)
    for stretch in stretches:
        count[stretch.a] += 1
        count[stretch.b] += 1
    merged = _joined(list(stretches), nodes, count)
    used = sorted({end for stretch in merged for end in (stretch.a, stretch.b)})
    names = {number: index for index, number in enumerate(used)}
    return Net(
        tuple(nodes[number] for number in used),
        tuple(replace(stretch, a=names[stretch.a], b=names[stretch.b]) for stretch in merged),
        net.crossings,
    )


def _joined(stretches: list[Stretch], nodes: Sequence, count: dict[int, int]) -> list[Stretch]:  # type: ignore[type-arg]
    """Stretches that go on in one another at a node where nothing else is."""
    for number in [
        body
        for body, times in count.items()
        if times == 2 and nodes[body].body is None and not nodes[body].dotted
    ]:
        two = [stretch for stretch in stretches if number in (stretch.a, stretch.b)]
        if len(two) != 2:
            continue
        first, second = two
        start = first if first.b == number else _turned(first)
        end = second if second.a == number else _turned(second)
        stretches = [stretch for stretch in stretches if stretch is not first and stretch is not second]
        spots = (*start.spots, *end.spots[1:])
        doubts = (*start.doubts, *end.doubts)
        stretches.append(
            replace(start, b=end.b, spots=spots, dashed=start.dashed and end.dashed, doubts=doubts)
        )
    return stretches


def _turned(stretch: Stretch) -> Stretch:
    return replace(stretch, a=stretch.b, b=stretch.a, spots=stretch.spots[::-1])
