"""``create_app(store)``: the workbench, everything mounted."""

from __future__ import annotations

from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from typing import Final

from fastapi import FastAPI
from fastapi.responses import Response
from starlette.staticfiles import StaticFiles
from starlette.types import ASGIApp

import halfsplit
from halfsplit import job as jobs
from halfsplit.job import JobStore
from halfsplit.workbench import api, live, problems
from halfsplit.workbench.guard import LOOPBACK, Guard
from halfsplit.workbench.pages import (
    bench,
    captures,
    circuit,
    drain,
    money,
    people,
    plan,
    practice,
    report,
    scan,
    scan_live,
    taps,
)
from halfsplit.workbench.pages import jobs as job_pages
from halfsplit.workbench.rendering import STATIC

DESCRIPTION: Final = "Jobs, circuits, evidence, tests and suspects. Errors are problem documents (RFC 9457)."


def create_app(
    store: JobStore, *, accounts: bool = False, hosts: frozenset[str] | None = LOOPBACK
) -> ASGIApp:
    """The workbench on a job store.

    ``accounts``: everybody signs in; needed wherever others can reach the address. ``hosts``: the names that it answers
    to, None for any; on loopback this keeps other sites' pages from reaching it by a name of theirs.
    """
    app = FastAPI(
        title="Halfsplit",
        version=halfsplit.__version__,
        description=DESCRIPTION,
        docs_url=None,
        redoc_url=None,
        openapi_url=None,
        lifespan=_lifespan,
    )
    app.state.store, app.state.accounts, app.state.stopping = store, accounts, False
    problems.install(app)
    for router in (
        job_pages.router,
        bench.router,
        circuit.router,
        taps.router,
        captures.router,
        scan.router,
        drain.router,
        scan_live.router,
        money.router,
        report.router,
        plan.router,
        practice.router,
        people.router,
        live.router,
        api.router,
    ):
        app.include_router(router)
    app.add_api_route("/drawing.css", _drawing_css, include_in_schema=False)
    app.mount("/static", StaticFiles(directory=STATIC), name="static")
    return Guard(app, hosts)


@asynccontextmanager
async def _lifespan(app: FastAPI) -> AsyncIterator[None]:
    yield
    app.state.stopping = True  # streams end, so that the server can


def _drawing_css() -> Response:
    return Response(jobs.DRAWING_CSS, media_type="text/css", headers={"Cache-Control": "no-cache"})
