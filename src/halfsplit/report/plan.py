"""The printed plan: a numbered flow list for the bay."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from halfsplit.report.pdf import make_pdf
from halfsplit.report.plain import Album, plain
from halfsplit.report.view import EPOCH
from halfsplit.report.words import minutes


def plan_pdf(document: Mapping[str, Any]) -> bytes:
    """A plan as PDF/A-2b. ``document`` is what ``halfsplit plan --json`` prints (`diagnosis.plan.plan_document`)."""
    data = plain(document, Album(0))
    for key in ("expected_minutes", "worst_minutes"):
        data[key] = minutes(data[key])
    for step in data["steps"]:
        step["minutes"] = minutes(step["minutes"])
    return make_pdf("plan", data, EPOCH)
