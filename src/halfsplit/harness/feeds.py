"""Where current comes from and returns to: what a harness file does not draw is joined by the names of its signals."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator, Sequence

import networkx as nx

from halfsplit.harness.fits import Link, Piece
from halfsplit.harness.terminals import TERMINALS, Terminal, terminal

BATTERY: tuple[str, str] = ("G1.+", "G1.-")
BODY = "body"
_SOURCE_ORDER = list(TERMINALS)


class Feeds:
    """The feeds, switches and grounds that are assumed, and which parts can have current with them.

    A net whose signal is a feed (30), a switched feed (15, 58, …) or ground (31) and that nothing in the file joins to
    the battery is joined to it by a stretch that the diagram does not show.
    """

    def __init__(
        self,
        pieces: Sequence[Piece],
        wires: Sequence[tuple[str, str, str]],
        inside: Iterable[tuple[str, str]],
        cut: Collection[str] = (),
    ) -> None:
        """``wires``: their ends and signal. ``cut``: splices that have more wires than are here."""
        self.pieces: list[Piece] = []
        self.assumed: list[str] = []
        self.stretches: list[tuple[str, str]] = []
        self.parts = pieces
        self.cut = frozenset(cut)
        self.closed: nx.Graph = nx.Graph()
        self.closed.add_nodes_from((*BATTERY, BODY))
        self.closed.add_edges_from((a, b) for a, b, _ in wires)
        self.closed.add_edges_from(inside)
        for link in (link for piece in pieces for link in piece.links if link.conducts):
            self.closed.add_edge(link.a, link.b)
        for point in [node for node in self.closed if str(node).endswith(":out")]:
            self.closed.add_edge(point, f"{str(point).removesuffix(':out')}:in")
        self._join(wires)
        # The pairs of points that lie on a loop with the battery: only there can current flow.
        graph = nx.Graph(self.closed)
        graph.add_edges_from((link.a, link.b) for piece in self.parts for link in piece.links)
        graph.add_edge(*BATTERY)
        loops = nx.biconnected_component_edges(graph)
        pairs = ({frozenset((str(a), str(b))) for a, b in edges} for edges in loops)
        self.blocks = next((loop for loop in pairs if frozenset(BATTERY) in loop), set())

    # what is assumed

    def _join(self, wires: Sequence[tuple[str, str, str]]) -> None:
        designated = [
            (self._order(designation, signal, point), designation, point)
            for a, b, signal in wires
            if (designation := terminal(signal)) is not None
            for point in (a, b)
        ]
        grounded = any(piece.kind == "ground" for piece in self.parts)
        if grounded or any("ground" in designation.role for _, designation, _ in designated):
            # The battery's ground lead, which no such file draws as far as the body.
            self.pieces.append(
                Piece("GND_G1", "ground", words="body end of the battery's ground lead", why="assumed")
            )
            self.closed.add_edges_from(((BATTERY[1], "GND_G1"), ("GND_G1", BODY)))
            self.assumed.append("the battery's ground lead")
        joined = set().union(*(nx.node_connected_component(self.closed, end) for end in (BATTERY[0], BODY)))
        for _, designation, point in sorted(designated, key=lambda item: item[0]):
            if point in joined:
                continue
            source = self._source(designation)
            self.stretches.append((source, point))
            self.closed.add_edge(source, point)
            self.assumed.append(
                f"{point.removesuffix(':in')} is joined to terminal {designation.name} ({designation.words})"
            )
            joined |= nx.node_connected_component(self.closed, point)

    def _order(self, terminal: Terminal, signal: str, point: str) -> tuple[int, bool, bool, int]:
        """Feeds before what they feed; at cut splices, then at open plugs; the shorter name first."""
        return (
            _SOURCE_ORDER.index(terminal.name),
            point not in self.cut,
            not (point.endswith(":in") and f"{point.removesuffix(':in')}:out" not in self.closed),
            len(signal),
        )

    def _source(self, terminal: Terminal) -> str:
        """The point that feeds a terminal; a switch is made for one that is switched."""
        if terminal.role == "feed":
            return BATTERY[0]
        made = [piece.name for piece in self.pieces]
        if terminal.role == "ground":
            name = f"GND_{terminal.name}"
            if name not in made:
                self.pieces.append(Piece(name, "ground", words="wherever terminal 31 ends", why="assumed"))
                self.closed.add_edge(name, BODY)
            return name
        name = f"S_{terminal.name}"
        link = Link(f"{name}.1", f"{name}.2", conducts=True)
        if name not in made:
            start = BATTERY[0] if terminal.role == "switched" else "GND_G1"
            self.pieces.append(
                Piece(name, "switch", "off on", terminal.words, links=(link,), why="assumed by terminal")
            )
            self.stretches.append((start, link.a))
            self.closed.add_edges_from(((start, link.a), (link.a, link.b)))
        return link.b

    def paths(self) -> Iterator[str]:
        """The paths of what is assumed."""
        if any(piece.name == "GND_G1" for piece in self.pieces):
            yield "G1.- --[16mm2 0.6m]-- GND_G1  # assumed"
        if self.stretches:
            yield "# assumed by the terminal numbers in the signals: how the feed gets there is not in the file"
        for source, point in self.stretches:
            bare = point.removesuffix(":in")
            yield f"{source} -- ? -- {bare}:out" if point.endswith(":in") else f"{source} -- ? -- {point}"

    # what can have current

    def alive(self, piece: Piece) -> bool:
        return any(frozenset((link.a, link.b)) in self.blocks for link in piece.links)
