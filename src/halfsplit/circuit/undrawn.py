"""Faults that no drawing shows: wires in each other's places, a wire on the pin beside its own, nets that touch.

They are changes of who is joined to whom. The list is bounded, and it is apart from the list of the circuit's own
faults: a job turns to it only where its evidence does not fit what is drawn.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator

from halfsplit.circuit.faults import SHORTS, Fault
from halfsplit.circuit.network import OPEN, SET, Change, Network
from halfsplit.circuit.strays import Move, bridges, mistakable, moves
from halfsplit.circuit.wiring import Wiring, place

KIND = "undrawn"


def undrawn_faults(network: Network) -> dict[str, Fault]:
    """Every undrawn fault by name, in the order of the file."""
    faults = list(_misplaced(network))
    for bridge in bridges(network.model):
        a, b = place(bridge.a), place(bridge.b)
        where, repair = f"{a} and {b}", f"part {a} from {b} and insulate"
        touches = tuple(dict.fromkeys((a, b, a.partition(".")[0], b.partition(".")[0])))
        element = network.element(bridge.spare)
        for ohms in SHORTS[:-1]:
            name, change = f"{where} bridged {ohms:g} ohm", (Change(element, SET, ohms),)
            faults.append(Fault(name, where, "bridged", KIND, repair, ohms, change, touches=touches))
    return {fault.name: fault for fault in faults}


def _misplaced(network: Network) -> Iterator[Fault]:
    """Two wires in each other's cavities; one wire on the pin beside its own."""
    model = network.model
    wiring = Wiring(model)
    by_pair: dict[tuple[str, str], list[Move]] = defaultdict(list)
    for move in moves(model):
        by_pair[move.at, move.to].append(move)
    for a, b in mistakable(model):
        there, back = by_pair.get((a, b), []), by_pair.get((b, a), [])
        first, second = place(a), place(b)
        side = {":in": ", arriving side", ":out": ", leaving side"}.get(a[len(first) :], "")
        if there and back:
            yield _moved(network, wiring, f"{first} and {second}", f"swapped{side}", [*there, *back])
        for (at, to), some in (((first, second), there), ((second, first), back)):
            for move in some:
                mode = f"{move.wire.name} on {to} instead of {at}{side}"
                yield _moved(network, wiring, f"{first} and {second}", mode, [move])


def _moved(network: Network, wiring: Wiring, where: str, mode: str, moved: list[Move]) -> Fault:
    changes = []
    for move in moved:
        changes.append(Change(network.element(move.wire.name), OPEN))
        changes.append(Change(network.element(move.spare), SET, max(wiring.ohms(move.wire), 1e-4)))
    points = where.split(" and ")
    touches = tuple(dict.fromkeys((*points, *(point.partition(".")[0] for point in points))))
    repair = f"put the wires at {where} in their right places"
    return Fault(f"{where} {mode}", where, mode, KIND, repair, None, tuple(changes), (), touches)
