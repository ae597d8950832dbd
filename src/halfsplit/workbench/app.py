"""``create_app(store)``: the workbench, everything mounted."""

from __future__ import annotations

from collections.abc import AsyncIterator, Callable
from contextlib import asynccontextmanager
from functools import partial
from pathlib import Path
from typing import Final

from fastapi import FastAPI, Request
from fastapi.responses import FileResponse, Response
from starlette.staticfiles import StaticFiles
from starlette.types import ASGIApp

import halfsplit
from halfsplit import job as jobs
from halfsplit.job import JobStore
from halfsplit.job.ahead import start_thinking_ahead
from halfsplit.workbench import api, live, problems
from halfsplit.workbench.accounts import is_session
from halfsplit.workbench.bench import page as bench
from halfsplit.workbench.captures import page as captures
from halfsplit.workbench.circuit import diagram, harness, taps
from halfsplit.workbench.circuit import page as circuit
from halfsplit.workbench.drain import page as drain
from halfsplit.workbench.guard import LOOPBACK, Guard
from halfsplit.workbench.help import page as helping
from halfsplit.workbench.jobs import page as job_list
from halfsplit.workbench.learned import page as learned
from halfsplit.workbench.money import page as money
from halfsplit.workbench.people import page as people
from halfsplit.workbench.plan import page as plan
from halfsplit.workbench.practice import page as practice
from halfsplit.workbench.rendering import STATIC, STYLES
from halfsplit.workbench.report import page as report
from halfsplit.workbench.scan import live as scan_live
from halfsplit.workbench.scan import page as scan

DESCRIPTION: Final = "Jobs, circuits, evidence, tests and suspects. Errors are problem documents (RFC 9457)."


def create_app(
    store: JobStore,
    *,
    accounts: bool = False,
    hosts: frozenset[str] | None = LOOPBACK,
    secure: bool = False,
    around: Callable[[ASGIApp], ASGIApp] = lambda app: app,
) -> ASGIApp:
    """The workbench on a job store.

    ``accounts``: everybody signs in; needed wherever others can reach the address. ``hosts``: the names that it answers
    to, None for any; on loopback this keeps other sites' pages from reaching it by a name of theirs.
    ``secure``: it is reached by https alone, by itself or behind a proxy.
    ``around``: what stands between the guard and the pages, such as a `Pool`.
    """
    app = pages(store, accounts=accounts, secure=secure)
    return Guard(around(app), hosts, partial(is_session, store) if accounts else None, secure)


def pages(store: JobStore, *, accounts: bool, secure: bool) -> FastAPI:
    """The pages and the interface for programs, without the guard in front of them."""
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
    app.state.secure = secure
    problems.install(app)
    for router in (
        job_list.router,
        bench.router,
        circuit.router,
        harness.router,
        taps.router,
        diagram.router,
        captures.router,
        scan.router,
        drain.router,
        scan_live.router,
        money.router,
        report.router,
        plan.router,
        practice.router,
        learned.router,
        people.router,
        helping.router,
        live.router,
        api.router,
    ):
        app.router.routes += router.routes  # as they are: including a router makes each of them once more
    app.add_api_route("/drawing.css", _drawing_css, include_in_schema=False)
    app.add_route("/static/styles/{bay}.css", _styles)
    app.mount("/static", StaticFiles(directory=STATIC), name="static")
    return app


def pages_in_process(url: str, files: Path, *, accounts: bool, secure: bool) -> FastAPI:
    """The same in a process of its own, with a connection of its own to the store, which thinks ahead when idle."""
    store = JobStore(url, files=files)
    start_thinking_ahead(store)
    return pages(store, accounts=accounts, secure=secure)


@asynccontextmanager
async def _lifespan(app: FastAPI) -> AsyncIterator[None]:
    yield
    app.state.stopping = True  # streams end, so that the server can


def _drawing_css() -> Response:
    return Response(jobs.DRAWING_CSS, media_type="text/css", headers={"Cache-Control": "no-cache"})


def _styles(request: Request) -> Response:
    path = STYLES.get(request.path_params["bay"])
    return FileResponse(path) if path else Response(status_code=404)
