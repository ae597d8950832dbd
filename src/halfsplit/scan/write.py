"""Units as a report of our own: plain text that `ScanReport.parse` reads back the same.

A live reading is kept this way, so that pasted and live reports are one kind of thing.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from halfsplit.scan.reading import ReportedCode
from halfsplit.scan.units import UnitReport

INDENT = "    "


def write_report(units: Iterable[UnitReport], vehicle: Iterable[tuple[str, str]] = ()) -> str:
    """The text of a report. vehicle: pairs such as ('VIN', '…') for the head."""
    return "\n".join([*(f"{name}: {value}" for name, value in vehicle), *_lines(units)]) + "\n"


def _lines(units: Iterable[UnitReport]) -> Iterator[str]:
    for unit in units:
        yield ""
        yield f"Unit: {unit.name}"
        if unit.answers is False:
            yield f"{INDENT}does not answer"
        elif not unit.codes:
            yield f"{INDENT}no codes"
        yield from (_code_line(code) for code in unit.codes)


def _code_line(code: ReportedCode) -> str:
    byte = "" if code.status_byte is None else f"status: 0x{code.status_byte:02X}"
    status = byte or ", ".join(code.status)
    return INDENT + "  ".join(part for part in (code.name, status) if part)
