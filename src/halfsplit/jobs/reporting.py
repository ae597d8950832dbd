"""Reports of a job as PDF, made by ``halfsplit.report`` from what the bench knows."""

from __future__ import annotations

from importlib.util import find_spec

from halfsplit.errors import MissingProgramError
from halfsplit.jobs.bench import bench_view
from halfsplit.store import JobStore


def can_print() -> bool:
    """Whether this installation makes PDF files."""
    return find_spec("halfsplit.report") is not None and find_spec("typst") is not None


def report_pdf(store: JobStore, job_id: str, audience: str) -> bytes:
    """The report for the customer (plain words, one page) or the workshop (the full record).

    Raises MissingProgramError where the renderer is not installed.
    """
    view = bench_view(store, job_id)
    if not can_print():
        raise MissingProgramError("reports as PDF are not part of this installation: print the page instead")
    from halfsplit import report

    made: bytes = (report.customer_pdf if audience == "customer" else report.workshop_pdf)(view)
    return made
