"""Random hidden faults on the demo circuits, each found by the engine's own tests: how many right, tests, minutes."""

from __future__ import annotations

import argparse
import time
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from bench.shared import gone_on
from halfsplit import Circuit, Diagnosis, Fault
from halfsplit.circuit.kinds import LOADS
from halfsplit.diagnosis.hypotheses import families
from halfsplit.diagnosis.priors import default_priors, family_priors
from halfsplit.notation.demos import demos
from halfsplit.practice.vehicle import Vehicle

SLIPS = 1 / 50
MOST_TESTS = 40


@dataclass(frozen=True)
class Run:
    """How one job ended. ``found``: the repair group that was named, or None."""

    fault: str
    found: str | None
    right: bool
    proven: bool
    tests: int
    minutes: float
    seconds: float


def hidden_faults(circuit: Circuit, generator: np.random.Generator) -> Iterator[Fault]:
    """Single faults drawn from the priors, each with one of its named severities."""
    members = families(circuit.faults)
    first = [family[0] for family in members]
    shares = np.array(family_priors(first, circuit.model, default_priors(), {}, intermittent=False))
    shares[[fault.kind in ("nothing", "unknown") for fault in first]] = 0.0
    while True:
        family = members[generator.choice(len(members), p=shares / shares.sum())]
        yield family[generator.integers(len(family))]


def run(circuit: Circuit, fault: Fault, seed: int, *, slips: float = SLIPS) -> Run | None:
    """One job from the complaint to the proof; None where the fault disturbs no load that a customer would miss."""
    vehicle = Vehicle(circuit, fault, np.random.default_rng(seed), slips=slips)
    job = Diagnosis(circuit, seed=1)
    for state in circuit.states:
        solution = vehicle.solution(state)
        for part in circuit.parts.values():
            if part.kind in LOADS and solution.works(part.name) != circuit.healthy_word(part.name, state):
                job.complain(part.name, works=solution.works(part.name), state=state)
    if not job.readings:
        return None
    start, tests, minutes = time.perf_counter(), 0, 0.0
    finding, test = gone_on(job, tests, MOST_TESTS)
    while test is not None:
        job.record(test, vehicle.answer(test.measurement), sure=True)
        tests += 1
        minutes += test.minutes
        finding, test = gone_on(job, tests, MOST_TESTS)
    found = finding.part if finding else None
    return Run(
        fault.name,
        found,
        found == fault.part,
        bool(finding and finding.proven),
        tests,
        minutes,
        time.perf_counter() - start,
    )


def runs(count: int, seed: int, texts: Sequence[str] = ()) -> Iterator[Run]:
    """So many jobs, in turn on the circuits of these texts, or on those of the demos."""
    circuits = [Circuit.parse(text) for text in texts or [demo.text for demo in demos()]]
    generator = np.random.default_rng(seed)
    hidden = [hidden_faults(circuit, generator) for circuit in circuits]
    made = 0
    while made < count:
        number = made % len(circuits)
        one = run(circuits[number], next(hidden[number]), int(generator.integers(1 << 30)))
        if one is not None:
            made += 1
            yield one


def main(arguments: list[str]) -> int:
    """Print each job that did not end with the right cause proven, and the totals."""
    parser = argparse.ArgumentParser(prog="python -m bench jobs", description=__doc__)
    parser.add_argument("--runs", type=int, default=60)
    parser.add_argument("--seed", type=int, default=1)
    given = parser.parse_args(arguments)
    done = []
    for one in runs(given.runs, given.seed):
        done.append(one)
        if not (one.right and one.proven):
            print(
                f"{one.fault:44} named {one.found}, {'proven' if one.proven else 'not proven'}, {one.tests} tests",
                flush=True,
            )
    print(f"{'runs':24}{len(done):8}")
    print(f"{'right cause':24}{np.mean([one.right for one in done]):8.1%}")
    print(
        f"{'wrong cause named':24}{np.mean([one.found is not None and not one.right for one in done]):8.1%}"
    )
    print(f"{'proven':24}{np.mean([one.proven for one in done]):8.1%}")
    print(f"{'tests':24}{np.mean([one.tests for one in done]):8.1f}")
    print(f"{'minutes':24}{np.mean([one.minutes for one in done]):8.1f}")
    print(f"{'seconds a test':24}{sum(one.seconds for one in done) / sum(one.tests for one in done):8.2f}")
    return 0
