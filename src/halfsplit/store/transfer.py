"""A whole job out of the database and into it, at one moment and in one transaction."""

from collections import Counter
from collections.abc import Iterable, Iterator
from dataclasses import fields
from datetime import datetime
from typing import Any

from sqlalchemy import Connection, insert, select

from halfsplit.errors import ConflictError, InputError
from halfsplit.store import tables
from halfsplit.store.evidence import read_evidence
from halfsplit.store.jobs import (
    add_intake,
    customer_columns,
    next_number,
    read_intakes,
    search_text,
    wait_for_turn,
)
from halfsplit.store.records import (
    Attachment,
    Authorisation,
    Change,
    CircuitVersion,
    Closing,
    Customer,
    JobFile,
    PartUsed,
    ShownResult,
    Step,
)
from halfsplit.store.rows import checked, from_row
from halfsplit.store.writing import JobWriter, no_job, row_of, rows_of

# Field of a `JobFile` -> its table, its record, the key within the job.
_LISTS: dict[str, tuple[Any, Any, str]] = {
    "circuits": (tables.circuits, CircuitVersion, "version"),
    "attachments": (tables.attachments, Attachment, "attachment_id"),
    "steps": (tables.steps, Step, "step_id"),
    "parts": (tables.parts, PartUsed, "part_id"),
    "authorisations": (tables.authorisations, Authorisation, "authorisation_id"),
    "shown": (tables.shown_results, ShownResult, "sequence"),
    "closings": (tables.closings, Closing, "sequence"),
    "changes": (tables.audit, Change, "sequence"),
}
_KEYS = {name: key for name, (_, _, key) in _LISTS.items()} | {"intakes": "version", "evidence": "entry_id"}


def read_whole_job(connection: Connection, job_id: str) -> JobFile:
    """Everything that is kept of a job.

    Raises:
        NotFoundError: there is no such job.
    """
    row = row_of(connection, tables.jobs, job_id=job_id)
    if row is None:
        raise no_job(job_id)
    own: dict[str, Any] = {field.name: row[field.name] for field in fields(JobFile) if field.name in row}
    lists: dict[str, Any] = {
        name: tuple(from_row(kind, line) for line in rows_of(connection, table, job_id, "sequence"))
        for name, (table, kind, _) in _LISTS.items()
    }
    return JobFile(
        **own,
        **lists,
        customer=None if row["customer_name"] is None else from_row(Customer, row, "customer_"),
        intakes=read_intakes(connection, job_id),
        evidence=read_evidence(connection, job_id),
    )


def write_whole_job(connection: Connection, job: JobFile, job_id: str, who: str, at: datetime) -> None:
    """Insert a checked job under this id, with the workshop's next number; the import is its next change.

    Raises:
        ConflictError: there is a job with this id.
        InputError: a value cannot be kept.
    """
    wait_for_turn(connection)
    if row_of(connection, tables.jobs, job_id=job_id):
        raise ConflictError(
            f"job {job_id} is in this job store already: import it under another id to have a copy"
        )
    number = next_number(connection)
    row: dict[str, Any] = {
        name: getattr(job, name) for name in ("state", "opened_at", "opened_by", "changed_at", "last_change")
    }
    row |= {
        "job_id": job_id,
        "number": number,
        "intake_version": len(job.intakes),
        "circuit_version": len(job.circuits),
    }
    row |= {"search": search_text(number, job.intakes[-1].intake, job.customer)}
    row |= customer_columns(job.customer)
    connection.execute(insert(tables.jobs).values(checked(tables.jobs, row)))
    stored = connection.execute(select(tables.jobs).where(tables.jobs.c.job_id == job_id)).mappings().one()
    _write_lists(JobWriter(connection, job_id, stored, job.last_change, job.changed_at), job, who, at)


def _write_lists(writer: JobWriter, job: JobFile, who: str, at: datetime) -> None:
    for version in job.intakes:
        add_intake(writer.connection, writer.job_id, version)
    for name, (table, _, _) in _LISTS.items():
        for record in getattr(job, name):
            writer.add(table, record)
    for entry in job.evidence:
        writer.add(tables.evidence, entry)
        for position, attachment_id in enumerate(entry.attachments):
            link = {"entry_id": entry.entry_id, "attachment_id": attachment_id, "position": position}
            writer.connection.execute(
                insert(tables.entry_attachments).values(link | {"job_id": writer.job_id})
            )
    writer.note("import", job.job_id, who, at)


def check_whole_job(job: JobFile) -> None:
    """Check that everything in a job from outside finds what it refers to.

    Raises:
        InputError: the first thing that is wrong.
    """
    for problem in _problems(job):
        raise InputError(problem, remedy="export the job again; nothing was imported")


def _problems(job: JobFile) -> Iterator[str]:
    for name, key in _KEYS.items():
        yield from _repeated(name, (getattr(record, key) for record in getattr(job, name)))
    for name in ("intakes", "circuits"):
        if [record.version for record in getattr(job, name)] != list(range(1, len(getattr(job, name)) + 1)):
            yield f"the versions of the {name} do not count up from 1"
    if [change.sequence for change in job.changes] != list(range(1, job.last_change + 1)):
        yield f"the changes do not count up from 1 to {job.last_change}"
    if not job.intakes:
        yield "there is no intake"
    if job.state == "closed" and not job.closings:
        yield "the job is closed without a closing"
    yield from _evidence_problems(job)


def _repeated(name: str, keys: Iterable[Any]) -> Iterator[str]:
    yield from (
        f"{key!r} is there {times} times among the {name}"
        for key, times in Counter(keys).items()
        if times > 1
    )


def _evidence_problems(job: JobFile) -> Iterator[str]:
    attachments = {attachment.attachment_id for attachment in job.attachments}
    earlier: set[str] = set()
    last = 0
    for entry in job.evidence:
        if not last < entry.sequence <= job.last_change:
            yield f"entry {entry.entry_id!r} is out of order (number {entry.sequence} after {last})"
        if (entry.kind == "strike") != (entry.strikes is not None) or (
            entry.strikes and not entry.reason.strip()
        ):
            yield f"entry {entry.entry_id!r} is half a strike-out: it needs what it strikes, and a reason"
        if entry.strikes is not None and entry.strikes not in earlier:
            yield f"entry {entry.entry_id!r} strikes {entry.strikes!r}, which is not before it"
        yield from (
            f"entry {entry.entry_id!r} shows attachment {name!r}, which is not there"
            for name in entry.attachments
            if name not in attachments
        )
        yield from _repeated(f"attachments of entry {entry.entry_id!r}", entry.attachments)
        earlier.add(entry.entry_id)
        last = entry.sequence
