"""Reports of a job as PDF: the job's records put into the words that ``halfsplit.report`` prints."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import fields
from importlib.util import find_spec

import halfsplit
from halfsplit import report
from halfsplit.diagnosis.after_repair import allowed_words
from halfsplit.diagnosis.measurement import Measurement
from halfsplit.drawing import Overlays, paint_plan, plan
from halfsplit.errors import HalfsplitError, MissingProgramError
from halfsplit.job.bench import (
    apart_words,
    bench_view,
    measured_by,
    reading_text,
    said_of,
    same,
    seen_again,
    taken_apart,
)
from halfsplit.job.kinds import DECLINED, REFITTED, entry_words, state_word
from halfsplit.job.memory import Bench
from halfsplit.job.open_job import OpenJob
from halfsplit.job.pictures import last_readings
from halfsplit.job.places import from_json
from halfsplit.job.plain import asked_words, right_words, seen_words
from halfsplit.job.signal_reports import arrival_codes, codes_view, drain_report
from halfsplit.job.tests import lead_words
from halfsplit.job.views import BenchView, Check, shown_as
from halfsplit.report.view import Phase
from halfsplit.report.words import day, moment  # noqa: F401 - the page tells days so too
from halfsplit.store import BatteryReading, Customer, EvidenceEntry

SOURCE = "calculated for the healthy circuit"
"""Who says what is right."""
PHASES: dict[str, Phase] = {"complaint": "arrival", "code": "arrival", "repair": "after repair"}


def can_print() -> bool:
    """Whether this installation makes PDF files."""
    return find_spec("typst") is not None


def report_pdf(job: OpenJob, audience: str) -> bytes:
    """The report for the customer (plain words, one page) or the workshop (the full record).

    Raises MissingProgramError where the renderer is not installed.
    """
    if not can_print():
        raise MissingProgramError("PDF files need the package typst: install it, or print the page instead")
    made = report.customer_pdf if audience == "customer" else report.workshop_pdf
    return made(job_view(job))


def customer_view(job: OpenJob) -> report.JobView:
    """What the customer's page tells of a job."""
    return report.for_customer(job_view(job))


def job_view(job: OpenJob) -> report.JobView:
    """A job as its reports print it."""
    view = bench_view(job)
    with job.bench() as bench:
        record, circuit = bench.job, bench.circuit
        steps = tuple(_steps(job, bench, view))
        return report.JobView(
            number=str(record.number),
            as_of=record.changed_at,
            opened=moment(record.opened_at),
            state=record.state,
            closed=moment(record.closing.at) if record.closing else "",
            shop=job.store.workshop(),
            customer=record.customer or Customer(),
            vehicle=record.intake.vehicle,
            battery=_battery(record.intake.battery),
            earlier_work=record.intake.earlier_work,
            complaint=record.intake.complaint,
            arrival_codes=arrival_codes(job)
            or tuple(line.words for line in view.evidence if line.kind == "code" and not line.struck),
            steps=steps,
            finding=_finding(bench, view, steps),
            correction=record.closing.correction if record.closing else view.repair,
            checks=tuple(_check(bench, check) for check in view.checks),
            unplugged=tuple(apart_words(what, circuit) for what in taken_apart(bench)),
            refitted=tuple(apart_words(what, circuit) for what in dict.fromkeys(said_of(bench, REFITTED))),
            work=view.costs.steps,
            parts=view.costs.used("fitted"),
            limits=job.store.authorisations(job.job_id),
            money=view.costs,
            suspects=tuple(
                shown_as(report.SuspectView, suspect, out=out)
                for out, some in ((False, view.suspects), (True, view.out[:20]))
                for suspect in some
            ),
            codes=codes_view(job),
            drain=drain_report(job),
            drawing=_drawing(bench, view),
            circuit=circuit.title if circuit else "",
            cautions=tuple(dict.fromkeys(caution for test in view.tests for caution in test.cautions)),
            versions=(("halfsplit", halfsplit.__version__),),
        )


def _battery(read: BatteryReading | None) -> str:
    if read is None:
        return ""
    celsius = "" if read.celsius is None else f"{read.celsius:g} °C"
    rested = "rested for hours" if read.rested else ""
    return ", ".join(word for word in (f"{read.volts:.2f} V", celsius, read.type, rested) if word)


def _steps(job: OpenJob, bench: Bench, view: BenchView) -> Iterator[report.StepView]:
    """Every entry in order of time, the struck ones with their reason."""
    lines = {line.entry_id: line for line in view.evidence}
    minutes = {step.entry_id: step.minutes for step in view.costs.steps if step.entry_id}
    after = {entry.entry_id for entry in bench.after_repair}
    for entry in bench.entries:
        if entry.kind == "strike":
            continue
        line, place, right = lines[entry.entry_id], measured_by(entry), _allowed(bench, entry)
        red, black = "", ""
        if entry.kind == "reading" and place is not None and bench.circuit is not None:
            red, black = lead_words(place, bench.circuit)
        plain, plain_reading, plain_allowed = _plain_of(bench, entry)
        yield shown_as(
            report.StepView,
            entry,
            at=moment(entry.at),
            what=line.words,
            reading=line.value,
            red=red,
            black=black,
            phase="after repair" if entry.entry_id in after else PHASES.get(entry.kind, "search"),
            minutes=minutes.get(entry.entry_id),
            state=str(entry.payload.get("state") or ""),
            struck=line.struck,
            allowed=state_word(right, "works"),
            allowed_source=SOURCE if right else "",
            plain=plain,
            plain_reading=plain_reading,
            plain_allowed=plain_allowed,
            decisive=_decisive(bench, view, entry, made_after=entry.entry_id in after),
            photos=tuple(
                report.PhotoView(name=photo.name, data=job.file(photo.attachment_id), ref=photo.attachment_id)
                for photo in line.photos
            ),
        )


def _check(bench: Bench, check: Check) -> report.CheckView:
    circuit, place = bench.circuit, from_json(check.place)
    seen = seen_again(bench, place)
    wanted = check.expected if place.quantity in ("works", "answers") else ""
    before, plain_before = _read_before(bench, place, wanted)
    return report.CheckView(
        what=check.sentence,
        before=state_word(before, place.quantity),
        after=state_word(check.seen, place.quantity),
        allowed=state_word(check.expected, place.quantity),
        result=check.state,
        allowed_source=SOURCE,
        plain=asked_words(place, circuit) if circuit else "",
        plain_before=plain_before,
        plain_after="" if seen is None else seen_words(place, seen, wanted),
        plain_allowed=right_words(place, wanted) or check.expected,
    )


def _finding(bench: Bench, view: BenchView, steps: tuple[report.StepView, ...]) -> report.FindingView:
    finding, closing = view.finding, view.job.closing
    refused = said_of(bench, DECLINED)
    if finding is None:
        return report.FindingView(cause=closing.cause if closing else "", declined=refused)
    seen_first = (  # what the customer saw of it, before the repair
        _plain_of(bench, entry)
        for entry in bench.before_repair
        if entry.kind == "complaint" and entry.payload.get("works") in ("no", "weak")
    )
    symptoms = [f"{what}: {seen}" for what, seen, _ in seen_first]
    return report.FindingView(
        cause=closing.cause if closing else finding.words,
        declined=refused,
        repair=finding.repair,
        proven=finding.proven,
        shown=tuple(
            dict.fromkeys(
                f"{step.what}: {step.reading}"
                for step in steps
                if step.decisive and step.phase != "after repair"
            )
        ),
        consequence="; ".join(symptoms or finding.explains),
        missing=finding.missing_proof,
    )


def _drawing(bench: Bench, view: BenchView) -> str:
    """The whole drawing with its styles inside, as it stands at the end."""
    circuit = bench.circuit
    if circuit is None or not circuit.parts:
        return ""
    suspicion = {suspect.part: suspect.probability for suspect in view.suspects}
    return paint_plan(plan(circuit.model), Overlays(suspicion, last_readings(bench), {}), standalone=True).svg


# What a reading is judged by: the range that is right, what was read before, and whether it decided


def _allowed(bench: Bench, entry: EvidenceEntry) -> str:
    """What a healthy circuit gives there, with the tolerance; '' where it cannot be told."""
    place, circuit = measured_by(entry), bench.circuit
    if place is None or circuit is None or place.changes or place.state not in circuit.states:
        return ""
    try:
        if place.quantity == "works":
            return circuit.healthy_word(place.at, place.state)
        if place.quantity != "volts":
            return ""
        return allowed_words(circuit.solve(place.state).volts(place.at, place.to))
    except HalfsplitError:
        return ""


def _read_before(bench: Bench, place: Measurement, healthy: str) -> tuple[str, str]:
    """The last that was read at a place before the repair, in words and in the customer's; '' where nothing was."""
    for entry in reversed(bench.before_repair):
        made = measured_by(entry)
        if made is not None and same(made, place):
            complained = entry.kind == "complaint"
            words = str(entry.payload["works"]) if complained else entry_words(entry, bench.circuit)[1]
            return words, seen_words(place, _value_of(entry), healthy)
    return "", ""


def _value_of(entry: EvidenceEntry) -> float | str:
    """What was read, or said of a load."""
    value: float | str = entry.payload.get("value", entry.payload.get("works", ""))
    return value


def _plain_of(bench: Bench, entry: EvidenceEntry) -> tuple[str, str, str]:
    """An entry in the customer's words: what was done, what was seen, what would be right; empty where it has none."""
    place, circuit = measured_by(entry), bench.circuit
    if place is None or circuit is None:
        return "", "", ""
    right = _allowed(bench, entry)
    return asked_words(place, circuit), seen_words(place, _value_of(entry), right), right_words(place, right)


def _decisive(bench: Bench, view: BenchView, entry: EvidenceEntry, *, made_after: bool) -> bool:
    """Whether a reading was made at what was found, speaks for it, was made after the repair, or has a photo."""
    if entry.kind != "reading" or bench.told is None or view.finding is None:
        return False
    if entry.attachments or made_after:
        return True
    place, reading = measured_by(entry), bench.told.readings.get(entry.entry_id)
    # where the leads were, and what was joined or fitted for it
    touched = (
        [getattr(change, part.name) for change in place.changes for part in fields(change)] if place else []
    )
    points = [place.at, place.to or "", *map(str, touched)] if place else []
    if any(point.partition(":")[0] == view.finding.part for point in points):
        return True
    leading = view.suspects[0].for_ if view.suspects else ()
    return reading is not None and reading_text(reading, bench.told.diagnosis.circuit) in leading
