"""The help page, the service worker's file, and the example job."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from fastapi import APIRouter, Request
from fastapi.responses import FileResponse, RedirectResponse, Response

from halfsplit.job.examples import example_job
from halfsplit.workbench.access import Reader, Store, Taker
from halfsplit.workbench.rendering import STATIC, render


@dataclass(frozen=True)
class HelpPage:
    """Nothing of its own: it tells everybody the same."""


router = APIRouter(include_in_schema=False)
Page = Literal["bench", "circuit", "captures", "scan", "drain", "plan", "report"]


@router.get("/help")
def help_page(request: Request, person: Reader) -> Response:
    """Keys, pages, examples."""
    return render(request, "help/help.html", HelpPage())


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
