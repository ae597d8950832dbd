"""Attachments of a job: the bytes in the file store first, then the row that refers to them."""

from dataclasses import replace

from sqlalchemy import Connection, select

from halfsplit.errors import NotFoundError
from halfsplit.store.failures import EntryConflictError
from halfsplit.store.files import StoredFile
from halfsplit.store.records import Attachment
from halfsplit.store.rows import from_row
from halfsplit.store.tables import attachments
from halfsplit.store.writing import JobWriter


def add_attachment(job: JobWriter, attachment: Attachment, file: StoredFile) -> Attachment:
    """Refer to a stored file; a repeat is stored once.

    Raises:
        EntryConflictError: the id is stored with other bytes or as another kind.
    """
    kept = replace(attachment, sha256=file.sha256, size=file.size, media_type=file.media_type)
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


def read_attachment(connection: Connection, job_id: str, attachment_id: str) -> Attachment:
    """One attachment of a job, without its bytes."""
    here = attachments.c
    statement = select(attachments).where(here.job_id == job_id, here.attachment_id == attachment_id)
    row = connection.execute(statement).mappings().one_or_none()
    if row is None:
        raise NotFoundError(f"there is no attachment {attachment_id!r} in job {job_id!r}")
    return from_row(Attachment, row)
