"""Reading and changing one job: its row is locked first, so that changes are numbered in the order of commits."""

from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import datetime
from typing import Any, TypeVar

from sqlalchemy import Connection, RowMapping, Table, insert, select, update

from halfsplit.errors import NotFoundError
from halfsplit.store import tables
from halfsplit.store.database import Database
from halfsplit.store.rows import checked, from_row, to_row

R = TypeVar("R")


@dataclass
class JobWriter:
    """A write transaction that holds a job's row. `last` is the number of the job's last change so far."""

    connection: Connection
    job_id: str
    row: RowMapping
    last: int
    changed_at: datetime

    def note(self, what: str, ref: str, who: str, at: datetime) -> int:
        """Count one change and write it into the audit list; returns its sequence number."""
        self.last += 1
        note_audit(self.connection, who, what, at, ref=ref, job_id=self.job_id, sequence=self.last)
        self.changed_at = max(self.changed_at, at)  # an outbox sends what was measured a while ago
        self.change_job(last_change=self.last, changed_at=self.changed_at)
        return self.last

    def change_job(self, **values: Any) -> None:
        """Set columns of the job's own row."""
        statement = update(tables.jobs).where(tables.jobs.c.job_id == self.job_id)
        self.connection.execute(statement.values(checked(tables.jobs, values)))

    def add(self, table: Table, record: Any, **more: Any) -> None:
        """Insert a record of this job."""
        row = to_row(record) | more | {"job_id": self.job_id}
        self.connection.execute(insert(table).values(checked(table, row)))

    def find(self, table: Table, **key: Any) -> RowMapping | None:
        """One row of this job by its key, or None."""
        return row_of(self.connection, table, job_id=self.job_id, **key)


class Kept:
    """What the parts of a job store share: its database, and one job in it."""

    def __init__(self, database: Database) -> None:
        self._database = database

    @contextmanager
    def _reading_job(self, job_id: str) -> Iterator[Connection]:
        """A transaction that sees a job at one moment. Raises NotFoundError where there is no such job."""
        with self._database.reading() as connection:
            if connection.execute(select(tables.jobs.c.job_id).where(tables.jobs.c.job_id == job_id)).first():
                yield connection
                return
        raise no_job(job_id)

    @contextmanager
    def _writing_job(self, job_id: str) -> Iterator[JobWriter]:
        """A transaction on one job, on the disk when the block has ended. Raises NotFoundError."""
        with self._database.writing() as connection:
            statement = select(tables.jobs).where(tables.jobs.c.job_id == job_id).with_for_update()
            row = connection.execute(statement).mappings().one_or_none()
            if row is None:
                raise no_job(job_id)
            yield JobWriter(connection, job_id, row, row["last_change"], row["changed_at"])

    def _list(self, record_type: type[R], table: Table, job_id: str, order: str) -> tuple[R, ...]:
        with self._reading_job(job_id) as connection:
            return tuple(from_row(record_type, row) for row in rows_of(connection, table, job_id, order))


def row_of(connection: Connection, table: Table, **key: Any) -> RowMapping | None:
    """One row by its key, or None."""
    where = (table.c[name] == value for name, value in key.items())
    return connection.execute(select(table).where(*where)).mappings().one_or_none()


def rows_of(
    connection: Connection, table: Table, job_id: str, order: str, *where: Any
) -> Sequence[RowMapping]:
    """The rows of a job in one of its tables."""
    statement = select(table).where(table.c.job_id == job_id, *where).order_by(table.c[order])
    return connection.execute(statement).mappings().all()


def note_audit(connection: Connection, who: str, what: str, at: datetime, **more: Any) -> None:
    """Write one line of the audit list; `more` may give ref, job_id and sequence."""
    row = {"who": who, "what": what, "at": at, "ref": ""} | more
    connection.execute(insert(tables.audit).values(checked(tables.audit, row)))


def no_job(job_id: str) -> NotFoundError:
    """The error for a job that is not there."""
    return NotFoundError(f"there is no job {job_id!r} in this job store")
