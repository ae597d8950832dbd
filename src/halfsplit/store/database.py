"""The connection: SQLite or PostgreSQL by URL, set up so that what is committed is on the disk.

Everything goes through `reading` and `writing`. They alone begin, commit and roll back, and they alone turn
the driver's errors into ours.
"""

import re
import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from platformdirs import user_data_path
from sqlalchemy import URL, Connection, Engine, create_engine, event, make_url, text
from sqlalchemy.exc import ArgumentError

from halfsplit.errors import InputError, StorageError
from halfsplit.store import migrations
from halfsplit.store.failures import DamagedError, translated

_ACCEPTED = "sqlite:///FILE or postgresql://USER@HOST/DATABASE"


def default_url() -> str:
    """The database in this user's own data folder."""
    return f"sqlite:///{user_data_path('halfsplit') / 'halfsplit.db'}"


def checked_url(url: str) -> URL:
    """The address of a database, with SQLite's file as a whole path.

    Raises:
        InputError: it names no database that Halfsplit can use.
    """
    try:
        parsed = make_url(url)
    except ArgumentError:
        raise InputError(f"{url!r} is no address of a database", remedy=f"write {_ACCEPTED}") from None
    if parsed.get_backend_name() not in _ENGINES:
        raise InputError(
            f"{parsed.get_backend_name()!r} is no database that Halfsplit can use",
            remedy=f"write {_ACCEPTED}",
        )
    if parsed.get_backend_name() == "postgresql":
        return parsed.set(drivername="postgresql+psycopg")
    if parsed.database in (None, "", ":memory:"):
        raise InputError(
            "a database in memory loses everything when the program ends", remedy="write sqlite:///FILE"
        )
    return parsed.set(database=str(Path(str(parsed.database)).expanduser().absolute()))


def default_files(url: URL) -> Path:
    """The attachments' folder: beside SQLite's file; with PostgreSQL a folder of this user's, named after the database.

    >>> default_files(checked_url("postgresql://ada@db.test/jobs")).name
    'db.test-jobs.files'
    """
    if url.get_backend_name() == "sqlite":
        return Path(str(url.database)).with_suffix(".files")
    host = url.host or url.query.get("host") or "local"
    words = (str(host), "" if url.port is None else str(url.port), url.database or url.username or "jobs")
    name = "-".join(re.sub(r"[^A-Za-z0-9.]+", "-", word).strip("-.") for word in words if word)
    return user_data_path("halfsplit") / f"{name}.files"


class Database:
    """One database, opened and brought to this release's schema.

    Args:
        url: what `checked_url` made of an address.
        busy_seconds: how long a write waits for another program's.

    Raises:
        StorageError: it cannot be opened, or was written by a later release.
    """

    def __init__(self, url: URL, *, busy_seconds: float = 10.0) -> None:
        self.is_sqlite = url.get_backend_name() == "sqlite"
        self.engine = _ENGINES[url.get_backend_name()](url, busy_seconds)
        try:
            migrations.bring_up_to_date(self)
        except BaseException:
            self.engine.dispose()
            raise

    @contextmanager
    def reading(self) -> Iterator[Connection]:
        """A transaction that sees one moment of the database and changes nothing."""
        with translated(), self.engine.connect() as connection:
            if not self.is_sqlite:
                connection.execution_options(isolation_level="REPEATABLE READ")
            with connection.begin():
                yield connection

    @contextmanager
    def writing(self) -> Iterator[Connection]:
        """A transaction that is on the disk when the block has ended, or has not happened at all."""
        with (
            translated(),
            self.engine.connect() as connection,
            connection.execution_options(writes=True).begin(),
        ):
            yield connection

    def check(self) -> tuple[str, ...]:
        """What SQLite finds wrong with its file; empty when sound. PostgreSQL checks pages as it reads them."""
        if not self.is_sqlite:
            return ()
        try:
            with self.reading() as connection:
                messages = [str(row[0]) for row in connection.execute(text("PRAGMA integrity_check"))]
                strays = connection.execute(text("PRAGMA foreign_key_check")).all()
        except DamagedError as error:
            return (str(error),)
        rows = [f"a row of {row[0]} refers to one of {row[2]} that is not there" for row in strays]
        return tuple([line for line in messages if line != "ok"] + rows)

    def close(self) -> None:
        """Give every connection back."""
        self.engine.dispose()


def _sqlite(url: URL, busy_seconds: float) -> Engine:
    with translated():
        Path(str(url.database)).parent.mkdir(mode=0o700, parents=True, exist_ok=True)
    engine = create_engine(url, connect_args={"timeout": busy_seconds})
    event.listen(engine, "connect", _set_up_sqlite)
    event.listen(engine, "begin", _begin_sqlite)
    return engine


def _set_up_sqlite(connection: sqlite3.Connection, _record: Any) -> None:
    connection.isolation_level = None  # Python's driver would begin by its own rules: we say BEGIN ourselves
    journal = connection.execute("PRAGMA journal_mode").fetchone()[0]
    if journal != "wal":
        journal = connection.execute("PRAGMA journal_mode = WAL").fetchone()[0]
    if journal != "wal":
        raise StorageError(
            f"SQLite cannot keep a write-ahead log here (journal mode {journal}): is this a network drive? "
            "Keep the database on a local disk, or use PostgreSQL."
        )
    connection.execute("PRAGMA synchronous = FULL")  # with NORMAL a power cut may take the last commits
    connection.execute("PRAGMA fullfsync = ON")  # macOS: fsync alone stops at the drive's cache
    connection.execute("PRAGMA foreign_keys = ON")


def _begin_sqlite(connection: Connection) -> None:
    """A writer takes its lock at once: one taken half-way fails without waiting when somebody has written."""
    writes = connection.get_execution_options().get("writes", False)
    connection.exec_driver_sql("BEGIN IMMEDIATE" if writes else "BEGIN")


def _postgresql(url: URL, busy_seconds: float) -> Engine:
    settings = f"-c timezone=UTC -c synchronous_commit=on -c lock_timeout={round(busy_seconds * 1000)}"
    return create_engine(url, connect_args={"options": settings}, pool_pre_ping=True)


_ENGINES = {"sqlite": _sqlite, "postgresql": _postgresql}
