"""Fault codes of a job: reports pasted or loaded, line by line; before and after; one cause for many."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from urllib.parse import quote, urlencode

from fastapi import APIRouter, Request
from fastapi.responses import RedirectResponse, Response

from halfsplit.errors import HalfsplitError, InputError
from halfsplit.job import Job, scan_evidence, scans
from halfsplit.job.causes import Causes, causes_of
from halfsplit.job.open_job import OpenJob
from halfsplit.job.scan_evidence import Table
from halfsplit.job.scans import KeptReport, Line, SideBySide
from halfsplit.workbench.access import Files, Form, JobToMeasure, JobToRead
from halfsplit.workbench.forms import content, whole
from halfsplit.workbench.rendering import render

router = APIRouter(include_in_schema=False, prefix="/jobs/{job_id}/scan")
MOST_UNITS, MOST_CODES = 150, 150
"""Rows of the table of units and codes: a form of more fields is refused by the server."""


@dataclass(frozen=True)
class ScansPage:
    """The reports of a job, one of them line by line. ``lines``: those shown, from number ``first`` on.

    ``edited``: number of the line that is being corrected, 0 for none, and of its piece. ``pages``: first line of each
    further page. ``moment``: what a new report most likely is. ``problem``: why something was not stored; ``typed``:
    what was sent.
    """

    job: Job
    kept: Sequence[KeptReport]
    shown: KeptReport | None
    lines: Sequence[Line]
    first: int
    pages: Sequence[int]
    only: str
    edited: tuple[int, int]
    kinds: Sequence[str]
    moments: Mapping[str, str]
    moment: str
    problem: str = ""
    typed: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True)
class ComparePage:
    """Two reports side by side; ``pair`` is None where there are not two."""

    job: Job
    kept: Sequence[KeptReport]
    pair: SideBySide | None


@dataclass(frozen=True)
class CausePage:
    """One cause for many. ``table``: of the chosen report, None without report or circuit; ``left_out``: of it."""

    job: Job
    kept: Sequence[KeptReport]
    circuit: bool
    table: Table | None
    failures: Sequence[str]
    causes: Causes | None
    cautions: Sequence[str]
    problem: str = ""
    left_out: str = ""


@router.get("")
def scan_page(request: Request, job: JobToRead) -> Response:
    """The reports, one of them line by line."""
    return render(request, "scan/scan.html", _page(job, request.query_params))


def _page(
    job: OpenJob, asked: Mapping[str, str], problem: str = "", typed: Mapping[str, str] | None = None
) -> ScansPage:
    record, kept = job.record, scans.kept_reports(job)
    shown = next(
        (report for report in kept if report.scan_id == asked.get("report")), kept[-1] if kept else None
    )
    only = "unclear" if asked.get("only") == "unclear" else ""
    lines = () if shown is None else shown.report.unclear if only else shown.report.lines
    edited, piece = whole(asked.get("line", ""), 0), whole(asked.get("piece", ""), 0)
    first = _first(edited or whole(asked.get("from", ""), 0), lines) if not only else 0
    return ScansPage(
        record,
        kept,
        shown,
        lines[first : first + scans.LINES_A_PAGE],
        first,
        range(0, len(lines), scans.LINES_A_PAGE) if len(lines) > scans.LINES_A_PAGE else (),
        only,
        (edited, piece),
        scans.LINE_KINDS,
        scans.MOMENTS,
        scans.default_moment(job),
        problem,
        typed or {},
    )


def _first(number: int, lines: Sequence[Line]) -> int:
    """Index of the first line of the page that the line with a number is on."""
    inside = next(
        (place for place, line in enumerate(lines) if line.number >= number), max(len(lines) - 1, 0)
    )
    return inside - inside % scans.LINES_A_PAGE


def _to(job_id: str, scan_id: str, where: str = "") -> Response:
    return RedirectResponse(f"/jobs/{quote(job_id)}/scan?{urlencode({'report': scan_id})}{where}", 303)


@router.post("/paste")
def paste(request: Request, job: JobToMeasure, form: Form) -> Response:
    """Keep a pasted report. What cannot be kept stays in the field."""
    text = form.get("text", "").replace("\r\n", "\n").replace("\x00", "\ufffd")
    try:
        kept = scans.keep_report(
            job,
            text.encode("utf-8", "replace"),
            name=form.get("name", "").strip()[:80] or "pasted",
            moment=form.get("moment", ""),
            source="pasted",
            scan_id=form.get("entry_id", "")[:60],
        )
    except InputError as error:
        return _refused(request, job, error, {"text": text, **form})
    return _to(job.job_id, kept.scan_id)


@router.post("/file")
def load(request: Request, job: JobToMeasure, form: Form, files: Files) -> Response:
    """Keep a report from a file: text, CSV, HTML or PDF."""
    data, name = content(files, scans.LARGEST_REPORT)
    try:
        kept = scans.keep_report(job, data, name=name, moment=form.get("moment", ""))
    except InputError as error:
        return _refused(request, job, error, form)
    return _to(job.job_id, kept.scan_id)


def _refused(request: Request, job: OpenJob, error: InputError, typed: Mapping[str, str]) -> Response:
    return render(request, "scan/scan.html", _page(job, {}, f"Not stored. {error}", typed), status=422)


@router.post("/{scan_id}/line")
def correct(request: Request, job: JobToMeasure, scan_id: str, form: Form) -> Response:
    """Read a line as the technician says, or take the last correction of it back."""
    line, piece = whole(form.get("line", ""), 0), whole(form.get("piece", ""), 0)
    name = f"{line}.{piece}" if piece else str(line)
    if form.get("undo") == "1":
        scans.undo_correction(job, scan_id, line, piece)
        return _to(job.job_id, scan_id, f"&line={line}&piece={piece}#line-{name}")
    try:
        scans.correct_line(job, scan_id, line, form.get("kind", ""), form, piece)
    except InputError as error:
        asked = {"report": scan_id, "line": str(line), "piece": str(piece)}
        page = _page(job, asked, f"Line {name} is as it was. {error}", form)
        return render(request, "scan/scan.html", page, status=422)
    return _to(job.job_id, scan_id, f"&from={line}#line-{name}")


@router.post("/{scan_id}/strike")
def strike(job: JobToMeasure, scan_id: str, form: Form) -> Response:
    """Strike a report out, with its reason; what it told the bench goes with it."""
    scan_evidence.strike_report(job, scan_id, reason=form.get("reason", ""))
    return RedirectResponse(f"/jobs/{quote(job.job_id)}/scan", 303)


@router.get("/compare")
def compare_page(request: Request, job: JobToRead, before: str = "", after: str = "") -> Response:
    """Two reports side by side."""
    kept = scans.kept_reports(job)
    pair = scans.side_by_side(job, before, after)
    return render(request, "scan/scan_compare.html", ComparePage(job.record, kept, pair))


@router.get("/cause")
def cause_page(request: Request, job: JobToRead, report: str = "") -> Response:
    """Which unit is which part, what is told to the bench, and the one cause for many."""
    return render(request, "scan/scan_cause.html", _cause_page(job, report))


def _cause_page(job: OpenJob, report: str, problem: str = "") -> CausePage:
    record, kept = job.record, scans.kept_reports(job)
    wanted = [each for each in kept if each.scan_id == report]
    wanted = wanted or [each for each in kept if each.moment == "arrival"]
    shown = next(iter(wanted or kept), None)
    whole = scan_evidence.table_of(job, shown.scan_id) if shown else None
    codes = whole.codes if whole else ()
    table, left_out = _as_shown(whole) if whole else (None, "")
    return CausePage(
        record,
        kept,
        scan_evidence.has_circuit(job),
        table,
        scan_evidence.FAILURES,
        causes_of(job),
        tuple(dict.fromkeys(code.caution for code in codes if code.caution)),
        problem,
        left_out,
    )


def _as_shown(table: Table) -> tuple[Table, str]:
    """The rows that fit into the form, those in the circuit first, and how many are not shown."""
    units = sorted(table.units, key=lambda unit: not unit.part)
    parts = {unit.key for unit in table.units if unit.part}
    codes = [code for code in table.codes if code.key in parts]
    left = [
        (len(table.codes) - len(codes), "codes of units that are not in this circuit"),
        (max(len(codes) - MOST_CODES, 0), "more codes"),
        (max(len(units) - MOST_UNITS, 0), "more units"),
    ]
    words = ", ".join(f"{count} {what}" for count, what in left if count)
    return replace(table, units=tuple(units[:MOST_UNITS]), codes=tuple(codes[:MOST_CODES])), words


@router.post("/{scan_id}/table")
def set_table(request: Request, job: JobToMeasure, scan_id: str, form: Form) -> Response:
    """Keep the table of units and codes; with ``then=tell`` the report becomes evidence by it."""
    units = {form[f"unit-{n}"]: form.get(f"part-{n}", "") for n in range(MOST_UNITS) if form.get(f"unit-{n}")}
    codes = [
        {
            "unit": form[f"of-{n}"],
            "code": form[f"code-{n}"],
            "failure": form.get(f"failure-{n}", ""),
            "pin": form.get(f"pin-{n}", ""),
        }
        for n in range(MOST_CODES)
        if form.get(f"of-{n}") and form.get(f"code-{n}")
    ]
    try:
        scan_evidence.save_table(job, units, codes, state=form.get("state", ""))
        if form.get("then") == "tell":
            scan_evidence.tell(job, scan_id)
    except HalfsplitError as error:
        page = _cause_page(job, scan_id, str(error))
        return render(request, "scan/scan_cause.html", page, status=422)
    where = "#causes" if form.get("then") == "tell" else "#table"
    return RedirectResponse(
        f"/jobs/{quote(job.job_id)}/scan/cause?{urlencode({'report': scan_id})}{where}", 303
    )
