"""NPZ, the archive of NumPy: one array for each channel and the time base beside them.

Taken are one-dimensional arrays of real numbers or truth values of one length. The time base is an array
`time` (or `t`, `times`, `timestamp`, in seconds), or a single number `rate` (or `fs`, `samplerate`: samples
a second), or `interval` (or `dt`: seconds). Two-dimensional arrays give a channel for each column.
"""

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import IO, Any, Final
from zipfile import ZipFile

import numpy as np
from numpy.typing import NDArray

from halfsplit.capture.channel import Progress, Recording
from halfsplit.capture.readers.timebase import Growing, channels_of, require_bounded
from halfsplit.errors import InputError

NAME: Final = "NPZ"
DAMAGED: Final = ("its arrays cannot be read", "save plain arrays with numpy.savez")


def sniff(head: bytes) -> bool:
    """A zip archive that holds `.npy` members (the first name stands in the head)."""
    return head.startswith(b"PK\x03\x04") and b".npy" in head[:300]


def read(path: Path, progress: Progress | None = None) -> Recording:
    """Read every array; object arrays are refused, since they could run code.

    Short and single ones are taken as they are, long ones in blocks onto a temporary file.
    """
    arrays: dict[str, NDArray[Any]] = {}
    with ZipFile(path) as archive:
        members = _members(archive)
        total, done = max(sum(math.prod(member.shape) for member in members), 1), 0
        for member in members:
            if member.kind.kind not in "biuf" or len(member.shape) > 2:
                continue
            with archive.open(member.file) as stream:
                _header(stream)
                for name, column in _unfolded(member, stream):
                    arrays[name] = column
                    done += column.size
                    if progress:
                        progress(min(done / total, 1.0))
    return recording(arrays)


@dataclass(frozen=True)
class _Member:
    """An array of the archive, as its header tells it; nothing of it is unfolded yet."""

    name: str
    file: str
    shape: tuple[int, ...]
    fortran: bool
    kind: np.dtype[Any]


def _members(archive: ZipFile) -> list[_Member]:
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
    require_bounded(columns, sum(math.prod(member.shape) for member in members))
    return members


def _header(stream: IO[bytes]) -> tuple[tuple[int, ...], bool, np.dtype[Any]]:
    """Shape, order and type; the stream then stands at the first sample."""
    first = np.lib.format.read_magic(stream) == (1, 0)
    read = np.lib.format.read_array_header_1_0 if first else np.lib.format.read_array_header_2_0
    shape, fortran, kind = read(stream)
    return shape, fortran, kind


_ROWS: Final = 1 << 20


def _unfolded(member: _Member, stream: IO[bytes]) -> Iterator[tuple[str, NDArray[Any]]]:
    """The columns of an array under their names; two dimensions give a channel for each column."""
    if len(member.shape) < 2:
        yield member.name, _grown(stream, member, math.prod(member.shape), 1)[0].reshape(member.shape)
        return
    rows, columns = member.shape
    names = _numbered(member.name, columns)
    if member.fortran:
        yield from ((name, _grown(stream, member, rows, 1)[0]) for name in names)
    else:
        yield from zip(names, _grown(stream, member, rows, columns), strict=True)


def _numbered(name: str, columns: int) -> list[str]:
    return [f"{name} {i + 1}" for i in range(columns)]


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


# Arrays with names, as NPZ and MAT files hold them: which one is the time base, and which are channels

_RATES: Final = ("rate", "fs", "samplerate", "sample_rate")
_INTERVALS: Final = ("interval", "dt", "ts", "sample_interval", "sampleinterval")
TIMES: Final = ("time", "times", "t", "timestamp", "timestamps")
"""Names of an array of times, in seconds."""


def recording(arrays: Mapping[str, NDArray[Any]]) -> Recording:
    """The channels in some arrays. Raises `InputError` if there are none."""
    left = dict(arrays)
    rate: float | None = None
    times: NDArray[np.float64] | None = None
    for name, array in arrays.items():  # the first that is a time base serves all
        key = name.casefold()
        if key in _RATES and array.size == 1:
            rate = _positive(left.pop(name), name)
        elif key in _INTERVALS and array.size == 1:
            rate = 1.0 / _positive(left.pop(name), name)
        elif key in TIMES and array.ndim == 1 and array.dtype.kind in "iuf":
            times = left.pop(name).astype(np.float64, copy=False)
        if name not in left:
            break
    columns: dict[str, NDArray[Any]] = {}
    for name, array in left.items():
        if array.dtype.kind in "biuf" and array.ndim == 1 and array.size > 1:
            columns[name] = array
        elif array.dtype.kind in "biuf" and array.ndim == 2 and array.size:
            columns |= zip(_numbered(name, array.shape[1]), array.T, strict=True)
    if not columns:
        names = ", ".join(left) or "nothing"
        raise InputError(f"holds no samples, only {names}", remedy="save one array a channel")
    return Recording(channels_of(columns, rate, times))


def _positive(array: NDArray[Any], name: str) -> float:
    try:
        value = float(array.ravel()[0])
    except (TypeError, ValueError):
        value = float("nan")
    if not 0 < value < float("inf"):
        remedy = "save a number above zero"
        raise InputError(f"its {name!r} is {array.ravel()[0]}", remedy=remedy)
    return value
