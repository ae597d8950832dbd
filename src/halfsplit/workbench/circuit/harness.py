"""Harness data of a job: the file, the plug in question, what hangs on its connectors, and the circuit of it."""

from __future__ import annotations

from collections.abc import Mapping

from fastapi import APIRouter, Request
from fastapi.concurrency import run_in_threadpool
from fastapi.responses import RedirectResponse, Response

from halfsplit import job as jobs
from halfsplit.errors import ConflictError, InputError
from halfsplit.job import harness
from halfsplit.job.open_job import OpenJob
from halfsplit.workbench.access import Form, JobToMeasure, JobToRead
from halfsplit.workbench.circuit.contexts import HarnessPage
from halfsplit.workbench.forms import files_of
from halfsplit.workbench.rendering import render

router = APIRouter(include_in_schema=False, prefix="/jobs/{job_id}/circuit/harness")


@router.post("/file")
async def keep(request: Request, job: JobToMeasure) -> Response:
    """Keep the file with the job, and ask what is plugged in."""
    async with files_of(request) as files:
        if not files:
            raise InputError("no file was chosen", remedy="choose a .kbl or .vec file")
        await run_in_threadpool(harness.keep_harness, job, files[0].file, files[0].filename or "harness")
    return RedirectResponse(f"/jobs/{job.job_id}/circuit/harness", 303)


@router.get("")
def harness_page(request: Request, job: JobToRead, near: str | None = None, joints: str = "2") -> Response:
    """The connectors near a plug, each with what is likely plugged in."""
    view = harness.harness_view(job, near, _joints(joints))
    return render(request, "circuit/harness.html", HarnessPage(job.record, view, harness.HARNESS_KINDS))


@router.post("")
def make(request: Request, job: JobToMeasure, form: Form) -> Response:
    """The circuit, from what stands in the table."""
    near, joints = form.get("near", ""), _joints(form.get("joints", ""))
    try:
        view = harness.harness_view(job, near, joints, _told(form))
    except InputError as error:
        view = harness.harness_view(job, near, joints)
        page = HarnessPage(job.record, view, harness.HARNESS_KINDS, str(error))
        return render(request, "circuit/harness.html", page, status=422)
    _begin(job, view.text)
    return RedirectResponse(f"/jobs/{job.job_id}", 303)


def _begin(job: OpenJob, text: str) -> None:
    version = job.store.circuit(job.job_id)
    if version is not None and version.text.strip():
        raise ConflictError("this job has a circuit already: open a new job for another part of the harness")
    jobs.save_circuit(job, text)


def _told(form: Mapping[str, str]) -> dict[str, tuple[str, str]]:
    """Connector → kind and value. A value that belongs to the kind proposed before is dropped with it."""
    answers = {}
    for field, kind in form.items():
        if field.startswith("kind:"):
            name = field.removeprefix("kind:")
            same = form.get(f"was:{name}", "") == kind
            value = form.get(f"value:{name}", "").strip()
            answers[name] = (kind, value if same or value != form.get(f"had:{name}", "") else "")
    return answers


def _joints(said: str) -> int:
    return int(said[:3]) if said.isascii() and said[:3].isdigit() else 2
