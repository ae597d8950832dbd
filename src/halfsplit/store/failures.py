"""What can go wrong with the job store, and the one place where a driver's error becomes one of ours.

Each text says what is wrong, what became of the data, and what to do.
"""

import errno
import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass

from sqlalchemy import exc

from halfsplit.errors import ConflictError, HalfsplitError, StorageError


class DiskFullError(StorageError):
    """No room is left for the database or for an attachment."""


class ReadOnlyError(StorageError):
    """The database, its folder or the attachments' folder cannot be written to."""


class BusyError(StorageError):
    """Another program held the database for longer than we wait."""


class DamagedError(StorageError):
    """The database's file is not what was written: corrupt, or no database at all."""


class UnreachableError(StorageError):
    """The database cannot be opened or its server does not answer."""


class TooNewError(StorageError):
    """The database was written by a later release than this program."""


class EntryConflictError(ConflictError):
    """An id that is already stored was sent again with different content."""


class EditConflictError(ConflictError):
    """Somebody else saved a later version in the meantime."""


class AppendOnlyError(ConflictError):
    """The database refused to change or delete what is kept for good."""


@dataclass(frozen=True)
class Failure:
    """The error to raise, and its text."""

    kind: type[HalfsplitError]
    text: str


_KEPT = "Everything acknowledged before is kept; what was being entered now was not stored."
_UNCERTAIN = "Everything acknowledged before is kept; whether the last entry was stored is not known."
_FULL = Failure(
    DiskFullError, f"The disk that holds the job store is full. {_KEPT} Free some space, then enter it again."
)
_READ_ONLY = Failure(
    ReadOnlyError,
    f"The job store cannot be written to: its file, folder or disk is read-only. {_KEPT} "
    "Give this user the right to write to the folder (or mount the disk for writing), then enter it again.",
)
_BUSY = Failure(
    BusyError,
    f"Another program is holding the job store. {_KEPT} Close it or wait a moment, then enter it again.",
)
_DAMAGED = Failure(
    DamagedError,
    "The job store's file is damaged or is not a Halfsplit database. Stop the program and copy the file "
    "together with its -wal and -shm neighbours before anything else; then restore the last backup, "
    "or recover the copy with SQLite's own tools.",
)
_UNREACHABLE = Failure(
    UnreachableError,
    f"The job store cannot be opened or does not answer. {_UNCERTAIN} Check that the folder exists and that "
    "this user may write to it, or, for PostgreSQL, that the server runs and that address, user and password "
    "are right. Then enter it again: it is stored once.",
)
_DISK_ERROR = Failure(
    StorageError,
    f"The disk reported an error while the job store was being read or written. {_UNCERTAIN} "
    "Check the disk (space, file size limits, cables, health), then enter it again: it is stored once.",
)
_APPEND_ONLY = Failure(
    AppendOnlyError,
    "This record is kept for good: it cannot be changed or deleted. Strike it out with a reason instead.",
)

_TAKEN = Failure(
    ConflictError,
    "Somebody else stored something under the same id or name at the same time. Nothing was overwritten: "
    "look at theirs, then enter yours again.",
)

# Primary result codes: https://www.sqlite.org/rescode.html
_BY_SQLITE_CODE: dict[int, Failure] = {
    sqlite3.SQLITE_FULL: _FULL,
    sqlite3.SQLITE_READONLY: _READ_ONLY,
    sqlite3.SQLITE_PERM: _READ_ONLY,
    sqlite3.SQLITE_BUSY: _BUSY,
    sqlite3.SQLITE_LOCKED: _BUSY,
    sqlite3.SQLITE_CORRUPT: _DAMAGED,
    sqlite3.SQLITE_NOTADB: _DAMAGED,
    sqlite3.SQLITE_CANTOPEN: _UNREACHABLE,
    sqlite3.SQLITE_IOERR: _DISK_ERROR,
}

# SQLSTATE codes and classes, the longest first: PostgreSQL's documentation, appendix A.
_BY_SQLSTATE: dict[str, Failure] = {
    "53100": _FULL,
    "25006": _READ_ONLY,
    "42501": _READ_ONLY,
    "55P03": _BUSY,
    "57014": _BUSY,
    "40": _BUSY,
    "53": _BUSY,
    "XX": _DAMAGED,
    "08": _UNREACHABLE,
    "28": _UNREACHABLE,
    "3D": _UNREACHABLE,
    "57P": _UNREACHABLE,
    "23505": _TAKEN,
    "HS001": _APPEND_ONLY,
}

_BY_ERRNO: dict[int, Failure] = {
    errno.ENOSPC: _FULL,
    errno.EDQUOT: _FULL,
    errno.EFBIG: _FULL,
    errno.EROFS: _READ_ONLY,
    errno.EACCES: _READ_ONLY,
    errno.EPERM: _READ_ONLY,
}


@contextmanager
def translated() -> Iterator[None]:
    """Turn errors of the database driver and the file system into ours; let everything else through."""
    try:
        yield
    except exc.StatementError as error:
        # SQLAlchemy wraps what a column type raises while it binds a value: our own error is inside.
        if isinstance(error.orig, HalfsplitError):
            raise error.orig from error
        raise translate(error.orig or error) from error
    except (exc.SQLAlchemyError, sqlite3.Error, OSError) as error:
        raise translate(error) from error


def translate(error: BaseException) -> HalfsplitError:
    """The error of ours that says the same as a driver's or the file system's, with its text at the end."""
    failure = _failure(error)
    detail = str(error).strip().splitlines()
    return failure.kind(f"{failure.text} ({detail[0]})" if detail else failure.text)


def _failure(error: BaseException) -> Failure:
    if isinstance(error, sqlite3.Error):
        code = getattr(error, "sqlite_errorcode", 0)
        if code == sqlite3.SQLITE_CONSTRAINT_TRIGGER:
            return _APPEND_ONLY
        if code in (sqlite3.SQLITE_CONSTRAINT_UNIQUE, sqlite3.SQLITE_CONSTRAINT_PRIMARYKEY):
            return _TAKEN
        return _BY_SQLITE_CODE.get(code & 0xFF, _REFUSED)
    if isinstance(error, OSError):
        return _BY_ERRNO.get(error.errno or 0, _DISK_ERROR)
    if isinstance(error, exc.TimeoutError):
        return _BUSY
    sqlstate = getattr(error, "sqlstate", None) or "08"
    lengths = range(len(sqlstate), 1, -1)
    return next((_BY_SQLSTATE[sqlstate[:n]] for n in lengths if sqlstate[:n] in _BY_SQLSTATE), _REFUSED)


_REFUSED = Failure(
    StorageError, f"The database refused what it was asked to do. {_KEPT} Please report this text."
)
