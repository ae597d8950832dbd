"""Where what is entered is kept: one line of JSON for each entry, on the disk before anything goes on."""

from __future__ import annotations

import hashlib
import json
import os
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any

from platformdirs import user_state_path

from halfsplit.errors import InputError

FORMAT = 1
SUFFIX = ".jsonl"


@dataclass(frozen=True)
class Kept:
    """A keep-file as it was found. ``head``: what the job began with; ``lost``: a last line that was unfinished."""

    head: dict[str, Any]
    entries: tuple[dict[str, Any], ...]
    lost: bool = False


class KeepFile:
    """A file to which entries are added one by one."""

    def __init__(self, path: Path) -> None:
        self.path = path

    def must_be_new(self) -> None:
        """Raise InputError where the file is there: nobody's job is written over."""
        if self.path.exists():
            raise InputError(
                f"{self.path} is there already", remedy="go on with it by --resume, or name another file"
            )

    def begin(self, head: dict[str, Any]) -> None:
        """Make the file. Raises InputError where it is there already or cannot be made."""
        self.must_be_new()
        try:
            self.path.parent.mkdir(parents=True, exist_ok=True)
            with self.path.open("x", encoding="utf-8"):
                pass
        except OSError as error:
            raise InputError(
                f"{self.path} cannot be written: {error.strerror}", remedy="name another file with --keep"
            ) from error
        self.add({"halfsplit": FORMAT, **head})

    def add(self, entry: dict[str, Any]) -> None:
        """Write one line and see it onto the disk. Raises InputError where that cannot be done."""
        try:
            with self.path.open("ab") as stream:
                stream.write(json.dumps(entry, ensure_ascii=False).encode() + b"\n")
                stream.flush()
                os.fsync(stream.fileno())
        except OSError as error:
            raise InputError(
                f"{self.path} cannot be written: {error.strerror}; this entry is not kept",
                remedy="make room and enter it again",
            ) from error

    def read(self) -> Kept:
        """What the file holds. An unfinished last line (the power went) is cut off.

        Raises InputError with the line for any other damage.
        """
        try:
            data = self.path.read_bytes()
        except OSError as error:
            raise InputError(f"{self.path} cannot be read: {error.strerror}") from error
        whole, newline, rest = data.rpartition(b"\n")
        if rest:
            os.truncate(self.path, len(whole) + len(newline))
        lines = [_line(text, number, self.path) for number, text in enumerate(whole.splitlines(), 1)]
        if not lines or lines[0].get("halfsplit") != FORMAT:
            raise InputError(
                f"{self.path} is no keep-file of this version", remedy="name another file with --keep"
            )
        return Kept(lines[0], tuple(lines[1:]), lost=bool(rest))


def _line(text: bytes, number: int, path: Path) -> dict[str, Any]:
    try:
        found = json.loads(text)
    except ValueError:
        found = None
    if not isinstance(found, dict):
        raise InputError(
            "this is no entry",
            remedy="take the line out, the rest can be used",
            where=f"{path}, line {number}",
        )
    return found


def state_folder() -> Path:
    """Where this user's unfinished jobs and scores are kept."""
    return user_state_path("halfsplit")


def new_keep(circuit: Path, began: datetime) -> KeepFile:
    """The keep-file of a job that begins now on this circuit file."""
    return KeepFile(_folder(circuit) / f"{began:%Y%m%d-%H%M%S-%f}{SUFFIX}")


def latest_keep(circuit: Path) -> KeepFile | None:
    """The keep-file of the last job on this circuit file, if there is one."""
    found: Sequence[Path] = sorted(_folder(circuit).glob(f"*{SUFFIX}"))
    return KeepFile(found[-1]) if found else None


def _folder(circuit: Path) -> Path:
    """One folder for each circuit file, by its whole path."""
    digest = hashlib.sha256(str(circuit.absolute()).encode()).hexdigest()[:8]
    return state_folder() / "find" / f"{circuit.stem[:40]}-{digest}"
