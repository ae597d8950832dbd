"""Evidence: appended once for each id, struck out by further entries, read in the order of storing."""

from collections.abc import Sequence
from dataclasses import replace
from typing import Any

from sqlalchemy import Connection, insert, select

from halfsplit.errors import InputError, NotFoundError
from halfsplit.store.columns import canonical_json
from halfsplit.store.failures import EntryConflictError
from halfsplit.store.records import EvidenceEntry
from halfsplit.store.rows import checked, from_row
from halfsplit.store.tables import attachments, entry_attachments, evidence
from halfsplit.store.writing import JobWriter

# What was said. Not who and when: an outbox may send it again later, or after somebody else has signed in.
_CONTENT = ("kind", "present", "instrument", "serial", "strikes", "reason")


def record_entry(job: JobWriter, entry: EvidenceEntry) -> EvidenceEntry:
    """Store an entry, or find it stored already; returns it as stored, with its sequence number.

    Raises:
        EntryConflictError: the id is stored with different content.
        NotFoundError: it strikes an entry, or links an attachment, that is not there.
        InputError: a field cannot be kept.
    """
    stored = read_entry(job.connection, job.job_id, entry.entry_id)
    if stored is not None:
        return _repeated(job, entry, stored)
    _check_strike(job, entry)
    sequence = job.note("evidence", entry.entry_id, entry.who, entry.at)
    job.add(evidence, entry, sequence=sequence)
    link_attachments(job, entry.entry_id, entry.attachments)
    return replace(entry, sequence=sequence)


def read_entry(connection: Connection, job_id: str, entry_id: str) -> EvidenceEntry | None:
    """One entry by its id, or None."""
    statement = select(evidence).where(evidence.c.job_id == job_id, evidence.c.entry_id == entry_id)
    row = connection.execute(statement).mappings().one_or_none()
    return _with_links(row, linked(connection, job_id, entry_id).get(entry_id, ())) if row else None


def _repeated(job: JobWriter, entry: EvidenceEntry, stored: EvidenceEntry) -> EvidenceEntry:
    different = [name for name in _CONTENT if getattr(entry, name) != getattr(stored, name)]
    if canonical_json(dict(entry.payload)) != canonical_json(dict(stored.payload)):
        different.append("payload")
    if not set(entry.attachments) <= set(stored.attachments):
        different.append("attachments")
    if different:
        raise EntryConflictError(
            f"entry {entry.entry_id} is stored already with a different {' and '.join(different)}: "
            "it was not changed. Enter the new one under an id of its own, and strike out the old one."
        )
    return stored


def _check_strike(job: JobWriter, entry: EvidenceEntry) -> None:
    if (entry.kind == "strike") != (entry.strikes is not None):
        raise InputError(
            f"an entry of kind {entry.kind!r} with strikes={entry.strikes!r}",
            remedy="a strike-out, and nothing else, names the entry that it strikes",
        )
    if entry.strikes is None:
        return
    if not entry.reason.strip():
        raise InputError(
            "a strike-out without a reason", remedy="say in a few words why the entry does not count"
        )
    if job.find(evidence, entry_id=entry.strikes) is None:
        raise NotFoundError(f"there is no entry {entry.strikes!r} in this job to strike out")


def link_attachments(job: JobWriter, entry_id: str, attachment_ids: Sequence[str]) -> int:
    """Link stored attachments to a stored entry, after those that it has; returns how many were new."""
    if job.find(evidence, entry_id=entry_id) is None:
        raise NotFoundError(f"there is no entry {entry_id!r} in this job")
    present = linked(job.connection, job.job_id, entry_id).get(entry_id, ())
    wanted = [name for name in dict.fromkeys(attachment_ids) if name not in present]
    for position, attachment_id in enumerate(wanted, start=len(present)):
        if job.find(attachments, attachment_id=attachment_id) is None:
            raise NotFoundError(
                f"there is no attachment {attachment_id!r} in this job: store it before its entry"
            )
        link = {
            "entry_id": entry_id,
            "attachment_id": attachment_id,
            "position": position,
            "job_id": job.job_id,
        }
        job.connection.execute(insert(entry_attachments).values(checked(entry_attachments, link)))
    return len(wanted)


def linked(connection: Connection, job_id: str, entry_id: str | None = None) -> dict[str, tuple[str, ...]]:
    """Entry id -> ids of its attachments, for one entry or for the whole job."""
    links = entry_attachments.c
    statement = select(links.entry_id, links.attachment_id).where(links.job_id == job_id)
    if entry_id is not None:
        statement = statement.where(links.entry_id == entry_id)
    linked_to: dict[str, list[str]] = {}
    for entry, attachment in connection.execute(statement.order_by(links.entry_id, links.position)):
        linked_to.setdefault(entry, []).append(attachment)
    return {entry: tuple(names) for entry, names in linked_to.items()}


def read_evidence(connection: Connection, job_id: str, after: int = 0) -> tuple[EvidenceEntry, ...]:
    """The entries whose sequence number is above `after`, oldest first."""
    statement = (
        select(evidence)
        .where(evidence.c.job_id == job_id, evidence.c.sequence > after)
        .order_by(evidence.c.sequence)
    )
    links = linked(connection, job_id)
    rows = connection.execute(statement).mappings()
    return tuple(_with_links(row, links.get(row["entry_id"], ())) for row in rows)


def _with_links(row: Any, links: tuple[str, ...]) -> EvidenceEntry:
    return replace(from_row(EvidenceEntry, row), attachments=links)
