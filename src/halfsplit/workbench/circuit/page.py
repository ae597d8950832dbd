"""The circuit editor: text left, drawing right, each mistake on its line; and the ways to begin."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from fastapi import APIRouter, Request
from fastapi.responses import RedirectResponse, Response

from halfsplit import job as jobs
from halfsplit.errors import ConflictError, InputError
from halfsplit.job import Attachment, Checked, Job, Problem, Sample, Sketch, pictures, verbs
from halfsplit.job.open_job import OpenJob
from halfsplit.workbench.access import Files, Form, JobToMeasure, JobToRead, Reader
from halfsplit.workbench.forms import chosen, content, whole
from halfsplit.workbench.money.page import SHOWN_IN_PLACE
from halfsplit.workbench.rendering import render

router = APIRouter(include_in_schema=False, prefix="/jobs/{job_id}/circuit")
LARGEST_FILE = 1_600_000
"""Bytes of a circuit file."""


@dataclass(frozen=True)
class CheckNote:
    """What the text says: problems with their lines, and its drawing."""

    errors: Sequence[Problem]
    warnings: Sequence[Problem]
    drawing: str
    parts: int
    states: Sequence[str]


@dataclass(frozen=True)
class CheckFragment:
    """The editor's check alone."""

    check: CheckNote


@dataclass(frozen=True)
class CircuitPage:
    """The editor. ``drawing`` is SVG made by us, '' where there is none."""

    job: Job
    text: str
    check: CheckNote
    samples: Sequence[Sample]
    based_on: int
    asked: str = ""
    diagram: Attachment | None = None


def check_note(checked: Checked, *, drawn: bool = True) -> CheckNote:
    """What a text says, and its drawing if that is shown."""
    if not checked.text.strip():
        return CheckNote((), (), "", 0, ())
    circuit = checked.circuit
    return CheckNote(
        [problem for problem in checked.problems if problem.severity == "error"],
        [problem for problem in checked.problems if problem.severity != "error"],
        pictures.circuit_drawing(checked) if drawn else "",
        len(circuit.parts) if circuit else 0,
        tuple(circuit.states) if circuit else (),
    )


def diagram_of(job: OpenJob) -> Attachment | None:
    """The latest photo of the wiring diagram that a browser can show."""
    kept = [
        attachment
        for attachment in job.attachments
        if attachment.kind == "document"
        and attachment.name.startswith(jobs.DIAGRAM)
        and attachment.media_type in SHOWN_IN_PLACE
    ]
    return kept[-1] if kept else None


def _page(job: OpenJob, text: str | None = None, asked: str = "") -> CircuitPage:
    record, version = job.record, job.store.circuit(job.job_id)
    written = text if text is not None else version.text if version else ""
    return CircuitPage(
        record,
        written,
        check_note(jobs.check_text(written)),
        jobs.samples("pattern"),
        version.version if version else 0,
        asked,
        diagram_of(job),
    )


@router.get("")
def circuit_page(request: Request, job: JobToRead) -> Response:
    """The editor."""
    return render(request, "circuit/circuit.html", _page(job))


@router.post("/check")
def check(request: Request, job_id: str, person: Reader, form: Form) -> Response:
    """The text as it stands, while it is typed; nothing is stored."""
    text = form.get("text", "")[: jobs.LONGEST_CIRCUIT]
    return render(request, "circuit/_check.html", CheckFragment(check_note(jobs.check_text(text))))


@router.post("")
def save(request: Request, job: JobToMeasure, form: Form) -> Response:
    """Save what is written, mistakes and all. Where somebody else saved in the meantime, both texts are kept."""
    text = form.get("text", "").replace("\r\n", "\n")
    try:
        jobs.save_circuit(job, text, based_on=whole(form.get("based_on", ""), None))
    except ConflictError as error:
        page = _page(job, text, f"{error} What you wrote is below.")
        return render(request, "circuit/circuit.html", page, status=409)
    then = "" if form.get("then") == "bench" else "/circuit"
    return RedirectResponse(f"/jobs/{job.job_id}{then}", 303)


@router.get("/patterns/{name}.svg")
def pattern_picture(job_id: str, person: Reader, name: str) -> Response:
    """The drawing of a pattern, to choose by; black on white on every screen."""
    svg = pictures.sample_drawing(jobs.sample(name))
    return Response(svg, media_type="image/svg+xml", headers={"Cache-Control": "private, max-age=86400"})


@router.post("/pattern")
def from_pattern(job: JobToMeasure, form: Form) -> Response:
    """Begin with a pattern, as a form."""
    return begin(job, jobs.sample(form.get("pattern", "")).text, "/circuit/taps")


@router.post("/sketch")
def from_sketch(job: JobToMeasure, form: Form) -> Response:
    """A load, its wires, a fuse and a ground: enough for the first tests."""
    fields = {name: form.get(name, "")[:60] for name in Sketch.__dataclass_fields__ if name in form}
    sketch = Sketch(**fields)
    answer = begin(job, jobs.sketch_text(sketch), "")
    verbs.complain_of_sketch(job, sketch)
    return answer


@router.post("/file")
def from_file(job: JobToMeasure, files: Files) -> Response:
    """Begin with a file."""
    chosen(files, remedy="choose a .circuit file")
    data, _ = content(files, LARGEST_FILE)
    if len(data) > LARGEST_FILE:
        raise InputError(f"the file has more than {LARGEST_FILE} bytes", remedy="a circuit is a short text")
    text = data.decode("utf-8-sig", errors="replace").replace("\x00", "\ufffd").replace("\r\n", "\n")
    return begin(job, text, "/circuit")


def begin(job: OpenJob, text: str, then: str, remedy: str = "insert into it in the editor") -> Response:
    """Give a job its first circuit, and go on there. Raises ConflictError where it has one."""
    version = job.store.circuit(job.job_id)
    if version is not None and version.text.strip():
        raise ConflictError(f"this job has a circuit already: {remedy}")
    jobs.save_circuit(job, text)
    return RedirectResponse(f"/jobs/{job.job_id}{then}", 303)
