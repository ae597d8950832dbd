"""JSON under ``/api/v1``: the same nouns and the same verbs as the pages. Bodies are strict; errors are RFC 9457."""

from __future__ import annotations

import base64
from dataclasses import dataclass
from io import BytesIO
from typing import Annotated, Any, Literal

from fastapi import APIRouter, Path, Query, Request
from fastapi.responses import JSONResponse

from halfsplit import job as jobs
from halfsplit.errors import InputError
from halfsplit.job import (
    Attachment,
    CircuitView,
    EvidenceEntry,
    FindingCard,
    JobSummary,
    SuspectCard,
    TestCard,
)
from halfsplit.job import captures as captures_of
from halfsplit.job.open_job import OpenJob
from halfsplit.workbench.access import NAME, JobToMeasure, JobToRead, Reader, Store, Taker
from halfsplit.workbench.bodies import (
    TEXT,
    CircuitBody,
    EvidenceBody,
    FileBody,
    NewJob,
    ReadingBody,
    StrikeBody,
)
from halfsplit.workbench.problems import PROBLEM_JSON, Problem

REFUSALS: dict[int | str, dict[str, Any]] = {
    status: {"description": words, "content": {PROBLEM_JSON: {"schema": Problem.model_json_schema()}}}
    for status, words in (
        (400, "not understood"),
        (401, "sign in first"),
        (403, "not allowed"),
        (404, "not found"),
        (409, "not possible now"),
        (413, "too large"),
        (422, "cannot be used, or a question"),
        (503, "the store cannot be used"),
    )
}


@dataclass(frozen=True)
class Standing:
    """Suspects by repair, most probable first. ``after``: the number of the last change that was taken into account.

    ``doubt``: sentences about what does not fit, where something does not.
    """

    after: int
    suspects: tuple[SuspectCard, ...]
    finding: FindingCard | None
    doubt: tuple[str, ...] = ()


@dataclass(frozen=True)
class ReportLink:
    """A report and where it is; ``ready``: whether this installation makes PDF."""

    name: Literal["customer", "workshop"]
    address: str
    ready: bool


router = APIRouter(prefix="/api/v1", responses=REFUSALS)


@router.get("/jobs", tags=["jobs"])
def list_jobs(
    store: Store,
    person: Reader,
    search: Annotated[str, Query(max_length=200, pattern=TEXT)] = "",
    limit: Annotated[int, Query(ge=1, le=500)] = 100,
    offset: Annotated[int, Query(ge=0, le=1_000_000)] = 0,
) -> tuple[JobSummary, ...]:
    """The jobs with every word of `search`, the latest changed first."""
    return store.list_jobs(search, limit=limit, offset=offset)


@router.post("/jobs", tags=["jobs"], status_code=201)
def open_job(body: NewJob, store: Store, person: Taker) -> JobSummary:
    """Take a job in."""
    intake = jobs.Intake(
        complaint=jobs.Complaint(text=body.complaint, when=body.when, how_often=body.how_often),
        vehicle=jobs.Vehicle(vin=body.vin, description=body.vehicle, odometer=body.odometer),
        battery=None if body.battery_volts is None else jobs.BatteryReading(volts=body.battery_volts),
        settings=jobs.JobSettings(
            instruments=tuple(body.instruments), intermittent=body.how_often == "intermittent"
        ),
    )
    opened = jobs.open_job(store, intake, who=person.name, job_id=body.job_id, circuit=body.circuit)
    return store.summary(opened.job_id)


@router.get("/jobs/{job_id}", tags=["jobs"])
def get_job(job: JobToRead) -> JobSummary:
    """A job as it stands."""
    return job.store.summary(job.job_id)


@router.get("/jobs/{job_id}/circuit", tags=["circuits"])
def get_circuit(job: JobToRead) -> CircuitView:
    """The job's circuit, with every problem of its text."""
    return jobs.circuit_view(job)


@router.put("/jobs/{job_id}/circuit", tags=["circuits"])
def put_circuit(job: JobToMeasure, body: CircuitBody) -> CircuitView:
    """Save the circuit as a new version, mistakes and all."""
    jobs.save_circuit(job, body.text, based_on=body.based_on)
    return jobs.circuit_view(job)


@router.post("/circuits/check", tags=["circuits"])
def check_circuit(body: CircuitBody, person: Reader) -> CircuitView:
    """What a text says; nothing is stored."""
    return jobs.circuit_said(body.text)


@router.get("/jobs/{job_id}/evidence", tags=["evidence"])
def list_evidence(
    job: JobToRead, after: Annotated[int, Query(ge=0, le=2_000_000_000)] = 0
) -> tuple[EvidenceEntry, ...]:
    """The entries numbered above `after`, struck ones too, oldest first."""
    return job.store.evidence(job.job_id, after=after)


@router.post("/jobs/{job_id}/evidence", tags=["evidence"], status_code=201)
def add_evidence(job: JobToMeasure, body: EvidenceBody) -> EvidenceEntry:
    """Store an entry. A reading that is odd is asked about (422 with `question`); send it again with `confirmed`."""
    if isinstance(body, ReadingBody):
        typed = body.value if isinstance(body.value, str) else f"{body.value:.10g}"
        return jobs.record(
            job,
            body.place.model_dump(),
            typed,
            entry_id=body.entry_id,
            unit=body.unit,
            confirmed=body.confirmed,
            present=body.present,
            serial=body.serial,
        )
    return jobs.take(
        job, body.kind, body.said, entry_id=body.entry_id, present=body.present, serial=body.serial
    )


@router.post("/jobs/{job_id}/evidence/{entry_id}/strike", tags=["evidence"], status_code=201)
def strike(
    job: JobToMeasure, entry_id: Annotated[str, Path(pattern=NAME)], body: StrikeBody
) -> EvidenceEntry:
    """Strike an entry out; it stays readable."""
    return jobs.strike(job, entry_id, reason=body.reason)


@router.get("/jobs/{job_id}/tests", tags=["tests"])
def next_tests(job: JobToRead) -> tuple[TestCard, ...]:
    """The tests worth their minutes, best first."""
    return jobs.bench_view(job).tests


@router.get("/jobs/{job_id}/suspects", tags=["suspects"])
def suspects(job: JobToRead) -> Standing:
    """Suspects by repair, most probable first, and what was found."""
    view = jobs.bench_view(job)
    return Standing(view.sequence, (*view.suspects, *view.out), view.finding, view.doubt)


@router.get("/jobs/{job_id}/captures", tags=["captures"])
def captures(job: JobToRead) -> list[Attachment]:
    """The captures of a job."""
    return _files(job, "capture")


@router.post("/jobs/{job_id}/captures", tags=["captures"], status_code=201)
def add_capture(job: JobToMeasure, body: FileBody) -> Attachment:
    """Store a capture as it is; one that cannot be read is refused with its line or byte."""
    return _add_file(job, body, "capture")


@router.get("/jobs/{job_id}/scans", tags=["scans"])
def scans(job: JobToRead) -> list[Attachment]:
    """The scan reports of a job."""
    return _files(job, "scan")


@router.post("/jobs/{job_id}/scans", tags=["scans"], status_code=201)
def add_scan(job: JobToMeasure, body: FileBody) -> Attachment:
    """Store a scan report as it is."""
    return _add_file(job, body, "scan")


def _files(job: OpenJob, kind: str) -> list[Attachment]:
    return [attachment for attachment in job.attachments if attachment.kind == kind]


def _add_file(job: OpenJob, body: FileBody, kind: Literal["capture", "scan"]) -> Attachment:
    try:
        data = base64.b64decode(body.data, validate=True)
    except ValueError:
        raise InputError("the data is not base64", where="data") from None
    if kind == "capture":
        return captures_of.add_capture(job, BytesIO(data), name=body.name, attachment_id=body.attachment_id)
    return jobs.add_photo(job, BytesIO(data), name=body.name, kind=kind, attachment_id=body.attachment_id)


@router.get("/jobs/{job_id}/reports", tags=["reports"])
def reports(job: JobToRead) -> list[ReportLink]:
    """The reports of a job and where they are as PDF."""
    job.must_be_there()
    names: tuple[Literal["customer", "workshop"], ...] = ("customer", "workshop")
    return [
        ReportLink(name=name, address=f"/jobs/{job.job_id}/report.pdf?for={name}", ready=jobs.can_print())
        for name in names
    ]


@router.get("/openapi.json", include_in_schema=False)
def openapi(request: Request, person: Reader) -> JSONResponse:
    """This interface, described."""
    from fastapi.openapi.utils import get_openapi  # loads what else nobody needs

    app = request.app
    if app.openapi_schema is None:
        app.openapi_schema = get_openapi(
            title=app.title, version=app.version, description=app.description, routes=router.routes
        )
    return JSONResponse(app.openapi_schema)
