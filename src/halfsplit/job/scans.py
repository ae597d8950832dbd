"""Scan reports of a job: kept as they came, every line told, corrections on top, two of them side by side.

A report's bytes are an attachment; entry `scan` says when in the job it was read and how, entry `scan line` is one line
that the technician reads otherwise, entry `scan table` says which unit is which part of the circuit.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from functools import lru_cache
from typing import Any

from halfsplit.errors import HalfsplitError, InputError
from halfsplit.job.open_job import OpenJob, new_id
from halfsplit.job.verbs import strike
from halfsplit.scan.compare import VERDICTS, CodeChange, Comparison, compare
from halfsplit.scan.reading import KINDS as LINE_KINDS  # noqa: F401 - told on the page
from halfsplit.scan.report import Line, ScanReport  # noqa: F401 - so is a line
from halfsplit.scan.text import decode

MOMENTS: Mapping[str, str] = {
    "arrival": "As it came in, nothing cleared",
    "in between": "In between",
    "after repair": "After the repair",
}
"""When in the job a report was read. Arrival codes are what a dispute is about: they cannot be read again."""
SOURCES = ("pasted", "file", "live")
LARGEST_REPORT = 10_000_000
LINES_A_PAGE = 200
CORRECTED: Mapping[str, int] = {"unit": 200, "code": 200, "words": 500, "status": 30}
"""What a correction may say beside the kind of the line, and how many characters of it are kept."""


@dataclass(frozen=True)
class KeptReport:
    """A report of a job. ``file``: id of the attachment. ``problems``: what went wrong while it was read live.

    ``live``: of a live scan, its ``channel``, ``bit_rate`` and the ``addresses`` of its units by name.
    """

    scan_id: str
    name: str
    moment: str
    source: str
    at: datetime
    who: str
    file: str
    problems: tuple[str, ...]
    report: ScanReport
    live: Mapping[str, Any]

    @property
    def codes(self) -> int:
        return sum(len(unit.codes) for unit in self.report.units)

    @property
    def silent(self) -> tuple[str, ...]:
        """Names of the units that do not answer."""
        return tuple(unit.name for unit in self.report.units if unit.answers is False)


def keep_report(
    job: OpenJob,
    data: bytes,
    *,
    name: str,
    moment: str,
    source: str = "file",
    problems: Sequence[str] = (),
    live: Mapping[str, Any] | None = None,
    scan_id: str = "",
) -> KeptReport:
    """Store a report (text, CSV, HTML or PDF as bytes). Raises InputError, and nothing is stored then."""
    if moment not in MOMENTS or source not in SOURCES:
        raise InputError(f"{moment!r} is no moment of a job", remedy=f"one of {', '.join(MOMENTS)}")
    if len(data) > LARGEST_REPORT:
        raise InputError(
            f"larger than {LARGEST_REPORT // 1_000_000} MB", remedy="a scan report is text", where=name
        )
    report = _parsed(data)
    if not any(line.text.strip() for line in report.lines):
        raise InputError("there is no text in it", remedy="paste the report, or choose its file", where=name)
    scan_id = scan_id or new_id()
    kept = job.keep_file("scan", data, name=name, file_id=f"{scan_id}-file")
    codes = sum(len(unit.codes) for unit in report.units)
    silent = sum(unit.answers is False for unit in report.units)
    counts = f"{len(report.units)} unit{'s' * (len(report.units) != 1)}, {codes} code{'s' * (codes != 1)}"
    if silent:
        counts += f", {silent} silent"
    said: dict[str, Any] = {
        "file": kept.attachment_id,
        "name": kept.name,
        "moment": moment,
        "source": source,
        "problems": list(problems)[:50],
        "live": dict(live or {}),
        "text": f"Scan report “{kept.name}” ({moment}): {counts}",
    }
    job.keep("scan", said, entry_id=scan_id)
    return report_of(job, scan_id)


@lru_cache(maxsize=24)
def _parsed(data: bytes) -> ScanReport:
    """The report in some bytes; what was read once is not read again for every page."""
    return ScanReport.parse(decode(data))


def kept_reports(job: OpenJob) -> tuple[KeptReport, ...]:
    """The reports of a job that are not struck out, in their order, each as corrected."""
    job.must_be_there()
    corrections = list(job.live("scan line"))
    reports = []
    for entry in job.live("scan"):
        said = entry.payload
        report = _parsed(job.file(said["file"]))
        for correction in corrections:
            if correction.payload.get("scan") == entry.entry_id:
                report = _corrected(report, correction.payload)
        reports.append(
            KeptReport(
                entry.entry_id,
                said["name"],
                said["moment"],
                said["source"],
                entry.at,
                entry.who,
                said["file"],
                tuple(said.get("problems") or ()),
                report,
                said.get("live") or {},
            )
        )
    return tuple(reports)


def report_of(job: OpenJob, scan_id: str) -> KeptReport:
    """One report of a job. Raises NotFoundError where there is none, or it was struck out."""
    for report in kept_reports(job):
        if report.scan_id == scan_id:
            return report
    job.entry("scan", scan_id)
    raise InputError("this report was struck out", remedy="strike the strike-out to have it back")


def _corrected(report: ScanReport, said: Mapping[str, Any]) -> ScanReport:
    words = {name: str(said.get(name) or "") for name in CORRECTED}
    try:
        return report.correct(
            int(said["line"]), str(said["kind"]), piece=int(said.get("piece") or 0), **words
        )
    except (HalfsplitError, KeyError, ValueError):
        return report  # a correction from elsewhere that fits no line changes nothing


def correct_line(
    job: OpenJob, scan_id: str, line: int, kind: str, said: Mapping[str, str], piece: int = 0
) -> KeptReport:
    """Read a line, or a piece of it, as the technician says.

    ``said``: unit, code, words and status, as far as the kind of the line has them.
    Raises InputError or NotFoundError, and nothing is stored then.
    """
    kept = report_of(job, scan_id)
    given = {name: said.get(name, "").strip()[:longest] for name, longest in CORRECTED.items()}
    kept.report.correct(line, kind, piece=piece, **given)
    what = given["code"] or given["unit"] or kind
    name = f"{line}.{piece}" if piece else str(line)
    entry = {
        "scan": scan_id,
        "line": line,
        "piece": piece,
        "kind": kind,
        **given,
        "text": f"Line {name} of “{kept.name}” is read as {kind}{f': {what}' if what != kind else ''}",
    }
    job.keep("scan line", entry)
    return report_of(job, scan_id)


def undo_correction(job: OpenJob, scan_id: str, line: int, piece: int = 0) -> None:
    """Take the latest correction of a line, or of a piece of it, back; an earlier one counts again."""
    made = [
        entry
        for entry in job.live("scan line")
        if entry.payload.get("scan") == scan_id
        and (entry.payload.get("line"), int(entry.payload.get("piece") or 0)) == (line, piece)
    ]
    if made:
        strike(job, made[-1].entry_id, reason="the correction was taken back")


def default_moment(job: OpenJob) -> str:
    """What a new report most likely is: the first is the arrival, one after the repair is that."""
    if any(True for _ in job.live("repair")):
        return "after repair"
    return "in between" if any(True for _ in job.live("scan")) else "arrival"


# Two side by side


@dataclass(frozen=True)
class SideBySide:
    """Two reports compared. ``rows``: (verdict, its codes) in the order that matters."""

    before: KeptReport
    after: KeptReport
    comparison: Comparison
    rows: tuple[tuple[str, tuple[CodeChange, ...]], ...]


ORDER = ("new", "stayed", "changed status", "not known", "gone")
"""What still has to be seen to comes first."""
assert set(ORDER) == set(VERDICTS)  # noqa: S101 - a verdict that is not shown would be dropped in silence


def side_by_side(job: OpenJob, before: str = "", after: str = "") -> SideBySide | None:
    """Two reports compared; those named, else the arrival and the latest. None where there are not two."""
    kept = kept_reports(job)
    if len(kept) < 2:
        return None
    first = next((report for report in kept if report.moment == "arrival"), kept[0])
    last = next((report for report in reversed(kept) if report is not first), kept[-1])
    by_id = {report.scan_id: report for report in kept}
    a, b = by_id.get(before, first), by_id.get(after, last)
    comparison = compare(a.report, b.report, aliases(job, a.report, b.report))
    return SideBySide(a, b, comparison, tuple((verdict, comparison.of(verdict)) for verdict in ORDER))


def aliases(job: OpenJob, before: ScanReport, after: ScanReport) -> dict[str, str]:
    """Name of a unit in the second report → its name in the first, where the table makes them one part."""
    table = unit_table(job)
    ours = {table[unit.key]: unit.name for unit in before.units if table.get(unit.key)}
    return {
        unit.name: ours[table[unit.key]]
        for unit in after.units
        if table.get(unit.key) in ours and ours[table[unit.key]] != unit.name
    }


def unit_table(job: OpenJob) -> dict[str, str]:
    """Key of a unit's name → part of the circuit, as the technician set it; '' for 'not in this circuit'."""
    units = job.last("scan table").get("units")
    return {str(key): str(part) for key, part in units.items()} if isinstance(units, dict) else {}
