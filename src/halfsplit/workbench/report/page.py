"""The report: how it will look, and the PDF."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Annotated, Literal

from fastapi import APIRouter, Query, Request
from fastapi.responses import Response

from halfsplit import job as jobs
from halfsplit.job import BenchView, EvidenceLine, JobView, reporting
from halfsplit.workbench.access import JobToRead
from halfsplit.workbench.rendering import render


@dataclass(frozen=True)
class ReportPage:
    """The report as it will be printed. ``audience``: customer or workshop; ``lines``: the evidence in order."""

    view: BenchView
    audience: str
    report: JobView
    lines: Sequence[EvidenceLine]
    pdf: bool
    drawing: str = ""


router = APIRouter(include_in_schema=False, prefix="/jobs/{job_id}")
Audience = Literal["customer", "workshop"]
Wanted = Annotated[Audience, Query(alias="for")]


@router.get("/report")
def report_page(request: Request, job: JobToRead, audience: Wanted = "customer") -> Response:
    """The report as it will be printed."""
    view = jobs.bench_view(job)
    svg = jobs.bench_drawing(job, whole=True).svg if audience == "workshop" else ""
    shown = reporting.customer_view(job) if audience == "customer" else jobs.job_view(job)
    lines = tuple(reversed(view.evidence))
    page = ReportPage(view, audience, shown, lines, jobs.can_print(), svg)
    return render(request, "report/report.html", page)


@router.get("/report.pdf")
def report_pdf(job: JobToRead, audience: Wanted = "customer") -> Response:
    """The report as PDF."""
    data = jobs.report_pdf(job, audience)
    number = job.record.number
    headers = {"Content-Disposition": f'inline; filename="job-{number}-{audience}.pdf"'}
    return Response(data, media_type="application/pdf", headers=headers)
