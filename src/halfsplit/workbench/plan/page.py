"""The plan of a job: worked out while the page tells how far it is, read on the screen, printed on A4."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from fastapi import APIRouter, Request
from fastapi.responses import RedirectResponse, Response

from halfsplit import job as jobs
from halfsplit.job import planning
from halfsplit.job.open_job import OpenJob
from halfsplit.job.planning import PlanView
from halfsplit.workbench.access import Form, JobToMeasure, JobToRead
from halfsplit.workbench.forms import whole
from halfsplit.workbench.rendering import render


@dataclass(frozen=True)
class PlanPage:
    """The plan of a job. ``sizes``: steps at most → what that is called."""

    view: PlanView
    sizes: Mapping[int, str]
    pdf: bool


router = APIRouter(include_in_schema=False, prefix="/jobs/{job_id}")


def _page(job: OpenJob) -> PlanPage:
    return PlanPage(planning.plan_view(job), planning.SIZES, jobs.can_print())


@router.get("/plan")
def plan_page(request: Request, job: JobToRead) -> Response:
    """The plan as it stands, and how to have one worked out."""
    return render(request, "plan/plan.html", _page(job))


@router.get("/plan/state")
def plan_state(request: Request, job: JobToRead) -> Response:
    """How far it is; once it is there, the plan."""
    return render(request, "plan/_plan.html", _page(job))


@router.post("/plan")
def begin(job: JobToMeasure, form: Form) -> Response:
    """Have a plan worked out."""
    planning.begin_plan(job, steps=whole(form.get("steps", ""), 0))
    return RedirectResponse(f"/jobs/{job.job_id}/plan", 303)


@router.post("/plan/stop")
def stop(job: JobToMeasure) -> Response:
    """Leave it."""
    planning.stop_plan(job)
    return RedirectResponse(f"/jobs/{job.job_id}/plan", 303)


@router.get("/plan.pdf")
def plan_pdf(job: JobToRead) -> Response:
    """The plan for A4."""
    data = planning.job_plan_pdf(job)
    headers = {"Content-Disposition": f'inline; filename="plan-{job.record.number}.pdf"'}
    return Response(data, media_type="application/pdf", headers=headers)
