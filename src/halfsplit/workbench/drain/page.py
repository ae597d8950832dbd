"""The parasitic draw of a job: its log, the battery, the branches."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any
from urllib.parse import quote, urlencode

from fastapi import APIRouter, Request
from fastapi.responses import RedirectResponse, Response
from starlette.concurrency import run_in_threadpool

from halfsplit.errors import HalfsplitError, InputError
from halfsplit.job import drains
from halfsplit.job.open_job import OpenJob
from halfsplit.units import read_field
from halfsplit.workbench.access import Form, JobToMeasure, JobToRead
from halfsplit.workbench.drain.contexts import DrainPage
from halfsplit.workbench.forms import fields, files_of
from halfsplit.workbench.rendering import render

router = APIRouter(include_in_schema=False, prefix="/jobs/{job_id}/drain")
MOST_FUSES = 300
COMMA = str.maketrans(",\u2212", ".-")


@router.get("")
def drain_page(request: Request, job: JobToRead, log: str = "") -> Response:
    """The drain as far as it is known."""
    return render(request, "drain/drain.html", _page(job, log=log))


def _page(
    job: OpenJob,
    problem: str = "",
    typed: Mapping[str, str] | None = None,
    wrong: Mapping[str, str] | None = None,
    log: str = "",
) -> DrainPage:
    return DrainPage(
        job.record,
        drains.drain_view(job, log),
        tuple(drains.TABLES),
        tuple(drains.INSTRUMENTS),
        problem,
        typed or {},
        wrong or {},
    )


def _to(job_id: str, where: str = "", **asked: str) -> Response:
    query = f"?{urlencode(asked)}" if asked else ""
    return RedirectResponse(f"/jobs/{quote(job_id)}/drain{query}{where}", 303)


@dataclass
class Numbers:
    """Reads plain numbers of a form, a decimal comma included; what is none is told by its field."""

    form: Mapping[str, str]
    wrong: dict[str, str]

    def get(self, name: str, low: float, high: float) -> float | None:
        """The number of a field; None where it is empty or cannot be."""
        text = "".join(self.form.get(name, "").split()).translate(COMMA)
        if not text:
            return None
        try:
            number = float(text)
        except ValueError:
            number = float("nan")
        if not low <= number <= high:
            self.wrong[name] = f"A number from {low:g} to {high:g}."
            return None
        return number


@router.post("/log")
async def load(request: Request, job: JobToMeasure) -> Response:
    """Keep a log, and show what it says."""
    form = await fields(request)
    wrong: dict[str, str] = {}
    interval = Numbers(form, wrong).get("interval", 1e-4, 3600)
    async with files_of(request) as files:
        data = await files[0].read(drains.LARGEST_LOG + 1) if files else b""
        name = (files[0].filename if files else "") or "no file"
    if wrong:
        page = await run_in_threadpool(_page, job, "Not stored. See the marked field.", form, wrong)
        return render(request, "drain/drain.html", page, status=422)
    how = {"unit": form.get("unit", ""), "interval": interval, "instrument": form.get("instrument", "meter")}
    try:
        kept = await run_in_threadpool(drains.keep_log, job, data, name=name, how=how)
    except InputError as error:
        page = await run_in_threadpool(_page, job, f"Not stored. {error}", form, wrong)
        return render(request, "drain/drain.html", page, status=422)
    return _to(job.job_id, log=kept.drain_id)


@router.post("/{drain_id}/reading")
def reading(request: Request, job: JobToMeasure, drain_id: str, form: Form) -> Response:
    """Read a log otherwise: the instrument's zero, the way round, the unit."""
    wrong: dict[str, str] = {}
    zero = Numbers(form, wrong).get("zero", -50_000, 50_000)
    turned = {"yes": True, "no": False}.get(form.get("turned", ""))
    how = {"zero": (zero or 0.0) / 1000, "turned": turned, "unit": form.get("unit", "")}
    try:
        if not wrong:
            drains.read_again(job, drain_id, how)
    except InputError as error:
        wrong["zero"] = str(error)
    if wrong:
        page = _page(job, f"Not stored. {wrong['zero']}", form, wrong, drain_id)
        return render(request, "drain/drain.html", page, status=422)
    return _to(job.job_id, log=drain_id)


@router.post("/battery")
def battery(request: Request, job: JobToMeasure, form: Form) -> Response:
    """Keep what is known of the battery."""
    wrong: dict[str, str] = {}
    numbers = Numbers(form, wrong)
    given: dict[str, Any] = {
        "capacity": numbers.get("capacity", 5, 500),
        "volts": numbers.get("volts", 0, 20),
        "celsius": numbers.get("celsius", -50, 90),
        "rested": numbers.get("rested", 0, 1000),
        "charge": numbers.get("charge", 0, 100),
        "stands": numbers.get("stands", -50, 60),
        "kind": form.get("kind", ""),
    }
    try:
        if not wrong:
            drains.save_battery(job, given)
    except InputError as error:
        wrong["battery"] = str(error)
    if wrong:
        problem = f"Not stored. {wrong.get('battery', 'See the marked fields.')}"
        return render(request, "drain/drain.html", _page(job, problem, form, wrong), status=422)
    return _to(job.job_id, "#battery")


@router.post("/fuses")
def fuses(request: Request, job: JobToMeasure, form: Form) -> Response:
    """Keep the current at the battery and the fuses of the form; each by itself, what cannot be is told."""
    wrong: dict[str, str] = {}
    _total(job, form, wrong)
    for n in range(MOST_FUSES):
        name = form.get(f"fuse-{n}", "").strip()
        if name:
            _fuse(job, form, n, name, wrong)
    if wrong:
        problem = "Not stored: " + "; ".join(wrong.values())
        return render(request, "drain/drain.html", _page(job, problem, form, wrong), status=422)
    return _to(job.job_id, "#branches")


def _total(job: OpenJob, form: Mapping[str, str], wrong: dict[str, str]) -> None:
    if not form.get("total", "").strip():
        return
    try:
        amps = read_field(form["total"].translate(COMMA), "mA").value
        drains.save_total(job, amps, form.get("by", "meter"))
    except HalfsplitError as error:
        wrong["total"] = f"current at the battery: {error}"


def _fuse(job: OpenJob, form: Mapping[str, str], n: int, name: str, wrong: dict[str, str]) -> None:
    """One row: stored where something in it is new."""
    typed, before = form.get(f"mv-{n}", "").strip(), form.get(f"was-{n}", "").strip()
    added = form.get(f"new-{n}") == "1"
    if not added and (not typed or typed == before):
        return
    rating = Numbers(form, wrong).get(f"rating-{n}", 0.5, 500)
    if rating is None:
        wrong[f"rating-{n}"] = f"{name}: which rating, in amps?"
        return
    try:
        millivolts = 1000 * read_field(typed.translate(COMMA), "mV").value if typed else None
        drains.save_fuse(job, name, rating, millivolts, units=form.get(f"units-{n}", ""))
    except HalfsplitError as error:
        wrong[f"mv-{n}"] = f"{name}: {error}"


@router.post("/{drain_id}/strike")
def strike(job: JobToMeasure, drain_id: str, form: Form) -> Response:
    """Strike a log out, with its reason."""
    drains.strike_log(job, drain_id, reason=form.get("reason", ""))
    return _to(job.job_id)
