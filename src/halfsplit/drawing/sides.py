"""Which way is up: for each point whether it is nearer to the feed or to the ground, as the drawing is read.

The circuit is taken as a net of resistors, switches and contacts closed, between feeds (1) and grounds (0). What
has the higher potential is drawn above: current then runs down the page on every path. The pins of a module
are feeds or grounds of the nets that hang on them, by what they do.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from scipy.sparse import coo_array
from scipy.sparse.linalg import splu

from halfsplit.circuit.kinds import LOADS
from halfsplit.circuit.model import Behaviour, Model, Part
from halfsplit.drawing.glyphs import Side

LEAK, LOAD = 1e-6, 1e-2
"""Conductance of every point to half the feed, which gives dangling ends a direction, and of a load; a wire has 1."""


@dataclass(frozen=True, slots=True)
class Net:
    """The circuit as points: ``wires`` and ``inside`` (through a part) give the neighbours of each point."""

    part: Mapping[str, Part]
    wires: Mapping[str, tuple[str, ...]]
    inside: Mapping[str, tuple[str, ...]]

    def is_load(self, point: str) -> bool:
        """Whether the way through the part at this point is a load (or a coil), not a joint, a switch or a contact."""
        part = self.part.get(point)
        return part is not None and (
            part.kind in {*LOADS, "sensor"} or (part.kind == "relay" and point[-2:] in {"85", "86"})
        )

    def closed(self, point: str) -> tuple[str, ...]:
        """Where the part at this point leads when it is closed; nowhere through a load."""
        return () if self.is_load(point) else self.inside.get(point, ())

    def joined(self, point: str) -> tuple[str, ...]:
        return self.wires.get(point, ()) + self.inside.get(point, ())


@dataclass(frozen=True, slots=True)
class Sides:
    """``height`` of each point (1 feed, 0 ground), side of each module pin, parts that hang from what is above."""

    net: Net
    height: Mapping[str, float]
    module: Mapping[str, Side]
    hanging: frozenset[str]


def end_points(a: str, b: str, model: Model) -> tuple[str, str]:
    """The points that a wire joins; a cavity without a side is left through ``:out`` and reached on ``:in``."""
    return _sided(a, "out", model), _sided(b, "in", model)


def _sided(point: str, side: str, model: Model) -> str:
    part = model.parts.get(point.partition(".")[0])
    if part is None or part.kind != "connector" or ":" in point:
        return point
    return f"{point}:{side}"


def net_of(model: Model) -> Net:
    """The points of a model and how they are joined."""
    wires: dict[str, list[str]] = {}
    inside: dict[str, list[str]] = {}
    for wire in model.wires:
        _join(wires, *end_points(wire.a, wire.b, model))
    for part in model.parts.values():
        # Pairs of points that current can pass between inside the part.
        pairs: list[tuple[str, str]] = []
        if part.kind == "connector":
            cavities = {point.partition(":")[0] for point in wires if point.partition(".")[0] == part.name}
            pairs = [(f"{cavity}:in", f"{cavity}:out") for cavity in sorted(cavities)]
        elif part.kind == "relay":
            pairs = [
                (f"{part.name}.{a}", f"{part.name}.{b}")
                for a, b in (("86", "85"), ("30", "87"), ("30", "87a"))
                if a in part.pins and b in part.pins
            ]
        elif part.joins:
            pairs = [(f"{part.name}.{join.a}", f"{part.name}.{join.b}") for join in part.joins]
        elif part.kind not in {"battery", "generator", "module"}:
            pairs = list(pairwise(part_points(part)))
        for a, b in pairs:
            _join(inside, a, b)
    points = [*wires, *inside, *(pin for part in model.parts.values() for pin in part_points(part))]
    part_of = {
        point: model.parts[owner] for point in points if (owner := point.partition(".")[0]) in model.parts
    }
    nears = ({point: tuple(near) for point, near in each.items()} for each in (wires, inside))
    return Net(part_of, *nears)


def _join(neighbours: dict[str, list[str]], a: str, b: str) -> None:
    neighbours.setdefault(a, []).append(b)
    neighbours.setdefault(b, []).append(a)


def part_points(part: Part) -> tuple[str, ...]:
    """The points of a part that are not cavities: its pins, or itself where it is one node."""
    if part.is_joint:
        return (part.name,)
    return () if part.kind == "connector" else tuple(f"{part.name}.{pin}" for pin in part.pins)


# Modules


def module_sides(model: Model, net: Net) -> dict[str, Side]:
    """Side of the box on which each wired pin of each module is drawn: what is fed from above on top."""
    sides: dict[str, Side] = {}
    talking: set[str] = set()
    undecided: list[str] = []
    for module in model.of_kind("module"):
        behaviour = module.behaviour or Behaviour()
        # Pin → side where its behaviour tells; the later entries win.
        stated: dict[str, Side] = {}
        for entry in behaviour.inputs:
            if entry.pull is not None:
                stated[entry.pin] = "bottom" if entry.pull == "up" else "top"
        for talk in behaviour.talks:
            side: Side = "top" if talk.bus in talking else "bottom"
            stated |= {pin: side for pin in (talk.high, talk.low) if pin}
        for driver in sorted(behaviour.drivers, key=lambda driver: driver.side == "high"):
            stated[driver.pin] = "bottom" if driver.side == "high" else "top"
        stated |= {pin: "top" for group in behaviour.feeds for pin in group}
        stated |= {supply.pin: "bottom" for supply in behaviour.supplies}
        stated |= dict.fromkeys(behaviour.earths, "bottom")
        known = {f"{module.name}.{pin}": side for pin, side in stated.items()}
        talking |= {talk.bus for talk in behaviour.talks}
        sides |= {point: side for point, side in known.items() if point in net.wires}
        undecided += [point for point in part_points(module) if point in net.wires and point not in known]
    for point in undecided:
        sides[point] = _led_side(point, net, sides)
    return sides


def _led_side(start: str, net: Net, sides: Mapping[str, Side]) -> Side:
    """Where the nearest feed, ground or sensor of the net at ``start`` puts it, else a module pin."""
    led: Side | None = None
    for point in _reached(start, lambda point: net.wires.get(point, ()) + net.closed(point)):
        part = net.part.get(point)
        if point == start or part is None:
            continue
        if part.kind in {"ground", "mass", "sensor"} or point.endswith(".-"):
            return "bottom"
        if part.is_source:
            return "top"
        if led is None and point in sides:
            led = "top" if sides[point] == "bottom" else "bottom"
    return led or "bottom"


def _reached(start: str, onward: Callable[[str], tuple[str, ...]]) -> Iterator[str]:
    """Points in the order of a breadth-first search."""
    seen, queue = {start}, deque([start])
    while queue:
        point = queue.popleft()
        yield point
        for onward_point in onward(point):
            if onward_point not in seen:
                seen.add(onward_point)
                queue.append(onward_point)


NEVER_HANGING = frozenset(
    ("module", "connector", "splice", "ground", "mass", "relay", "battery", "generator", "fuse")
)


def hanging_parts(model: Model, net: Net, sides: dict[str, Side]) -> frozenset[str]:
    """Parts wired to module pins alone (a sensor with its own supply and return): they hang below the box.

    The module pins concerned are moved to the bottom of their box, in ``sides``.
    """
    hanging: set[str] = set()
    for part in model.parts.values():
        if part.kind in NEVER_HANGING:
            continue
        groups = [_terminals(point, net) for point in part_points(part) if point in net.wires]
        led_to = [
            {net.part[point].kind for point in group if point in net.part and net.part[point] is not part}
            for group in groups
        ]
        if len(groups) > 1 and all({"module"} <= kinds <= {"module", "sensor"} for kinds in led_to):
            hanging.add(part.name)
            sides |= {point: "bottom" for point in set().union(*groups) if net.part[point].kind == "module"}
    return frozenset(hanging)


def _terminals(start: str, net: Net) -> set[str]:
    """Pins of parts that are joined to ``start`` by wires, splices and cavities alone, without itself."""

    def is_joint(point: str) -> bool:
        return point in net.part and net.part[point].kind in {"splice", "connector"}

    def onward(point: str) -> tuple[str, ...]:
        return net.joined(point) if is_joint(point) else net.wires.get(point, ()) if point == start else ()

    return {point for point in _reached(start, onward) if point != start and not is_joint(point)}


# Potentials


def sides_of(model: Model) -> Sides:
    """Everything about up and down in the drawing of this model."""
    net = net_of(model)
    module = module_sides(model, net)
    hanging = hanging_parts(model, net, module)
    heights = _potentials(net, module, hanging)
    # Loads across a bridge (a window motor between two changeover relays) have no upper side: they hang as well.
    balanced = set()
    for part in model.of_kind(*LOADS):
        ends = [heights[point] for point in part_points(part) if point in net.wires]
        if len(ends) == 2 and abs(ends[0] - ends[1]) < 1e-7:
            balanced.add(part.name)
    if balanced:
        hanging |= balanced
        heights = _potentials(net, module, hanging)
    return Sides(net, heights, module, hanging)


def _fixed(point: str, net: Net, module: Mapping[str, Side], hanging: frozenset[str]) -> float | None:
    """The height of a point of a source, a ground, a module or a hanging part; None of any other."""
    part = net.part.get(point)
    if part is None:
        return None
    if part.is_source:
        return 1.0 if point.endswith(".+") else 0.5
    if part.is_earth or part.name in hanging:
        return 0.0
    return None if part.kind != "module" else 1.0 if module.get(point) == "bottom" else 0.0


def _potentials(net: Net, module: Mapping[str, Side], hanging: frozenset[str]) -> dict[str, float]:
    """The height of each point, by node analysis between the feeds and grounds."""
    index = {
        point: number for number, point in enumerate(dict.fromkeys([*net.wires, *net.inside, *net.part]))
    }
    current = np.full(len(index), LEAK / 2)
    entries = []
    for point, number in index.items():
        fixed = _fixed(point, net, module, hanging)
        if fixed is not None:
            current[number] = fixed
            entries.append((number, number, 1.0))
            continue
        entries.append((number, number, LEAK))
        neighbours = [(other, 1.0) for other in net.wires.get(point, ())]
        neighbours += [(other, LOAD if net.is_load(point) else 1.0) for other in net.inside.get(point, ())]
        for other, value in neighbours:
            entries += [(number, number, value), (number, index[other], -value)]
    if not entries:
        return {}
    rows, columns, values = zip(*entries, strict=True)
    conductance = coo_array((values, (rows, columns)), shape=(len(index), len(index))).tocsc()
    heights = splu(conductance).solve(current)
    return {point: round(float(heights[number]), 9) for point, number in index.items()}
