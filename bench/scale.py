"""Time and memory from 10 to 1,000 branches: all single faults in one state, volts at 100 points."""

import resource
import sys
import time
from collections.abc import Sequence

import numpy as np

from bench.vehicle import vehicle
from halfsplit.circuit import batch
from halfsplit.circuit.circuit import Circuit

BRANCHES = (10, 30, 100, 300, 1000)
POINTS = 100


def main(arguments: Sequence[str] = ()) -> int:
    """Print a line for each size."""
    print(f"{'branches':>8} {'points':>7} {'faults':>8} {'seconds':>8} {'µs a fault':>10} {'peak MB':>8}")
    for branches in [int(each) for each in arguments] or BRANCHES:
        circuit = Circuit(vehicle(branches))
        faults = list(circuit.faults.values())
        nodes = np.linspace(0, circuit.network.size - 1, POINTS).astype(np.intp)
        start = time.perf_counter()
        batch.expect(circuit.network.system("everything on"), faults, nodes)
        taken = time.perf_counter() - start
        peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
        print(
            f"{branches:>8} {circuit.network.size:>7} {len(faults):>8} {taken:>8.2f} "
            f"{taken / len(faults) * 1e6:>10.0f} {peak:>8.0f}",
            flush=True,
        )
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
