"""From columns to channels: an even time base is told from jitter and from records of edges.

All readers with columns share this, so that the same recording is the same capture in every format, and what a
recording may hold at most, which is looked at before anything is unfolded.
"""

import tempfile
from collections.abc import Mapping, Sequence
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from halfsplit.capture.channel import Channel
from halfsplit.capture.paging import BLOCK, blocks
from halfsplit.delimited.headings import Heading
from halfsplit.errors import InputError

MOST_CHANNELS: Final = 1000
MOST_SAMPLES: Final = 2_000_000_000
MOST_BYTES: Final = 16_000_000_000
"""Bytes to which a file may unfold: a few kilobytes of zeros must not fill the disk."""

MOST_LINE: Final = 1 << 20
"""Characters of a line of text."""

_IN_MEMORY: Final = 1 << 26
"""Bytes that growing columns take in memory before they move to a temporary file: 64 MB."""


_MANY_BLANK: Final = 0.05
"""From this share of missing cells a column counts as a slower channel with times of its own."""


def require_bounded(channels: int, samples: int, where: str = "") -> None:
    """Raise `InputError` where a file (a section, in the line `where`) says that it holds more, of eight bytes each."""
    if channels > MOST_CHANNELS:
        raise InputError(
            f"holds {channels:,} channels, at most {MOST_CHANNELS:,} are read",
            remedy="export the channels that are needed, one to a column",
            where=where,
        )
    if samples > MOST_SAMPLES or samples * 8 > MOST_BYTES:
        most = f"at most {MOST_SAMPLES:,} and {MOST_BYTES / 1e9:.0f} GB are read"
        raise InputError(
            f"unfolds to {samples:,} samples ({samples * 8 / 1e9:.0f} GB), {most}",
            remedy="export a shorter stretch",
        )


class Growing:
    """Columns that grow block by block, in memory while they are short and in a temporary file beyond."""

    def __init__(self, types: Sequence[np.dtype[Any]]) -> None:
        self._types = list(types)
        self._blocks: list[list[NDArray[Any]]] = [[] for _ in types]
        self._spilled: list[Any] = []
        self._bytes = 0

    def add(self, block: Sequence[NDArray[Any]]) -> None:
        """Append one array to each column."""
        for kept, kind, column in zip(self._blocks, self._types, block, strict=True):
            kept.append(np.ascontiguousarray(column, dtype=kind))
            self._bytes += kept[-1].nbytes
        if self._bytes > _IN_MEMORY:
            self._spill()

    def _spill(self) -> None:
        if not self._spilled:
            self._spilled = [tempfile.TemporaryFile() for _ in self._types]  # noqa: SIM115 (the map outlives us)
        for kept, file in zip(self._blocks, self._spilled, strict=True):
            for array in kept:
                array.tofile(file)
            kept.clear()
        self._bytes = 0

    def columns(self) -> list[NDArray[Any]]:
        """The columns, memory-mapped if they were long."""
        if not self._spilled:
            return [
                np.concatenate(kept) if kept else np.empty(0, kind)
                for kept, kind in zip(self._blocks, self._types, strict=True)
            ]
        self._spill()
        maps: list[NDArray[Any]] = []
        for file, kind in zip(self._spilled, self._types, strict=True):
            file.flush()
            maps.append(np.memmap(file, dtype=kind, mode="r"))
            file.close()  # the map lasts on its own; the nameless file goes with it
        return maps


def channels_of(
    columns: Mapping[str, NDArray[Any]],
    rate: float | None,
    times: NDArray[np.float64] | None,
    heads: Mapping[str, Heading] | None = None,
) -> tuple[Channel, ...]:
    """Channels from columns of one length and their time base.

    `heads` gives units and gains. Times that are even become a rate. Raises `InputError` where the lengths
    differ or the times do not rise.
    """
    lengths = {name: int(column.size) for name, column in columns.items()}
    if len(set(lengths.values()) | ({times.size} if times is not None else set())) > 1:
        raise InputError(f"its columns differ in length: {lengths}", remedy="save one length")
    start, edges = 0.0, False
    if times is not None:
        _require_rising(times)
        even = even_rate(times)
        # Changes of logic levels: only 0 and 1, and uneven times or a change in each row.
        parts = [np.asarray(column[:BLOCK]) for column in columns.values()]
        if times.size >= 4 and parts and all(np.isin(part, (0, 1)).all() for part in parts):
            changes = np.logical_or.reduce([np.diff(part.astype(np.float32)) != 0 for part in parts])
            edges = even is None or bool(changes.mean() > 0.95)
        if even and not edges:
            (rate, start), times = even, None
    return tuple(
        _channel(name, column, rate, start, times, edges, (heads or {}).get(name, Heading(name)))
        for name, column in columns.items()
    )


def _channel(
    name: str,
    column: NDArray[Any],
    rate: float | None,
    start: float,
    times: NDArray[np.float64] | None,
    edges: bool,
    head: Heading,
) -> Channel:
    if column.dtype == np.float64:
        with np.errstate(over="ignore"):  # what no instrument shows becomes infinite
            column = column.astype(np.float32)
    if column.dtype == np.bool_:
        column = column.astype(np.uint8)
    floating = column.dtype.kind == "f"
    blank = sum(int(np.isnan(part).sum()) for _, part in blocks(column)) if floating else 0
    if blank > _MANY_BLANK * column.size:
        there = np.flatnonzero(~np.isnan(column))
        clock = times[there] if times is not None else start + there / (rate or 1.0)
        even = even_rate(clock) if there.size > 2 else None
        column = column[there]
        rate, start, times = (even[0], even[1], None) if even else (None, 0.0, clock)
    return Channel(head.name or name, column, head.unit, head.gain, 0.0, rate, start, times, edges)


def _require_rising(times: NDArray[np.float64]) -> None:
    """Equal neighbours are taken (times are often printed with few digits), falling ones are not."""
    for first, part in blocks(times, overlap=1):
        if np.isnan(part).any():
            row = first + int(np.flatnonzero(np.isnan(part))[0]) + 1
            remedy = "export the time of each sample"
            raise InputError(f"sample {row} has no time", remedy=remedy)
        falls = np.flatnonzero(np.diff(part) < 0)
        if falls.size:
            row = first + int(falls[0])
            raise InputError(
                f"the time falls from {times[row]:g} to {times[row + 1]:g} s at sample {row + 2}",
                remedy="export one recording a file, in the order of time",
            )


def even_rate(times: NDArray[np.float64]) -> tuple[float, float] | None:
    """Samples a second and the start in seconds, where the times are even; None where they are not.

    Even means: no time is further from its place on a straight line than 0.6 of the usual step, where the
    step is the one that the times are printed with if that is coarser than the interval.
    """
    if times.size < 2 or times[-1] <= times[0]:
        return None
    start, stop = float(times[0]), float(times[-1])
    interval = (stop - start) / (times.size - 1)
    usual = max(interval, _printed_step(times[:16_384]), _printed_step(times[-16_384:]))
    for first, part in blocks(times):
        ideal = start + interval * np.arange(first, first + part.size)
        if np.abs(part - ideal).max() > 0.6 * usual:
            return None
    return 1.0 / interval, start


def _printed_step(times: NDArray[np.float64]) -> float:
    steps = np.diff(times)
    return float(np.median(steps[steps > 0])) if (steps > 0).any() else 0.0
