"""The parasitic draw of a job: its log, the battery, the branches."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from urllib.parse import quote, urlencode

from fastapi import APIRouter, Request
from fastapi.responses import RedirectResponse, Response

from halfsplit.errors import HalfsplitError, InputError
from halfsplit.job import Job, drain_branches, drains
from halfsplit.job.drains import DrainView
from halfsplit.job.open_job import OpenJob
from halfsplit.units import read_field
from halfsplit.workbench.access import Files, Form, JobToMeasure, JobToRead
from halfsplit.workbench.forms import COMMA, content
from halfsplit.workbench.forms import Reader as FieldReader
from halfsplit.workbench.rendering import render


@dataclass(frozen=True)
class DrainPage:
    """The drain of a job. ``problem``: why something was not stored; ``typed``: what was sent with it.

    ``wrong``: field → sentence. ``kinds``: types of battery; ``instruments``: what a current is measured with.
    """

    job: Job
    view: DrainView
    kinds: Sequence[str]
    instruments: Sequence[str]
    problem: str = ""
    typed: Mapping[str, str] = field(default_factory=dict)
    wrong: Mapping[str, str] = field(default_factory=dict)


router = APIRouter(include_in_schema=False, prefix="/jobs/{job_id}/drain")
MOST_FUSES = 300


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


def _refused(request: Request, job: OpenJob, problem: str, reader: FieldReader, log: str = "") -> Response:
    page = _page(job, f"Not stored{problem}", reader.form, reader.problems, log)
    return render(request, "drain/drain.html", page, status=422)


@router.post("/log")
def load(request: Request, job: JobToMeasure, form: Form, files: Files) -> Response:
    """Keep a log, and show what it says."""
    reader = FieldReader(form)
    interval = reader.between("interval", 1e-4, 3600)
    if reader.problems:
        return _refused(request, job, ". See the marked field.", reader)
    data, name = content(files, drains.LARGEST_LOG)
    how = {"unit": form.get("unit", ""), "interval": interval, "instrument": form.get("instrument", "meter")}
    try:
        kept = drains.keep_log(job, data, name=name, how=how)
    except InputError as error:
        return _refused(request, job, f". {error}", reader)
    return _to(job.job_id, log=kept.drain_id)


@router.post("/{drain_id}/reading")
def reading(request: Request, job: JobToMeasure, drain_id: str, form: Form) -> Response:
    """Read a log otherwise: the instrument's zero, the way round, the unit."""
    reader = FieldReader(form)
    zero = reader.between("zero", -50_000, 50_000)
    turned = {"yes": True, "no": False}.get(form.get("turned", ""))
    how = {"zero": (zero or 0.0) / 1000, "turned": turned, "unit": form.get("unit", "")}
    try:
        if not reader.problems:
            drains.read_again(job, drain_id, how)
    except InputError as error:
        reader.problems["zero"] = str(error)
    if reader.problems:
        return _refused(request, job, f". {reader.problems['zero']}", reader, drain_id)
    return _to(job.job_id, log=drain_id)


BATTERY = {
    "capacity": (5, 500),
    "volts": (0, 20),
    "celsius": (-50, 90),
    "rested": (0, 1000),
    "charge": (0, 100),
    "stands": (-50, 60),
}
"""Field of the battery → the least and the most that is believed."""


@router.post("/battery")
def battery(request: Request, job: JobToMeasure, form: Form) -> Response:
    """Keep what is known of the battery."""
    reader = FieldReader(form)
    given = {name: reader.between(name, *ends) for name, ends in BATTERY.items()}
    try:
        if not reader.problems:
            drains.save_battery(job, {**given, "kind": form.get("kind", "")})
    except InputError as error:
        reader.problems["battery"] = str(error)
    if reader.problems:
        return _refused(request, job, f". {reader.problems.get('battery', 'See the marked fields.')}", reader)
    return _to(job.job_id, "#battery")


@router.post("/fuses")
def fuses(request: Request, job: JobToMeasure, form: Form) -> Response:
    """Keep the current at the battery and the fuses of the form; each by itself, what cannot be is told."""
    reader = FieldReader(form)
    if form.get("total", "").strip():
        try:
            amps = read_field(form["total"].translate(COMMA), "mA").value
            drain_branches.save_total(job, amps, form.get("by", "meter"))
        except HalfsplitError as error:
            reader.problems["total"] = f"current at the battery: {error}"
    for n in range(MOST_FUSES):
        name = form.get(f"fuse-{n}", "").strip()
        if name:
            _fuse(job, reader, n, name)
    if reader.problems:
        return _refused(request, job, ": " + "; ".join(reader.problems.values()), reader)
    return _to(job.job_id, "#branches")


def _fuse(job: OpenJob, reader: FieldReader, n: int, name: str) -> None:
    """One row: stored where something in it is new."""
    form = reader.form
    typed, before = form.get(f"mv-{n}", "").strip(), form.get(f"was-{n}", "").strip()
    if form.get(f"new-{n}") != "1" and typed in ("", before):
        return
    rating = reader.between(f"rating-{n}", 0.5, 500)
    if rating is None:
        reader.problems[f"rating-{n}"] = f"{name}: which rating, in amps?"
        return
    try:
        millivolts = 1000 * read_field(typed.translate(COMMA), "mV").value if typed else None
        drain_branches.save_fuse(job, name, rating, millivolts, units=form.get(f"units-{n}", ""))
    except HalfsplitError as error:
        reader.problems[f"mv-{n}"] = f"{name}: {error}"


@router.post("/{drain_id}/strike")
def strike(job: JobToMeasure, drain_id: str, form: Form) -> Response:
    """Strike a log out, with its reason."""
    drains.strike_log(job, drain_id, reason=form.get("reason", ""))
    return _to(job.job_id)
