"""The job store: one class for SQLite and PostgreSQL.

Every method that writes has written when it returns: the change is on the disk, has its sequence number and
stands in the audit list. Ids come from whoever entered something, so a call that was cut off is simply made
again.
"""

from datetime import datetime
from pathlib import Path
from typing import Self

from sqlalchemy import select, update

from halfsplit.errors import StorageError
from halfsplit.store import tables, transfer
from halfsplit.store.accounts import Accounts
from halfsplit.store.costs import Costs
from halfsplit.store.database import Database, checked_url, default_files
from halfsplit.store.evidence import Evidence
from halfsplit.store.files import FileStore
from halfsplit.store.jobs import Jobs
from halfsplit.store.practices import Practices
from halfsplit.store.records import Change, Job, JobFile, Workshop
from halfsplit.store.rows import checked, from_row, to_row
from halfsplit.store.writing import note_audit


class JobStore(Jobs, Evidence, Costs):
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
    >>> from halfsplit.store.records import EvidenceEntry, Intake
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
        super().__init__(Database(address, busy_seconds=busy_seconds))
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
