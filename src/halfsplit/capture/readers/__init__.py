"""Readers of recorded files, one module each, chosen by what the file holds and not by its ending.

A reader is a module with `NAME`, `sniff(head) -> bool` (given the first `HEAD` bytes), `read(path, progress) ->
Recording` and, where a library reads, `DAMAGED`: what is said where it fails. `example.py` is the recipe for the next
one; every reader passes the same suite in the tests. The text reader takes what no other one claims, so it stands last.
"""

import os
from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Final

from halfsplit.capture.channel import Channel, Progress, Recording
from halfsplit.capture.readers import (
    bus_log,
    example,
    mat,
    mdf,
    npz,
    parquet,
    session,
    sheet,
    text,
    wav,
)
from halfsplit.errors import HalfsplitError, InputError

HEAD: Final = 65_536
"""Bytes that a reader is shown to recognise its format."""


@dataclass(frozen=True)
class Reader:
    """A format: its name as messages use it, whether a file's head is of it, and how it is read."""

    name: str
    sniff: Callable[[bytes], bool]
    read: Callable[[Path, Progress | None], Recording]
    damaged: tuple[str, str] | None
    """What is said, and advised, where its library ends in an error of any kind; None where it has none."""


READERS: Final[tuple[Reader, ...]] = tuple(
    Reader(module.NAME, module.sniff, module.read, getattr(module, "DAMAGED", None))
    for module in (mdf, parquet, npz, session, sheet, mat, wav, bus_log, example, text)
)


def read(path: Path, progress: Progress | None = None) -> Recording:
    """Read a file with the first reader that recognises its head.

    Raises `InputError` where the file cannot be opened, is empty or is of no known kind.
    """
    head = _head(path)
    for reader in READERS:
        if reader.sniff(head):
            capture = _read_by(reader, path, progress)
            if not capture.channels:
                raise InputError(
                    "holds no channel beside its time",
                    remedy="save one column of numbers for each channel, and no words among them",
                    where=path.name,
                )
            return replace(capture, channels=_unique(capture.channels))
    names = ", ".join(reader.name for reader in READERS)
    raise InputError(
        f"starts with {head[:8]!r}, which is no known kind of recording ({names})",
        remedy="export it from the instrument as text with one column for each channel",
        where=path.name,
    )


def _read_by(reader: Reader, path: Path, progress: Progress | None) -> Recording:
    try:
        recording = reader.read(path, progress)
    except HalfsplitError:
        raise
    except Exception as error:  # damaged files end in anything from struct.error and zlib.error to KeyError
        if reader.damaged is None:
            raise
        said, remedy = reader.damaged
        why = (str(error).strip().splitlines() or [type(error).__name__])[0]
        raise InputError(f"{said} ({why})", remedy=remedy, where=path.name) from error
    if progress:
        progress(1.0)
    return recording


def _unique(channels: tuple[Channel, ...]) -> tuple[Channel, ...]:
    """Two channels of one name become `NAME` and `NAME (2)`: a channel is found by its name."""
    seen: Counter[str] = Counter()
    kept = []
    for channel in channels:
        name = channel.name.strip() or "channel"
        seen[name] += 1
        kept.append(replace(channel, name=name if seen[name] == 1 else f"{name} ({seen[name]})"))
    return tuple(kept)


def _head(path: Path) -> bytes:
    try:
        with path.open("rb") as file:
            head = file.read(HEAD)
    except OSError as error:
        reason = os.strerror(error.errno) if error.errno else str(error)
        raise InputError(f"cannot be opened ({reason})", remedy="check the path", where=path.name) from error
    if not head:
        raise InputError("is empty", remedy="record or export it again", where=path.name)
    return head
