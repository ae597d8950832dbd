"""Jobs, New job, and what is told while a number or a voltage is typed."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from fastapi import APIRouter, Request
from fastapi.responses import PlainTextResponse, RedirectResponse, Response

from halfsplit import job as jobs
from halfsplit.job import Customer, Intake, Job, JobSummary, Sample, memory
from halfsplit.job.battery import BatteryState
from halfsplit.vin import Vin, VinError
from halfsplit.workbench.access import Files, Form, JobToRead, JobToTakeIn, Reader, Store, Taker
from halfsplit.workbench.forms import Reader as FieldReader
from halfsplit.workbench.forms import chosen, read_intake, whole
from halfsplit.workbench.rendering import render


@dataclass(frozen=True)
class JobsPage:
    """``jobs``: with how far each is, '' where that has to be worked out. ``stages``: state → what it is called."""

    jobs: Sequence[tuple[JobSummary, str]]
    search: str
    closed: bool
    stages: Mapping[str, str]


@dataclass(frozen=True)
class IntakePage:
    """The form of a new job, or of an intake that is changed. ``problems``: field → sentence."""

    job: Job | None
    intake: Intake
    customer: Customer
    samples: Sequence[Sample]
    problems: dict[str, str]
    job_id: str
    typed: dict[str, str]


@dataclass(frozen=True)
class VinNote:
    """What a number says as it is typed: ``kind`` is 'none', 'good', 'doubt' or 'bad'."""

    kind: str
    notes: Sequence[str]
    nearby: Sequence[str] = ()


@dataclass(frozen=True)
class BatteryNote:
    """What the battery's volts say, or a question about them."""

    state: BatteryState | None
    question: str = ""


router = APIRouter(include_in_schema=False)
OPEN: tuple[jobs.JobState, ...] = ("open", "found", "proven", "repaired")
LONGEST_SEARCH = 200
STAGES = {
    "open": "in progress",
    "found": "cause found",
    "proven": "cause proven",
    "repaired": "repaired",
    "closed": "closed",
}


@router.get("/")
def start() -> Response:
    """The jobs come first."""
    return RedirectResponse("/jobs", 303)


@router.get("/jobs")
def jobs_page(request: Request, store: Store, person: Reader, search: str = "", closed: str = "") -> Response:
    """The list of jobs, searched."""
    states = (*OPEN, "closed") if closed else OPEN
    listed = store.list_jobs(search.replace("\x00", "")[:LONGEST_SEARCH], states=states)
    rows = []
    for number, job in enumerate(listed):
        counted = job.state == "open" and number < WORKED_OUT
        known = memory.progress_of(store, job.job_id, job.last_change)
        rows.append((job, known or ("" if counted else STAGES[job.state])))
    return render(request, "jobs/jobs.html", JobsPage(rows, search, bool(closed), STAGES))


WORKED_OUT = 6
"""Jobs at the head of the list of which the suspects are counted even where nobody has opened the bench."""


@router.get("/jobs/{job_id}/progress")
def progress(job: JobToRead) -> Response:
    """How far one job is, for its line in the list."""
    return PlainTextResponse(jobs.bench_view(job).progress)


@router.post("/jobs/import")
def import_job(store: Store, person: Taker, files: Files) -> Response:
    """A whole job from its file; a job that is here already is told, and nothing is changed."""
    file = chosen(files, remedy="choose the file of an exported job")
    job = jobs.import_job(store, file.file, who=person.name, at=jobs.now())
    return RedirectResponse(f"/jobs/{job.job_id}", 303)


@router.get("/jobs/new")
def new_job_page(request: Request, store: Store, person: Taker) -> Response:
    """The form of a new job."""
    page = IntakePage(None, Intake(), Customer(), jobs.samples("pattern"), {}, jobs.new_id(), {})
    return render(request, "jobs/intake.html", page)


@router.post("/jobs")
def new_job(request: Request, store: Store, person: Taker, form: Form) -> Response:
    """Open the job. Its id came with the form, so that a second press opens no second job."""
    intake, customer, problems = read_intake(form)
    job_id = form.get("job_id", "")[:60] or jobs.new_id()
    if problems:
        page = IntakePage(None, intake, customer, jobs.samples("pattern"), problems, job_id, form)
        return render(request, "jobs/intake.html", page, status=422)
    text = jobs.sample(form["pattern"]).text if form.get("pattern") else ""
    opened = jobs.open_job(
        store,
        intake,
        who=person.name,
        job_id=job_id,
        circuit=text,
        customer=None if customer == Customer() else customer,
    )
    return RedirectResponse(f"/jobs/{opened.job_id}" + ("" if text else "/circuit"), 303)


@router.get("/jobs/{job_id}/intake")
def intake_page(request: Request, job: JobToTakeIn) -> Response:
    """The intake, to be changed."""
    return render(request, "jobs/intake.html", _intake_page(job.record))


def _intake_page(
    job: Job, problems: dict[str, str] | None = None, typed: dict[str, str] | None = None
) -> IntakePage:
    return IntakePage(
        job, job.intake, job.customer or Customer(), (), problems or {}, job.job_id, typed or {}
    )


@router.post("/jobs/{job_id}/intake")
def save_intake(request: Request, job: JobToTakeIn, form: Form) -> Response:
    """Save the intake as a new version."""
    record = job.record
    intake, customer, problems = read_intake(form, record.intake)
    if problems:
        changed = replace(record, intake=intake, customer=customer)
        return render(request, "jobs/intake.html", _intake_page(changed, problems, form), status=422)
    version = whole(form.get("based_on", ""), record.intake_version)
    job.store.save_intake(job.job_id, intake, based_on=version, who=job.who, at=jobs.now())
    if customer != (record.customer or Customer()):
        job.store.set_customer(job.job_id, customer, who=job.who, at=jobs.now())
    return RedirectResponse(f"/jobs/{job.job_id}", 303)


@router.get("/vin")
def vin_note(request: Request, person: Reader, vin: str = "") -> Response:
    """What the number says, as it is typed."""
    return render(request, "jobs/_vin.html", vin_told(vin))


def vin_told(text: str) -> VinNote:
    """Nothing, a problem, a doubt, or that it is right."""
    if not text.strip():
        return VinNote("none", ())
    try:
        vin = Vin.parse(text[:60])
    except VinError as error:
        return VinNote("bad", error.problems)
    notes = (vin.region, *vin.notes)
    return VinNote("doubt" if vin.doubtful else "good", notes, vin.lookalikes()[:3] if vin.doubtful else ())


@router.get("/battery")
def battery_note(request: Request, person: Reader) -> Response:
    """What the battery's volts say, as they are typed."""
    reader = FieldReader(request.query_params)
    volts, celsius = reader.number("battery", "V"), reader.number("celsius")
    if reader.problems or volts is None:
        note = BatteryNote(None, next(iter(reader.problems.values()), ""))
    else:
        kind, rested = reader.form.get("battery_type", ""), reader.form.get("rested") == "1"
        note = BatteryNote(jobs.battery_state(volts, celsius, kind, rested=rested))
    return render(request, "jobs/_battery.html", note)
