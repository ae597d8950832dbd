"""Spreadsheets (`.xlsx`, through openpyxl, read only): the sheet with most rows, read as delimited text is.

A column of dates and clock times becomes seconds from its first one.
"""

import datetime as dt
import tempfile
import zipfile
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import replace
from itertools import chain, islice
from pathlib import Path
from typing import Any, Final

from halfsplit.capture.channel import Progress, Recording
from halfsplit.capture.readers import text
from halfsplit.errors import InputError

NAME: Final = "spreadsheet"
DAMAGED: Final = ("is no spreadsheet that can be read", "export it as CSV")

MOST_CELLS: Final = 10_000_000
MOST_COLUMNS: Final = 1_000
MOST_UNFOLDED: Final = 2_000_000_000
_FIRST: Final = (b"[Content_Types].xml", b"xl/", b"_rels/", b"docProps/")
_LOOKED_AT: Final = 40


def sniff(head: bytes) -> bool:
    """A zip archive whose first member is one of a spreadsheet's."""
    return head.startswith(b"PK\x03\x04") and head[30:60].startswith(_FIRST)


def read(path: Path, progress: Progress | None = None) -> Recording:
    """Read the sheet with most rows. Raises `InputError` where it is damaged, too large, or holds no numbers."""
    import openpyxl

    with zipfile.ZipFile(path) as archive:
        unfolded = sum(member.file_size for member in archive.infolist())
    if unfolded > MOST_UNFOLDED:
        raise InputError(f"unfolds to {unfolded:,} bytes", remedy="export it as CSV")
    try:
        with (
            path.open("rb") as stream,
            tempfile.NamedTemporaryFile("w", encoding="utf-8", suffix=".txt") as lines,
        ):
            book = openpyxl.load_workbook(stream, read_only=True, data_only=True)
            sheet = max(book.worksheets, key=lambda worksheet: worksheet.max_row or 0)
            lines.writelines(_lines(sheet.iter_rows(values_only=True), sheet.max_row or 1, progress))
            lines.flush()
            recording = text.read(Path(lines.name))
    except InputError as error:
        raise InputError(error.message, remedy=error.remedy) from error
    others = len(book.worksheets) - 1
    note = f"from the sheet {sheet.title!r}" + (f"; {others} more were not read" if others else "")
    return replace(recording, notes=(*recording.notes, note))


def _lines(rows: Iterable[Sequence[Any]], count: int, progress: Progress | None) -> Iterator[str]:
    """The rows as lines of text, dates and clock times as seconds from the first of their column.

    Where such a column has a heading within the first rows, it says then that it is a time in seconds.
    """
    bounded = _bounded(rows)
    head = list(islice(bounded, _LOOKED_AT))
    zero: dict[int, dt.datetime] = {}
    for place, cell in (cell for row in head for cell in enumerate(row)):
        if isinstance(cell, _MOMENTS):
            zero.setdefault(place, _moment(cell))
    data = False
    for number, row in enumerate(chain(head, bounded)):
        data = data or number >= len(head) or any(type(cell) in (int, float) for cell in row)
        cells = []
        for place, cell in enumerate(row):
            if isinstance(cell, _MOMENTS):
                moment = _moment(cell)
                cells.append(f"{(moment - zero.get(place, moment)).total_seconds():.6f}")
            elif isinstance(cell, bool):
                cells.append(str(int(cell)))
            elif isinstance(cell, str) and place in zero and not data:
                cells.append("time (s)")
            else:
                cells.append("" if cell is None else " ".join(str(cell).split()))
        yield "\t".join(cells) + "\n"
        if progress and number >= len(head) and number % 10_000 == 0:
            progress(min(number / count, 1.0))


def _bounded(rows: Iterable[Sequence[Any]]) -> Iterator[Sequence[Any]]:
    cells = 0
    for row in rows:
        cells += len(row)
        if len(row) > MOST_COLUMNS or cells > MOST_CELLS:
            many = f"more than {MOST_COLUMNS:,} columns or {MOST_CELLS:,} cells"
            raise InputError(many, remedy="export it as CSV")
        yield row


_MOMENTS: Final = (dt.datetime, dt.time, dt.timedelta)


def _moment(cell: dt.datetime | dt.time | dt.timedelta) -> dt.datetime:
    day = dt.datetime(2000, 1, 1)  # noqa: DTZ001 - clock times of one day, never shown
    if isinstance(cell, dt.timedelta):
        return day + cell
    bare = cell.replace(tzinfo=None)
    return dt.datetime.combine(day, bare) if isinstance(bare, dt.time) else bare
