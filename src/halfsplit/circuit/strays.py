"""Where wires may sit that the drawing does not show: on a pin beside their own, or touching another net.

From the model alone. Each place needs a *spare*: an element that is not there until a fault makes it.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator
from dataclasses import dataclass
from itertools import combinations

from halfsplit.circuit.assembly import Assembly
from halfsplit.circuit.model import Model, Wire
from halfsplit.circuit.wiring import neighbouring_cavities, place
from halfsplit.joined import Joined

APART = 2
"""Pins that are further apart in their plug than this are not taken for one another, in plugs of more than FEW pins."""
FEW = 5
MOST_BRIDGES = 150


@dataclass(frozen=True, slots=True)
class Move:
    """One end of a wire at another point than the drawn one: from ``at`` to ``to``; ``other`` end stays."""

    wire: Wire
    at: str
    to: str
    other: str

    @property
    def spare(self) -> str:
        """Name of the element that stands for the wire where it is now."""
        return f"{self.wire.name} on {self.to} for {self.at}"


@dataclass(frozen=True, slots=True)
class Bridge:
    """Two points of different nets that touch, and where their nets meet."""

    a: str
    b: str

    @property
    def spare(self) -> str:
        """Name of the element between them."""
        return f"{self.a} bridged to {self.b}"


def add_spares(assembly: Assembly) -> None:
    """The elements that undrawn faults make."""
    for move in moves(assembly.model):
        assembly.spare(move.wire.name, move.spare, "undrawn", (move.to, move.other))
    for bridge in bridges(assembly.model):
        assembly.spare(place(bridge.a), bridge.spare, "undrawn", (bridge.a, bridge.b))


def moves(model: Model) -> list[Move]:
    """All ends of wires that may sit on another pin of their plug."""
    ends: dict[str, list[tuple[Wire, str]]] = defaultdict(list)
    for wire in model.wires:
        ends[wire.a].append((wire, wire.b))
        ends[wire.b].append((wire, wire.a))
    moved = []
    for a, b in mistakable(model):
        for at, to in ((a, b), (b, a)):
            for wire, other in ends.get(at, ()):
                if other != to:
                    moved.append(Move(wire, at, to, other))
    return moved


def mistakable(model: Model) -> Iterator[tuple[str, str]]:
    """Pairs of points of one plug, on one side of it, that a wire may be taken for."""
    for part in model.parts.values():
        # A connector, a switch, or a part whose pins are more than the two of a consumer.
        if len(part.pins) < (2 if part.kind in ("connector", "switch") else 3):
            continue
        pins = sorted(part.pins, key=lambda pin: (len(pin), pin))
        for (i, a), (j, b) in combinations(enumerate(pins), 2):
            if j - i <= APART or len(pins) <= FEW:
                for side in (":in", ":out") if part.kind == "connector" else ("",):
                    yield f"{part.name}.{a}{side}", f"{part.name}.{b}{side}"


def bridges(model: Model) -> list[Bridge]:
    """Pairs of points at which two nets may touch, the likeliest places first; one for each pair of nets."""
    nets = nets_of(model)
    beside = {
        frozenset((nets.get(f"{a}:in", ""), nets.get(f"{b}:in", ""))) for a, b in neighbouring_cavities(model)
    }
    earths = {part.name for part in model.parts.values() if part.is_earth}
    grounded = {net for point, net in nets.items() if point.partition(".")[0] in earths}
    by_pair: dict[frozenset[str], Bridge] = {}
    for points in _meetings(model):
        for a, b in combinations(points, 2):
            both = frozenset((nets[a], nets[b]))
            # A net that touches the body is a short to body, which the list of drawn faults has.
            if len(both) < 2 or both in by_pair or both in beside or both & grounded:
                continue
            # Bridged across one part of two pins, it is shorted, closed or whole, which the drawn faults have as well.
            first, other = (model.parts[end.partition(".")[0]] for end in (a, b))
            if first is not other or len(first.pins) != 2 or first.kind == "connector":
                by_pair[both] = Bridge(a, b)
                if len(by_pair) == MOST_BRIDGES:
                    return list(by_pair.values())
    return list(by_pair.values())


def nets_of(model: Model) -> dict[str, str]:
    """The net of each point that a wire ends at: points joined by wires and through cavities."""
    nets = Joined[str]()
    for wire in model.wires:
        nets.join(wire.a, wire.b)
    for part in model.of_kind("connector"):
        for pin in part.pins:
            nets.join(f"{part.name}.{pin}:in", f"{part.name}.{pin}:out")
    return nets.roots()


def _meetings(model: Model) -> Iterator[list[str]]:
    """Points that lie together: in one plug, at one place, and in the end anywhere in the vehicle."""
    ends = dict.fromkeys(end for wire in model.wires for end in wire.ends if "." in end)
    of_part: dict[str, list[str]] = {name: [] for name in model.parts}
    of_place: dict[str, list[str]] = {part.place: [] for part in model.parts.values() if part.place}
    for end in ends:
        part = model.parts[end.partition(".")[0]]
        of_part[part.name].append(end)
        if part.place:
            of_place[part.place].append(end)
    yield from (of_part[part.name] for part in model.parts.values() if len(part.pins) > 1)
    yield from of_place.values()
    yield list(ends)
