"""Cost against size, from a lamp to 6,000 points: all single faults, the suspects after a complaint, the next test.

Seconds of one processor, one state of made-up vehicles; ``--picture FILE.svg`` draws them. Compiled code is loaded
before the clock runs.
"""

import argparse
import sys
import time
from collections.abc import Callable, Sequence
from pathlib import Path

import matplotlib.pyplot as plt
import numpy as np

from bench.shared import timed
from bench.vehicle import vehicle
from halfsplit.circuit import batch
from halfsplit.circuit.circuit import Circuit
from halfsplit.circuit.kinds import LOADS
from halfsplit.diagnosis.diagnosis import Diagnosis

BRANCHES = (1, 3, 10, 30, 60, 100, 200)
POINTS = 100
STATE = "everything on"
COLUMNS = ("all faults", "suspects", "first next test", "a later one")


def seconds(work: Callable[[], object]) -> float:
    """Seconds of this process that some work takes."""
    return timed(work, time.process_time)[0]


def costs(branches: int) -> tuple[int, int, list[float]]:
    """Points, faults, and what each of the columns takes."""
    circuit = Circuit(vehicle(branches))
    faults = list(circuit.faults.values())
    nodes = np.linspace(0, circuit.network.size - 1, POINTS).astype(np.intp)
    taken = [seconds(lambda: batch.of_faults(circuit.network.system(STATE), faults).volts(nodes))]
    loads = [part.name for part in circuit.parts.values() if part.kind in LOADS]
    job = Diagnosis(circuit)
    job.complain(loads[len(loads) // 2], works="no", state=STATE)
    taken += [seconds(job.suspects), seconds(lambda: job.next_tests(5))]
    test = job.next_tests(1)[0]
    likeliest = max(test.outcomes, key=lambda outcome: outcome.probability)
    job.record(test, likeliest.word or likeliest.typical, sure=True)
    job.suspects()
    taken.append(seconds(lambda: job.next_tests(5)))
    return circuit.network.size, len(faults), taken


def picture(rows: Sequence[tuple[int, int, list[float]]], path: Path) -> None:
    """Both axes logarithmic: a straight line of slope one is a cost in proportion to the size."""
    plt.rcParams.update({"svg.hashsalt": "scale", "svg.fonttype": "none", "font.family": "sans-serif"})
    figure, axes = plt.subplots(figsize=(7, 4.2), layout="constrained")
    for column, name in enumerate(COLUMNS):
        axes.loglog([size for size, _, _ in rows], [taken[column] for *_, taken in rows], "o-", label=name)
    axes.set(xlabel="points of the circuit", ylabel="seconds of one processor")
    axes.grid(which="major", alpha=0.3)
    axes.legend()
    figure.savefig(path, metadata={"Date": None})


def main(arguments: Sequence[str] = ()) -> int:
    """Print a line for each size."""
    parser = argparse.ArgumentParser(prog="python -m bench scale", description=__doc__)
    parser.add_argument("branches", nargs="*", type=int, default=BRANCHES)
    parser.add_argument("--picture", type=Path)
    given = parser.parse_args(list(arguments))
    costs(1)
    print(f"{'branches':>8} {'points':>7} {'faults':>8}" + "".join(f"{name:>17}" for name in COLUMNS))
    rows = []
    for branches in given.branches:
        rows.append(costs(branches))
        size, faults, taken = rows[-1]
        print(
            f"{branches:>8} {size:>7} {faults:>8}" + "".join(f"{each:>17.2f}" for each in taken), flush=True
        )
    if given.picture:
        picture(rows, given.picture)
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
