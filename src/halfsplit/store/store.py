"""The job store: one class for SQLite and PostgreSQL.

Every method that writes has written when it returns: the change is on the disk, has its sequence number and
stands in the audit list. Ids come from whoever entered something, so a call that was cut off is simply made
again.
"""

from collections.abc import Iterable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import replace
from datetime import datetime
from pathlib import Path
from typing import IO, Any, Self, TypeVar

from sqlalchemy import Connection, RowMapping, Table, func, select, tuple_, update

from halfsplit.errors import InputError, NotFoundError, StorageError
from halfsplit.store import evidence, jobs, lessons, tables, transfer
from halfsplit.store.accounts import Accounts
from halfsplit.store.attachments import add_attachment, read_attachment
from halfsplit.store.costs import authorise, save_line
from halfsplit.store.database import Database, checked_url, default_files
from halfsplit.store.files import Check, FileStore
from halfsplit.store.practices import Practices
from halfsplit.store.records import (
    Attachment,
    Authorisation,
    Change,
    CircuitVersion,
    ClosedJob,
    Closing,
    Customer,
    EvidenceEntry,
    Intake,
    IntakeVersion,
    Job,
    JobFile,
    JobState,
    JobSummary,
    PartUsed,
    ShownResult,
    Step,
    Workshop,
)
from halfsplit.store.rows import checked, from_row, to_row
from halfsplit.store.writing import no_job, note_audit, writing_job

R = TypeVar("R")


class JobStore:
    """All jobs of one workshop.

    Args:
        url: `sqlite:///FILE` or `postgresql://USER@HOST/DATABASE`; see `default_url`.
        files: folder for the attachments' bytes; by default beside SQLite's file, or with PostgreSQL in this
        user's data folder (several servers on one database need the same).
        busy_seconds: how long a write waits for another program's.

    Attributes:
        accounts: users, sessions, tries to sign in, the first owner's link, the audit list.
        practices: exercises of practice, per person.

    Raises:
        InputError: the URL is of no use.
        StorageError: the database cannot be opened, or is of a later release (`TooNewError`).

    >>> from tempfile import TemporaryDirectory
    >>> from datetime import UTC, datetime
    >>> now = datetime(2026, 3, 2, 8, 0, tzinfo=UTC)
    >>> entry = EvidenceEntry(entry_id="e-1", kind="note", payload={"text": "no wipe"}, at=now, who="Ada")
    >>> with TemporaryDirectory() as folder, JobStore(f"sqlite:///{folder}/jobs.db") as store:
    ...     job = store.open_job("job-1", Intake(), who="Ada", at=now)
    ...     first, again = store.record("job-1", entry), store.record("job-1", entry)
    >>> job.number, first == again, first.sequence
    (1, True, 2)
    """

    def __init__(self, url: str, *, files: Path | None = None, busy_seconds: float = 10.0) -> None:
        address = checked_url(url)
        self.url = url
        self.files = FileStore(files or default_files(address))
        self.files.tidy()
        self._database = Database(address, busy_seconds=busy_seconds)
        self.accounts = Accounts(self._database)
        self.practices = Practices(self._database)

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def close(self) -> None:
        """Give the connections back; nothing needs saving."""
        self._database.close()

    def check(self) -> tuple[str, ...]:
        """Check the database and every attachment's file; what was found wrong, empty when sound."""
        problems = list(self._database.check())
        if problems:
            return tuple(problems)
        contents = select(tables.attachments.c.sha256, tables.attachments.c.size).distinct()
        with self._database.reading() as connection:
            stored = connection.execute(contents).all()
        for sha256, size in stored:
            try:
                self.files.check(sha256, size)
            except StorageError as error:
                problems.append(str(error))
        return tuple(problems)

    # Jobs

    def open_job(
        self, job_id: str, intake: Intake, *, who: str, at: datetime, customer: Customer | None = None
    ) -> Job:
        """Open a job under the id given; it gets the workshop's next number. A repeat opens it once.

        Raises:
            EntryConflictError: the id is open with a different intake.
        """
        with self._database.writing() as connection:
            jobs.open_job(connection, job_id, intake, customer, who, at)
        return self.job(job_id)

    def job(self, job_id: str) -> Job:
        """A job as it stands now.

        Raises:
            NotFoundError: there is no such job.
        """
        with self._database.reading() as connection:
            return jobs.read_job(connection, tables.jobs.c.job_id == job_id, job_id)

    def job_by_number(self, number: int) -> Job:
        """A job by its number on the workshop's list.

        Raises:
            NotFoundError: there is no such job.
        """
        with self._database.reading() as connection:
            return jobs.read_job(connection, tables.jobs.c.number == number, str(number))

    def list_jobs(
        self, search: str = "", *, states: Sequence[JobState] = (), limit: int = 100, offset: int = 0
    ) -> tuple[JobSummary, ...]:
        """The jobs with every word of `search` in number, vehicle, complaint or customer, by last change."""
        with self._database.reading() as connection:
            return jobs.list_jobs(connection, search, states, limit, offset)

    def closed_jobs(self, number: int, engine_version: str, *, limit: int = 200) -> tuple[ClosedJob, ...]:
        """The closed jobs with a circuit after a number, by number; with what this release has kept of each."""
        with self._database.reading() as connection:
            return lessons.closed_jobs(connection, number, limit, engine_version)

    def keep_lessons(self, taught: Sequence[tuple[ClosedJob, dict[str, Any]]], engine_version: str) -> None:
        """Keep what closed jobs taught until they change, or another release looks at them."""
        with self._database.writing() as connection:
            lessons.keep_lessons(connection, taught, engine_version)

    def summary(self, job_id: str) -> JobSummary:
        """One job as the list tells it.

        Raises:
            NotFoundError: there is no such job.
        """
        with self._database.reading() as connection:
            return jobs.read_summary(connection, job_id)

    def save_intake(self, job_id: str, intake: Intake, *, based_on: int, who: str, at: datetime) -> Job:
        """Save the intake as a new version. `based_on` is the `intake_version` that was edited.

        Raises:
            EditConflictError: somebody else saved in the meantime.
        """
        with writing_job(self._database, job_id) as job:
            jobs.save_intake(job, intake, based_on, who, at)
        return self.job(job_id)

    def intakes(self, job_id: str) -> tuple[IntakeVersion, ...]:
        """Every version of the intake, the first one first."""
        with self._reading_job(job_id) as connection:
            return tuple(
                jobs.read_intake_version(row) for row in _rows(connection, tables.intakes, job_id, "version")
            )

    def set_customer(self, job_id: str, customer: Customer | None, *, who: str, at: datetime) -> Job:
        """Replace the customer's contact, or erase it with None."""
        with writing_job(self._database, job_id) as job:
            jobs.set_customer(job, customer, who, at)
        return self.job(job_id)

    def set_state(self, job_id: str, state: JobState, *, who: str, at: datetime) -> Job:
        """Say how far the job is; `close_job` closes it.

        Raises:
            InputError: `closed` needs a closing.
        """
        if state == "closed":
            raise InputError("a job is closed with complaint, cause and correction", remedy="call close_job")
        with writing_job(self._database, job_id) as job:
            jobs.set_state(job, state, who, at)
        return self.job(job_id)

    def close_job(self, job_id: str, closing: Closing) -> Job:
        """Close the job as complaint, cause, correction. It can be opened again with `set_state`."""
        with writing_job(self._database, job_id) as job:
            jobs.close_job(job, closing)
        return self.job(job_id)

    # Circuit

    def save_circuit(
        self, job_id: str, text: str, *, based_on: int, who: str, at: datetime
    ) -> CircuitVersion:
        """Save the notation as a new version. `based_on` is the version that was edited, 0 for the first.

        Raises:
            EditConflictError: somebody else saved in the meantime.
        """
        with writing_job(self._database, job_id) as job:
            return jobs.save_circuit(job, text, based_on, who, at)

    def circuit(self, job_id: str, version: int | None = None) -> CircuitVersion | None:
        """One version of the circuit, the latest by default; None if the job has no circuit yet.

        Raises:
            NotFoundError: there is no such job or version.
        """
        with self._reading_job(job_id) as connection:
            wanted = version or _latest_circuit(connection, job_id)
            rows = _rows(connection, tables.circuits, job_id, "version", tables.circuits.c.version == wanted)
            if not rows and version is not None:
                raise NotFoundError(f"there is no version {version} of the circuit of job {job_id!r}")
            return from_row(CircuitVersion, rows[0]) if rows else None

    def circuits(self, job_id: str) -> tuple[CircuitVersion, ...]:
        """Every version of the circuit, the first one first."""
        return self._list(CircuitVersion, tables.circuits, job_id, "version")

    # Evidence

    def record(self, job_id: str, entry: EvidenceEntry) -> EvidenceEntry:
        """Store one entry; returns it with its sequence number. A repeat of its id is stored once.

        Raises:
            EntryConflictError: the id is stored with different content.
        """
        return self.record_all(job_id, (entry,))[0]

    def record_all(self, job_id: str, entries: Iterable[EvidenceEntry]) -> tuple[EvidenceEntry, ...]:
        """Store several entries in their order, all or none of them."""
        with writing_job(self._database, job_id) as job:
            return tuple(evidence.record_entry(job, entry) for entry in entries)

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
            return evidence.read_evidence(connection, job_id, after)

    def entry(self, job_id: str, entry_id: str) -> EvidenceEntry | None:
        """One entry, struck out or not; None where there is none of this id."""
        with self._reading_job(job_id) as connection:
            return evidence.read_entry(connection, job_id, entry_id)

    # Attachments

    def attach(
        self, job_id: str, attachment: Attachment, source: IO[bytes], *, check: Check | None = None
    ) -> Attachment:
        """Store an attachment's bytes and what they are, found from the bytes. A repeat is stored once.

        `check` is called with the file and its SHA-256 when it has come in whole; where it raises, nothing is stored.

        Raises:
            InputError: empty, too large, or not what its kind should be.
            EntryConflictError: the id is stored with other bytes.
        """
        with self._reading_job(job_id):
            pass  # no bytes are taken in for a job that is not there
        file = self.files.put(source, attachment.kind, attachment.name, check)
        with writing_job(self._database, job_id) as job:
            return add_attachment(job, attachment, file)

    def link_attachments(
        self, job_id: str, entry_id: str, attachment_ids: Sequence[str], *, who: str, at: datetime
    ) -> None:
        """Link attachments to an entry that is stored already; links are only ever added."""
        with writing_job(self._database, job_id) as job:
            if evidence.link_attachments(job, entry_id, attachment_ids):
                job.note("attachment link", entry_id, who, at)

    def attachments(self, job_id: str) -> tuple[Attachment, ...]:
        """The job's attachments without their bytes, oldest first."""
        return self._list(Attachment, tables.attachments, job_id, "sequence")

    def attachment(self, job_id: str, attachment_id: str) -> Attachment:
        """One attachment without its bytes.

        Raises:
            NotFoundError: there is none.
        """
        with self._database.reading() as connection:
            return read_attachment(connection, job_id, attachment_id)

    def open_attachment(self, job_id: str, attachment_id: str) -> IO[bytes]:
        """An attachment's bytes, to be read and closed by the caller."""
        return self.files.open(self.attachment(job_id, attachment_id).sha256)

    # Time and money

    def save_step(self, job_id: str, step: Step, *, who: str, at: datetime) -> Step:
        """Add a step, or replace the one with its id."""
        with writing_job(self._database, job_id) as job:
            return save_line(job, step, who, at)

    def steps(self, job_id: str) -> tuple[Step, ...]:
        """The steps, withdrawn ones too, in the order in which they were first saved."""
        return self._list(Step, tables.steps, job_id, "sequence")

    def save_part(self, job_id: str, part: PartUsed, *, who: str, at: datetime) -> PartUsed:
        """Add a part, or replace the one with its id."""
        with writing_job(self._database, job_id) as job:
            return save_line(job, part, who, at)

    def parts(self, job_id: str) -> tuple[PartUsed, ...]:
        """The parts, withdrawn ones too, in the order in which they were first saved."""
        return self._list(PartUsed, tables.parts, job_id, "sequence")

    def authorise(self, job_id: str, authorisation: Authorisation) -> Authorisation:
        """Keep a limit that the customer authorised. A repeat is stored once."""
        with writing_job(self._database, job_id) as job:
            return authorise(job, authorisation)

    def authorisations(self, job_id: str) -> tuple[Authorisation, ...]:
        """The authorised limits, oldest first; the last one holds."""
        return self._list(Authorisation, tables.authorisations, job_id, "sequence")

    # Results as they were shown

    def keep_shown(self, job_id: str, shown: ShownResult) -> ShownResult:
        """Keep what a page, a command or a report said, with the engine's version."""
        with writing_job(self._database, job_id) as job:
            kept = replace(shown, sequence=job.note("shown", shown.what, shown.who, shown.at))
            job.add(tables.shown_results, kept)
            return kept

    def shown(self, job_id: str, what: str | None = None) -> tuple[ShownResult, ...]:
        """What was shown, of one sort or of all, oldest first."""
        results = self._list(ShownResult, tables.shown_results, job_id, "sequence")
        return tuple(result for result in results if what is None or result.what == what)

    def latest_shown(self, job_ids: Sequence[str], what: str) -> dict[str, ShownResult]:
        """Job id -> the last thing of one sort that was shown of it, for those of the jobs that have one."""
        here = tables.shown_results
        where = (here.c.job_id.in_(job_ids), here.c.what == what)
        last = select(here.c.job_id, func.max(here.c.sequence)).where(*where).group_by(here.c.job_id)
        statement = select(here).where(tuple_(here.c.job_id, here.c.sequence).in_(last))
        with self._database.reading() as connection:
            rows = connection.execute(statement).mappings()
            return {row["job_id"]: from_row(ShownResult, row) for row in rows}

    # Following a job

    def changes_since(self, job_id: str, sequence: int, *, limit: int = 500) -> tuple[Change, ...]:
        """The changes after `sequence`, oldest first: one look-up in an index, cheap to ask often."""
        here = tables.audit.c
        statement = select(tables.audit).where(here.job_id == job_id, here.sequence > sequence)
        with self._database.reading() as connection:
            rows = connection.execute(statement.order_by(here.sequence).limit(limit)).mappings()
            return tuple(from_row(Change, row) for row in rows)

    # Whole jobs, for export and import: see `halfsplit.store.archive`

    def whole_job(self, job_id: str) -> JobFile:
        """Everything that is kept of a job, at one moment, without the attachments' bytes."""
        with self._database.reading() as connection:
            return transfer.read_whole_job(connection, job_id)

    def add_whole_job(self, job: JobFile, *, job_id: str, who: str, at: datetime) -> Job:
        """Store a job from outside under `job_id`, with a number of its own, all of it or nothing.

        Raises:
            InputError: something in it refers to what is not there, or cannot be kept.
            ConflictError: there is a job with this id.
        """
        transfer.check_whole_job(job)
        with self._database.writing() as connection:
            transfer.write_whole_job(connection, job, job_id, who, at)
        return self.job(job_id)

    # Workshop

    def workshop(self) -> Workshop:
        """The workshop's settings; empty until somebody has filled them in."""
        with self._database.reading() as connection:
            return from_row(Workshop, connection.execute(select(tables.workshop)).mappings().one())

    def save_workshop(self, workshop: Workshop, *, who: str, at: datetime) -> Workshop:
        """Replace the workshop's settings."""
        with self._database.writing() as connection:
            connection.execute(update(tables.workshop).values(checked(tables.workshop, to_row(workshop))))
            note_audit(connection, who, "workshop settings changed", at)
        return workshop

    @contextmanager
    def _reading_job(self, job_id: str) -> Iterator[Connection]:
        with self._database.reading() as connection:
            if (
                connection.execute(select(tables.jobs.c.job_id).where(tables.jobs.c.job_id == job_id)).first()
                is None
            ):
                raise no_job(job_id)
            yield connection

    def _list(self, record_type: type[R], table: Table, job_id: str, order: str) -> tuple[R, ...]:
        with self._reading_job(job_id) as connection:
            return tuple(from_row(record_type, row) for row in _rows(connection, table, job_id, order))


def _rows(connection: Connection, table: Table, job_id: str, order: str, *where: Any) -> Sequence[RowMapping]:
    statement = select(table).where(table.c.job_id == job_id, *where).order_by(table.c[order])
    return connection.execute(statement).mappings().all()


def _latest_circuit(connection: Connection, job_id: str) -> int:
    statement = select(tables.jobs.c.circuit_version).where(tables.jobs.c.job_id == job_id)
    return int(connection.execute(statement).scalar_one())
