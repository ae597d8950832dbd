"""Read a current log from delimited text: any delimiter, decimal comma, header lines, clock times or seconds.

The fast path is numpy's own reader; a file that it cannot take is read line by line, and the bad lines are told.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, replace
from io import StringIO
from itertools import pairwise
from pathlib import Path

import numpy as np

from halfsplit.clocks import clock_seconds, is_clock, past_midnight
from halfsplit.drain.cell_units import SCALES, plain_amps
from halfsplit.drain.log import CurrentLog, Floats
from halfsplit.errors import InputError

LARGEST_FILE = 400_000_000
LOOKED_AT = 60
DELIMITERS = ("\t", ";", "|", ",", " ")

_TIME_SCALES = (
    (1e-3, r"ms|msecs?|milli(?:seconds?|sekunden)"),
    (60.0, r"min|minutes?|minuten|minutos|minuti"),
    (3600.0, r"h|hrs?|hours?|std|stunden|heures|horas|ore"),
)
_SCALED_TIME = "|".join(words for _, words in _TIME_SCALES)
_TIME = re.compile(
    r"time|zeit|temps|tiempo|tempo|heure|hora|\bora\b|uhr|date|datum|fecha|seconds?|sekunden?|secondes?|segundos"
    rf"|secondi|epoch|unix|elapsed|\bt\b|^s$|^(?:{_SCALED_TIME})$",
    re.IGNORECASE,
)
_COUNTED = re.compile(r"(?:n|no|nr|num|index|idx|#|sample|record|line|lfd)\W*(?:nr|no)?\W*", re.IGNORECASE)
_CURRENT = re.compile(
    r"current|strom|courant|corrente|corriente|intensi|amp|\bi\b|\b[mµu]?a\b", re.IGNORECASE
)
_INTERVAL = re.compile(
    r"(?:interval|intervall|intervalle|sample time|abtast\w*|period\w*)\D{0,12}?([\d.,]+)\s*(ms|s|min)\b",
    re.IGNORECASE,
)
_DATE_APART = re.compile(
    r"(\d{4}[-/.]\d\d?[-/.]\d\d?|\d\d?[./-]\d\d?[./-](?:\d{4}|\d\d))\"?\s*[;,\t| ]\s*\"?(?=\d\d?:\d\d)"
)
_HALF_APART = re.compile(r"(?<=\d) (?=[AaPp]\.?[Mm]\b)")
_THOUSANDS = {
    True: re.compile(r"[-+]?\d{1,3}(?:\.\d{3})+(?:,\d+)?"),
    False: re.compile(r"[-+]?\d{1,3}(?:,\d{3})+\.\d+"),
}
"""Numbers with marks between their thousands, by whether the decimal mark is a comma."""
_MILLISECONDS_SINCE_1970 = 1e11
_UNIT = re.compile(r"(?<![A-Za-z])([m\u00b5\u03bcu]?A)(?![A-Za-z])")


@dataclass(frozen=True, slots=True)
class Form:
    """How a file is laid out. time: the column of time, or None; first: the index of the first line with data."""

    delimiter: str
    decimal_comma: bool
    first: int
    time: int | None
    current: int
    clock: bool
    scale: float
    time_scale: float
    interval: float | None
    remarks: tuple[str, ...]


def read_log(
    path: str | Path,
    *,
    interval: float | None = None,
    unit: str | None = None,
    zero: float = 0.0,
    turned: bool | None = None,
) -> CurrentLog:
    """Read a log file. Raises InputError, which says which line and what was expected.

    interval: seconds between samples, where the file has no time column.
    unit: A, mA or uA, where the file does not say it. zero, turned: see `parse_log`.
    """
    path = Path(path)
    try:
        if path.stat().st_size > LARGEST_FILE:
            raise InputError(f"larger than {LARGEST_FILE // 1_000_000} MB", where=path.name)
        data = path.read_bytes()
    except OSError as error:
        raise InputError(f"cannot be read ({error.strerror})", where=path.name) from error
    text = decoded(data, path.name)
    return parse_log(text, source=path.name, interval=interval, unit=unit, zero=zero, turned=turned)


def parse_log(
    text: str,
    *,
    source: str = "",
    interval: float | None = None,
    unit: str | None = None,
    zero: float = 0.0,
    turned: bool | None = None,
) -> CurrentLog:
    """Read a log from text; see `read_log`.

    zero: amperes that the instrument shows without a current; turned: whether it was the wrong way round, None to
    decide by the log.
    """
    lines, in_cells = plain_amps(_plain_rows(text.splitlines()))
    form = _form(lines, source, interval, "A" if in_cells else unit)
    body = lines[form.first :]
    columns = [form.current] if form.time is None else [form.time, form.current]
    cells, remarks = _cells(body, form, columns)
    amps = cells[:, -1] * form.scale
    if form.time is None:
        seconds = np.arange(amps.size, dtype=np.float64) * (form.interval or 1.0)
    else:
        scale = 1e-3 if not form.clock and cells[0, 0] > _MILLISECONDS_SINCE_1970 else form.time_scale
        seconds = cells[:, 0] * (1.0 if form.clock else scale)
    log = CurrentLog.of(seconds, amps, source, (*form.remarks, *remarks), zero=zero, turned=turned)
    return replace(log, unit_said=not form.remarks)


def _plain_rows(lines: list[str]) -> list[str]:
    """The lines without bars about them, a date and its time of day as one cell."""
    head = [line for line in lines[:LOOKED_AT] if line.strip()]
    if sum(line.lstrip().startswith("|") for line in head) * 2 > len(head):
        lines = [line.strip().strip("|") for line in lines]
    if any(_DATE_APART.search(line) or _HALF_APART.search(line) for line in head):
        lines = [_HALF_APART.sub("", _DATE_APART.sub(r"\1T", line)) for line in lines]
    return lines


def decoded(data: bytes, name: str) -> str:
    """The text of a log file, whatever its encoding. Raises InputError, naming the file, where it is none."""
    if data[:2] in (b"\xff\xfe", b"\xfe\xff"):
        return data.decode("utf-16", errors="replace")
    if b"\x00" in data[:4096]:
        raise InputError("this is not text", remedy="save the log as CSV or text", where=name)
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError:
        return data.decode("cp1252", errors="replace")


def _form(lines: Sequence[str], source: str, interval: float | None, unit: str | None) -> Form:
    """Find delimiter, decimal mark, header and columns from the first lines. Raises InputError."""
    best = max(
        ((_run(lines, mark, comma), mark, comma) for mark in DELIMITERS for comma in (False, True)), key=_rank
    )
    (first, width, count), delimiter, comma = best
    if count == 0:
        raise InputError(
            f"no line of numbers among the first {min(len(lines), LOOKED_AT)}",
            remedy="a current log has a time and a current on each line, separated by comma, semicolon, tab or space",
            where=source,
        )
    header = lines[:first]
    titles = _titles(header, delimiter, width)
    cells = _split(lines[first], delimiter)
    clocks = [place for place in range(width) if is_clock(cells[place].strip())]
    time, current = _columns(titles, width, clocks, _rising(lines[first:], delimiter, width, comma), source)
    interval = interval or _stated_interval(header)
    if time is None and interval is None:
        raise InputError(
            "one column of numbers and no time",
            remedy="say how many seconds lie between two samples",
            where=source,
        )
    scale, remarks = _scale(titles[current], " ".join(header), unit)
    said = "" if time is None else titles[time]
    time_scale = next(
        (s for s, words in _TIME_SCALES if re.search(rf"(?:^|[\[(/ _])(?:{words})\b", said, re.IGNORECASE)),
        1.0,
    )
    return Form(
        delimiter,
        comma,
        first,
        time,
        current,
        bool(clocks) and time in clocks,
        scale,
        time_scale,
        interval,
        remarks,
    )


def _rank(candidate: tuple[tuple[int, int, int], str, bool]) -> tuple[int, int, int, bool]:
    """More lines first, then two columns rather than one, then fewer columns, then the decimal point."""
    (_, width, count), _, comma = candidate
    return count, min(width, 2), -width, not comma


def _run(lines: Sequence[str], delimiter: str, comma: bool) -> tuple[int, int, int]:
    """First line, width and number of the lines (of those looked at) that are numbers when split this way."""
    if comma and delimiter == ",":
        return 0, 0, 0
    width = first = count = 0
    for place, line in enumerate(lines[:LOOKED_AT]):
        cells = _split(line, delimiter)
        if not line.strip() or not all(_is_value(cell, comma) for cell in cells):
            continue
        if count == 0 or len(cells) != width:
            first, width, count = (place, len(cells), 1) if count <= 1 else (first, width, count)
        else:
            count += 1
    return first, width, count


def _split(line: str, delimiter: str) -> list[str]:
    return (
        line.split()
        if delimiter == " "
        else [cell.strip().strip('"') for cell in line.rstrip(delimiter).split(delimiter)]
    )


def _is_value(cell: str, comma: bool) -> bool:
    cell = cell.strip().strip('"')
    if is_clock(cell) or cell.upper() in ("OL", "O.L", "NAN", "INF", "-INF", "OVERLOAD"):
        return True
    if _THOUSANDS[comma].fullmatch(cell):
        return True
    if comma and "." in cell:
        return False
    try:
        float(cell.replace(",", ".") if comma else cell)
    except ValueError:
        return False
    return True


def _titles(header: Sequence[str], delimiter: str, width: int) -> list[str]:
    """The title of each column: the header lines that have as many cells, joined."""
    rows = [_split(line, delimiter) for line in header if line.strip()]
    fitting = [row for row in rows if len(row) == width]
    return [" ".join(row[place] for row in fitting) for place in range(width)]


def _rising(lines: Sequence[str], delimiter: str, width: int, comma: bool) -> list[int]:
    """The columns of numbers that rise from each line looked at to the next."""
    rows = [_split(line, delimiter) for line in lines[:LOOKED_AT]]
    rows = [row for row in rows if len(row) == width and all(_is_value(cell, comma) for cell in row)]
    rising = []
    for place in range(width):
        values = [_value(row[place], comma) for row in rows]
        if len(values) > 2 and all(a < b for a, b in pairwise(values)):
            rising.append(place)
    return rising


def _columns(
    titles: list[str], width: int, clocks: list[int], rising: list[int], source: str
) -> tuple[int | None, int]:
    if width == 1:
        return None, 0
    named = [place for place in range(width) if _CURRENT.search(titles[place])]
    time = (
        clocks[0]
        if clocks
        else next((p for p in range(width) if _TIME.search(titles[p]) and p not in named[:1]), None)
    )
    if time is None:  # what rises throughout is the time, unless it only counts the lines
        time = next((p for p in rising if p not in named and not _COUNTED.fullmatch(titles[p])), None)
    if time is None and not any(titles):
        time = 0
    rest = [place for place in range(width) if place != time]
    current = next((place for place in named if place != time), None)
    if current is None and len(rest) > 1:
        raise InputError(
            f"{len(rest)} columns could be the current",
            remedy="name the column 'current' in the heading",
            where=source,
        )
    return time, rest[0] if current is None else current


def _stated_interval(header: Sequence[str]) -> float | None:
    match = _INTERVAL.search(" ".join(header))
    if not match:
        return None
    return float(match[1].replace(",", ".")) * {"ms": 1e-3, "s": 1.0, "min": 60.0}[match[2].lower()]


def _scale(title: str, header: str, unit: str | None) -> tuple[float, tuple[str, ...]]:
    if unit is not None:
        if unit.lower() not in SCALES:
            raise InputError(f"{unit!r} is no unit of current", remedy="write A, mA or uA")
        return SCALES[unit.lower()], ()
    match = _UNIT.search(title) or _UNIT.search(header)
    if match:
        return SCALES[match[1].lower()], ()
    return 1.0, ("The file names no unit: the values were taken as amps.",)


def _cells(lines: Sequence[str], form: Form, columns: list[int]) -> tuple[Floats, tuple[str, ...]]:
    """The numbers of the wanted columns, (n, columns); NaN for over-range. Lines that are none are told."""
    if not form.clock:
        text = "\n".join(lines)
        try:
            plain = text.replace(",", ".") if form.decimal_comma else text
            return _oldest_first(_fast(plain, form.delimiter, columns)), ()
        except ValueError:
            pass
    return _slow(lines, form, columns)


def _fast(text: str, delimiter: str, columns: list[int]) -> Floats:
    mark = None if delimiter == " " else delimiter
    return np.loadtxt(
        StringIO(text), delimiter=mark, usecols=columns, comments=None, ndmin=2, dtype=np.float64
    )


def _slow(lines: Sequence[str], form: Form, columns: list[int]) -> tuple[Floats, tuple[str, ...]]:
    rows: list[tuple[float, ...]] = []
    bad: list[int] = []
    for place, line in enumerate(lines):
        if not line.strip():
            continue
        try:
            cells = _split(line, form.delimiter)
            rows.append(tuple(_value(cells[column], form.decimal_comma) for column in columns))
        except (ValueError, IndexError):
            bad.append(form.first + place + 1)
    if not rows:
        raise InputError(f"no readable line after line {form.first}", remedy="look at the file's layout")
    numbers = _oldest_first(np.array(rows, dtype=np.float64))
    if form.clock and form.time is not None:
        numbers[:, 0] = past_midnight(numbers[:, 0])
    return numbers, _left_out(bad)


def _oldest_first(numbers: Floats) -> Floats:
    """The rows turned round where the newest stands first."""
    if numbers.shape[1] < 2 or len(numbers) < 3:
        return numbers
    steps = np.diff(numbers[:, 0])
    return numbers[::-1] if np.count_nonzero(steps < 0) > 0.9 * steps.size else numbers


def _left_out(bad: list[int]) -> tuple[str, ...]:
    if not bad:
        return ()
    shown = ", ".join(map(str, bad[:8])) + (" and more" if len(bad) > 8 else "")
    what = (
        "1 line could not be read and was"
        if len(bad) == 1
        else f"{len(bad)} lines could not be read and were"
    )
    return (f"{what} left out: {shown}.",)


def _value(cell: str, comma: bool) -> float:
    cell = cell.strip().strip('"')
    if ":" in cell:
        seconds = clock_seconds(cell)
        if seconds is None:
            raise ValueError(cell)
        return seconds
    if cell.upper().startswith(("OL", "O.L", "OVER")) or not cell:
        return float("nan")
    if _THOUSANDS[comma].fullmatch(cell):
        cell = cell.replace("." if comma else ",", "")
    return float(cell.replace(",", ".") if comma else cell)
