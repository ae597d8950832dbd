"""The help page, the service worker's file, and the example job."""

from __future__ import annotations

from typing import Final, Literal

from fastapi import APIRouter, Request
from fastapi.responses import FileResponse, RedirectResponse, Response

from halfsplit.job.examples import example_job
from halfsplit.workbench.access import Reader, Store, Taker
from halfsplit.workbench.help.contexts import HelpPage
from halfsplit.workbench.rendering import STATIC, render

router = APIRouter(include_in_schema=False)
Page = Literal["bench", "circuit", "captures", "scan", "drain", "plan", "report"]
KEYS: Final = {
    "Everywhere": (
        ("Tab, Shift+Tab", "to the next, the previous field or button; a ring shows where you are"),
        ("Enter", "presses the button or follows the link"),
        ("Space", "ticks, chooses, opens what is folded"),
        ("Esc", "closes what lies over the page"),
    ),
    "Bench": (
        ("0 to 9, point or comma", "the reading; 12,3 is 12.3"),
        ("−", "a negative reading"),
        ("m, k after the number", "milli, kilo: 85m is 0.085"),
        ("OL", "the meter shows over range"),
        ("Enter", "records it"),
        ("Enter on a point of the drawing", "asks for a reading there"),
    ),
    "Drawing": (
        ("Arrow keys", "move it, once it has the focus"),
        ("Ctrl and wheel, two fingers", "larger, smaller"),
    ),
    "Circuit as text": (
        ("Tab", "takes the first name offered"),
        ("Esc", "closes the list of names; Tab then leaves the field"),
    ),
    "Captures": (
        ("Arrow keys on a cursor", "move it by a little; with Shift by more"),
        ("+ and −", "a shorter, a longer stretch of time"),
    ),
}
PAGES: Final = (
    ("bench", "One job: the next test, the suspects, the drawing, all evidence, the proof."),
    (
        "circuit",
        "The part of the wiring diagram that matters: without a diagram, from a pattern, by taps, or as text.",
    ),
    ("captures", "Scope and logger files: cursors, measurements, and readings that become evidence."),
    ("scan", "Fault codes of every control unit, before and after, and what silent units share."),
    (
        "drain",
        "A night's current: levels, what wakes it, which branch, how many days until it will not start.",
    ),
    ("plan", "All tests for a complaint as a tree on paper, to take to the vehicle."),
    ("report", "One page for the customer, the whole record for the workshop."),
)


@router.get("/help")
def help_page(request: Request, person: Reader) -> Response:
    """Keys, pages, examples."""
    return render(request, "help/help.html", HelpPage(KEYS, PAGES))


@router.post("/examples/{page}")
def example(store: Store, person: Taker, page: Page) -> Response:
    """The example job, made the first time that somebody asks for it."""
    job = example_job(store, who=person.name)
    return RedirectResponse(f"/jobs/{job.job_id}" + ("" if page == "bench" else f"/{page}"), 303)


@router.get("/worker.js")
def worker() -> Response:
    """The service worker, at the root so that it sees every page."""
    return FileResponse(
        STATIC / "dist" / "worker.js", media_type="text/javascript", headers={"Cache-Control": "no-cache"}
    )
