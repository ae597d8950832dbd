"""Readers of recorded files, one module each, chosen by what the file holds and not by its ending.

A reader is a module with `NAME`, `sniff(head) -> bool` (given the first `HEAD` bytes), `read(path, progress) ->
Recording` and, where a library reads, `DAMAGED`: what is said and advised where it fails. The file's name is said here:
a reader says at most in which line it was. `example.py` is the recipe for the next one; every reader passes the same
suite in the tests. The text reader takes what no other one claims, so it stands last.
"""

import os
from collections import Counter
from dataclasses import replace
from pathlib import Path
from types import ModuleType
from typing import Final

from halfsplit.capture.channel import Channel, Progress, Recording
from halfsplit.capture.readers import bus_log, example, mat, mdf, npz, parquet, session, sheet, text, wav
from halfsplit.errors import HalfsplitError, InputError

HEAD: Final = 65_536
"""Bytes that a reader is shown to recognise its format."""


READERS: Final = (mdf, parquet, npz, session, sheet, mat, wav, bus_log, example, text)


def read(path: Path, progress: Progress | None = None) -> Recording:
    """Read a file with the first reader that recognises its head.

    Raises `InputError` where the file cannot be opened, is empty or is of no known kind.
    """
    try:
        with path.open("rb") as file:
            head = file.read(HEAD)
    except OSError as error:
        reason = os.strerror(error.errno) if error.errno else str(error)
        raise InputError(f"cannot be opened ({reason})", remedy="check the path", where=path.name) from error
    if not head:
        raise InputError("is empty", remedy="record or export it again", where=path.name)
    reader = next((reader for reader in READERS if reader.sniff(head)), None)
    if reader is None:
        names = ", ".join(reader.NAME for reader in READERS)
        raise InputError(
            f"starts with {head[:8]!r}, which is no known kind of recording ({names})",
            remedy="export it from the instrument as text with one column for each channel",
            where=path.name,
        )
    recording = _read_by(reader, path, progress)
    if not recording.channels:
        raise InputError(
            "holds no channel beside its time",
            remedy="save one column of numbers for each channel, and no words among them",
            where=path.name,
        )
    return replace(recording, channels=_unique(recording.channels), source=path.name)


def _read_by(reader: ModuleType, path: Path, progress: Progress | None) -> Recording:
    try:
        recording: Recording = reader.read(path, progress)
    except InputError as error:
        where = ", ".join(filter(None, (path.name, error.where)))
        raise InputError(error.message, remedy=error.remedy, where=where) from error
    except HalfsplitError:
        raise
    except Exception as error:  # damaged files end in anything from struct.error and zlib.error to KeyError
        if not hasattr(reader, "DAMAGED"):
            raise
        said, remedy = reader.DAMAGED
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
