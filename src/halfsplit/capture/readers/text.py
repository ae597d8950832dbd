"""Delimited text as instruments and spreadsheets write it, in any of its forms; see `layout`.

Read in blocks, so that memory stays bounded for files of gigabytes. A text may hold several sections, each
with its own settings, headings and numbers: one after another for the channels of some instruments.
"""

from collections.abc import Iterator
from pathlib import Path
from typing import Any, Final, TextIO

import numpy as np
from numpy.typing import NDArray

from halfsplit.capture.channel import Channel, Progress, Recording
from halfsplit.capture.readers.timebase import MOST_CHANNELS, MOST_LINE, Growing, channels_of, require_bounded
from halfsplit.delimited.encoding import MARKS, encoding_of
from halfsplit.delimited.headings import Heading
from halfsplit.delimited.layout import Layout, find_layout, is_index
from halfsplit.delimited.rows import quick, row, seconds
from halfsplit.errors import InputError

NAME: Final = "delimited text"

_BLOCK: Final = 1 << 23
"""Characters that are read together."""

_LOOK: Final = 400
"""Lines in which the layout of a section is looked for."""


def sniff(head: bytes) -> bool:
    """Text: a byte order mark, or no byte below the blank but tabs and line ends."""
    if any(head.startswith(mark) for mark, _ in MARKS):
        return True
    control = sum(head.count(bytes([byte])) for byte in range(32) if byte not in b"\t\n\r\x0c\x1a")
    return control == 0


def read(path: Path, progress: Progress | None = None) -> Recording:
    """Read all sections of a text.

    Raises `InputError` with the line, what was found there and what was expected.
    """
    with path.open("rb") as binary:
        encoding = encoding_of(binary.read(1 << 16))
    with path.open(encoding=encoding, errors="replace") as file:
        sections, notes = _sections(_Lines(file, path, progress), path.name)
    channels: list[Channel] = []
    for section in sections:
        channels += section.channels(path.name)
    if not any(channel.has_time for channel in channels):
        notes.append("no time column and no sample interval was found: give the sample rate")
    return Recording(tuple(channels), source=path.name, notes=tuple(notes))


class _Lines:
    """The lines of a file in blocks, with the number of the next line; lines can be given back."""

    def __init__(self, file: TextIO, path: Path, progress: Progress | None) -> None:
        self._file = file
        self._size = max(path.stat().st_size, 1)
        self._progress = progress
        self._kept: list[str] = []
        self.number = 1

    def take(self) -> list[str]:
        """The next block, empty at the end of the file."""
        lines, self._kept = self._kept or self._fresh(), []
        self.number += len(lines)
        return lines

    def give_back(self, lines: list[str]) -> None:
        """Lines that were taken last and not used."""
        self._kept = lines + self._kept
        self.number -= len(lines)

    def look(self, count: int) -> list[str]:
        """The next lines without taking them."""
        while len(self._kept) < count and (fresh := self._fresh()):
            self._kept += fresh
        return self._kept[:count]

    def _fresh(self) -> list[str]:
        text = self._file.read(_BLOCK) + self._file.readline(MOST_LINE)
        if self._progress:
            self._progress(min(self._file.buffer.tell() / self._size, 1.0))
        lines = text.split("\n")
        if lines[-1] == "":
            lines.pop()
        return lines


class _Section:
    """The numbers under one set of headings."""

    def __init__(self, layout: Layout) -> None:
        self.layout = layout
        self._sink = Growing([np.dtype(np.float64 if time else np.float32) for time in layout.times])

    def add(self, block: NDArray[np.float64]) -> None:
        self._sink.add(list(block.T))

    def channels(self, where: str) -> list[Channel]:
        """Each time column serves the columns that follow it."""
        channels: list[Channel] = []
        rate = 1.0 / self.layout.interval if self.layout.interval else None
        for times, columns, heads in _groups(self.layout, self._sink.columns()):
            channels += channels_of(columns, None if times is not None else rate, times, where, heads)
        return channels


def _groups(
    layout: Layout, columns: list[NDArray[Any]]
) -> Iterator[tuple[NDArray[np.float64] | None, dict[str, NDArray[Any]], dict[str, Heading]]]:
    times: NDArray[np.float64] | None = None
    group: dict[str, NDArray[Any]] = {}
    heads: dict[str, Heading] = {}
    for i, (head, column) in enumerate(zip(layout.heads, columns, strict=True)):
        if layout.times[i]:
            if group:
                yield _cut(times, group), group, heads
                group, heads = {}, {}
            times = seconds(column, head.gain, clock=layout.columns[i] in layout.clocks)
        elif not is_index(head):
            alone = len(layout.heads) - sum(layout.times) - sum(map(is_index, layout.heads)) == 1
            name = layout.title if alone and layout.title else head.name
            group[f"{i}"], heads[f"{i}"] = column, Heading(name, head.unit, head.gain)
    if group:
        yield _cut(times, group), group, heads


def _cut(times: NDArray[np.float64] | None, group: dict[str, NDArray[Any]]) -> NDArray[np.float64] | None:
    """Beside a longer pair of columns a shorter one ends in blanks: they are cut off."""
    if times is None or not times.size or not np.isnan(times[-1]):
        return times
    last = int(np.flatnonzero(~np.isnan(times))[-1]) + 1 if (~np.isnan(times)).any() else 0
    for name in group:
        group[name] = group[name][:last]
    return times[:last]


def _sections(lines: _Lines, where: str) -> tuple[list[_Section], list[str]]:
    sections: list[_Section] = []
    notes: list[str] = []
    while ahead := lines.look(_LOOK):
        start = lines.number
        # Refuse more columns than a recording may have, and lines without an end, before anything is made of them.
        for number, line in enumerate(ahead, start=start):
            cells = 1 + max(line.count(mark) for mark in ",;\t|")
            if cells > 2 * MOST_CHANNELS or (cells == 1 and len(line) > MOST_LINE):
                require_bounded(f"{where}, line {number}", max(cells, MOST_CHANNELS + 1), 0)
        layout = find_layout(ahead)
        if layout is None:
            if not sections:
                raise _no_numbers(ahead, where)
            notes.append(f"the text from line {start} on holds no numbers and was left out")
            break
        block = lines.take()
        lines.give_back(block[layout.first :])
        require_bounded(f"{where}, line {start}", len(layout.columns), 0)
        sections.append(_Section(layout))
        notes += _fill(sections[-1], lines, where)
    return sections, notes


def _no_numbers(ahead: list[str], where: str) -> InputError:
    number, line = next(((i, text) for i, text in enumerate(ahead, start=1) if text.strip()), (1, ""))
    return InputError(
        f"found {line.strip()[:60]!r} and no two lines of numbers after it; expected columns of numbers, parted "
        "by comma, semicolon, tab or blanks",
        remedy="export the samples as text, one column for each channel",
        where=f"{where}, line {number}",
    )


def _fill(section: _Section, lines: _Lines, where: str) -> list[str]:
    """Take the section's rows; stop before a line without numbers. Returns notes."""
    layout = section.layout
    while block := lines.take():
        first = lines.number - len(block)
        table = quick(block, layout)
        if table is not None:
            section.add(table)
            continue
        rows, bad = _careful(block, layout)
        if rows:
            section.add(np.array(rows, dtype=np.float64))
        if bad is None:
            continue
        place, column = bad
        lines.give_back(block[place:])
        if not _has_number(block[place], layout):
            return []
        if not any(line.strip() for line in lines.look(2)[1:]):
            lines.take()
            return [f"line {first + place} breaks off and was left out"]
        raise _bad_cell(block[place], column, layout, f"{where}, line {first + place}")
    return []


def _careful(block: list[str], layout: Layout) -> tuple[list[list[float]], tuple[int, int] | None]:
    """Row by row, up to the first line that is none: its place in the block and the number of its cell."""
    rows: list[list[float]] = []
    for place, line in enumerate(block):
        if line.strip():
            values = row(line, layout)
            if isinstance(values, int):
                return rows, (place, values)
            rows.append(values)
    return rows, None


def _has_number(line: str, layout: Layout) -> bool:
    cells = layout.cells(line)
    return any(layout.value(cells, column) is not None and cells[column] for column in layout.columns)


def _bad_cell(line: str, column: int, layout: Layout, where: str) -> InputError:
    cells = layout.cells(line)
    sign = "comma" if layout.comma else "point"
    if column >= len(cells):
        return InputError(
            f"found {len(cells)} cells, expected at least {layout.columns[-1] + 1}",
            remedy="complete or delete the line",
            where=where,
        )
    return InputError(
        f"found {cells[column][:40]!r} in column {column + 1}, expected a number with a decimal {sign}",
        remedy="correct or delete the line",
        where=where,
    )
