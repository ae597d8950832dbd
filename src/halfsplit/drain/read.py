"""Read a current log from delimited text: which of its columns is the time and which the current, in what unit.

How the text is laid out is for `halfsplit.delimited` to say; bad lines are left out here, and told.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import replace
from itertools import pairwise
from pathlib import Path

import numpy as np

from halfsplit.delimited.encoding import decoded
from halfsplit.delimited.headings import is_time
from halfsplit.delimited.layout import Layout, find_layout, is_index
from halfsplit.delimited.rows import careful, quick, row, seconds
from halfsplit.drain.log import CurrentLog, Floats
from halfsplit.errors import InputError

LARGEST_FILE = 400_000_000
LOOKED_AT = 60
SCALES = {"na": 1e-9, "ua": 1e-6, "\u00b5a": 1e-6, "\u03bca": 1e-6, "ma": 1e-3, "a": 1.0}

_CURRENT = re.compile(
    r"current|strom|courant|corrente|corriente|intensi|(?<!st)amp|\bi\b|\b[m\u00b5u]?a\b", re.IGNORECASE
)
_MEAN = re.compile(r"\b(?:avg|average|mean|mittel\w*|moy\w*|prom\w*|media)\b", re.IGNORECASE)
_UNIT = re.compile(r"(?<![A-Za-z])([m\u00b5\u03bcu]?A)(?![A-Za-z])")
_ASSUMED = "The file names no unit: the values were taken as amps."


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
    text = text_of(data, path.name)
    return parse_log(text, source=path.name, interval=interval, unit=unit, zero=zero, turned=turned)


def text_of(data: bytes, name: str) -> str:
    """The text of a log file, whatever its encoding. Raises InputError, naming the file, where it is none."""
    return decoded(data, "save the log as CSV or text", where=name)


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
    lines = text.splitlines()
    layout = find_layout(lines[:LOOKED_AT])
    if layout is None:
        raise InputError(
            f"no line of numbers among the first {min(len(lines), LOOKED_AT)}",
            remedy="a current log has a time and a current on each line, separated by comma, semicolon, tab or space",
            where=source,
        )
    time, current = _columns(layout, lines, source)
    interval = interval or layout.interval
    if time is None and interval is None:
        raise InputError(
            "one column of numbers and no time",
            remedy="say how many seconds lie between two samples",
            where=source,
        )
    scale, assumed = _scale(layout, current, unit, source)
    wanted = [current] if time is None else [time, current]
    table, remarks = _table(lines, replace(layout, columns=tuple(layout.columns[i] for i in wanted)))
    amps = table[:, -1] * scale
    if time is None:
        clock = np.arange(amps.size, dtype=np.float64) * (interval or 1.0)
    else:
        clock = seconds(table[:, 0], layout.heads[time].gain, clock=layout.columns[time] in layout.clocks)
    log = CurrentLog.of(clock, amps, source, (*assumed, *remarks), zero=zero, turned=turned)
    return replace(log, unit_said=not assumed)


def _columns(layout: Layout, lines: Sequence[str], source: str) -> tuple[int | None, int]:
    """The places among the layout's columns of the time, None where there is none, and of the current."""
    heads = layout.heads
    if len(heads) == 1:
        return None, 0
    unsaid = [i for i, head in enumerate(heads) if not head.unit and _CURRENT.search(head.name)]
    named = [i for i, head in enumerate(heads) if head.unit == "A" or i in unsaid]
    clocks = [i for i, column in enumerate(layout.columns) if column in layout.clocks]
    times = [i for i, head in enumerate(heads) if i in clocks or (is_time(head, i == 0) and i not in named)]
    if not times:  # what rises throughout is the time, unless it only counts the lines
        rows = [row(line, layout) for line in lines[layout.first : LOOKED_AT]]
        columns = list(zip(*(values for values in rows if isinstance(values, list)), strict=True))
        rising = [
            i for i, each in enumerate(columns) if len(each) > 2 and all(a < b for a, b in pairwise(each))
        ]
        times = [i for i in rising if i not in named and not is_index(heads[i])]
    if not times and all(head.name.startswith("column ") for head in heads[1:]):
        times = [0]
    time = times[0] if times else None
    rest = [i for i, head in enumerate(heads) if i != time and not is_index(head)]
    currents = sorted((i for i in named if i != time), key=lambda i: not _MEAN.search(heads[i].name))
    if not currents and len(rest) != 1:
        raise InputError(
            f"{len(rest)} columns could be the current",
            remedy="name the column 'current' in the heading",
            where=source,
        )
    return time, (currents or rest)[0]


def _scale(layout: Layout, current: int, unit: str | None, source: str) -> tuple[float, tuple[str, ...]]:
    """Amperes for each number of the current's column, and a remark where nothing says it."""
    head = layout.heads[current]
    if layout.columns[current] in layout.worded and head.unit == "A":
        return 1.0, ()
    if unit is not None:
        if unit.lower() not in SCALES:
            raise InputError(f"{unit!r} is no unit of current", remedy="write A, mA or uA")
        return SCALES[unit.lower()], ()
    if head.unit == "A":
        return head.gain, ()
    if head.unit in ("V", "ohm", "W"):
        raise InputError(
            f"the column {head.name!r} is in {head.unit}, not in A",
            remedy="give the unit if the heading is wrong, or scale a clamp's volts to amperes first",
            where=source,
        )
    match = _UNIT.search(head.name) or _UNIT.search(" ".join(layout.above))
    return (SCALES[match[1].lower()], ()) if match else (1.0, (_ASSUMED,))


def _table(lines: list[str], layout: Layout) -> tuple[Floats, tuple[str, ...]]:
    """The numbers of the layout's columns, (n, columns), the oldest first; NaN for over-range.

    Lines that are none are told.
    """
    table = quick(lines[layout.first :], layout)
    remarks: tuple[str, ...] = ()
    if table is None:
        rows: list[list[float]] = []
        bad: list[int] = []
        for place, values in careful(lines[layout.first :], layout):
            rows.append(values) if isinstance(values, list) else bad.append(layout.first + 1 + place)
        if not rows:
            lacking = f"no readable line after line {layout.first}"
            raise InputError(lacking, remedy="look at the file's layout")
        table = np.array(rows)
        lines_were = "1 line could not be read and was"
        if len(bad) > 1:
            lines_were = f"{len(bad)} lines could not be read and were"
        shown = ", ".join(map(str, bad[:8])) + (" and more" if len(bad) > 8 else "")
        remarks = (f"{lines_were} left out: {shown}.",) if bad else ()
    steps = np.diff(table[:, 0])
    newest_first = table.shape[1] > 1 and len(table) > 2 and np.count_nonzero(steps < 0) > 0.9 * steps.size
    return (table[::-1] if newest_first else table), remarks
