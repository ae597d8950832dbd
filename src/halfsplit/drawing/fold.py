"""Folding: of a large circuit only the current paths of the parts that matter, the rest as labelled stubs.

Kept are the parts in focus, the shortest way from each to a feed and to a ground, and every wire between what is
kept. What hangs on a kept part and is not kept becomes one stub there, which says what is folded.
"""

from __future__ import annotations

import heapq
from collections.abc import Mapping
from dataclasses import dataclass, field, replace

from halfsplit.circuit.model import Model
from halfsplit.drawing.sides import Sides, end_points, part_points


@dataclass(frozen=True, slots=True)
class Stub:
    """``parts`` are folded here, in the order of the file; it hangs on ``point``."""

    key: str
    point: str
    parts: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Fold:
    """The model that is left, the points that are drawn, the stubs. Those of one circuit are the same if these are.

    ``boxes``: modules that have a post for folded pins. ``hidden``: for a splice or ground without a stub the number
    of its wires that are folded. ``cut``: pins whose wires are folded elsewhere.
    """

    model: Model = field(compare=False)
    points: frozenset[str]
    stubs: tuple[Stub, ...] = ()
    boxes: frozenset[str] = frozenset()
    hidden: Mapping[str, int] = field(default_factory=dict, hash=False)
    cut: frozenset[str] = frozenset()


def unfolded(model: Model) -> Fold:
    """The whole circuit."""
    return Fold(
        model,
        frozenset(point for wire in model.wires for point in end_points(wire.a, wire.b, model))
        | {point for part in model.parts.values() if part.kind != "module" for point in part_points(part)},
    )


def folded(model: Model, sides: Sides, focus: frozenset[str]) -> Fold:
    """The circuit around ``focus`` (parts, or points for a single cavity); all of it where it names nothing known."""
    kept = _kept_points(sides, focus)
    if not kept:
        return unfolded(model)
    part_of = sides.net.part
    names = {part_of[point].name for point in kept if point in part_of}
    wires = tuple(wire for wire in model.wires if kept.issuperset(end_points(wire.a, wire.b, model)))
    rest = replace(
        model, parts={name: part for name, part in model.parts.items() if name in names}, wires=wires
    )
    drawn = frozenset(point for wire in wires for point in end_points(wire.a, wire.b, model))
    shown = drawn | {point for point in kept if part_of[point].kind != "module"}
    near = [point for point in sides.net.wires if point in kept]
    edges = [(point, other) for point in near for other in sides.net.wires[point] if other not in kept]
    hung = _hung(model, sides, kept, edges)
    order = list(model.parts).index
    stubs = [Stub(f"folded at {at}", at, tuple(sorted(hung[at], key=order))) for at in hung]
    boxes = frozenset(anchor.removesuffix(" more") for anchor in hung if anchor.endswith(" more"))
    bare = [point for point, _ in edges if _anchor(point, sides) not in hung]
    joints = {"splice", "ground", "mass"}
    hidden = {point: bare.count(point) for point in bare if part_of[point].kind in joints}
    return Fold(rest, shown, tuple(stubs), boxes, hidden, frozenset(bare) - set(hidden))


def _kept_points(sides: Sides, focus: frozenset[str]) -> set[str]:
    """All points of the parts in focus, and of the parts on the ways from there to feed and ground."""
    starts = [
        point
        for point, part in sides.net.part.items()
        if part.name in focus or point in focus or point.partition(":")[0] in focus
    ]
    kept = set(starts)
    for start in starts:
        for goals in ({"battery", "generator"}, {"ground", "mass"}):
            kept |= set(_way(start, goals, sides, focus))
    for point in list(kept):
        part, cavity = sides.net.part[point], point.partition(":")[0]
        kept |= {f"{cavity}:in", f"{cavity}:out"} if part.kind == "connector" else set(part_points(part))
    return kept & set(sides.net.part)


def _way(start: str, goals: set[str], sides: Sides, focus: frozenset[str]) -> list[str]:
    """The way from a point to the nearest part of these kinds, parts in focus for nothing, others at 1.

    Towards the feed only upwards, towards the ground only downwards; empty where there is none.
    """
    upward = "battery" in goals
    queue: list[tuple[int, int, str, tuple[str, ...]]] = [(0, 0, start, (start,))]
    done: set[str] = set()
    while queue:
        cost, steps, point, way = heapq.heappop(queue)
        part = sides.net.part.get(point)
        if part is not None and (part.kind in goals or (part.kind == "module" and point != start)):
            return list(way)
        if point in done:
            continue
        done.add(point)
        for other in sides.net.joined(point):
            rise = sides.height[other] - sides.height[point]
            if other in sides.net.part and (rise >= 0 if upward else rise <= 0):
                price = cost + (sides.net.part[other].name not in focus)
                heapq.heappush(queue, (price, steps + 1, other, (*way, other)))
    return []


def _anchor(point: str, sides: Sides) -> str:
    """Where the stub of a kept point hangs: on the point, or on the box of its module."""
    owner = sides.net.part[point]
    return f"{owner.name} more" if owner.kind == "module" else point


def _hung(model: Model, sides: Sides, kept: set[str], edges: list[tuple[str, str]]) -> dict[str, list[str]]:
    """Anchor → the parts folded there: each part in one place, the highest that it hangs on."""
    members = _groups(sides, kept)
    hung: dict[str, list[str]] = {}
    part_names = {sides.net.part[point].name for point in kept if sides.net.part[point].kind != "connector"}
    for point, other in sorted(edges, key=lambda edge: -sides.height[edge[0]]):
        names = [name for name in members[other] if name not in part_names]
        part_names.update(names)
        if names:
            hung.setdefault(_anchor(point, sides), []).extend(names)
    part_names |= {sides.net.part[point].name for point in kept}
    if hung:
        next(iter(hung.values())).extend(name for name in model.parts if name not in part_names)
    return hung


def _groups(sides: Sides, kept: set[str]) -> dict[str, set[str]]:
    """Folded point → the parts of its connected group; not through grounds and modules, which join everything."""
    members: dict[str, set[str]] = {}
    for start in sides.net.wires:
        if start in kept or start in members:
            continue
        group: set[str] = set()
        members[start], stack = group, [start]
        while stack:
            point = stack.pop()
            part = sides.net.part.get(point)
            group |= {part.name} if part else set()
            whole = part_points(part) if part is not None and part.kind == "relay" else ()
            ends = part is not None and part.kind in {"ground", "mass", "module"} and point != start
            for other in () if ends else (*sides.net.joined(point), *whole):
                if other not in kept and other not in members:
                    members[other] = group
                    stack.append(other)
    return members
