"""Reports of a job as PDF: the job's records put into the words that ``halfsplit.report`` prints."""

from __future__ import annotations

from collections.abc import Iterator
from importlib.util import find_spec

import halfsplit
from halfsplit import report
from halfsplit.drawing import Overlays, paint_plan, plan
from halfsplit.errors import HalfsplitError, MissingProgramError
from halfsplit.job import apart, judging
from halfsplit.job.bench import bench_view, same_place
from halfsplit.job.entry_words import state_word
from halfsplit.job.kinds import entry_words
from halfsplit.job.memory import Bench
from halfsplit.job.open_job import OpenJob
from halfsplit.job.pictures import last_readings
from halfsplit.job.places import from_json
from halfsplit.job.plain import asked_words, right_words, seen_words
from halfsplit.job.signal_reports import arrival_codes, codes_view, drain_report
from halfsplit.job.tests import lead_words
from halfsplit.job.views import BenchView, Check, EvidenceLine
from halfsplit.report.view import Phase
from halfsplit.report.words import day, moment  # noqa: F401 - the page tells days so too
from halfsplit.store import BatteryReading, Customer, EvidenceEntry, JobStore, struck_ids

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
            unplugged=tuple(apart.apart_words(what, circuit) for what in apart.taken_apart(bench.entries)),
            refitted=tuple(apart.apart_words(what, circuit) for what in apart.put_back(bench.entries)),
            work=view.costs.steps,
            parts=view.costs.used("fitted"),
            limits=job.store.authorisations(job.job_id),
            money=view.costs,
            suspects=tuple(_suspects(view)),
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
            plain, plain_reading, plain_allowed = judging.plain_of(bench, entry)
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
                allowed=state_word(judging.allowed(bench, entry), "works"),
                plain=plain,
                plain_reading=plain_reading,
                plain_allowed=plain_allowed,
                allowed_source=judging.SOURCE if judging.allowed(bench, entry) else "",
                decisive=judging.decisive(bench, view, entry),
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
    before, plain_before = judging.before(bench, check.place, wanted)
    return report.CheckView(
        what=check.sentence,
        before=state_word(before, place.quantity),
        after=state_word(check.seen, place.quantity),
        allowed=state_word(check.expected, place.quantity),
        result=check.state,
        allowed_source=judging.SOURCE,
        plain=asked_words(place, circuit) if circuit else "",
        plain_before=plain_before,
        plain_after=seen_words(place, judging.value_of(seen[-1]), wanted) if seen else "",
        plain_allowed=right_words(place, wanted) or check.expected,
    )


def _finding(bench: Bench, view: BenchView, steps: tuple[report.StepView, ...]) -> report.FindingView:
    finding, closing = view.finding, view.job.closing
    refused = apart.declined(bench.entries)
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
            what, seen, _ = judging.plain_of(bench, entry)
            yield f"{what}: {seen}"


def _suspects(view: BenchView) -> Iterator[report.SuspectView]:
    for out, some in ((False, view.suspects), (True, view.out[:20])):
        for suspect in some:
            yield report.SuspectView(
                name=suspect.name,
                probability=suspect.probability,
                repair=suspect.repair,
                for_=suspect.for_,
                against=suspect.against,
                out=out,
            )


def _drawing(bench: Bench, view: BenchView) -> str:
    """The whole drawing with its styles inside, as it stands at the end."""
    circuit = bench.circuit
    if circuit is None or not circuit.parts:
        return ""
    suspicion = {suspect.part: suspect.probability for suspect in view.suspects}
    return paint_plan(plan(circuit.model), Overlays(suspicion, last_readings(bench), {}), standalone=True).svg
