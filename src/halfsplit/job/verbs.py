"""What is done to a job, by a page, a command or the API alike. Each has stored what it says when it returns.

Ids come from whoever enters something, so a call that was cut off is simply made again.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from datetime import datetime
from typing import IO, Any, Literal

from halfsplit.diagnosis.measurement import Measurement
from halfsplit.errors import ConflictError, InputError, NotFoundError
from halfsplit.job.entering import FLICKERS, OVER_RANGE, read_entry, serials_of
from halfsplit.job.kinds import KINDS, checked_text, known_place
from halfsplit.job.open_job import OpenJob, new_id, now
from halfsplit.job.places import from_json, to_json
from halfsplit.job.replay import begin
from halfsplit.notation.checked import check_text
from halfsplit.notation.sketch import SKETCH_LOADS, Sketch, sketch_text
from halfsplit.store import (
    Attachment,
    AttachmentKind,
    Closing,
    Customer,
    EarlierWork,
    EvidenceEntry,
    Intake,
    Job,
    JobStore,
    Present,
    Step,
)

LONGEST_CIRCUIT = 400_000


def open_job(
    store: JobStore,
    intake: Intake,
    *,
    who: str,
    job_id: str = "",
    at: datetime | None = None,
    customer: Customer | None = None,
    circuit: str = "",
) -> Job:
    """Open a job, with the circuit if there is one already; a repeat of ``job_id`` opens it once."""
    job = store.open_job(job_id or new_id(), intake, who=who, at=at or now(), customer=customer)
    if circuit.strip() and job.circuit_version == 0:
        save_circuit(OpenJob(store, job.job_id, who), circuit, at=at)
    return store.job(job.job_id)


def save_circuit(job: OpenJob, text: str, *, based_on: int | None = None, at: datetime | None = None) -> Job:
    """Save the circuit as typed, mistakes and all: what was typed is never lost. The same text is stored once."""
    if len(text) > LONGEST_CIRCUIT:
        raise InputError(
            f"{len(text)} characters are no circuit", remedy=f"at most {LONGEST_CIRCUIT}", where="text"
        )
    present = job.store.circuit(job.job_id)
    if present is None or present.text != text:
        version = (present.version if present else 0) if based_on is None else based_on
        job.store.save_circuit(job.job_id, text, based_on=version, who=job.who, at=at or now())
    return job.record


def add_earlier_work(job: OpenJob, work: EarlierWork) -> None:
    """Add to the intake what was done before. Raises InputError where the circuit has no such place."""
    kept = job.record
    intake = replace(kept.intake, earlier_work=(*kept.intake.earlier_work, work))
    for why in begin(job.sound_circuit, intake).refused.values():
        raise InputError(why)
    job.store.save_intake(job.job_id, intake, based_on=kept.intake_version, who=job.who, at=now())


# Evidence


def take(
    job: OpenJob,
    kind: str,
    payload: Mapping[str, Any],
    *,
    entry_id: str = "",
    at: datetime | None = None,
    present: Present = "unknown",
    serial: str = "",
    attachments: Sequence[str] = (),
) -> EvidenceEntry:
    """Store one entry of any kind but a strike-out, after checking that its payload can be told."""
    if kind not in KINDS:
        raise InputError(
            f"{kind!r} is no kind of evidence", remedy=f"one of {', '.join(KINDS)}", where="kind"
        )
    said = KINDS[kind].check(payload, job.circuit)
    entry = job.new_entry(
        kind,
        said,
        entry_id=entry_id,
        at=at,
        present=present,
        instrument=str(said.get("instrument") or ""),
        serial=serial,
        attachments=tuple(attachments),
    )
    return _recorded(job, entry)


def record(  # noqa: PLR0913 - so does a reading
    job: OpenJob,
    place: Mapping[str, Any],
    typed: str,
    *,
    entry_id: str = "",
    unit: str = "",
    confirmed: bool = False,
    present: Present = "unknown",
    serial: str = "",
    at: datetime | None = None,
    attachments: Sequence[str] = (),
    minutes: float = 0.0,
) -> EvidenceEntry:
    """Store a reading as it was typed or tapped. ``minutes``: what the test was expected to take, if anyone counts.

    Raises `Doubt` where it has to be asked about first; nothing is stored then. 'flickers' becomes an event at the
    place: something there comes and goes.
    """
    already = _stored(job, entry_id)
    if already is not None:
        return already
    measured = from_json(place)
    if typed.strip().lower() == FLICKERS:
        said = {"place": measured.at.partition(":")[0], "what": "the reading flickers"}
        return take(job, "event", said, entry_id=entry_id, at=at, present="yes")
    circuit = job.sound_circuit
    measured = known_place(place, circuit)
    value = read_entry(
        measured.quantity, typed, unit=unit, confirmed=confirmed, net_volts=circuit.model.net_volts
    )
    more = {"typed": typed[:100]} | ({"minutes": round(minutes, 2)} if minutes else {})
    entry = {"entry_id": entry_id, "present": present, "at": at, "attachments": tuple(attachments)}
    return _kept_reading(job, measured, value, more, serial=serial, **entry)


def record_value(
    job: OpenJob,
    place: Mapping[str, Any],
    value: float | str,
    *,
    present: Present = "unknown",
    minutes: float = 0.0,
) -> EvidenceEntry:
    """Store a reading in the SI unit of its quantity, or as its word, that stands however odd it is.

    ``minutes``: what the test was expected to take.
    """
    measured = known_place(place, job.circuit)
    kept = OVER_RANGE if value == math.inf else value
    return _kept_reading(job, measured, kept, {"minutes": round(minutes, 2)}, present=present)


def _kept_reading(
    job: OpenJob,
    measured: Measurement,
    value: float | str,
    more: Mapping[str, Any],
    *,
    serial: str = "",
    **entry: Any,
) -> EvidenceEntry:
    instrument = measured.instrument or ""
    serial = serial or serials_of(job.store.workshop()).get(instrument, "")
    payload = {**to_json(measured), "value": value, **more}
    return _recorded(job, job.new_entry("reading", payload, instrument=instrument, serial=serial, **entry))


def _stored(job: OpenJob, entry_id: str) -> EvidenceEntry | None:
    """The entry of this id, if it came before: an outbox sends again what it does not know to have arrived."""
    return job.store.entry(job.job_id, entry_id) if entry_id else None


def _recorded(job: OpenJob, entry: EvidenceEntry) -> EvidenceEntry:
    already = _stored(job, entry.entry_id)
    if already is not None and (already.kind, dict(already.payload)) == (entry.kind, dict(entry.payload)):
        return already
    job.must_be_open("add evidence")
    return job.store.record(job.job_id, entry)


def strike(job: OpenJob, struck: str, *, reason: str, entry_id: str = "") -> EvidenceEntry:
    """Strike out an entry with a reason; it stays readable. Striking a strike-out undoes it."""
    if not reason.strip():
        raise InputError(
            "a reason is needed", remedy="say in a few words why this does not count", where="reason"
        )
    if _stored(job, struck) is None:
        raise NotFoundError(f"there is no entry {struck!r} in this job")
    return job.store.strike(
        job.job_id,
        struck,
        entry_id=entry_id or new_id(),
        reason=checked_text(reason, "reason"),
        who=job.who,
        at=now(),
    )


def complain_all(job: OpenJob, said: Iterable[tuple[str, str, str]], *, at: datetime | None = None) -> int:
    """Store what works and what does not: (load, yes | weak | no, state or ''). Returns how many were stored."""
    circuit = job.circuit
    heard = [
        KINDS["complaint"].check({"load": load, "works": works, "state": state}, circuit)
        for load, works, state in said
    ]
    entries = [job.new_entry("complaint", payload, at=at, present="yes") for payload in heard]
    job.store.record_all(job.job_id, entries)
    return len(entries)


def complain_of_sketch(job: OpenJob, sketch: Sketch) -> None:
    """'What does not work' was asked when the sketch was made: it is not asked again."""
    name = SKETCH_LOADS[sketch.kind][0]
    checked = check_text(sketch_text(sketch))
    states = list(checked.circuit.states) if checked.circuit else []
    complain_all(job, [(name, "no", states[-1] if states else "")])


# Photos, time, the end

DIAGRAM = "diagram"
"""First word of the name under which a photo of the wiring diagram is kept."""


def add_photo(
    job: OpenJob,
    source: IO[bytes],
    *,
    name: str,
    entry_id: str = "",
    kind: AttachmentKind = "photo",
    attachment_id: str = "",
) -> Attachment:
    """Store a photo (or document), and link it to the entry that it shows."""
    stored = job.store.attach(job.job_id, job.new_file(kind, name, attachment_id), source)
    if entry_id:
        job.store.link_attachments(job.job_id, entry_id, (stored.attachment_id,), who=job.who, at=now())
    return stored


def start_step(job: OpenJob, what: str) -> Step:
    """Begin to count the minutes of a piece of work."""
    step = Step(step_id=new_id(), what=checked_text(what, "what"), who=job.who, started_at=now())
    return job.store.save_line(job.job_id, step, who=job.who, at=now())


def stop_step(job: OpenJob, step_id: str) -> Step:
    """Stop counting. Raises ConflictError where the clock was put back meanwhile."""
    step = next((step for step in job.store.steps(job.job_id) if step.step_id == step_id), None)
    if step is None:
        raise NotFoundError(f"there is no step {step_id!r} in this job")
    if step.minutes is not None or step.started_at is None:
        return step
    at = now()
    if at < step.started_at:
        raise ConflictError(
            "the clock was put back since this was begun: withdraw it and enter the minutes yourself"
        )
    minutes = round((at - step.started_at).total_seconds() / 60, 1)
    return job.store.save_line(job.job_id, replace(step, minutes=minutes, stopped_at=at), who=job.who, at=at)


def withdraw(job: OpenJob, kind: Literal["parts", "steps"], line_id: str) -> None:
    """Take a part or a piece of work out of the sums; it stays in the record of changes."""
    store, job_id, at = job.store, job.job_id, now()
    part = next((part for part in store.parts(job_id) if kind == "parts" and part.part_id == line_id), None)
    step = next((step for step in store.steps(job_id) if kind == "steps" and step.step_id == line_id), None)
    if part:
        store.save_line(job_id, replace(part, withdrawn=True), who=job.who, at=at)
    elif step:
        store.save_line(job_id, replace(step, withdrawn=True), who=job.who, at=at)
    else:
        raise NotFoundError(f"there is no such {kind.removesuffix('s')} in this job")


def add_minutes(job: OpenJob, what: str, minutes: float, *, entry_id: str = "") -> Step:
    """A piece of work with its minutes as entered; ``entry_id``: the entry that it made."""
    if not 0 < minutes <= 6_000:
        raise InputError(f"{minutes:g} minutes", remedy="enter minutes between 0 and 6000", where="minutes")
    step = Step(
        step_id=new_id(),
        what=checked_text(what, "what"),
        who=job.who,
        minutes=minutes,
        entry_id=entry_id or None,
    )
    return job.store.save_line(job.job_id, step, who=job.who, at=now())


def close(job: OpenJob, *, complaint: str, cause: str, correction: str) -> Job:
    """Close the job as complaint, cause, correction."""
    return job.store.close_job(
        job.job_id,
        Closing(
            complaint=checked_text(complaint, "complaint"),
            cause=checked_text(cause, "cause"),
            correction=checked_text(correction, "correction"),
            who=job.who,
            at=now(),
        ),
    )
