"""What is done to a job, by a page, a command or the API alike. Each has stored what it says when it returns.

Ids come from whoever enters something, so a call that was cut off is simply made again.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from datetime import datetime
from typing import IO, Any

from halfsplit.circuit.problems import CircuitError
from halfsplit.errors import ConflictError, InputError, NotFoundError
from halfsplit.job.apart import DECLINED, REFITTED, UNPLUGGED
from halfsplit.job.entering import FLICKERS, read_entry
from halfsplit.job.instruments import serials_of
from halfsplit.job.open_job import OpenJob, new_id, now
from halfsplit.job.places import check_place, from_json, to_json
from halfsplit.job.replay import REOPENED, REPAIR
from halfsplit.notation.checked import check_text
from halfsplit.notation.sketch import SKETCH_LOADS, Sketch, sketch_text
from halfsplit.store import (
    Attachment,
    AttachmentKind,
    Closing,
    Customer,
    EvidenceEntry,
    Intake,
    Job,
    JobStore,
    Present,
    Step,
)

LONGEST_TEXT = 2_000
"""Characters of a remark, a reason, a name of a place."""
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


def save_circuit(
    job: OpenJob,
    text: str,
    *,
    based_on: int | None = None,
    at: datetime | None = None,
) -> Job:
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


def checked_circuit(text: str) -> None:
    """Raise CircuitError with every mistake, for those who want a sound circuit only."""
    checked = check_text(text)
    if checked.circuit is None:
        raise CircuitError(checked.problems)


# Evidence


def take(  # noqa: PLR0913 - an entry has that many fields
    job: OpenJob,
    kind: str,
    payload: Mapping[str, Any],
    *,
    entry_id: str = "",
    at: datetime | None = None,
    present: Present = "unknown",
    instrument: str = "",
    serial: str = "",
    reason: str = "",
    attachments: Sequence[str] = (),
) -> EvidenceEntry:
    """Store one entry of any kind but a strike-out, after checking that its payload can be told."""
    if kind not in CHECKS:
        raise InputError(
            f"{kind!r} is no kind of evidence", remedy=f"one of {', '.join(CHECKS)}", where="kind"
        )
    said = CHECKS[kind](job, payload)
    entry = EvidenceEntry(
        entry_id=entry_id or new_id(),
        kind=kind,
        payload=said,
        at=at or now(),
        who=job.who,
        present=present,
        instrument=instrument or str(said.get("instrument") or ""),
        serial=serial,
        reason=reason,
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
) -> EvidenceEntry:
    """Store a reading as it was typed or tapped.

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
    _known(job, place)
    entered = read_entry(measured.quantity, typed, unit=unit, confirmed=confirmed, net_volts=_net_volts(job))
    kept: dict[str, Any] = {**to_json(measured), "value": entered.value, "typed": typed[:100]}
    entry = EvidenceEntry(
        entry_id=entry_id or new_id(),
        kind="reading",
        payload=kept,
        at=at or now(),
        who=job.who,
        present=present,
        instrument=measured.instrument or "",
        serial=serial or serials_of(job.store.workshop()).get(measured.instrument or "", ""),
        attachments=tuple(attachments),
    )
    return _recorded(job, entry)


def _stored(job: OpenJob, entry_id: str) -> EvidenceEntry | None:
    """The entry of this id, if it came before: an outbox sends again what it does not know to have arrived."""
    if not entry_id:
        return None
    return next((entry for entry in job.entries if entry.entry_id == entry_id), None)


def _recorded(job: OpenJob, entry: EvidenceEntry) -> EvidenceEntry:
    already = _stored(job, entry.entry_id)
    if already is not None and (already.kind, dict(already.payload)) == (entry.kind, dict(entry.payload)):
        return already
    if job.record.state == "closed":
        raise ConflictError("this job is closed: open it again to add evidence")
    return job.store.record(job.job_id, entry)


def strike(job: OpenJob, struck: str, *, reason: str, entry_id: str = "") -> EvidenceEntry:
    """Strike out an entry with a reason; it stays readable. Striking a strike-out undoes it."""
    if not reason.strip():
        raise InputError(
            "a reason is needed", remedy="say in a few words why this does not count", where="reason"
        )
    if all(entry.entry_id != struck for entry in job.entries):
        raise NotFoundError(f"there is no entry {struck!r} in this job")
    return job.store.strike(
        job.job_id,
        struck,
        entry_id=entry_id or new_id(),
        reason=_text(reason, "reason"),
        who=job.who,
        at=now(),
    )


def complain_all(
    job: OpenJob,
    said: Iterable[tuple[str, str, str]],
    *,
    at: datetime | None = None,
) -> int:
    """Store what works and what does not: (load, yes | weak | no, state or ''). Returns how many were stored."""
    entries = [
        EvidenceEntry(
            entry_id=new_id(),
            kind="complaint",
            who=job.who,
            at=at or now(),
            present="yes",
            payload=_complaint(job, {"load": load, "works": works, "state": state}),
        )
        for load, works, state in said
    ]
    job.store.record_all(job.job_id, entries)
    return len(entries)


def complain_of_sketch(job: OpenJob, sketch: Sketch) -> None:
    """'What does not work' was asked when the sketch was made: it is not asked again."""
    name = SKETCH_LOADS[sketch.kind][0]
    checked = check_text(sketch_text(sketch))
    states = list(checked.circuit.states) if checked.circuit else []
    complain_all(job, [(name, "no", states[-1] if states else "")])


# Checks of what is entered, by kind


def _text(value: Any, where: str, *, needed: bool = True) -> str:
    if value is None and not needed:
        return ""
    if (
        not isinstance(value, str)
        or (needed and not value.strip())
        or len(value) > LONGEST_TEXT
        or "\x00" in value
    ):
        raise InputError(
            "a few words are expected here", remedy=f"at most {LONGEST_TEXT} characters", where=where
        )
    return value.strip()


def _complaint(job: OpenJob, said: Mapping[str, Any]) -> dict[str, Any]:
    works = said.get("works")
    if works not in ("yes", "weak", "no"):
        raise InputError(f"{works!r} is no answer", remedy="one of yes, weak, no", where="works")
    load, state = _text(said.get("load"), "load"), _text(said.get("state"), "state", needed=False)
    _known(job, {"quantity": "works", "at": load, "state": state})
    return {"load": load, "works": works, "state": state}


def _code(job: OpenJob, said: Mapping[str, Any]) -> dict[str, Any]:
    pin = said.get("pin")
    return {
        "module": _text(said.get("module"), "module"),
        "failure": _text(said.get("failure"), "failure"),
        "pin": None if pin in (None, "") else str(pin),
        "set": bool(said.get("set", True)),
        "state": _text(said.get("state"), "state", needed=False),
    }


def _event(job: OpenJob, said: Mapping[str, Any]) -> dict[str, Any]:
    return {"place": _text(said.get("place"), "place"), "what": _text(said.get("what"), "what")}


def _note(job: OpenJob, said: Mapping[str, Any]) -> dict[str, Any]:
    return {"text": _text(said.get("text"), "text")}


def _cannot(job: OpenJob, said: Mapping[str, Any]) -> dict[str, Any]:
    _known(job, said)
    return {**to_json(from_json(said)), "why": _text(said.get("why"), "why", needed=False)}


def _repair(job: OpenJob, said: Mapping[str, Any]) -> dict[str, Any]:
    return {"what": _text(said.get("what"), "what"), "part": _text(said.get("part"), "part", needed=False)}


def _named(job: OpenJob, said: Mapping[str, Any]) -> dict[str, Any]:
    return {"what": _text(said.get("what"), "what")}


def _reading(job: OpenJob, said: Mapping[str, Any]) -> dict[str, Any]:
    raise InputError(
        "a reading is entered as it is shown", remedy="send `value` as text with the place", where="kind"
    )


CHECKS = {
    "complaint": _complaint,
    "code": _code,
    "event": _event,
    "note": _note,
    "cannot": _cannot,
    REPAIR: _repair,
    REOPENED: _note,
    UNPLUGGED: _named,
    REFITTED: _named,
    DECLINED: _named,
    "reading": _reading,
}
"""Kind of entry → what its payload must be; gives the payload as it is stored, or raises InputError."""


def _known(job: OpenJob, place: Mapping[str, Any]) -> None:
    """Raise where the circuit has no such state, part or point."""
    measured = from_json(place)
    with job.bench() as bench:
        if bench.told is None:
            raise ConflictError("this job has no usable circuit yet: enter one first, then measure")
        check_place(bench.told.diagnosis.circuit, measured)


def _net_volts(job: OpenJob) -> float:
    with job.bench() as bench:
        circuit = bench.checked.circuit if bench.checked else None
        battery = next(iter(circuit.model.of_kind("battery")), None) if circuit else None
        return 24.0 if battery is not None and battery.values.get("V", 12.6) > 18 else 12.0


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
    kept = Attachment(
        attachment_id=attachment_id or new_id(), kind=kind, name=name[-120:] or kind, at=now(), who=job.who
    )
    stored = job.store.attach(job.job_id, kept, source)
    if entry_id:
        job.store.link_attachments(job.job_id, entry_id, (stored.attachment_id,), who=job.who, at=now())
    return stored


def start_step(job: OpenJob, what: str, *, step_id: str = "") -> Step:
    """Begin to count the minutes of a piece of work."""
    step = Step(step_id=step_id or new_id(), what=_text(what, "what"), who=job.who, started_at=now())
    return job.store.save_step(job.job_id, step, who=job.who, at=now())


def stop_step(job: OpenJob, step_id: str) -> Step:
    """Stop counting."""
    step = next((one for one in job.store.steps(job.job_id) if one.step_id == step_id), None)
    if step is None:
        raise NotFoundError(f"there is no step {step_id!r} in this job")
    if step.minutes is not None or step.started_at is None:
        return step
    at = now()
    minutes = round(max(0.0, (at - step.started_at).total_seconds() / 60), 1)
    return job.store.save_step(job.job_id, replace(step, minutes=minutes, stopped_at=at), who=job.who, at=at)


def add_minutes(job: OpenJob, what: str, minutes: float, *, entry_id: str = "") -> Step:
    """A piece of work with its minutes as entered; ``entry_id``: the entry that it made."""
    if not 0 < minutes <= 6_000:
        raise InputError(f"{minutes:g} minutes", remedy="enter minutes between 0 and 6000", where="minutes")
    step = Step(
        step_id=new_id(), what=_text(what, "what"), who=job.who, minutes=minutes, entry_id=entry_id or None
    )
    return job.store.save_step(job.job_id, step, who=job.who, at=now())


def close(job: OpenJob, *, complaint: str, cause: str, correction: str) -> Job:
    """Close the job as complaint, cause, correction."""
    return job.store.close_job(
        job.job_id,
        Closing(
            complaint=_text(complaint, "complaint"),
            cause=_text(cause, "cause"),
            correction=_text(correction, "correction"),
            who=job.who,
            at=now(),
        ),
    )
