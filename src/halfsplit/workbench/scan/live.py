"""Reading a vehicle live from the page, and clearing a unit's codes behind a confirmation."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from urllib.parse import quote

from fastapi import APIRouter, Request
from fastapi.responses import RedirectResponse, Response

from halfsplit.errors import ConflictError, HalfsplitError, InputError
from halfsplit.job import Job, live_scans, scan_evidence, scans
from halfsplit.job.live_scans import ClearView, LiveRun
from halfsplit.job.open_job import OpenJob
from halfsplit.job.scans import KeptReport
from halfsplit.workbench.access import Form, JobToMeasure, JobToRead
from halfsplit.workbench.forms import whole
from halfsplit.workbench.rendering import render

router = APIRouter(include_in_schema=False, prefix="/jobs/{job_id}/scan/live")
MOST_FAULTS = 400


@dataclass(frozen=True)
class LivePage:
    """Reading the vehicle. ``faults``: for the simulated vehicle. ``clearable``: units of ``report``."""

    job: Job
    run: LiveRun | None
    bit_rates: Sequence[int]
    moments: Mapping[str, str]
    moment: str
    faults: Sequence[str]
    report: KeptReport | None
    clearable: Sequence[str]
    typed: Mapping[str, str]
    problem: str = ""


@dataclass(frozen=True)
class RunFragment:
    """A live scan as it goes, alone."""

    job: Job
    run: LiveRun | None


@dataclass(frozen=True)
class ClearPage:
    """What clearing would take away, or what became of it (``done``)."""

    job: Job
    view: ClearView | None
    done: str = ""


@router.get("")
def live_page(request: Request, job: JobToRead) -> Response:
    """The channel, and the run as it goes."""
    return render(request, "scan/scan_live.html", _page(job))


def _page(job: OpenJob, typed: Mapping[str, str] | None = None, problem: str = "") -> LivePage:
    kept = scans.kept_reports(job)
    live = next((report for report in reversed(kept) if report.source == "live"), None)
    last = live.live if live else {}
    channel = str(last.get("channel", ""))
    before = {
        "channel": "" if channel.startswith("simulated") else channel,
        "bit_rate": str(last.get("bit_rate", "")),
    }
    return LivePage(
        job.record,
        live_scans.run_of(job),
        live_scans.BIT_RATES,
        scans.MOMENTS,
        scans.default_moment(job),
        scan_evidence.fault_names(job)[:MOST_FAULTS],
        live,
        live_scans.clearable(live) if live else (),
        typed or before,
        problem,
    )


@router.post("")
def start(request: Request, job: JobToMeasure, form: Form) -> Response:
    """Begin to read."""
    channel = form.get("channel", "").strip()[:200]
    if form.get("vehicle") == "simulated":
        channel = f"simulated {form.get('fault', '').strip()[:200]}".strip()
    try:
        live_scans.start_run(
            job,
            channel,
            whole(form.get("bit_rate", ""), 0),
            moment=form.get("moment", "in between"),
            listed_only=request.app.state.accounts,
        )
    except (InputError, ConflictError) as error:
        return render(request, "scan/scan_live.html", _page(job, form, str(error)), status=422)
    return RedirectResponse(f"/jobs/{quote(job.job_id)}/scan/live", 303)


@router.get("/run")
def run_fragment(request: Request, job: JobToRead) -> Response:
    """The run alone, asked for every second while it goes."""
    page = RunFragment(job.record, live_scans.run_of(job))
    # At the end the whole page is fetched anew: what can be done next stands beside the run.
    over = page.run is None or page.run.done
    return render(request, "scan/_scan_run.html", page, headers={"HX-Refresh": "true"} if over else None)


@router.post("/stop")
def stop(job: JobToMeasure) -> Response:
    """Stop reading."""
    live_scans.stop_run(job)
    return RedirectResponse(f"/jobs/{quote(job.job_id)}/scan/live", 303)


@router.post("/clear/look")
def look(request: Request, job: JobToMeasure, form: Form) -> Response:
    """What clearing one unit would take away, read from the vehicle now."""
    try:
        view = live_scans.clear_view(
            job, form.get("scan_id", ""), form.get("unit", ""), listed_only=request.app.state.accounts
        )
    except HalfsplitError as error:
        return render(request, "scan/scan_live.html", _page(job, {}, str(error)), status=409)
    return render(request, "scan/scan_clear.html", ClearPage(job.record, view))


@router.post("/clear")
def clear(request: Request, job: JobToMeasure, form: Form) -> Response:
    """Clear as confirmed; the record says who, what and what came of it."""
    scan_id, unit = form.get("scan_id", ""), form.get("unit", "")
    try:
        if form.get("sure") != "1":
            raise InputError("not confirmed", remedy="tick that the codes are saved and may be lost")
        done = live_scans.clear_unit(
            job,
            scan_id,
            unit,
            listed=form.get("listed", ""),
            by=job.who,
            listed_only=request.app.state.accounts,
        )
    except HalfsplitError as error:
        page = _page(job, {}, f"Nothing was cleared: {error}")
        return render(request, "scan/scan_live.html", page, status=409)
    return render(request, "scan/scan_clear.html", ClearPage(job.record, None, done))
