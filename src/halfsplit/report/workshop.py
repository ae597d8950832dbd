"""The workshop's record, all that was seen, measured, done and charged, with photos; the printed plan for the bay."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from halfsplit.report.pdf import make_pdf
from halfsplit.report.pictures import drawing_bytes, is_wide
from halfsplit.report.plain import Album, job_data, plain
from halfsplit.report.view import EPOCH, JobView, Phase
from halfsplit.report.words import minutes, printable

MOST_PHOTOS = 60
LONGEST_HEAD = 30
"""Characters of a text in the line above each page."""
PHASES: tuple[tuple[Phase, str], ...] = (
    ("arrival", "As it came in"),
    ("search", "Finding the cause"),
    ("proof", "Proving the cause"),
    ("after repair", "After the repair"),
)


def workshop_pdf(view: JobView) -> bytes:
    """The full record as PDF/A-2b."""
    album = Album(MOST_PHOTOS)
    whole = job_data(view, album)
    for number, step in enumerate(whole["steps"], 1):
        step["number"] = number
    whole["phases"] = [
        {"title": title, "steps": [step for step in whole["steps"] if step["phase"] == phase]}
        for phase, title in PHASES
    ]
    whole["pictures"], whole["unreadable"] = _pictures(whole)
    head = {"shop": view.shop.name, "number": view.number, "registration": view.vehicle.registration}
    whole["head"] = {name: printable(words, LONGEST_HEAD) for name, words in head.items()}
    drawn = drawing_bytes(view.drawing)
    whole["drawing"] = "drawing.svg" if drawn else ""
    whole["wide"] = is_wide(view.drawing)
    whole["drawing_missing"] = bool(view.drawing.strip()) and not drawn
    plot = drawing_bytes(view.drain.plot)
    whole["plot"] = "drain.svg" if plot else ""
    pictures = {"drawing.svg": drawn, "drain.svg": plot}
    files = album.files | {name: data for name, data in pictures.items() if data}
    return make_pdf("workshop", whole, view.as_of, files)


def _pictures(data: dict[str, Any]) -> tuple[list[dict[str, Any]], list[str]]:
    """All photos once, in the order of the steps, with where they belong; the names of those that cannot be shown."""
    shown: dict[str, dict[str, Any]] = {}
    unreadable = []
    for step in data["steps"]:
        step["pictures"] = []
        for photo in step["photos"]:
            if not photo["file"]:
                unreadable.append(photo["name"])
                continue
            new = photo | {"where": f"step {step['number']}", "number": len(shown) + 1}
            step["pictures"].append(shown.setdefault(photo["file"], new)["number"])
    return list(shown.values()), unreadable


def plan_pdf(document: Mapping[str, Any]) -> bytes:
    """A plan as PDF/A-2b. ``document`` is what ``halfsplit plan --json`` prints (`diagnosis.plan.plan_document`)."""
    data = plain(document, Album(0))
    for key in ("expected_minutes", "worst_minutes"):
        data[key] = minutes(data[key])
    for step in data["steps"]:
        step["minutes"] = minutes(step["minutes"])
    return make_pdf("plan", data, EPOCH)
