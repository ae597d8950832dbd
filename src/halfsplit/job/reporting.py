"""Reports of a job as PDF: the job's records put into the words that ``halfsplit.report`` prints."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import fields
from importlib.util import find_spec
from typing import Any

import halfsplit
from halfsplit import report
from halfsplit.diagnosis.after_repair import allowed_words
from halfsplit.diagnosis.measurement import Measurement
from halfsplit.drawing import Overlays, paint_plan, plan
from halfsplit.errors import HalfsplitError, MissingProgramError
from halfsplit.job.bench import (
    apart_words,
    bench_view,
    declined,
    put_back,
    reading_text,
    same,
    same_place,
    taken_apart,
)
from halfsplit.job.kinds import entry_words, state_word
from halfsplit.job.memory import Bench
from halfsplit.job.open_job import OpenJob
from halfsplit.job.pictures import last_readings
from halfsplit.job.places import from_json
from halfsplit.job.plain import asked_words, right_words, seen_words
from halfsplit.job.signal_reports import arrival_codes, codes_view, drain_report
from halfsplit.job.tests import lead_words
from halfsplit.job.views import BenchView, Check, EvidenceLine, shown_as
from halfsplit.report.view import Phase
from halfsplit.report.words import day, moment  # noqa: F401 - the page tells days so too
from halfsplit.store import BatteryReading, Customer, EvidenceEntry, JobStore, struck_ids

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
        steps = tuple(_steps(job.store, bench, view))
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
            unplugged=tuple(apart_words(what, circuit) for what in taken_apart(bench.entries)),
            refitted=tuple(apart_words(what, circuit) for what in put_back(bench.entries)),
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


def _steps(store: JobStore, bench: Bench, view: BenchView) -> Iterator[report.StepView]:
    """Every entry in order of time, the struck ones with their reason."""
    lines = {line.entry_id: line for line in view.evidence}
    minutes = {step.entry_id: step.minutes for step in view.costs.steps if step.entry_id}
    after = {entry.entry_id for entry in bench.after_repair}
    circuit = bench.circuit
    for entry in bench.entries:
        if entry.kind != "strike":
            words, value = entry_words(entry, circuit)
            red, black = _leads(entry, bench)
            plain, plain_reading, plain_allowed = _plain_of(bench, entry)
            yield report.StepView(
                at=moment(entry.at),
                who=entry.who,
                what=words,
                reading=value,
                red=red,
                black=black,
                phase="after repair" if entry.entry_id in after else PHASES.get(entry.kind, "search"),
                minutes=minutes.get(entry.entry_id),
                state=str(entry.payload.get("state") or ""),
                instrument=entry.instrument,
                serial=entry.serial,
                struck=lines[entry.entry_id].struck,
                allowed=state_word(_allowed(bench, entry), "works"),
                plain=plain,
                plain_reading=plain_reading,
                plain_allowed=plain_allowed,
                allowed_source=SOURCE if _allowed(bench, entry) else "",
                decisive=_decisive(bench, view, entry),
                photos=tuple(_photos(OpenJob(store, bench.job.job_id), lines[entry.entry_id])),
            )


def _leads(entry: EvidenceEntry, bench: Bench) -> tuple[str, str]:
    circuit = bench.circuit
    if entry.kind != "reading" or circuit is None:
        return "", ""
    try:
        return lead_words(from_json(entry.payload), circuit)
    except HalfsplitError:
        return "", ""


def _photos(job: OpenJob, line: EvidenceLine) -> Iterator[report.PhotoView]:
    for photo in line.photos:
        yield report.PhotoView(name=photo.name, data=job.file(photo.attachment_id), ref=photo.attachment_id)


def _check(bench: Bench, check: Check) -> report.CheckView:
    circuit = bench.circuit
    place = from_json(check.place)
    seen = [entry for entry in bench.after_repair if entry.kind == "reading" and same_place(entry, place)]
    wanted = check.expected if place.quantity in ("works", "answers") else ""
    before, plain_before = _read_before(bench, check.place, wanted)
    return report.CheckView(
        what=check.sentence,
        before=state_word(before, place.quantity),
        after=state_word(check.seen, place.quantity),
        allowed=state_word(check.expected, place.quantity),
        result=check.state,
        allowed_source=SOURCE,
        plain=asked_words(place, circuit) if circuit else "",
        plain_before=plain_before,
        plain_after=seen_words(place, _value_of(seen[-1]), wanted) if seen else "",
        plain_allowed=right_words(place, wanted) or check.expected,
    )


def _finding(bench: Bench, view: BenchView, steps: tuple[report.StepView, ...]) -> report.FindingView:
    finding, closing = view.finding, view.job.closing
    refused = declined(bench.entries)
    if finding is None:
        return report.FindingView(cause=closing.cause if closing else "", declined=refused)
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
        consequence="; ".join(_symptoms(bench)) or "; ".join(finding.explains),
        missing=finding.missing_proof,
    )


def _symptoms(bench: Bench) -> Iterator[str]:
    """What the customer saw of it, before the repair."""
    after = {entry.entry_id for entry in bench.after_repair}
    struck = struck_ids(bench.entries)
    for entry in bench.entries:
        wrong = entry.kind == "complaint" and entry.payload.get("works") in ("no", "weak")
        if wrong and entry.entry_id not in after | struck:
            what, seen, _ = _plain_of(bench, entry)
            yield f"{what}: {seen}"


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
    place = _place(entry)
    circuit = bench.circuit
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


def _read_before(bench: Bench, wanted: Mapping[str, Any], healthy: str = "") -> tuple[str, str]:
    """The last that was read at a place before the repair, in words and in the customer's; '' where nothing was."""
    place = from_json(wanted)
    after = {entry.entry_id for entry in bench.after_repair}
    struck = struck_ids(bench.entries)
    circuit = bench.circuit
    for entry in reversed(bench.entries):
        made = None if entry.entry_id in after or entry.entry_id in struck else _place(entry)
        if made is not None and same(made, place):
            words = (
                str(entry.payload["works"]) if entry.kind == "complaint" else entry_words(entry, circuit)[1]
            )
            return words, seen_words(place, _value_of(entry), healthy)
    return "", ""


def _value_of(entry: EvidenceEntry) -> float | str:
    """What was read, or said of a load."""
    value: float | str = entry.payload.get("value", entry.payload.get("works", ""))
    return value


def _plain_of(bench: Bench, entry: EvidenceEntry) -> tuple[str, str, str]:
    """An entry in the customer's words: what was done, what was seen, what would be right; empty where it has none."""
    place, circuit = _place(entry), bench.circuit
    if place is None or circuit is None:
        return "", "", ""
    right = _allowed(bench, entry)
    return asked_words(place, circuit), seen_words(place, _value_of(entry), right), right_words(place, right)


def _decisive(bench: Bench, view: BenchView, entry: EvidenceEntry) -> bool:
    """Whether a reading was made at what was found, speaks for it, was made after the repair, or has a photo."""
    if entry.kind != "reading" or bench.told is None or view.finding is None:
        return False
    reading = bench.told.readings.get(entry.entry_id)
    if entry.attachments or any(later.entry_id == entry.entry_id for later in bench.after_repair):
        return True
    if any(point.partition(":")[0] == view.finding.part for point in _points(entry)):
        return True
    leading = view.suspects[0].for_ if view.suspects else ()
    return reading is not None and reading_text(reading, bench.told.diagnosis.circuit) in leading


def _points(entry: EvidenceEntry) -> list[str]:
    """Where the leads were, and what was joined or fitted for it."""
    place = _place(entry)
    if place is None:
        return []
    touched = [str(getattr(change, field.name)) for change in place.changes for field in fields(change)]
    return [place.at, *([place.to] if place.to else []), *touched]


def _place(entry: EvidenceEntry) -> Measurement | None:
    """What was measured, for a reading or a complaint."""
    try:
        if entry.kind == "reading":
            return from_json(entry.payload)
        if entry.kind == "complaint":
            return Measurement("works", str(entry.payload["load"]), str(entry.payload.get("state") or ""))
    except (HalfsplitError, KeyError):
        pass
    return None
