"""The rows of numbers under a layout: all of a block at once where numpy can, else line by line."""

import re
from collections.abc import Iterator, Sequence

import numpy as np
from numpy.typing import NDArray

from halfsplit.clocks import past_midnight
from halfsplit.delimited.layout import Layout

_MILLISECONDS_SINCE_1970 = 1e11


def quick(block: Sequence[str], layout: Layout) -> NDArray[np.float64] | None:
    """The rows through numpy's own parser, once as they are and once with blanks filled; None where it fails."""
    if layout.clocks or layout.worded or (layout.quoted and layout.comma):
        return None
    plain = [line.replace(",", ".") for line in block] if layout.comma else block
    table = _parsed(plain, layout)
    if table is not None or layout.delimiter is None:
        return table
    mark, blanks = re.escape(layout.delimiter), " *" if layout.delimiter == "\t" else r"[ \t]*"
    gap = re.compile(rf"(^|{mark}){blanks}(?={mark}|$)")
    return _parsed([gap.sub(r"\1nan", line) for line in plain if line.strip()], layout)


def _parsed(lines: Sequence[str], layout: Layout) -> NDArray[np.float64] | None:
    if not any(line.strip() for line in lines[:1000]) and not any(line.strip() for line in lines):
        return np.empty((0, len(layout.columns)))
    try:
        return np.loadtxt(
            lines,
            delimiter=layout.delimiter,
            usecols=layout.columns,
            comments=None,
            quotechar='"' if layout.quoted else None,
            ndmin=2,
        )
    except ValueError:
        return None


def row(line: str, layout: Layout) -> list[float] | int:
    """The numbers of a line, or the cell that is none."""
    cells = layout.cells(line)
    values = []
    for column in layout.columns:
        value = layout.value(cells, column)
        if value is None:
            return column
        values.append(value)
    return values


def careful(block: Sequence[str], layout: Layout) -> Iterator[tuple[int, list[float] | int]]:
    """The place of each line that is not blank, and its `row`."""
    return ((place, row(line, layout)) for place, line in enumerate(block) if line.strip())


def seconds(times: NDArray[np.float64], gain: float, *, clock: bool) -> NDArray[np.float64]:
    """A column of times in seconds: over midnight, and milliseconds since 1970 without a unit."""
    if clock:
        return past_midnight(times)
    return times * (1e-3 if gain == 1.0 and times.size and times[0] > _MILLISECONDS_SINCE_1970 else gain)
