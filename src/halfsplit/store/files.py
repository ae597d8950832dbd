"""Attachments' bytes: one file for each content, named by its SHA-256, beside the database.

A file is written under another name, flushed to the disk and renamed before anything refers to it. A crash
can leave a file that nothing refers to, never a reference to a file that is not whole.
"""

import fcntl
import hashlib
import os
import re
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass
from io import BufferedReader
from pathlib import Path
from tempfile import NamedTemporaryFile
from typing import IO

from halfsplit.errors import InputError, StorageError
from halfsplit.store.content import HEAD, accepted, check_content
from halfsplit.store.failures import DamagedError, translated
from halfsplit.store.records import AttachmentKind

Check = Callable[[Path, str], None]
"""Called with a file that has come in whole, and its SHA-256, before it is kept; raises where it is of no use."""

INCOMING = "incoming-"
_CHUNK = 1 << 20
_SHA256 = re.compile(r"[0-9a-f]{64}")


@dataclass(frozen=True)
class StoredFile:
    """What was found while a file was stored. `size` in bytes."""

    sha256: str
    size: int
    media_type: str


class FileStore:
    """The folder of the attachments' files."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder

    def path(self, sha256: str) -> Path:
        """Where a content lies; never outside the folder, since only 64 hexadecimal digits are a name.

        Raises:
            InputError: this is no SHA-256.
        """
        if not _SHA256.fullmatch(sha256):
            raise InputError(f"{sha256[:80]!r} is no SHA-256", remedy="64 hexadecimal digits name a file")
        return self.folder / sha256[:2] / sha256

    def made_from(self, sha256: str) -> Path:
        """Where what was worked out from a content may lie: it can be deleted, for it can be made again."""
        return self.folder / "made" / self.path(sha256).name

    def put(
        self, source: IO[bytes], kind: AttachmentKind, name: str, check: Check | None = None
    ) -> StoredFile:
        """Store the bytes of `source`; on the disk when this returns. `check` looks at them before.

        Raises:
            InputError: empty, too large for its kind, or not what it should be; or what `check` raises.
            StorageError: the disk is full or cannot be written to.
        """
        with translated():
            self.folder.mkdir(mode=0o700, parents=True, exist_ok=True)
            temporary = self._incoming()
            try:
                with temporary:
                    stored = _copy(source, temporary, kind, name)
                if check is not None:
                    check(Path(temporary.name), stored.sha256)
                final = self.path(stored.sha256)
                final.parent.mkdir(mode=0o700, exist_ok=True)
                Path(temporary.name).replace(final)  # over the same content, which may be there already
                for folder in (final.parent, self.folder):
                    _flush_folder(folder)
            finally:
                Path(temporary.name).unlink(missing_ok=True)
        return stored

    def _incoming(self) -> IO[bytes]:
        """A new file for what comes in, held so that `tidy` of another server leaves it alone."""
        while True:
            made = NamedTemporaryFile(dir=self.folder, prefix=INCOMING, delete=False)  # noqa: SIM115
            if _held(made.fileno()) and os.fstat(made.fileno()).st_nlink:
                return made
            made.close()

    def tidy(self) -> int:
        """Remove what a program that was killed had begun to take in; how many files that were.

        What another server takes in at this moment stays. A folder that cannot be read or written to is left as it is.
        """
        removed = 0
        with suppress(OSError):
            for path in self.folder.glob(f"{INCOMING}*"):
                with suppress(OSError), path.open("r+b") as left:
                    if _held(left.fileno()):
                        path.unlink()
                        removed += 1
        return removed

    def open(self, sha256: str) -> BufferedReader:
        """The stored bytes, to be read and closed by the caller.

        Raises:
            StorageError: the file is not there.
        """
        path = self.path(sha256)
        with translated():
            if not path.is_file():
                raise StorageError(
                    f"the file of an attachment is missing: {path}. Restore it from a backup of this folder."
                )
            return path.open("rb")

    def check(self, sha256: str, size: int) -> None:
        """Compare a stored file with what is known of it.

        Raises:
            StorageError: it is missing, or (DamagedError) not what was stored.
        """
        with self.open(sha256) as file, translated():
            digest = hashlib.file_digest(file, "sha256").hexdigest()
            position = file.tell()
        if (digest, position) != (sha256, size):
            raise DamagedError(
                f"{self.path(sha256)} is not what was stored: found {position:,} bytes with SHA-256 {digest}, "
                f"expected {size:,} bytes. Restore it from a backup of this folder."
            )


def _held(descriptor: int) -> bool:
    """Take a lock on an open file, which the system gives back however the program ends; whether it was free."""
    try:
        fcntl.flock(descriptor, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except OSError:
        return False
    return True


def _copy(source: IO[bytes], target: IO[bytes], kind: AttachmentKind, name: str) -> StoredFile:
    digest, size, head = hashlib.sha256(), 0, b""
    limit = accepted(kind, name).largest
    while chunk := source.read(_CHUNK):
        size += len(chunk)
        if size > limit:
            raise InputError(f"more than {limit:,} bytes, which is the most for a {kind}", where=name)
        if len(head) < HEAD:
            head = (head + chunk)[:HEAD]
        digest.update(chunk)
        target.write(chunk)
    media = check_content(kind, head, name)
    target.flush()
    os.fsync(target.fileno())
    return StoredFile(digest.hexdigest(), size, media)


def _flush_folder(folder: Path) -> None:
    """Make a rename last: the name is in the folder, which has to be flushed too. Windows does so itself."""
    if os.name == "nt":
        return
    descriptor = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(descriptor)
    finally:
        os.close(descriptor)
