"""The plan of a job: worked out in a process of its own, kept with the job, told as old once the job knows more."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from halfsplit.diagnosis.diagnosis import Diagnosis
from halfsplit.diagnosis.plan import LARGEST, Plan, plan
from halfsplit.diagnosis.plan_words import plan_document
from halfsplit.diagnosis.words import between_words
from halfsplit.errors import ConflictError, NotFoundError
from halfsplit.job.kinds import KINDS
from halfsplit.job.open_job import OpenJob
from halfsplit.job.replay import begin, chapters, tell
from halfsplit.job.spread import each
from halfsplit.job.working import Work, name_of, workers
from halfsplit.notation.checked import check_text
from halfsplit.report import plan_pdf
from halfsplit.store import EvidenceEntry, Intake, Job, JobStore

PLAN = "plan"
SIZES: Mapping[int, str] = {10: "short", 20: "middling", LARGEST: "whole"}
"""Steps of a plan at most, and what that is called."""


@dataclass(frozen=True)
class PlanView:
    """The plan of a job as it stands.

    ``document`` is None until one was worked out; ``old``: the job has heard more since. ``work``: what is going on or
    has failed. ``lacking``: why none can be worked out yet, with where to go ('circuit' or 'bench').
    """

    job: Job
    document: Mapping[str, Any] | None
    made_at: datetime | None
    made_by: str
    old: bool
    work: Work | None
    lacking: tuple[str, str] | None
    heard: int


def plan_view(job: OpenJob) -> PlanView:
    """The plan as it stands. Raises NotFoundError where there is no such job."""
    record, entries = job.record, job.entries
    kept = job.store.latest_shown([job.job_id], PLAN).get(job.job_id)
    return PlanView(
        record,
        kept.document if kept else None,
        kept.at if kept else None,
        kept.who if kept else "",
        bool(kept and kept.document.get("basis") != basis(record, entries)),
        workers.of(name_of(job.store, PLAN, job.job_id)),
        _lacking(job.store, record, entries),
        sum(entry.kind == "reading" for entry in _heard(entries)),
    )


def _heard(entries: Sequence[EvidenceEntry]) -> list[EvidenceEntry]:
    """What a plan begins from: everything up to the repair that a diagnosis hears."""
    return [chapter for chapter in chapters(entries)[0] if chapter.kind in KINDS and KINDS[chapter.kind].hear]


def basis(job: Job, entries: Sequence[EvidenceEntry]) -> str:
    """A name for what the job knows; the same as long as a plan would come out the same."""
    basis = [job.circuit_version, job.intake_version, [entry.entry_id for entry in _heard(entries)]]
    return hashlib.sha256(json.dumps(basis).encode()).hexdigest()[:16]


def _lacking(store: JobStore, job: Job, entries: Sequence[EvidenceEntry]) -> tuple[str, str] | None:
    version = store.circuit(job.job_id)
    if version is None or not check_text(version.text).usable:
        return "A plan needs a circuit without mistakes.", "circuit"
    if not any(entry.kind in ("complaint", "reading", "code") for entry in _heard(entries)):
        return "A plan needs a complaint: say what does not work.", "bench"
    return None


def begin_plan(job: OpenJob, *, steps: int = 0) -> None:
    """Begin to work out a plan of at most so many ``steps``; where that is going on already it goes on.

    Raises ConflictError where something is lacking.
    """
    record, entries, version = job.record, job.entries, job.store.circuit(job.job_id)
    lacking = _lacking(job.store, record, entries)
    if lacking is not None or version is None:
        raise ConflictError(lacking[0] if lacking else "this job has no circuit")
    known, after = basis(record, entries), record.last_change
    largest = steps if steps in SIZES else LARGEST

    def keep(document: dict[str, Any]) -> None:
        job.keep_shown(PLAN, {**document, "basis": known, "largest": largest}, after=after)

    arguments = (version.text, record.intake, _heard(entries), largest)
    workers.start(name_of(job.store, PLAN, job.job_id), worked_out, arguments, keep, anywhere=True)


def stop_plan(job: OpenJob) -> None:
    """Leave it; the last plan, if there is one, stays."""
    job.must_be_there()
    workers.stop(name_of(job.store, PLAN, job.job_id))


def worked_out(
    text: str,
    intake: Intake,
    entries: Sequence[EvidenceEntry],
    largest: int,
    progress: Callable[[int, int], None],
) -> dict[str, Any]:
    """The plan's document; runs in a process of its own."""
    progress(0, largest)
    heard = _told_again(text, intake, entries)
    document = plan_document(plan(heard, largest=largest, progress=progress))
    for ending in document["endings"]:
        ending["proof"] = [between_words(place, heard.circuit) for place in ending["proof"]]
    return document


def _told_again(text: str, intake: Intake, entries: Sequence[EvidenceEntry]) -> Diagnosis:
    circuit = check_text(text).circuit
    assert circuit is not None  # noqa: S101 - looked at before it was begun
    heard = begin(circuit, intake)
    for entry in entries:
        tell(heard, entry)
    return heard.diagnosis


def planned_on(job: OpenJob, cluster: str) -> Plan:
    """The plan, worked out by a worker of a Dask cluster, and by another where that one is lost; see `spread`."""
    version = job.store.circuit(job.job_id)
    if version is None:
        raise ConflictError("this job has no circuit")
    piece = version.text, job.record.intake, _heard(job.entries)
    return next(each(_planned, [piece], cluster=cluster))


def _planned(piece: tuple[str, Intake, Sequence[EvidenceEntry]]) -> Plan:
    return plan(_told_again(*piece))


def job_plan_pdf(job: OpenJob) -> bytes:
    """The job's plan for A4. Raises NotFoundError where none was worked out."""
    kept = job.store.latest_shown([job.job_id], PLAN).get(job.job_id)
    if kept is None:
        raise NotFoundError("no plan was worked out for this job yet")
    return plan_pdf(kept.document)
