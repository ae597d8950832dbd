"""Numbers with units as reports write them: `11,8 V`, `124.350 km`, `124 350 km`, `1,234.5 rpm`.

A comma or a point may be a decimal mark or may group thousands. Two kinds of mark settle it; one mark with exactly
three figures after it is a group for things that are counted in thousands (distance, speed of an engine, hours).
"""

from __future__ import annotations

import re
from dataclasses import dataclass

UNITS = (
    "V|mV|A|mA|km/h|km|mi|miles|mph|rpm"
    "|1/min|min-1|U/min|tr/min|h|hours|Std|min|s|ms|Hz|%|°C|°F|C|bar|mbar|kPa|ohm|Ω|Nm"
)
GROUPED = frozenset({"km", "mi", "miles", "rpm", "1/min", "min-1", "U/min", "tr/min", "h", "hours", "Std"})
SPACES = "\u00a0\u202f\u2009"

_NUMBER = (
    rf"[-+\u2212]?\d{{1,3}}(?:[ {SPACES}'.]\d{{3}})+(?:,\d+)?"
    r"|[-+\u2212]?\d{1,3}(?:,\d{3})+(?:\.\d+)?|[-+\u2212]?\d+(?:[.,]\d+)?"
)
_QUANTITY = re.compile(rf"(?<![\w.,])({_NUMBER})[ {SPACES}]*({UNITS})(?![\w/])", re.IGNORECASE)
_UNIT_NAMES = {unit.lower(): unit for unit in UNITS.split("|")}


@dataclass(frozen=True, slots=True)
class Value:
    """One number of a report. unit: as it is written, in usual case."""

    number: float
    unit: str


def values_in(text: str) -> tuple[Value, ...]:
    """Every number with a unit in a line."""
    return tuple(
        Value(number(match[1], unit), unit)
        for match in _QUANTITY.finditer(text)
        for unit in [_UNIT_NAMES[match[2].lower()]]
    )


def number(text: str, unit: str = "") -> float:
    """The number in a text of figures and marks; `unit` helps where one mark could be either. Raises ValueError."""
    figures = re.sub(rf"[ {SPACES}']", "", text).replace("\u2212", "-")
    last = max(figures.rfind("."), figures.rfind(","))
    if last < 0:
        return float(figures)
    mark = figures[last]
    other = "," if mark == "." else "."
    if other in figures:
        return float(figures.replace(other, "").replace(mark, "."))
    groups = figures.count(mark) > 1 or (len(figures) - last - 1 == 3 and unit in GROUPED)
    return float(figures.replace(mark, "" if groups else "."))
