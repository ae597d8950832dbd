"""The report: how it will look, and the PDF."""

from __future__ import annotations

from typing import Annotated, Literal

from fastapi import APIRouter, Query, Request
from fastapi.responses import Response

from halfsplit import job as jobs
from halfsplit.workbench.access import Reader, Store
from halfsplit.workbench.rendering import render
from halfsplit.workbench.report.contexts import ReportPage

router = APIRouter(include_in_schema=False, prefix="/jobs/{job_id}")
Audience = Literal["customer", "workshop"]
Wanted = Annotated[Audience, Query(alias="for")]


@router.get("/report")
def report_page(
    request: Request,
    job_id: str,
    store: Store,
    person: Reader,
    audience: Wanted = "customer",
) -> Response:
    """The report as it will be printed."""
    view = jobs.bench_view(store, job_id)
    svg = jobs.bench_drawing(store, job_id, whole=True)[0] if audience == "workshop" else ""
    told = jobs.customer_view(store, job_id) if audience == "customer" else jobs.job_view(store, job_id)
    lines = tuple(reversed(view.evidence))
    page = ReportPage(view, audience, told, lines, jobs.can_print(), svg)
    return render(request, "report/report.html", page)


@router.get("/report.pdf")
def report_pdf(job_id: str, store: Store, person: Reader, audience: Wanted = "customer") -> Response:
    """The report as PDF."""
    data = jobs.report_pdf(store, job_id, audience)
    number = store.job(job_id).number
    headers = {"Content-Disposition": f'inline; filename="job-{number}-{audience}.pdf"'}
    return Response(data, media_type="application/pdf", headers=headers)
