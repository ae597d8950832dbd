"""The tool's route against a master's: minutes to the cause and to the proof, job by job, on the same vehicles.

A master's route is a decision tree that was written without knowing the faults. Both are walked on simulated vehicles
with the same seed and paid by the same minutes (docs/choice.md); a master's test on a fault that comes and goes is made
again until the fault is there.
"""

from __future__ import annotations

import argparse
import json
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from bench.routes_tree import End, Node, read_tree
from bench.shared import gone_on
from halfsplit import Circuit, Diagnosis
from halfsplit.circuit.faults import Fault
from halfsplit.diagnosis import rollout
from halfsplit.diagnosis.cost import Bay
from halfsplit.diagnosis.measurement import Measurement
from halfsplit.diagnosis.propose import Test
from halfsplit.practice.vehicle import Vehicle, vehicle

CASES = Path(__file__).resolve().parents[2] / "shared" / "cases"
MOST_TESTS = 30
MEAN_AIM, WORST_AIM, TESTS_AIM = 0.8, 1.3, 6.5


@dataclass(frozen=True)
class Job:
    """A vehicle as it comes in, with one hidden fault and, where there is one, a master's tree."""

    name: str
    circuit: Circuit
    about: dict[str, Any]
    fault: Fault
    tree: Node | End | None

    def vehicle(self, seed: int) -> Vehicle:
        """The vehicle, after it was used in every state: a fuse that blows in one is blown."""
        made = vehicle(self.circuit, self.fault, seed, intermittent=self.about["intermittent"])
        for state in self.circuit.states:
            made.solution(state)
        return made

    def diagnosis(self, shared: Diagnosis | None) -> Diagnosis:
        """The job as it was taken in."""
        about = self.about
        job = Diagnosis(
            self.circuit,
            about["instruments"],
            intermittent=about["intermittent"],
            seed=1,
            predictions=shared.predictions if shared else None,
        )
        for one in about["told"]:
            if one["quantity"] == "works":
                job.complain(one["at"], works=one["value"], state=one["state"])
            else:
                job.measure(one["quantity"], one["at"], state=one["state"], value=one["value"], present="yes")
        if about["earlier_work"]:
            job.earlier_work(about["earlier_work"], began_then=about["began_then"])
        return job


@dataclass
class Route:
    """How a walk went: repair named, whether proven, tests and minutes to the first right 95 % and to the end."""

    named: str | None = None
    proven: bool = False
    tests: int = 0
    minutes: float = 0.0
    cause_tests: int | None = None
    cause_minutes: float | None = None
    seconds: float = 0.0


def jobs(folder: Path) -> Iterator[Job]:
    """The jobs of a folder with ``jobs.json`` and one folder a circuit."""
    for name, about in json.loads((folder / "jobs.json").read_text(encoding="utf-8")).items():
        circuit = Circuit.parse((folder / name / "c.circuit").read_text(encoding="utf-8"))
        written = folder / name / "tree.txt"
        tree = read_tree(written.read_text(encoding="utf-8")) if written.exists() else None
        for one in about["faults"]:
            yield Job(name, circuit, about, circuit.faults[one["fault"]], tree)


class Walker:
    """Who measures on a vehicle: tests and minutes are counted, what comes and goes is waited for."""

    def __init__(self, job: Job, seed: int) -> None:
        self.vehicle = job.vehicle(seed)
        self.bay = Bay(job.circuit.model, state=job.about["told"][-1]["state"])
        self.route = Route()

    def read(self, test: Measurement) -> float | str:
        """One reading; made again while the fault is away."""
        for _ in range(MOST_TESTS):
            self.route.minutes += self.bay.minutes(test)
            self.bay = self.bay.after(test)
            self.route.tests += 1
            value = self.vehicle.answer(test)
            if getattr(self.vehicle, "present", "yes") == "yes":
                break
        return value


def master(job: Job, seed: int) -> Route:
    """The master's walk down the tree, proof included."""
    walker, place = Walker(job, seed), job.tree
    route = walker.route
    while isinstance(place, Node):
        place = place.after(walker.read(place.test))
    if place is not None:
        route.named, route.cause_tests, route.cause_minutes = place.cause, route.tests, route.minutes
        for test in place.proof:
            walker.read(test)
    return route


def tool(job: Job, seed: int, shared: Diagnosis | None = None, show: Show | None = None) -> Route:
    """The tool's walk by its first proposal, to the proof. ``show`` is told each test, its minutes and its reading."""
    car, found, route = job.vehicle(seed), job.diagnosis(shared), Route()
    begun = time.process_time()
    while True:
        finding, test = gone_on(found, route.tests, MOST_TESTS)
        route.named = finding.part if finding else None
        route.proven = bool(finding and finding.proven)
        if route.cause_minutes is None and route.named == job.fault.group:
            route.cause_tests, route.cause_minutes = route.tests, route.minutes
        if test is None:
            break
        value = car.answer(test.measurement)
        present = getattr(car, "present", None) if job.about["intermittent"] else None
        found.record(test, value, present=present, sure=True)
        route.tests += 1
        route.minutes += test.minutes
        if show is not None:
            show(found, test, value)
    route.seconds = time.process_time() - begun
    return route


Show = Callable[[Diagnosis, Test, "float | str"], None]


def shown(found: Diagnosis, test: Test, value: float | str) -> None:
    """One step of the tool's walk, for who wants to see why."""
    leaders = ", ".join(
        f"{name} {share:.2f}" for name, share in list(found.posterior().probability.items())[:3]
    )
    print(
        f"    {test.minutes:5.1f} min {test.bits:5.2f} bit {test.purpose:6} {test.sentence} {value} -> {leaders}"
    )


def named(job: Job, route: Route) -> str:
    """How a walk ended, in a word."""
    if route.named is None:
        return "undecided"
    right = route.named == job.fault.group
    if route.proven:
        return "proven" if right else "PROVEN WRONG"
    return "found" if right else "found wrong"


def main(arguments: list[str]) -> int:
    """Print a line a job and the means; 1 where an aim is missed."""
    parser = argparse.ArgumentParser(prog="python -m bench routes", description=__doc__)
    parser.add_argument(
        "--cases", type=Path, default=CASES, help="folder with jobs.json and a folder a circuit"
    )
    parser.add_argument("--only", default="", help="begin of the names of jobs")
    parser.add_argument("--seed", type=int, default=1, help="of the vehicles")
    parser.add_argument("--steps", action="store_true", help="print each test of the tool")
    parser.add_argument("--look", choices=LOOKS, default="as it is", help="how far the choice looks ahead")
    given = parser.parse_args(arguments)
    LOOKS[given.look]()
    print(HEAD)
    rows, shared = [], dict[str, Diagnosis]()
    for job in jobs(given.cases):
        if not f"{job.name} {job.fault.name}".startswith(given.only):
            continue
        mine = master(job, given.seed) if job.tree is not None else None
        first = shared.setdefault(job.name, job.diagnosis(None))
        ours = tool(job, given.seed, first, shown if given.steps else None)
        rows.append((job, mine, ours))
        print(line(job, mine, ours), flush=True)
    return summary(rows)


def _two_ahead() -> None:
    """The look two tests ahead alone, without playing the rest of the route through."""
    vars(rollout)["played"] = lambda *given: given[5]


def _wide(*widths: int) -> Callable[[], None]:
    """So many tests tried at the second step, the third …"""

    def look() -> None:
        rollout.WIDTHS = widths

    return look


LOOKS: dict[str, Callable[[], None]] = {
    "as it is": lambda: None,
    "two ahead": _two_ahead,
    "first only": _wide(),
    "three steps": _wide(3, 2),
}

HEAD = (
    "| job | hidden | tool: cause | proof | tests | ends | master: cause | proof | tests | right | ratio |\n"
    "| --- | --- | ---: | ---: | ---: | --- | ---: | ---: | ---: | --- | ---: |"
)


def line(job: Job, mine: Route | None, ours: Route) -> str:
    """One job of the table; minutes."""
    cause = "-" if ours.cause_minutes is None else f"{ours.cause_minutes:.1f}"
    cells = [job.name, job.fault.name, cause, f"{ours.minutes:.1f}", str(ours.tests), named(job, ours)]
    if mine is None:
        return f"| {' | '.join([*cells, *['-'] * 5])} |"
    began = "-" if mine.cause_minutes is None else f"{mine.cause_minutes:.1f}"
    right = "yes" if mine.named == job.fault.group else "no"
    ratio = f"{ours.minutes / mine.minutes:.2f}"
    return f"| {' | '.join([*cells, began, f'{mine.minutes:.1f}', str(mine.tests), right, ratio])} |"


def summary(rows: list[tuple[Job, Route | None, Route]]) -> int:
    """Print the means beside their aims; whether any is missed."""
    ours = [one for _, _, one in rows]
    proven = [named(job, one) for job, _, one in rows]
    tests = float(np.mean([one.tests for one in ours]))
    print(
        f"\n{len(rows)} jobs: {proven.count('proven')} proven, {proven.count('found')} found and not proven, "
        f"{proven.count('PROVEN WRONG')} proven wrongly, {proven.count('found wrong')} found wrongly, "
        f"{proven.count('undecided')} undecided; {tests:.1f} tests, {np.mean([one.minutes for one in ours]):.1f} "
        f"minutes, {np.mean([one.seconds for one in ours]):.1f} s of one core a job"
    )
    missed = proven.count("PROVEN WRONG") > 0 or tests > TESTS_AIM
    both = [(one.minutes, mine.minutes) for _, mine, one in rows if mine is not None]
    if both:
        mean = sum(one for one, _ in both) / sum(one for _, one in both)
        worst = max(one / other for one, other in both)
        right = [
            one.minutes / mine.minutes for job, mine, one in rows if mine and mine.named == job.fault.group
        ]
        print(
            f"tool / master, minutes to the proof: {mean:.2f} (aim {MEAN_AIM}), worst job {worst:.2f} "
            f"(aim {WORST_AIM}), {max(right, default=0.0):.2f} where the master is right"
        )
        missed = missed or mean > MEAN_AIM or worst > WORST_AIM
    return int(missed)
