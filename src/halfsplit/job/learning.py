"""From a store's closed jobs to what they teach.

From a job goes its circuit's digest, the part that was the cause and how it was broken, and how looks at it went:
no name, no number, no vehicle, no text.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterable, Iterator, Sequence
from datetime import UTC, datetime
from itertools import islice
from typing import Final

from halfsplit.diagnosis.conditions import Circumstances, Visits, together
from halfsplit.diagnosis.learned import Lesson, Tally, cause_of, digest, merged, shipped_shares, tally_of
from halfsplit.diagnosis.predictions import Predictions
from halfsplit.diagnosis.priors import default_priors
from halfsplit.job.circumstances import conditions_of, slips_of, vehicle_bands, visited
from halfsplit.job.learned_file import Learned
from halfsplit.job.replay import begin, chapters, tell
from halfsplit.job.spread import each
from halfsplit.notation.checked import check_text
from halfsplit.store import EvidenceEntry, Intake, JobStore

Told = tuple[str, Intake, tuple[EvidenceEntry, ...], tuple[str, ...]]
"""A job as it is worked out again: the circuit's text, the intake without complaint and vehicle, the entries, and
how far and how old the vehicle was, in coarse words."""
BATCH: Final = 32
"""Jobs that are worked out together. It must not depend on the workers: jobs of a batch share what they solve."""
CIRCUITS: Final = 4
"""Circuits whose predictions are kept within a batch."""
MERGED: Final = 16
"""Batches that are added up at a time."""


def learn(
    store: JobStore, who: str, *, cluster: str = "", progress: Callable[[int], object] = lambda _jobs: None
) -> tuple[Learned, int]:
    """What the closed jobs of a store teach, and how many were closed; those without a proven cause teach nothing.

    ``cluster``: see `spread`. The result is the same on any number of workers, and there are never more jobs in memory
    than are being worked on. ``progress`` is told how many are done.
    """
    total, jobs, several = Tally(), 0, iter(each(taught_by, _batches(_closed(store)), cluster=cluster))
    while some := list(islice(several, MERGED)):
        total = merged([total, *(tally for tally, _ in some)])
        jobs += sum(closed for _, closed in some)
        progress(jobs)
    return Learned(total, ((who, datetime.now(UTC).replace(microsecond=0), total.jobs),)), jobs


def _batches(closed: Iterable[Told]) -> Iterator[tuple[Told, ...]]:
    several = iter(closed)
    while batch := tuple(islice(several, BATCH)):
        yield batch


def taught_by(batch: Sequence[Told]) -> tuple[Tally, int]:
    """What some jobs teach together, and how many they were; those on the same circuit solve it once."""
    solved: dict[tuple[str, int], Predictions] = {}
    lessons = [lesson_of(closed, solved) for closed in batch]
    return tally_of(lesson for lesson in lessons if lesson is not None), len(batch)


def _closed(store: JobStore, page: int = 200) -> Iterator[Told]:
    after = 0
    while several := store.closed_after(after, limit=page):
        after = several[-1][0]
        for _, job_id in several:
            version = store.circuit(job_id)
            if version is not None:
                job = store.job(job_id)
                intake = job.intake
                bare = Intake(earlier_work=intake.earlier_work, settings=intake.settings)
                yield version.text, bare, store.evidence(job_id), vehicle_bands(intake.vehicle, job.opened_at)


def lesson_of(closed: Told, solved: dict[tuple[str, int], Predictions] | None = None) -> Lesson | None:
    """A job worked out again by the shipped priors alone; None where no single cause was proven.

    ``solved``: the predictions of jobs before it, by circuit and seed, where they can be shared.
    """
    text, intake, entries, vehicle = closed
    circuit = check_text(text).circuit
    before = chapters(entries)[0]
    if circuit is None or not any(entry.kind == "reading" for entry in before):
        return None
    solved = {} if solved is None else solved
    key = text, intake.settings.seed
    job = begin(circuit, intake, priors=default_priors(), predictions=solved.get(key))
    while len(solved) >= CIRCUITS and key not in solved:
        del solved[next(iter(solved))]
    solved[key] = job.diagnosis.predictions
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
