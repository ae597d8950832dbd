"""The engine's own walk through a case, and the one who replaces the likeliest part."""

from __future__ import annotations

import time
from collections.abc import Mapping
from dataclasses import dataclass, field

from bench.choice_jobs import Case
from bench.shared import gone_on
from halfsplit import Diagnosis
from halfsplit.circuit.faults import NOT_IN_MODEL, NOTHING_WRONG
from halfsplit.circuit.model import Model
from halfsplit.diagnosis.cost import part_of, place_key, reach_minutes
from halfsplit.diagnosis.diagnosis import FOUND
from halfsplit.quantities import FREE_MINUTES

MOST_TESTS = 30


@dataclass
class Walked:
    """How the engine's walk ended.

    ``found_*``: when a cause was found for the first time; None where none was. ``named``: the repair at the end,
    None where undecided. ``stretch_*``: when the repairs of a given stretch first held 95 % together. ``shares``:
    after each reading the probability of the first suspect, and whether it is the one. ``last``: what the hidden one
    holds at the end, ``rivals`` what the first few hold.
    """

    named: str | None = None
    proven: bool = False
    tests: int = 0
    minutes: float = 0.0
    found: str | None = None
    found_tests: int | None = None
    found_minutes: float | None = None
    stretch_tests: int | None = None
    stretch_minutes: float | None = None
    slips: int = 0
    last: float = 0.0
    rivals: dict[str, float] = field(default_factory=dict)
    shares: list[tuple[float, bool]] = field(default_factory=list)
    steps: list[str] = field(default_factory=list)
    seconds: float = 0.0


def ours(case: Case, shared: Diagnosis | None = None, stretch: frozenset[str] = frozenset()) -> Walked:
    """Walk a case by the engine's next tests, to the proof.

    ``stretch``: the repairs between two neighbouring points where another way ended, for a fair comparison.
    """
    job, vehicle, walked = case.job(shared), case.vehicle(), Walked()
    start = time.process_time()
    while True:
        shares = job.posterior().probability
        leader, share = next(iter(shares.items()))
        walked.shares.append((share, leader == case.fault.group))
        if walked.stretch_tests is None and sum(shares.get(name, 0.0) for name in stretch) >= FOUND:
            walked.stretch_tests, walked.stretch_minutes = walked.tests, walked.minutes
        finding, test = gone_on(job, walked.tests, MOST_TESTS)
        if finding and walked.found is None:
            walked.found, walked.found_tests, walked.found_minutes = (
                finding.part,
                walked.tests,
                walked.minutes,
            )
        walked.named = finding.part if finding else None
        walked.proven = bool(finding and finding.proven)
        if test is None:
            break
        value = vehicle.answer(test.measurement)
        job.record(test, value, sure=True)
        walked.tests += 1
        walked.minutes += test.minutes
        walked.steps.append(f"{test.purpose}: {test.sentence} {value}")
    walked.slips = vehicle.slipped
    walked.last = float(shares.get(case.fault.group, 0.0))
    walked.rivals = {name: round(float(one), 4) for name, one in list(shares.items())[:4]}
    walked.seconds = time.process_time() - start
    return walked


HOURLY = 90.0
"""Of the workshop, in euro. Prices and minutes are invented, of the usual order, no source."""
PARTS: Mapping[str, tuple[float, float]] = {
    "fuse": (1.0, 1.0),
    "breaker": (15.0, 2.0),
    "relay": (15.0, 2.0),
    "lamp": (10.0, 5.0),
    "motor": (150.0, 30.0),
    "heater": (200.0, 40.0),
    "resistor": (60.0, 20.0),
    "solenoid": (90.0, 15.0),
    "diode": (10.0, 15.0),
    "sensor": (60.0, 15.0),
    "switch": (60.0, 20.0),
    "module": (400.0, 40.0),
    "battery": (150.0, 20.0),
    "generator": (350.0, 60.0),
}
"""Price and minutes of fitting one, by kind."""
REPAIR = (10.0, 15.0)
"""Of making a wire, a cavity or a ground anew."""


@dataclass(frozen=True)
class Replaced:
    """Parts fitted before the one that cures; what they and the work cost."""

    parts: int
    minutes: float
    cost: float
    cured: bool


def replace(case: Case, shared: Diagnosis | None = None) -> Replaced:
    """Fit the likeliest part by what was told, see whether it helps, then the next one.

    A part brings its own contacts. What cures is not counted, for it must be done in any case.
    """
    job = case.job(shared)
    tries: dict[str, float] = {}
    for group, share in job.posterior().probability.items():
        if group not in (NOT_IN_MODEL, NOTHING_WRONG) and " + " not in group:
            name = _tried(case.circuit.model, group)
            tries[name] = tries.get(name, 0.0) + share
    order = sorted(tries, key=lambda name: -tries[name])
    wanted = _tried(case.circuit.model, case.fault.group)
    model, opened = case.circuit.model, set[str]()
    minutes = cost = 0.0
    for count, name in enumerate(order):
        if name == wanted:
            return Replaced(count, minutes, cost + minutes / 60.0 * HOURLY, True)
        part = model.parts.get(name)
        price, fitting = PARTS.get(part.kind, REPAIR) if part is not None else REPAIR
        key = place_key(part_of(name.removeprefix("wire ")).split()[0], model)
        if key is not None and key not in opened:
            minutes += reach_minutes(key, model)
            opened.add(key)
        minutes += fitting + FREE_MINUTES
        cost += price
    return Replaced(len(order), minutes, cost + minutes / 60.0 * HOURLY, False)


def _tried(model: Model, group: str) -> str:
    """What is fitted for a repair group: the whole part for a contact of its own, else the group itself."""
    part = model.parts.get(part_of(group))
    if group.startswith("wire ") or part is None or part.kind in ("connector", "ground", "mass", "splice"):
        return group
    return part.name
