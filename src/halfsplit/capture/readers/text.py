"""Delimited text as instruments and spreadsheets write it, in any of its forms; see `layout`.

Read in blocks, so that memory stays bounded for files of gigabytes. A text may hold several sections, each
with its own settings, headings and numbers: one after another for the channels of some instruments.
"""

from collections.abc import Iterator
from dataclasses import replace
from itertools import pairwise
from pathlib import Path
from typing import Any, Final, TextIO

import numpy as np
from numpy.typing import NDArray

from halfsplit.capture.channel import Channel, Progress, Recording
from halfsplit.capture.readers.timebase import MOST_CHANNELS, MOST_LINE, Growing, channels_of, require_bounded
from halfsplit.delimited.encoding import MARKS, encoding_of
from halfsplit.delimited.layout import Layout, find_layout, is_index
from halfsplit.delimited.rows import careful, quick, seconds
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
        sections, notes = _sections(_Lines(file, path, progress))
    channels = [channel for section in sections for channel in _channels(*section)]
    if not any(channel.has_time for channel in channels):
        notes.append("no time column and no sample interval was found: give the sample rate")
    return Recording(tuple(channels), notes=tuple(notes))


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


def _channels(layout: Layout, columns: list[NDArray[Any]]) -> Iterator[Channel]:
    """Each time column serves the columns that follow it, up to the next."""
    clocks = [place for place, time in enumerate(layout.times) if time]
    values = [i for i, head in enumerate(layout.heads) if i not in clocks and not is_index(head)]
    for first, after in pairwise(sorted({0, *clocks, len(columns)})):
        names = {f"{i}": i for i in values if first <= i < after}
        if not names:
            continue
        rate, times, whole = 1.0 / layout.interval if layout.interval else None, None, None
        if first in clocks:
            clock = layout.columns[first] in layout.clocks
            rate, times = None, seconds(columns[first], layout.heads[first].gain, clock=clock)
            if times.size and np.isnan(
                times[-1]
            ):  # beside a longer pair of columns a shorter one ends in blanks
                whole = int(np.flatnonzero(~np.isnan(times)).max(initial=-1)) + 1
        heads = {name: layout.heads[i] for name, i in names.items()}
        if layout.title and len(values) == 1:
            heads = {name: replace(head, name=layout.title) for name, head in heads.items()}
        cut = {name: columns[i][:whole] for name, i in names.items()}
        yield from channels_of(cut, rate, None if times is None else times[:whole], heads)


def _sections(lines: _Lines) -> tuple[list[tuple[Layout, list[NDArray[Any]]]], list[str]]:
    """The layout of each section with its columns, and notes."""
    sections: list[tuple[Layout, list[NDArray[Any]]]] = []
    notes: list[str] = []
    while ahead := lines.look(_LOOK):
        start = lines.number
        # Refuse more columns than a recording may have, and lines without an end, before anything is made of them.
        for number, line in enumerate(ahead, start=start):
            cells = 1 + max(line.count(mark) for mark in ",;\t|")
            if cells > 2 * MOST_CHANNELS or (cells == 1 and len(line) > MOST_LINE):
                require_bounded(max(cells, MOST_CHANNELS + 1), 0, f"line {number}")
        layout = find_layout(ahead)
        if layout is None and sections:
            notes.append(f"the text from line {start} on holds no numbers and was left out")
            break
        if layout is None:
            texts = ((i, text.strip()) for i, text in enumerate(ahead, start=1) if text.strip())
            number, line = next(texts, (1, ""))
            expected = "expected columns of numbers, parted by comma, semicolon, tab or blanks"
            raise InputError(
                f"found {line[:60]!r} and no two lines of numbers after it; {expected}",
                remedy="export the samples as text, one column for each channel",
                where=f"line {number}",
            )
        block = lines.take()
        lines.give_back(block[layout.first :])
        require_bounded(len(layout.columns), 0, f"line {start}")
        sink = Growing([np.dtype(np.float64 if time else np.float32) for time in layout.times])
        notes += _fill(sink, layout, lines)
        sections.append((layout, sink.columns()))
    return sections, notes


def _fill(sink: Growing, layout: Layout, lines: _Lines) -> list[str]:
    """Take the section's rows; stop before a line without numbers. Returns notes."""
    while block := lines.take():
        first = lines.number - len(block)
        table = quick(block, layout)
        if table is not None:
            sink.add(list(table.T))
            continue
        rows: list[list[float]] = []
        bad: tuple[int, int] | None = None
        for place, values in careful(block, layout):
            if isinstance(values, int):
                bad = place, values
                break
            rows.append(values)
        if rows:
            sink.add(list(np.array(rows, dtype=np.float64).T))
        if bad is None:
            continue
        place, column = bad
        lines.give_back(block[place:])
        cells = layout.cells(block[place])
        if all(layout.value(cells, each) is None or not cells[each] for each in layout.columns):
            return []
        if not any(line.strip() for line in lines.look(2)[1:]):
            lines.take()
            return [f"line {first + place} breaks off and was left out"]
        raise _bad_cell(cells, column, layout, f"line {first + place}")
    return []


def _bad_cell(cells: list[str], column: int, layout: Layout, where: str) -> InputError:
    if column >= len(cells):
        lacking = f"found {len(cells)} cells, expected at least {layout.columns[-1] + 1}"
        return InputError(lacking, remedy="complete or delete the line", where=where)
    expected = f"a number with a decimal {'comma' if layout.comma else 'point'}"
    wrong = f"found {cells[column][:40]!r} in column {column + 1}, expected {expected}"
    return InputError(wrong, remedy="correct or delete the line", where=where)
