"""The fuses of a job's circuit as branches of a drain: what hangs on each, and which fuses it feeds."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING

from halfsplit.circuit.circuit import Circuit
from halfsplit.circuit.kinds import LOADS
from halfsplit.circuit.model import Part
from halfsplit.drain.branches import Fuse

if TYPE_CHECKING:
    import networkx as nx

ENDS = ("module", "ground", "battery", "generator")
"""Beside loads: where a branch ends. What lies behind is no feed any more."""


def fuses_of(circuit: Circuit) -> tuple[Fuse, ...]:
    """Every fuse with a rating, in the order of the file: its own units, and the fuses behind it."""
    parts = circuit.parts
    fuses = [part for part in parts.values() if part.is_fuse and part.values.get("A")]
    starts = [f"{part.name}.+" for part in circuit.model.of_kind("battery")]
    graph = _feeds(circuit, starts)
    everything = _reached(graph, starts, "")
    below = {fuse.name: everything - _reached(graph, starts, fuse.name) for fuse in fuses}
    lines = []
    for fuse in fuses:
        behind = [other.name for other in fuses if other.name in below[fuse.name] and other is not fuse]
        own = below[fuse.name] - {node for other in behind for node in below[other]}
        names = {node.partition(".")[0] for node in own}
        units = tuple(
            f"{name} {part.words}".strip()
            for name, part in parts.items()
            if name in names and (part.kind in LOADS or part.kind == "module")
        )
        lines.append(Fuse(fuse.name, fuse.values["A"], units, behind=tuple(behind)))
    return tuple(lines)


def _node(end: str, parts: Mapping[str, Part]) -> str:
    """A wire's end as a node: splices and fuses as one, the pins and cavities of all others apart."""
    point = end.partition(":")[0]
    name = point.partition(".")[0]
    part = parts.get(name)
    return name if part is None or part.is_fuse or part.kind == "splice" else point


def _feeds(circuit: Circuit, starts: Sequence[str]) -> nx.DiGraph:
    """What current can go on to from where; a branch ends at what it feeds."""
    import networkx as nx  # slow to import

    parts = circuit.parts
    pairs = [(_node(wire.a, parts), _node(wire.b, parts)) for wire in circuit.model.wires]
    # A relay feeds its contacts, whatever they are now: the coil is a branch of its own.
    relays = [name for name, part in parts.items() if part.kind == "relay"]
    pairs += [(f"{name}.30", f"{name}.{pin}") for name in relays for pin in ("87", "87a")]
    # A switch feeds what it can join, in whichever position it stands.
    pairs += [
        (f"{name}.{join.a}", f"{name}.{join.b}") for name, part in parts.items() for join in part.connections
    ]
    ends = {name for name, part in parts.items() if part.kind in LOADS or part.kind in ENDS}
    return nx.DiGraph(
        (a, b)
        for pair in pairs
        for a, b in (pair, pair[::-1])
        if a in starts or a.partition(".")[0] not in ends
    )


def _reached(graph: nx.DiGraph, starts: Sequence[str], without: str) -> set[str]:
    """The nodes that the battery reaches, with one fuse out."""
    import networkx as nx

    rest = graph.subgraph([node for node in graph if node.partition(".")[0] != without])
    return {*starts, *(node for start in starts if start in rest for node in nx.descendants(rest, start))}
