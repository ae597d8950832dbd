"""Evidence and attachments: appended once for each id, struck out by further entries, read in the order of storing."""

from collections.abc import Iterable, Sequence
from dataclasses import replace
from datetime import datetime
from typing import IO, Any

from sqlalchemy import Connection, insert, select

from halfsplit.errors import InputError, NotFoundError
from halfsplit.store.columns import canonical_json
from halfsplit.store.failures import EntryConflictError
from halfsplit.store.files import Check, FileStore
from halfsplit.store.records import Attachment, EvidenceEntry
from halfsplit.store.rows import checked, from_row
from halfsplit.store.tables import attachments, entry_attachments, evidence
from halfsplit.store.writing import JobWriter, Kept, row_of

# What was said. Not who and when: an outbox may send it again later, or after somebody else has signed in.
_CONTENT = ("kind", "present", "instrument", "serial", "strikes", "reason")


class Evidence(Kept):
    """Entries and the files that belong to them. Nothing of it is ever changed."""

    files: FileStore

    def record(self, job_id: str, entry: EvidenceEntry) -> EvidenceEntry:
        """Store one entry; returns it with its sequence number. A repeat of its id is stored once.

        Raises:
            EntryConflictError: the id is stored with different content.
            NotFoundError: it strikes an entry, or links an attachment, that is not there.
            InputError: a field cannot be kept.
        """
        return self.record_all(job_id, (entry,))[0]

    def record_all(self, job_id: str, entries: Iterable[EvidenceEntry]) -> tuple[EvidenceEntry, ...]:
        """Store several entries in their order, all or none of them."""
        with self._writing_job(job_id) as job:
            return tuple(_recorded(job, entry) for entry in entries)

    def strike(
        self, job_id: str, struck: str, *, entry_id: str, reason: str, who: str, at: datetime
    ) -> EvidenceEntry:
        """Strike out an entry with a reason, by a further entry. Striking a strike-out undoes it."""
        return self.record(
            job_id,
            EvidenceEntry(entry_id=entry_id, kind="strike", strikes=struck, reason=reason, who=who, at=at),
        )

    def evidence(self, job_id: str, *, after: int = 0) -> tuple[EvidenceEntry, ...]:
        """The entries numbered above `after`, struck ones too, oldest first; see `struck_ids`."""
        with self._reading_job(job_id) as connection:
            return read_evidence(connection, job_id, after)

    def entry(self, job_id: str, entry_id: str) -> EvidenceEntry | None:
        """One entry, struck out or not; None where there is none of this id."""
        with self._reading_job(job_id) as connection:
            return _read_entry(connection, job_id, entry_id)

    def attach(
        self, job_id: str, attachment: Attachment, source: IO[bytes], *, check: Check | None = None
    ) -> Attachment:
        """Store an attachment's bytes and what they are, found from the bytes. A repeat is stored once.

        `check` is called with the file and its SHA-256 when it has come in whole; where it raises, nothing is stored.
        The bytes are in the file store before the row that refers to them.

        Raises:
            InputError: empty, too large, or not what its kind should be.
            EntryConflictError: the id is stored with other bytes or as another kind.
        """
        with self._reading_job(job_id):
            pass  # no bytes are taken in for a job that is not there
        file = self.files.put(source, attachment.kind, attachment.name, check)
        kept = replace(attachment, sha256=file.sha256, size=file.size, media_type=file.media_type)
        with self._writing_job(job_id) as job:
            row = job.find(attachments, attachment_id=attachment.attachment_id)
            if row is None:
                kept = replace(kept, sequence=job.note("attachment", kept.attachment_id, kept.who, kept.at))
                job.add(attachments, kept)
                return kept
        stored = from_row(Attachment, row)
        if (stored.sha256, stored.kind) != (kept.sha256, kept.kind):
            raise EntryConflictError(
                f"attachment {attachment.attachment_id} is stored already with other bytes or as another kind: "
                "it was not changed. Send the new one under an id of its own."
            )
        return stored

    def link_attachments(
        self, job_id: str, entry_id: str, attachment_ids: Sequence[str], *, who: str, at: datetime
    ) -> None:
        """Link attachments to an entry that is stored already; links are only ever added."""
        with self._writing_job(job_id) as job:
            if _link(job, entry_id, attachment_ids):
                job.note("attachment link", entry_id, who, at)

    def attachments(self, job_id: str) -> tuple[Attachment, ...]:
        """The job's attachments without their bytes, oldest first."""
        return self._list(Attachment, attachments, job_id, "sequence")

    def attachment(self, job_id: str, attachment_id: str) -> Attachment:
        """One attachment without its bytes.

        Raises:
            NotFoundError: there is none.
        """
        with self._database.reading() as connection:
            row = row_of(connection, attachments, job_id=job_id, attachment_id=attachment_id)
        if row is None:
            raise NotFoundError(f"there is no attachment {attachment_id!r} in job {job_id!r}")
        return from_row(Attachment, row)

    def open_attachment(self, job_id: str, attachment_id: str) -> IO[bytes]:
        """An attachment's bytes, to be read and closed by the caller."""
        return self.files.open(self.attachment(job_id, attachment_id).sha256)


def _recorded(job: JobWriter, entry: EvidenceEntry) -> EvidenceEntry:
    """Store an entry, or find it stored already."""
    stored = _read_entry(job.connection, job.job_id, entry.entry_id)
    if stored is not None:
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
    _check_strike(job, entry)
    sequence = job.note("evidence", entry.entry_id, entry.who, entry.at)
    job.add(evidence, entry, sequence=sequence)
    _link(job, entry.entry_id, entry.attachments)
    return replace(entry, sequence=sequence)


def _read_entry(connection: Connection, job_id: str, entry_id: str) -> EvidenceEntry | None:
    row = row_of(connection, evidence, job_id=job_id, entry_id=entry_id)
    return _with_links(row, _linked(connection, job_id, entry_id).get(entry_id, ())) if row else None


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


def _link(job: JobWriter, entry_id: str, attachment_ids: Sequence[str]) -> int:
    """Link stored attachments to a stored entry, after those that it has; returns how many were new."""
    if job.find(evidence, entry_id=entry_id) is None:
        raise NotFoundError(f"there is no entry {entry_id!r} in this job")
    present = _linked(job.connection, job.job_id, entry_id).get(entry_id, ())
    wanted = [name for name in dict.fromkeys(attachment_ids) if name not in present]
    for position, attachment_id in enumerate(wanted, start=len(present)):
        if job.find(attachments, attachment_id=attachment_id) is None:
            raise NotFoundError(
                f"there is no attachment {attachment_id!r} in this job: store it before its entry"
            )
        link = {"entry_id": entry_id, "attachment_id": attachment_id, "position": position}
        row = checked(entry_attachments, link | {"job_id": job.job_id})
        job.connection.execute(insert(entry_attachments).values(row))
    return len(wanted)


def _linked(connection: Connection, job_id: str, entry_id: str | None = None) -> dict[str, tuple[str, ...]]:
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
    links = _linked(connection, job_id)
    rows = connection.execute(statement).mappings()
    return tuple(_with_links(row, links.get(row["entry_id"], ())) for row in rows)


def _with_links(row: Any, links: tuple[str, ...]) -> EvidenceEntry:
    return replace(from_row(EvidenceEntry, row), attachments=links)
