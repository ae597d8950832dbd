"""NPZ, the archive of NumPy: one array for each channel and the time base beside them.

Taken are one-dimensional arrays of real numbers or truth values of one length. The time base is an array
`time` (or `t`, `times`, `timestamp`, in seconds), or a single number `rate` (or `fs`, `samplerate`: samples
a second), or `interval` (or `dt`: seconds). Two-dimensional arrays give a channel for each column.
"""

import math
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import IO, Any, Final
from zipfile import ZipFile

import numpy as np
from numpy.typing import NDArray

from halfsplit.capture.channel import Progress, Recording
from halfsplit.capture.readers.limits import require_bounded
from halfsplit.capture.readers.named_arrays import TIMES, recording
from halfsplit.capture.readers.timebase import Growing
from halfsplit.errors import InputError

NAME: Final = "NPZ"


def sniff(head: bytes) -> bool:
    """A zip archive that holds `.npy` members (the first name stands in the head)."""
    return head.startswith(b"PK\x03\x04") and b".npy" in head[:300]


def read(path: Path, progress: Progress | None = None) -> Recording:
    """Read every array; object arrays are refused, since they could run code."""
    try:
        with ZipFile(path) as archive:
            arrays = _arrays(archive, path.name, progress)
    except InputError:
        raise
    except Exception as error:  # damaged archives end in anything from zlib.error to NotImplementedError
        remedy = "save plain arrays with numpy.savez"
        raise InputError(f"its arrays cannot be read ({error})", remedy=remedy, where=path.name) from error
    return recording(arrays, path.name)


@dataclass(frozen=True)
class _Member:
    """An array of the archive, as its header tells it; nothing of it is unfolded yet."""

    name: str
    file: str
    shape: tuple[int, ...]
    fortran: bool
    kind: np.dtype[Any]


def _members(archive: ZipFile, where: str) -> list[_Member]:
    """The headers of the arrays, looked at against the limits."""
    members = []
    for info in archive.infolist():
        with archive.open(info) as stream:
            try:
                shape, fortran, kind = _header(stream)
            except ValueError as error:
                raise ValueError(f"{info.filename} is no array: {error}") from error
        if kind.hasobject:
            raise ValueError(f"{info.filename} holds objects, which could run code")
        members.append(_Member(info.filename.removesuffix(".npy"), info.filename, shape, fortran, kind))
    columns = sum(1 if len(member.shape) < 2 else member.shape[1] for member in members)
    require_bounded(where, columns, sum(math.prod(member.shape) for member in members))
    return members


def _header(stream: IO[bytes]) -> tuple[tuple[int, ...], bool, np.dtype[Any]]:
    """Shape, order and type; the stream then stands at the first sample."""
    version = np.lib.format.read_magic(stream)
    read = np.lib.format.read_array_header_1_0 if version == (1, 0) else np.lib.format.read_array_header_2_0
    shape, fortran, kind = read(stream)
    return shape, fortran, kind


_ROWS: Final = 1 << 20


def _arrays(archive: ZipFile, where: str, progress: Progress | None) -> dict[str, NDArray[Any]]:
    """The arrays by name: short and single ones as they are, long ones in blocks onto a temporary file."""
    members = _members(archive, where)
    total = max(sum(math.prod(member.shape) for member in members), 1)
    arrays, done = {}, 0
    for array in members:
        if array.kind.kind not in "biuf" or len(array.shape) > 2:
            continue
        with archive.open(array.file) as stream:
            _header(stream)
            for place, column in _unfolded(array, stream):
                arrays[place] = column
                done += column.size
                if progress:
                    progress(min(done / total, 1.0))
    return arrays


def _unfolded(member: _Member, stream: IO[bytes]) -> Iterator[tuple[str, NDArray[Any]]]:
    """The columns of an array under their names; two dimensions give a channel for each column."""
    if len(member.shape) < 2:
        size = math.prod(member.shape)
        yield member.name, _grown(stream, member, size, 1)[0].reshape(member.shape)
        return
    rows, columns = member.shape
    names = [f"{member.name} {i + 1}" for i in range(columns)]
    if member.fortran:
        for name in names:
            yield name, _grown(stream, member, rows, 1)[0]
        return
    yield from zip(names, _grown(stream, member, rows, columns), strict=True)


def _grown(stream: IO[bytes], member: _Member, rows: int, columns: int) -> list[NDArray[Any]]:
    """Columns from rows that follow each other; what is longer than a block is kept as float32 but for times."""
    clock = member.name.casefold() in TIMES
    kind = np.dtype(np.float32) if member.kind == np.float64 and rows > _ROWS and not clock else member.kind
    sink = Growing([kind.newbyteorder("=")] * columns)
    step = max(_ROWS // max(columns, 1), 1)
    for first in range(0, rows, step):
        count = min(step, rows - first) * columns
        data = stream.read(count * member.kind.itemsize)
        block = np.frombuffer(data, dtype=member.kind)
        if block.size != count:
            raise ValueError(f"{member.file} breaks off")
        sink.add(list(block.reshape(-1, columns).T))
    return sink.columns()
