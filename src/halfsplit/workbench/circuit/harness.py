"""Harness data of a job: the file, the plug in question, what hangs on its connectors, and the circuit of it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from fastapi import APIRouter, Request
from fastapi.responses import RedirectResponse, Response

from halfsplit.errors import InputError
from halfsplit.job import Job, harness
from halfsplit.job.harness import HarnessView
from halfsplit.workbench.access import Files, Form, JobToMeasure, JobToRead
from halfsplit.workbench.circuit.page import begin
from halfsplit.workbench.forms import chosen, whole
from halfsplit.workbench.rendering import render

router = APIRouter(include_in_schema=False, prefix="/jobs/{job_id}/circuit/harness")


@dataclass(frozen=True)
class HarnessPage:
    """What is plugged into a harness. ``kinds``: what can be."""

    job: Job
    view: HarnessView
    kinds: Sequence[str]
    problem: str = ""


@router.post("/file")
def keep(job: JobToMeasure, files: Files) -> Response:
    """Keep the file with the job, and ask what is plugged in."""
    file = chosen(files, remedy="choose a .kbl or .vec file")
    harness.keep_harness(job, file.file, file.filename or "harness")
    return RedirectResponse(f"/jobs/{job.job_id}/circuit/harness", 303)


@router.get("")
def harness_page(request: Request, job: JobToRead, near: str | None = None, joints: str = "2") -> Response:
    """The connectors near a plug, each with what is likely plugged in."""
    view = harness.harness_view(job, near, whole(joints, 2))
    return render(request, "circuit/harness.html", HarnessPage(job.record, view, harness.HARNESS_KINDS))


@router.post("")
def make(request: Request, job: JobToMeasure, form: Form) -> Response:
    """The circuit, from what stands in the table."""
    near, joints = form.get("near", ""), whole(form.get("joints", ""), 2)
    # Connector → kind and value. A value that belongs to the kind proposed before is dropped with it.
    answers = {}
    for field, kind in form.items():
        if field.startswith("kind:"):
            name = field.removeprefix("kind:")
            same = form.get(f"was:{name}", "") == kind
            value = form.get(f"value:{name}", "").strip()
            answers[name] = (kind, value if same or value != form.get(f"had:{name}", "") else "")
    try:
        view = harness.harness_view(job, near, joints, answers)
    except InputError as error:
        view = harness.harness_view(job, near, joints)
        page = HarnessPage(job.record, view, harness.HARNESS_KINDS, str(error))
        return render(request, "circuit/harness.html", page, status=422)
    return begin(job, view.text, "", "open a new job for another part of the harness")
