"""Fault codes and the drain of a job, put into the words that reports print."""

from __future__ import annotations

from collections.abc import Iterator

from halfsplit.job.drains import drain_view
from halfsplit.job.open_job import OpenJob
from halfsplit.job.scans import MOMENTS, KeptReport, kept_reports, side_by_side
from halfsplit.report.signals import BranchLine, ChangeLine, CodeLine, CodesView, DrainReport, ScanView
from halfsplit.report.words import moment

MOST_CODES = 120
"""Codes of one report that are printed; all of them stay with the job."""


def codes_view(job: OpenJob) -> CodesView:
    """The scan reports of a job, the arrival first, and what changed between the first and the last."""
    kept = sorted(kept_reports(job), key=lambda report: list(MOMENTS).index(report.moment))
    pair = side_by_side(job)
    cleared = tuple(f"{moment(entry.at)}: {entry.payload['text']}" for entry in job.live("scan clear"))
    scans = tuple(_scan(report) for report in kept)
    if pair is None:
        return CodesView(scans=scans, cleared=cleared)
    changes = tuple(
        ChangeLine(
            verdict=verdict,
            unit=code.unit,
            code=code.code,
            before=code.before or "",
            after=code.why or code.after or "",
        )
        for verdict, some in pair.rows
        for code in some
    )
    comparison = pair.comparison
    return CodesView(
        scans=scans,
        compared=f"{pair.before.name} ({pair.before.moment}) against {pair.after.name} ({pair.after.moment})",
        changes=changes,
        answers_now=comparison.answers_now,
        silent=(*comparison.silent_now, *comparison.still_silent),
        not_read=comparison.not_read,
        cleared=cleared,
    )


def arrival_codes(job: OpenJob) -> tuple[str, ...]:
    """The codes and silent units of the arrival report, a line each; empty where none was kept."""
    arrival = next((report for report in kept_reports(job) if report.moment == "arrival"), None)
    if arrival is None:
        return ()
    lines = [join_words(code) for code in _codes(arrival)]
    return (*lines, *(f"{name} does not answer" for name in arrival.silent))


def join_words(code: CodeLine) -> str:
    """A code in one line: 'Body: B1044-13, circuit open (confirmed)'."""
    words = f", {code.words}" if code.words else ""
    return f"{code.unit}: {code.code}{words}{f' ({code.status})' if code.status else ''}"


def _scan(report: KeptReport) -> ScanView:
    codes = tuple(_codes(report))
    more = f"{len(codes) - MOST_CODES} more codes are stored with the job." if len(codes) > MOST_CODES else ""
    return ScanView(
        title=MOMENTS[report.moment],
        read=f"{report.name}, {report.source}, {moment(report.at)}, {report.who}",
        codes=codes[:MOST_CODES],
        silent=report.silent,
        units=len(report.report.units),
        remarks=tuple(filter(None, (more, *report.problems, *report.report.warnings)))[:20],
    )


def _codes(report: KeptReport) -> Iterator[CodeLine]:
    for unit in report.report.units:
        for code in unit.codes:
            yield CodeLine(unit=unit.name, code=code.name, words=code.meaning, status=code.status_words)


def drain_report(job: OpenJob) -> DrainReport:
    """The drain of a job by its latest log; empty where nothing was measured."""
    view = drain_view(job, standalone=True)
    figures, branches = view.figures, view.branches
    measured = tuple(
        BranchLine(
            fuse=row.name,
            rating=row.rating,
            millivolts=row.millivolts,
            current=f"{row.current} ({row.span})",
            units=", ".join(row.units),
        )
        for row in branches.rows
        if row.millivolts
    )
    if figures is None and not measured:
        return DrainReport()
    return DrainReport(
        log=f"{figures.log.name}, {moment(figures.log.at)}, {figures.log.who}" if figures else "",
        verdict=figures.verdict if figures else "",
        facts=figures.facts if figures else (),
        wakes=figures.wakes[:12] if figures else (),
        battery=view.charge.words if view.charge else "",
        forecast=view.forecast.words if view.forecast else "",
        total=branches.total,
        branches=measured,
        explained=branches.explained.words if branches.explained else "",
        suspects=tuple(
            (suspect.fuse or "elsewhere", suspect.probability) for suspect in branches.suspects[:3]
        ),
        remarks=figures.remarks[:12] if figures else (),
        cautions=view.cautions,
        plot=figures.plot if figures else "",
    )
