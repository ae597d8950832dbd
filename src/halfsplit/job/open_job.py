"""`OpenJob`: a job of a store and whoever works on it, which is what every verb and view of a job takes.

Everything is read from the store when it is asked for. Files and entries that are added stay for ever, can be struck
out with a reason, are seen by whoever has the job open, and travel with the job's file.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from contextlib import AbstractContextManager
from dataclasses import dataclass
from datetime import UTC, datetime
from io import BytesIO
from typing import Any
from uuid import uuid4

import halfsplit
from halfsplit.circuit.circuit import Circuit
from halfsplit.errors import ConflictError, NotFoundError
from halfsplit.job.memory import Bench, at_bench
from halfsplit.job.places import NoCircuitError
from halfsplit.notation.checked import Checked, check_text
from halfsplit.store import Attachment, AttachmentKind, EvidenceEntry, Job, JobStore, ShownResult, counting


def new_id() -> str:
    """A fresh id, where whoever enters something brings none."""
    return str(uuid4())


def now() -> datetime:
    """The present moment, in UTC."""
    return datetime.now(UTC)


@dataclass(frozen=True)
class OpenJob:
    """A job by its id; ``who`` is the name that stands beside what is entered.

    ``since``: the last change that its bench has to know of, all if None: what a page fetches late need not wait for
    what others have entered meanwhile.
    Whatever looks for it raises NotFoundError where there is none of this id.
    """

    store: JobStore
    job_id: str
    who: str = ""
    since: int | None = None

    @property
    def record(self) -> Job:
        """Number, state, intake, customer and closing."""
        return self.store.job(self.job_id)

    @property
    def entries(self) -> tuple[EvidenceEntry, ...]:
        """All evidence, struck out or not, oldest first."""
        return self.store.evidence(self.job_id)

    @property
    def attachments(self) -> tuple[Attachment, ...]:
        """Photos, captures, scans and documents."""
        return self.store.attachments(self.job_id)

    @property
    def checked(self) -> Checked | None:
        """The circuit's text and what it says; None before there is one."""
        version = self.store.circuit(self.job_id)
        return check_text(version.text) if version else None

    @property
    def circuit(self) -> Circuit | None:
        """The circuit; None before there is one, and while its text has mistakes."""
        checked = self.checked
        return checked.circuit if checked else None

    @property
    def sound_circuit(self) -> Circuit:
        """The circuit. Raises ConflictError where there is none that can be used."""
        circuit = self.circuit
        if circuit is None:
            raise NoCircuitError
        return circuit

    def bench(self) -> AbstractContextManager[Bench]:
        """The job with a diagnosis that has heard everything stored; nobody else works on it until the block ends."""
        return at_bench(self.store, self.job_id, self.since)

    # Entries and files

    def live(self, kind: str) -> Iterator[EvidenceEntry]:
        """The entries of a kind that are not struck out, in their order."""
        yield from (entry for entry in counting(self.entries) if entry.kind == kind)

    def last(self, kind: str) -> dict[str, Any]:
        """What the latest entry of a kind says, empty where there is none."""
        return dict(next((entry.payload for entry in reversed(list(self.live(kind)))), {}))

    def entry(self, kind: str, entry_id: str) -> EvidenceEntry:
        """The entry of that id, struck out or not. Raises NotFoundError."""
        entry = self.store.entry(self.job_id, entry_id)
        if entry is not None and entry.kind == kind:
            return entry
        raise NotFoundError(f"there is no {kind} {entry_id[:60]!r} in this job")

    def file(self, attachment_id: str) -> bytes:
        """The bytes of an attachment. Raises NotFoundError."""
        with self.store.open_attachment(self.job_id, attachment_id) as source:
            return source.read()

    def must_be_there(self) -> None:
        """Raise NotFoundError where there is no such job."""
        self.store.job(self.job_id)

    def must_be_open(self, for_what: str = "add to it") -> None:
        """Raise ConflictError where the job is closed."""
        if self.record.state == "closed":
            raise ConflictError(f"this job is closed: open it again to {for_what}")

    def keep(self, kind: str, payload: Mapping[str, Any], *, entry_id: str = "") -> EvidenceEntry:
        """Store one entry as it is; the same id again with the same payload is stored once.

        Raises ConflictError if the job is closed.
        """
        self.must_be_open()
        return self.store.record(self.job_id, self.new_entry(kind, payload, entry_id=entry_id))

    def new_entry(
        self,
        kind: str,
        payload: Mapping[str, Any],
        *,
        entry_id: str = "",
        at: datetime | None = None,
        **more: Any,
    ) -> EvidenceEntry:
        """An entry that is about to be stored, under its own name; ``more``: further fields of an `EvidenceEntry`."""
        return EvidenceEntry(
            entry_id=entry_id or new_id(),
            kind=kind,
            payload=dict(payload),
            at=at or now(),
            who=self.who,
            **more,
        )

    def keep_shown(self, what: str, document: Mapping[str, Any], *, after: int) -> None:
        """Keep what somebody is shown, with this release; ``after``: the last change that it knows of."""
        shown = ShownResult(
            what=what,
            document=document,
            engine_version=halfsplit.__version__,
            after=after,
            who=self.who,
            at=now(),
        )
        self.store.keep_shown(self.job_id, shown)

    def new_file(self, kind: AttachmentKind, name: str, file_id: str = "") -> Attachment:
        """A file that is about to be stored, under its own name."""
        return Attachment(
            attachment_id=file_id or new_id(), kind=kind, name=name[-120:] or kind, at=now(), who=self.who
        )

    def keep_file(self, kind: AttachmentKind, data: bytes, *, name: str, file_id: str = "") -> Attachment:
        """Store a file. Raises InputError where it is not what its kind may be, ConflictError if the job is closed."""
        self.must_be_open()
        return self.store.attach(self.job_id, self.new_file(kind, name, file_id), BytesIO(data))
