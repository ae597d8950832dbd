"""How scans and drains are kept: a file as attachment, and what was done with it as entries of the evidence.

Nothing new is stored for them: an entry is kept for ever, can be struck out with a reason, is seen by whoever has the
job open, and travels with the job's file. What an entry of these kinds says concerns people and these pages; only what
is made evidence in words of the circuit reaches the diagnosis.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from io import BytesIO
from typing import Any

from halfsplit.errors import ConflictError, NotFoundError
from halfsplit.job.verbs import new_id, now
from halfsplit.store import Attachment, AttachmentKind, EvidenceEntry, JobStore, struck_ids


def keep_file(
    store: JobStore, job_id: str, kind: AttachmentKind, data: bytes, *, name: str, who: str, file_id: str = ""
) -> Attachment:
    """Store a file with the job. Raises InputError where it is not what its kind may be."""
    open_for_entries(store, job_id)
    kept = Attachment(
        attachment_id=file_id or new_id(), kind=kind, name=name[-120:] or kind, at=now(), who=who
    )
    return store.attach(job_id, kept, BytesIO(data))


def keep_entry(
    store: JobStore,
    job_id: str,
    kind: str,
    payload: Mapping[str, Any],
    *,
    who: str,
    entry_id: str = "",
) -> EvidenceEntry:
    """Store one entry; the same id again with the same payload is stored once. Raises ConflictError if closed."""
    open_for_entries(store, job_id)
    entry = EvidenceEntry(
        entry_id=entry_id or new_id(), kind=kind, payload=dict(payload), at=now(), who=who, present="unknown"
    )
    return store.record(job_id, entry)


def open_for_entries(store: JobStore, job_id: str) -> None:
    """Raise ConflictError where the job is closed."""
    if store.job(job_id).state == "closed":
        raise ConflictError("this job is closed: open it again to add to it")


def live_entries(store: JobStore, job_id: str, kind: str) -> Iterator[EvidenceEntry]:
    """The entries of a kind that are not struck out, in their order."""
    entries = store.evidence(job_id)
    struck = struck_ids(entries)
    yield from (entry for entry in entries if entry.kind == kind and entry.entry_id not in struck)


def last_payload(store: JobStore, job_id: str, kind: str) -> dict[str, Any]:
    """What the latest entry of a kind says, empty where there is none."""
    found = [dict(entry.payload) for entry in live_entries(store, job_id, kind)]
    return found[-1] if found else {}


def file_bytes(store: JobStore, job_id: str, attachment_id: str) -> bytes:
    """The bytes of an attachment. Raises NotFoundError."""
    with store.open_attachment(job_id, attachment_id) as source:
        return source.read()


def find_entry(store: JobStore, job_id: str, kind: str, entry_id: str) -> EvidenceEntry:
    """The entry of that id, struck out or not. Raises NotFoundError."""
    for entry in store.evidence(job_id):
        if (entry.kind, entry.entry_id) == (kind, entry_id):
            return entry
    raise NotFoundError(f"there is no {kind} {entry_id[:60]!r} in this job")
