"""Spreadsheets (`.xlsx`, through openpyxl, read only): the sheet with most rows, read as delimited text is.

A column of dates and clock times becomes seconds from its first one.
"""

import datetime as dt
import tempfile
import zipfile
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import replace
from pathlib import Path
from typing import IO, Any, Final

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
    try:
        with path.open("rb") as stream:
            recording, note = _of_book(stream, path, progress)
    except InputError as error:
        raise InputError(error.message, remedy=error.remedy, where=path.name) from error
    return replace(recording, source=path.name, notes=(*recording.notes, note))


def _of_book(stream: IO[bytes], path: Path, progress: Progress | None) -> tuple[Recording, str]:
    """What the sheet with most rows holds, and a note on which one it is."""
    import openpyxl

    with zipfile.ZipFile(path) as archive:
        unfolded = sum(member.file_size for member in archive.infolist())
    if unfolded > MOST_UNFOLDED:
        raise InputError(f"unfolds to {unfolded:,} bytes", remedy="export it as CSV", where=path.name)
    book = openpyxl.load_workbook(stream, read_only=True, data_only=True)
    sheet = max(book.worksheets, key=lambda worksheet: worksheet.max_row or 0)
    others = len(book.worksheets) - 1
    with tempfile.NamedTemporaryFile("w", encoding="utf-8", suffix=".txt") as lines:
        _write(sheet.iter_rows(values_only=True), lines, path.name, sheet.max_row or 0, progress)
        lines.flush()
        recording = text.read(Path(lines.name))
    return recording, f"from the sheet {sheet.title!r}" + (f"; {others} more were not read" if others else "")


def _write(
    rows: Iterable[Sequence[Any]], lines: IO[str], where: str, count: int, progress: Progress | None
) -> None:
    cells = 0
    zero: dict[int, dt.datetime] = {}
    held: list[Sequence[Any]] | None = []
    for number, row in enumerate(rows):
        cells += len(row)
        if len(row) > MOST_COLUMNS or cells > MOST_CELLS:
            raise InputError(
                f"more than {MOST_COLUMNS:,} columns or {MOST_CELLS:,} cells",
                remedy="export it as CSV",
                where=where,
            )
        if held is not None:
            held.append(row)
            if len(held) < _LOOKED_AT:
                continue
            lines.writelines(_head(held, zero))
            held = None
        else:
            lines.write(_line(row, zero))
        if progress and number % 10_000 == 0:
            progress(min(number / max(count, 1), 1.0))
    if held:
        lines.writelines(_head(held, zero))


def _head(rows: list[Sequence[Any]], zero: dict[int, dt.datetime]) -> Iterator[str]:
    """The first rows; the heading of a column of dates says that it is a time in seconds."""
    for row in rows:
        for place, cell in enumerate(row):
            if isinstance(cell, dt.datetime | dt.time | dt.timedelta):
                zero.setdefault(place, _moment(cell))
    data = False
    for row in rows:
        data = data or any(isinstance(cell, int | float) and not isinstance(cell, bool) for cell in row)
        titled = [
            "time (s)" if place in zero and isinstance(cell, str) and not data else cell
            for place, cell in enumerate(row)
        ]
        yield _line(titled, zero)


def _line(row: Sequence[Any], zero: dict[int, dt.datetime]) -> str:
    return "\t".join(_cell(cell, zero.get(place)) for place, cell in enumerate(row)) + "\n"


def _cell(cell: Any, zero: dt.datetime | None) -> str:
    if isinstance(cell, dt.datetime | dt.time | dt.timedelta):
        return f"{(_moment(cell) - (zero or _moment(cell))).total_seconds():.6f}"
    if isinstance(cell, bool):
        return str(int(cell))
    return "" if cell is None else " ".join(str(cell).split())


def _moment(cell: dt.datetime | dt.time | dt.timedelta) -> dt.datetime:
    day = dt.datetime(2000, 1, 1)  # noqa: DTZ001 - clock times of one day, never shown
    if isinstance(cell, dt.timedelta):
        return day + cell
    return (
        dt.datetime.combine(day, cell.replace(tzinfo=None))
        if isinstance(cell, dt.time)
        else cell.replace(tzinfo=None)
    )
