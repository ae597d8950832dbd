"""From a store's closed jobs to what they teach.

From a job goes its circuit's digest, the part that was the cause and how it was broken, and how looks at it went:
no name, no number, no vehicle, no text.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable
from datetime import UTC, datetime

from halfsplit.diagnosis.conditions import Circumstances, Visits, together
from halfsplit.diagnosis.learned import Lesson, cause_of, digest, shipped_shares, tally_of
from halfsplit.diagnosis.priors import default_priors
from halfsplit.job.circumstances import conditions_of, slips_of, vehicle_bands, visited
from halfsplit.job.learned_file import Learned
from halfsplit.job.replay import begin, chapters, tell
from halfsplit.job.spread import spread
from halfsplit.notation.checked import check_text
from halfsplit.store import EvidenceEntry, Intake, JobStore

Told = tuple[str, Intake, tuple[EvidenceEntry, ...], tuple[str, ...]]
"""A job as it is worked out again: the circuit's text, the intake without complaint and vehicle, the entries, and
how far and how old the vehicle was, in coarse words."""


def learn(store: JobStore, who: str, *, cluster: str = "") -> tuple[Learned, int]:
    """What the closed jobs of a store teach, and how many were closed; those without a proven cause teach nothing.

    ``cluster``: see `spread`. The result is the same on any number of workers.
    """
    closed = list(_closed(store))
    lessons = [lesson for lesson in spread(lesson_of, closed, cluster=cluster) if lesson is not None]
    tally = tally_of(lessons)
    return Learned(tally, ((who, datetime.now(UTC).replace(microsecond=0), tally.jobs),)), len(closed)


def _closed(store: JobStore, page: int = 200) -> Iterable[Told]:
    start = 0
    while page_of_jobs := store.list_jobs(states=("closed",), limit=page, offset=start):
        start += len(page_of_jobs)
        for summary in page_of_jobs:
            version = store.circuit(summary.job_id)
            if version is not None:
                job = store.job(summary.job_id)
                intake = job.intake
                bare = Intake(earlier_work=intake.earlier_work, settings=intake.settings)
                entries = store.evidence(summary.job_id)
                yield version.text, bare, entries, vehicle_bands(intake.vehicle, job.opened_at)


def lesson_of(closed: Told) -> Lesson | None:
    """A job worked out again by the shipped priors alone; None where no single cause was proven."""
    text, intake, entries, vehicle = closed
    circuit = check_text(text).circuit
    before = chapters(entries)[0]
    if circuit is None or not any(entry.kind == "reading" for entry in before):
        return None
    job = begin(circuit, intake, priors=default_priors())
    visits: list[tuple[str, Visits]] = []
    last: EvidenceEntry | None = None
    for entry in before:
        visits += visited(job.diagnosis, entry, last)
        tell(job, entry)
        last = entry
    finding = job.diagnosis.finding()
    fault = circuit.faults.get(finding.cause) if finding is not None and finding.proven else None
    if fault is None:
        return None
    cause = cause_of(fault, circuit.model, default_priors())
    looks = Counter(entry.payload.get("value") for entry in before if _looks_at(entry, cause.part))
    pair = (looks["bad"], looks["good"])
    shares = shipped_shares(circuit, default_priors())
    return Lesson(
        digest(circuit.model),
        shares,
        cause,
        {cause.kind: pair} if any(pair) else {},
        together(
            [
                Circumstances(conditions=conditions_of(circuit, intake, cause, shares, vehicle)),
                *(Circumstances(visits={place: visit}) for place, visit in visits),
                Circumstances(slips=slips_of(job.diagnosis, entries)),
            ]
        ),
    )


def _looks_at(entry: EvidenceEntry, part: str) -> bool:
    return entry.kind == "reading" and (entry.payload.get("quantity"), entry.payload.get("at")) == (
        "inspection",
        part,
    )
