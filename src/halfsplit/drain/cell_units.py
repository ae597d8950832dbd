"""Units that stand in the cells of a log (`18,0 mA`, `0,800 A`) or in a column of their own, made plain amperes."""

from __future__ import annotations

import re
from collections.abc import Sequence

LOOKED_AT = 60
SCALES = {"na": 1e-9, "ua": 1e-6, "\u00b5a": 1e-6, "\u03bca": 1e-6, "ma": 1e-3, "a": 1.0}
DELIMITERS = ("\t", ";", "|", ",")

_UNIT = r"(?P<unit>[num\u00b5\u03bc]?A)"
_NUMBER = r"(?P<number>[-+\u2212]?\d+(?:[.,]\d+)?)"
_CELL = re.compile(rf"(?P<quote>\"?){_NUMBER}[ \u00a0]?{_UNIT}(?P=quote)(?=$|[;\t,|\s])", re.IGNORECASE)
_BARE = re.compile(_UNIT, re.IGNORECASE)
_LEADING = re.compile(r"\s*\"?[-+\d]")


def plain_amps(lines: Sequence[str]) -> tuple[list[str], bool]:
    """The lines with currents in plain amperes, and whether their cells or a column said the unit.

    A number keeps its decimal mark; one in quotes gets a point, since its comma may be the delimiter too.
    """
    head = [line for line in lines[:LOOKED_AT] if _LEADING.match(line)]
    column = _unit_column(head)
    if column:
        delimiter, place = column
        return [_without_column(line, delimiter, place) for line in lines], True
    if head and 2 * sum(_CELL.search(line) is not None for line in head) > len(head):
        return [_CELL.sub(_amps, line) if _LEADING.match(line) else line for line in lines], True
    return list(lines), False


def _amps(match: re.Match[str]) -> str:
    return _scaled(match["number"], match["unit"], point=bool(match["quote"]))


def _scaled(number: str, unit: str, *, point: bool = False) -> str:
    value = float(number.replace(",", ".").replace("\u2212", "-")) * SCALES[unit.lower()]
    text = f"{value:.12f}".rstrip("0").rstrip(".") or "0"
    return text.replace(".", ",") if "," in number and not point else text


def _unit_column(head: Sequence[str]) -> tuple[str, int] | None:
    """(delimiter, place) of a column that holds units only, after one of numbers."""
    for delimiter in DELIMITERS:
        rows = [line.split(delimiter) for line in head if delimiter in line]
        if not rows or 2 * len(rows) < len(head):
            continue
        for place in range(1, len(rows[0])):
            units = sum(
                place < len(row) and _BARE.fullmatch(row[place].strip(' "')) is not None for row in rows
            )
            if 2 * units > len(rows):
                return delimiter, place
    return None


def _without_column(line: str, delimiter: str, place: int) -> str:
    cells = line.split(delimiter)
    if place >= len(cells):
        return line
    unit = cells.pop(place).strip(' "')
    number = cells[place - 1].strip(' "')
    if _BARE.fullmatch(unit) and re.fullmatch(_NUMBER, number):
        cells[place - 1] = _scaled(number, unit)
    elif not _LEADING.match(line):
        cells[place - 1] += " (current)"  # what has a unit of amperes beside it is the current
    return delimiter.join(cells)
