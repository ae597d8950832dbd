"""The cells of a line of delimited text and the numbers in them."""

import re
from typing import Final

from halfsplit.clocks import clock_seconds, is_clock
from halfsplit.delimited.headings import unit_of

_NUMBERS: Final = {
    comma: re.compile(
        rf"[+\-\u2212]?(?:(?:\d+{mark}?\d*|{mark}\d+)(?:[eE][+-]?\d+)?|[1-9]\d{{0,2}}(?:{group}\d{{3}})+{mark}\d+)"
    )
    for comma, mark, group in ((False, r"\.", ","), (True, ",", r"\."))
}
"""A number by whether its decimal sign is a comma, with or without marks between its thousands."""

_WITH_UNIT: Final = re.compile(r"([+\-\u2212\d.,eE]*[\d.,])[ \u00a0]?([^\d\s.,;+\-()\[\]][^\d\s;]{0,5})")

_OVER: Final = "inf +inf -inf \u221e -\u221e +\u221e ol o.l o.l. overload over overrange"
_NONE: Final = "nan #n/a n/a na null none - -- ---"
_BLANK: Final = frozenset({"", "over range", *_OVER.split(), *_NONE.split()})


def split(line: str, delimiter: str | None) -> list[str]:
    """Cut a line into cells; a delimiter within double quotes is none, and None means runs of blanks."""
    if '"' not in line:
        return [cell.strip() for cell in line.split(delimiter)]
    pattern = r'\s*"([^"]*)"\s*' if delimiter is None else rf'\s*"([^"]*)"\s*(?:{re.escape(delimiter)}|$)'
    cells, rest = [], line
    while rest:
        if quoted := re.match(pattern, rest):
            cells.append(quoted[1].strip())
            rest = rest[quoted.end() :]
            continue
        cell, _, rest = rest.partition(delimiter or " ")
        cells.append(cell.strip())
    return cells


def is_number(cell: str, comma: bool) -> bool:
    """Whether a cell is a number with this decimal sign."""
    return bool(_NUMBERS[comma].fullmatch(cell))


def is_blank(cell: str) -> bool:
    """Whether a cell stands for no reading: empty, over range, not a number."""
    return cell.casefold() in _BLANK


def unit_in(cell: str, comma: bool) -> tuple[str, float] | None:
    """The base unit and the factor to it of a number with its unit (`18,0 mA`), None where a cell is none.

    >>> unit_in("18,0 mA", True), unit_in("0.8A", False), unit_in("X1", False)
    (('A', 0.001), ('A', 1.0), None)
    """
    match = _WITH_UNIT.fullmatch(cell)
    return unit_of(match[2]) if match and is_number(match[1], comma) else None


def is_value(cell: str, comma: bool) -> bool:
    """Whether a cell is a number, with or without its unit, or a time of day."""
    return is_number(cell, comma) or is_clock(cell) or unit_in(cell, comma) is not None


def value_of(cell: str, comma: bool) -> float | None:
    """The number of a cell in the base unit that it names, the seconds of a clock time, NaN for no reading; else None.

    >>> value_of("25,0 mA", True), value_of("1.018,5", True), value_of("00:01:30", False), value_of("x", False)
    (0.025, 1018.5, 90.0, None)
    """
    if is_number(cell, comma):
        plain = cell.replace("\u2212", "-").replace("." if comma else ",", "")
        return float(plain.replace(",", "."))
    if is_clock(cell):
        return clock_seconds(cell)
    if is_blank(cell):
        return float("nan")
    match = _WITH_UNIT.fullmatch(cell)
    unit = unit_in(cell, comma)
    number = value_of(match[1], comma) if match and unit else None
    return None if unit is None or number is None else number * unit[1]
