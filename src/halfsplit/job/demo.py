"""The demo job: taken in, its circuit entered and the first readings made, so that the bench is alive.

The readings come from the solution of the demo's circuit with its hidden cause; the demo, its vehicle and its people
are invented.
"""

from __future__ import annotations

import tomllib
from collections.abc import Callable, Mapping
from datetime import timedelta
from decimal import Decimal
from importlib.resources import files
from typing import Any

from halfsplit.circuit.circuit import Circuit, Solution
from halfsplit.diagnosis.propose import Test
from halfsplit.job.open_job import OpenJob, now
from halfsplit.job.places import to_json
from halfsplit.job.verbs import add_minutes, complain_all, open_job, record, take
from halfsplit.notation.checked import check_text, sample
from halfsplit.store import (
    BatteryReading,
    Complaint,
    Customer,
    EarlierWork,
    Intake,
    Job,
    JobSettings,
    JobStore,
    Vehicle,
)

WHO = "demo"
READINGS = 0
"""Tests that are made already: after one the demo has found its cause, since the complaint began at a visit."""
LAMP_BRIGHT, LAMP_DIM = 0.7, 0.15
"""Shares of 12 V from which a test lamp is bright, and dim."""


def demos() -> dict[str, dict[str, Any]]:
    """The demos of ``demos.toml`` by name."""
    return tomllib.loads((files("halfsplit.notation") / "demos" / "demos.toml").read_text(encoding="utf-8"))


def demo_job(store: JobStore, name: str = "", *, readings: int = READINGS, job_id: str = "demo") -> Job:
    """Open the demo job; where it is there already it is left as it stands."""
    if any(
        job.job_id == job_id
        for job in store.list_jobs(states=("open", "found", "proven", "repaired", "closed"))
    ):
        return store.job(job_id)
    told = demos()
    chosen = name or next(iter(told))
    demo, text = told[chosen], sample(chosen, "demo").text
    open_job(
        store, _intake(demo), who=WHO, job_id=job_id, circuit=text, customer=Customer(name="R. Ostermann")
    )
    said = [(one["part"], one["works"], one.get("state", "")) for one in demo["complaints"]]
    complain_all(OpenJob(store, job_id, WHO), said, at=now() - timedelta(minutes=5 * READINGS + 4))
    add_minutes(OpenJob(store, job_id, WHO), "Taken in, complaint tried out", 6)
    for number in range(readings):
        _answer_next(OpenJob(store, job_id), str(demo["hidden"]), number)
    return store.job(job_id)


def _intake(demo: dict[str, Any]) -> Intake:
    return Intake(
        complaint=Complaint(text=str(demo["customer"]), how_often="always"),
        vehicle=Vehicle(description=str(demo["vehicle"]), odometer=int(demo["odometer_km"])),
        battery=BatteryReading(volts=12.55, celsius=18.0, type="flooded", rested=True),
        earlier_work=tuple(
            EarlierWork(
                what=str(work["words"]),
                touched=(str(work["place"]),),
                on=now().date() - timedelta(weeks=int(work["weeks_ago"])),
                began_then=bool(work.get("complaint_began", False)),
            )
            for work in demo.get("earlier_work", ())
        ),
        settings=JobSettings(
            instruments=("meter", "test lamp", "21 W lamp"), currency="EUR", hourly_rate=Decimal(96)
        ),
    )


def _answer_next(job: OpenJob, cause: str, number: int) -> None:
    """Make the proposed test on the demo vehicle, or leave it where it cannot be answered here."""
    with job.bench() as bench:
        if bench.told is None:
            return
        tests = bench.told.diagnosis.next_tests(limit=1)
        circuit = bench.told.diagnosis.circuit
    if not tests:
        return
    answer = simulated(circuit, cause, tests[0])
    place = to_json(tests[0].measurement)
    if answer is None:
        take(job, "cannot", {**place, "why": "not on the demo vehicle"})
        return
    entry = record(
        job,
        place,
        answer,
        confirmed=True,
        present="yes",
        entry_id=f"{job.job_id}-{number}",
        at=now() - timedelta(minutes=5 * (READINGS - number)),
    )
    add_minutes(job, f"Test {number + 1}", round(max(tests[0].minutes, 1.0), 1))
    assert entry.sequence  # noqa: S101 - stored


def simulated(circuit: Circuit, cause: str, test: Test) -> str | None:
    """What a vehicle with this cause would show, as typed; None for what a solution does not tell."""
    solution = circuit.solve(test.state, fault=cause, changes=test.changes)
    answer = ANSWERS.get(test.quantity)
    return None if answer is None else answer(solution, test, cause)


def _volts(solution: Solution, test: Test, cause: str) -> str:
    return f"{solution.volts(test.at, test.to, instrument=test.instrument):.2f}"


def _lamp(solution: Solution, test: Test, cause: str) -> str:
    share = abs(solution.volts(test.at, test.to, instrument=test.instrument)) / 12.0
    return "bright" if share >= LAMP_BRIGHT else "dim" if share >= LAMP_DIM else "dark"


def _inspection(solution: Solution, test: Test, cause: str) -> str:
    fault = solution.circuit.fault(cause)
    return "bad" if fault is not None and fault.part == test.at and not test.measurement.detail else "good"


ANSWERS: Mapping[str, Callable[[Solution, Test, str], str]] = {
    "volts": _volts,
    "lamp": _lamp,
    "inspection": _inspection,
    "amps": lambda solution, test, _: f"{solution.amps(test.at):.2f}",
    "works": lambda solution, test, _: solution.works(test.at),
    "answers": lambda solution, test, _: "yes" if solution.answers(test.at) else "no",
    "blown": lambda solution, test, _: "yes" if test.at in solution.blown else "no",
}
"""Quantity → what the simulated vehicle shows."""


def circuit_of(name: str) -> Circuit:
    """A demo's circuit."""
    circuit = check_text(sample(name, "demo").text).circuit
    assert circuit is not None  # noqa: S101 - a test checks every demo
    return circuit
