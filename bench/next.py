"""Time and memory of the next test on a made-up vehicle of 60 branches, over all candidates."""

from __future__ import annotations

import argparse
import resource

from bench.shared import timed
from bench.vehicle import vehicle
from halfsplit.circuit.circuit import Circuit
from halfsplit.circuit.kinds import LOADS
from halfsplit.diagnosis.diagnosis import Diagnosis


def main(arguments: list[str]) -> int:
    """Run a job of a few readings and print what each step took."""
    parser = argparse.ArgumentParser(prog="python -m bench next", description=__doc__)
    parser.add_argument("--branches", type=int, default=60)
    parser.add_argument("--steps", type=int, default=5)
    given = parser.parse_args(arguments)
    circuit = Circuit(vehicle(given.branches))
    loads = [part.name for part in circuit.parts.values() if part.kind in LOADS]
    state = list(circuit.states)[-1]
    job = Diagnosis(circuit)
    job.complain(loads[len(loads) // 2], works="no", state=state)
    print(f"{given.branches} branches: {circuit.network.size} nodes, {len(circuit.faults)} faults")
    print(f"{'step':34}{'s':>8}")
    taken, suspects = timed(job.suspects)
    print(
        f"{'suspects after the complaint':34}{taken:8.2f}   {suspects[0].cause} {suspects[0].probability:.2f}"
    )
    for number in range(given.steps):
        taken, tests = timed(lambda: job.next_tests(5))
        print(f"{f'next test {number + 1}':34}{taken:8.2f}   {tests[0].sentence}")
        again, _ = timed(lambda: job.next_tests(5))
        print(f"{'  with predictions in memory':34}{again:8.2f}")
        best = max(tests[0].outcomes, key=lambda one: one.probability)
        job.record(tests[0], best.word or min(max(best.typical, -1.0), 15.0), sure=True)
        taken, suspects = timed(job.suspects)
        print(
            f"{'  suspects after the reading':34}{taken:8.2f}   {suspects[0].cause} {suspects[0].probability:.2f}"
        )
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    print(f"highest memory of the process: {peak:.0f} MB")
    return 0
