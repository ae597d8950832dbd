"""Faults a second: all single faults of a 60-branch vehicle in one state, against ngspice.

Ours is the whole of it: compiling aside, every fault's devices settled and the volts at every point told. ngspice
gets the element that a fault changes altered and its operating point solved once, without settling any device, which
favours it; in memory through libngspice (all values read from its callback), and as a process for each fault.
"""

import sys
import time
from collections.abc import Sequence

import numpy as np

from bench.shared import quickest
from bench.vehicle import vehicle
from halfsplit.circuit import batch
from halfsplit.circuit.circuit import Circuit
from halfsplit.circuit.faults import Fault
from tests.references.deck import in_state, with_fault
from tests.references.ngspice import alter
from tests.references.ngspice import batch as process
from tests.references.rounds import Reference

STATE = "everything on"
IN_MEMORY, BY_PROCESS = 40, 8
AIMS = {
    "rank one, no flips, in memory": 50.0,
    "all faults, in memory": 15.0,
    "all faults, a process each": 1000.0,
}


def ours(circuit: Circuit, faults: Sequence[Fault]) -> float:
    """Seconds a fault."""
    nodes = np.arange(circuit.network.size)
    system = circuit.network.system(STATE)
    return quickest(lambda: batch.of_faults(system, faults).volts(nodes)) / len(faults)


def in_memory(reference: Reference, faults: Sequence[Fault]) -> float:
    """Seconds a fault: alter what the fault changes, solve, alter it back."""
    healthy = dict(reference.now)
    condition = in_state(reference.deck, reference.model.states[STATE])
    start = time.perf_counter()
    for fault in faults:
        changed = with_fault(reference.deck, condition, fault.name).values
        own = {name: value for name, value in changed.items() if value != condition.values[name]}
        for command in alter(own):
            reference.memory.command(command)
        reference.memory.operate()
        for command in alter({name: healthy[name] for name in own}):
            reference.memory.command(command)
    return (time.perf_counter() - start) / len(faults)


def by_process(reference: Reference) -> float:
    """Seconds for one process, all points printed with one command."""
    lines = reference.deck.text()
    return quickest(lambda: process(lines, ["all"]), BY_PROCESS)


def plain(circuit: Circuit, faults: Sequence[Fault]) -> list[Fault]:
    """Faults that change one element and flip no device."""
    settled = batch.of_faults(circuit.network.system(STATE), [circuit.faults["nothing wrong"], *faults])
    states, blown = settled.states[..., 0], settled.blown[..., 0]
    same = np.all(states == states[:, :1], axis=0)[1:] & ~np.any(blown, axis=0)[1:]
    return [fault for fault, still in zip(faults, same, strict=True) if still and len(fault.changes) == 1]


def main(arguments: Sequence[str] = ()) -> int:
    """Print the ratios; 1 where one misses its aim."""
    circuit = Circuit(vehicle(int(arguments[0]) if arguments else 60))
    faults = list(circuit.faults.values())
    still = plain(circuit, faults)
    reference = Reference(circuit.model)
    reference.solve(STATE)
    sample = [fault for fault in still[:: max(1, len(still) // IN_MEMORY)] if "dead" not in fault.name]
    memory, alone = in_memory(reference, sample), by_process(reference)
    every, plainly = ours(circuit, faults), ours(circuit, still)
    print(
        f"{len(faults)} faults, {len(still)} of them of rank one without flips; {circuit.network.size} points"
    )
    print(
        f"microseconds a fault: ours {every * 1e6:.0f}, rank one {plainly * 1e6:.0f}; "
        f"ngspice in memory {memory * 1e6:.0f}, a process {alone * 1e6:.0f}"
    )
    ratios = dict(zip(AIMS, (memory / plainly, memory / every, alone / every), strict=True))
    for name, ratio in ratios.items():
        print(f"{name:<32} {ratio:8.0f} × (aim {AIMS[name]:.0f} ×)")
    return int(any(ratio < AIMS[name] for name, ratio in ratios.items()))


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
