"""The plan of a job: worked out while the page tells how far it is, read on the screen, printed on A4."""

from __future__ import annotations

from fastapi import APIRouter, Request
from fastapi.responses import RedirectResponse, Response

from halfsplit import job as jobs
from halfsplit.job import JobStore, planning
from halfsplit.workbench.access import Form, Reader, Store, Technician
from halfsplit.workbench.plan.contexts import PlanPage
from halfsplit.workbench.rendering import render

router = APIRouter(include_in_schema=False, prefix="/jobs/{job_id}")


def _page(store: JobStore, job_id: str) -> PlanPage:
    return PlanPage(planning.plan_view(store, job_id), planning.SIZES, jobs.can_print())


@router.get("/plan")
def plan_page(request: Request, job_id: str, store: Store, person: Reader) -> Response:
    """The plan as it stands, and how to have one worked out."""
    return render(request, "plan/plan.html", _page(store, job_id))


@router.get("/plan/state")
def plan_state(request: Request, job_id: str, store: Store, person: Reader) -> Response:
    """How far it is; once it is there, the plan."""
    return render(request, "plan/_plan.html", _page(store, job_id))


@router.post("/plan")
def begin(job_id: str, store: Store, person: Technician, form: Form) -> Response:
    """Have a plan worked out."""
    steps = form.get("steps", "")
    planning.begin_plan(
        store, job_id, who=person.name, steps=int(steps) if steps.isascii() and steps.isdigit() else 0
    )
    return RedirectResponse(f"/jobs/{job_id}/plan", 303)


@router.post("/plan/stop")
def stop(job_id: str, store: Store, person: Technician) -> Response:
    """Leave it."""
    planning.stop_plan(store, job_id)
    return RedirectResponse(f"/jobs/{job_id}/plan", 303)


@router.get("/plan.pdf")
def plan_pdf(job_id: str, store: Store, person: Reader) -> Response:
    """The plan for A4."""
    data = planning.job_plan_pdf(store, job_id)
    headers = {"Content-Disposition": f'inline; filename="plan-{store.job(job_id).number}.pdf"'}
    return Response(data, media_type="application/pdf", headers=headers)
