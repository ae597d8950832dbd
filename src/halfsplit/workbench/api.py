"""JSON under ``/api/v1``: the same nouns and the same verbs as the pages. Bodies are strict; errors are RFC 9457."""

from __future__ import annotations

import base64
from typing import Annotated, Any, Literal

from fastapi import APIRouter, Path, Query, Request
from fastapi.openapi.utils import get_openapi
from fastapi.responses import JSONResponse

from halfsplit import job as jobs
from halfsplit.errors import InputError
from halfsplit.job import BenchView, EvidenceEntry, Job, SuspectCard, TestCard
from halfsplit.job import captures as captures_of
from halfsplit.job.open_job import OpenJob
from halfsplit.workbench.access import NAME, JobToMeasure, JobToRead, Reader, Store, Taker
from halfsplit.workbench.problems import PROBLEM_JSON, Problem
from halfsplit.workbench.schemas import (
    TEXT,
    CircuitBody,
    CircuitOut,
    EvidenceBody,
    EvidenceOut,
    FileBody,
    FileOut,
    FindingOut,
    JobLine,
    MeaningOut,
    NewJob,
    ProblemLine,
    ReportOut,
    StrikeBody,
    SuspectOut,
    SuspectsOut,
    TestOut,
)

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
router = APIRouter(prefix="/api/v1", responses=REFUSALS)


def _job(job: Job) -> JobLine:
    return JobLine(
        job_id=job.job_id,
        number=job.number,
        state=job.state,
        complaint=job.intake.complaint.text,
        vehicle=job.intake.vehicle.description,
        opened_at=job.opened_at,
        changed_at=job.changed_at,
        last_change=job.last_change,
    )


@router.get("/jobs", tags=["jobs"])
def list_jobs(
    store: Store,
    person: Reader,
    search: Annotated[str, Query(max_length=200, pattern=TEXT)] = "",
    limit: Annotated[int, Query(ge=1, le=500)] = 100,
    offset: Annotated[int, Query(ge=0, le=1_000_000)] = 0,
) -> list[JobLine]:
    """The jobs with every word of `search`, the latest changed first."""
    found = store.list_jobs(search, limit=limit, offset=offset)
    return [
        JobLine(
            job_id=one.job_id,
            number=one.number,
            state=one.state,
            complaint=one.complaint,
            vehicle=one.vehicle,
            opened_at=one.opened_at,
            changed_at=one.changed_at,
            last_change=one.last_change,
        )
        for one in found
    ]


@router.post("/jobs", tags=["jobs"], status_code=201)
def open_job(body: NewJob, store: Store, person: Taker) -> JobLine:
    """Take a job in."""
    intake = jobs.Intake(
        complaint=jobs.Complaint(text=body.complaint, when=body.when, how_often=body.how_often),
        vehicle=jobs.Vehicle(vin=body.vin, description=body.vehicle, odometer=body.odometer),
        battery=None if body.battery_volts is None else jobs.BatteryReading(volts=body.battery_volts),
        settings=jobs.JobSettings(
            instruments=tuple(body.instruments), intermittent=body.how_often == "intermittent"
        ),
    )
    return _job(jobs.open_job(store, intake, who=person.name, job_id=body.job_id, circuit=body.circuit))


@router.get("/jobs/{job_id}", tags=["jobs"])
def get_job(job: JobToRead) -> JobLine:
    """A job as it stands."""
    return _job(job.record)


@router.get("/jobs/{job_id}/circuit", tags=["circuits"])
def get_circuit(job: JobToRead) -> CircuitOut:
    """The job's circuit, with every problem of its text."""
    version = job.store.circuit(job.job_id)
    return _circuit(version.text if version else "", version.version if version else 0)


def _circuit(text: str, version: int) -> CircuitOut:
    checked = jobs.check_text(text)
    circuit = checked.circuit
    problems = [
        ProblemLine(
            severity=one.severity,
            line=one.line,
            column=one.column,
            message=one.message,
            remedy=one.remedy,
            kind=one.kind,
        )
        for one in checked.problems
    ]
    return CircuitOut(
        version=version,
        text=text,
        problems=problems,
        parts={name: part.kind for name, part in circuit.parts.items()} if circuit else {},
        states=list(circuit.states) if circuit else [],
        points=list(circuit.points) if circuit else [],
    )


@router.put("/jobs/{job_id}/circuit", tags=["circuits"])
def put_circuit(job: JobToMeasure, body: CircuitBody) -> CircuitOut:
    """Save the circuit as a new version, mistakes and all."""
    jobs.save_circuit(job, body.text, based_on=body.based_on)
    version = job.store.circuit(job.job_id)
    return _circuit(version.text if version else "", version.version if version else 0)


@router.post("/circuits/check", tags=["circuits"])
def check_circuit(body: CircuitBody, person: Reader) -> CircuitOut:
    """What a text says; nothing is stored."""
    return _circuit(body.text, 0)


def _entry(entry: EvidenceEntry) -> EvidenceOut:
    return EvidenceOut(
        entry_id=entry.entry_id,
        kind=entry.kind,
        payload=dict(entry.payload),
        at=entry.at,
        who=entry.who,
        present=entry.present,
        instrument=entry.instrument,
        strikes=entry.strikes,
        reason=entry.reason,
        sequence=entry.sequence,
    )


@router.get("/jobs/{job_id}/evidence", tags=["evidence"])
def list_evidence(
    job: JobToRead, after: Annotated[int, Query(ge=0, le=2_000_000_000)] = 0
) -> list[EvidenceOut]:
    """The entries numbered above `after`, struck ones too, oldest first."""
    return [_entry(entry) for entry in job.store.evidence(job.job_id, after=after)]


@router.post("/jobs/{job_id}/evidence", tags=["evidence"], status_code=201)
def add_evidence(job: JobToMeasure, body: EvidenceBody) -> EvidenceOut:
    """Store an entry. A reading that is odd is asked about (422 with `question`); send it again with `confirmed`."""
    if body.kind == "reading":
        if body.value is None:
            raise InputError("the value is missing", remedy="send what the instrument shows", where="value")
        typed = body.value if isinstance(body.value, str) else f"{body.value:.10g}"
        return _entry(
            jobs.record(
                job,
                body.place,
                typed,
                entry_id=body.entry_id,
                unit=body.unit,
                confirmed=body.confirmed,
                present=body.present,
                serial=body.serial,
            )
        )
    said = body.payload | body.place
    return _entry(
        jobs.take(
            job,
            body.kind,
            said,
            entry_id=body.entry_id,
            present=body.present,
            serial=body.serial,
        )
    )


@router.post("/jobs/{job_id}/evidence/{entry_id}/strike", tags=["evidence"], status_code=201)
def strike(
    job: JobToMeasure,
    entry_id: Annotated[str, Path(pattern=NAME)],
    body: StrikeBody,
) -> EvidenceOut:
    """Strike an entry out; it stays readable."""
    return _entry(jobs.strike(job, entry_id, reason=body.reason))


@router.get("/jobs/{job_id}/tests", tags=["tests"])
def next_tests(job: JobToRead) -> list[TestOut]:
    """The tests worth their minutes, best first."""
    return [_test(one) for one in jobs.bench_view(job).tests]


def _test(one: TestCard) -> TestOut:
    return TestOut(
        key=one.key,
        sentence=one.sentence,
        quantity=one.quantity,
        at=one.at,
        to=one.to,
        state=one.state,
        instrument=one.instrument,
        minutes=one.minutes,
        bits=one.bits,
        unit=one.unit,
        words=list(one.words),
        cautions=list(one.cautions),
        place=dict(one.place),
        meanings=[MeaningOut(label=m.label, share=m.share, leaves=list(m.leaves)) for m in one.meanings],
    )


@router.get("/jobs/{job_id}/suspects", tags=["suspects"])
def suspects(job: JobToRead) -> SuspectsOut:
    """Suspects by repair, most probable first, and what was found."""
    view = jobs.bench_view(job)
    return SuspectsOut(
        after=view.sequence,
        suspects=[_suspect(one) for one in (*view.suspects, *view.out)],
        finding=_finding(view),
    )


def _suspect(one: SuspectCard) -> SuspectOut:
    return SuspectOut(
        part=one.part,
        mode=one.mode,
        cause=one.cause,
        probability=one.probability,
        repair=one.repair,
        for_=list(one.for_),
        against=list(one.against),
    )


def _finding(view: BenchView) -> FindingOut | None:
    found = view.finding
    return (
        None
        if found is None
        else FindingOut(
            cause=found.cause,
            part=found.part,
            repair=found.repair,
            probability=found.probability,
            proven=found.proven,
            missing_proof=list(found.missing_proof),
            explains=list(found.explains),
            verify=list(found.verify),
        )
    )


@router.get("/jobs/{job_id}/captures", tags=["captures"])
def captures(job: JobToRead) -> list[FileOut]:
    """The captures of a job."""
    return _files(job, "capture")


@router.post("/jobs/{job_id}/captures", tags=["captures"], status_code=201)
def add_capture(job: JobToMeasure, body: FileBody) -> FileOut:
    """Store a capture as it is; one that cannot be read is refused with its line or byte."""
    return _add_file(job, body, "capture")


@router.get("/jobs/{job_id}/scans", tags=["scans"])
def scans(job: JobToRead) -> list[FileOut]:
    """The scan reports of a job."""
    return _files(job, "scan")


@router.post("/jobs/{job_id}/scans", tags=["scans"], status_code=201)
def add_scan(job: JobToMeasure, body: FileBody) -> FileOut:
    """Store a scan report as it is."""
    return _add_file(job, body, "scan")


def _files(job: OpenJob, kind: str) -> list[FileOut]:
    return [_file(one) for one in job.attachments if one.kind == kind]


def _file(one: jobs.Attachment) -> FileOut:
    return FileOut(
        attachment_id=one.attachment_id,
        name=one.name,
        media_type=one.media_type,
        size=one.size,
        sha256=one.sha256,
    )


def _add_file(job: OpenJob, body: FileBody, kind: Literal["capture", "scan"]) -> FileOut:
    from io import BytesIO

    try:
        data = base64.b64decode(body.data, validate=True)
    except ValueError:
        raise InputError("the data is not base64", where="data") from None
    if kind == "capture":
        return _file(
            captures_of.add_capture(job, BytesIO(data), name=body.name, attachment_id=body.attachment_id)
        )
    return _file(
        jobs.add_photo(job, BytesIO(data), name=body.name, kind=kind, attachment_id=body.attachment_id)
    )


@router.get("/jobs/{job_id}/reports", tags=["reports"])
def reports(job: JobToRead) -> list[ReportOut]:
    """The reports of a job and where they are as PDF."""
    job.must_be_there()
    names: tuple[Literal["customer", "workshop"], ...] = ("customer", "workshop")
    return [
        ReportOut(name=name, address=f"/jobs/{job.job_id}/report.pdf?for={name}", ready=jobs.can_print())
        for name in names
    ]


@router.get("/openapi.json", include_in_schema=False)
def openapi(request: Request, person: Reader) -> JSONResponse:
    """This interface, described."""
    app = request.app
    if app.openapi_schema is None:
        app.openapi_schema = get_openapi(
            title=app.title, version=app.version, description=app.description, routes=router.routes
        )
    return JSONResponse(app.openapi_schema)
