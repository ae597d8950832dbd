"""What the page of the report knows: frozen records, one for each template."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from halfsplit.job import BenchView, EvidenceLine, JobView


@dataclass(frozen=True)
class ReportPage:
    """The report as it will be printed. ``audience``: customer or workshop; ``lines``: the evidence in order."""

    view: BenchView
    audience: str
    report: JobView
    lines: Sequence[EvidenceLine]
    pdf: bool
    drawing: str = ""
