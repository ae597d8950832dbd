"""From the readings of lines to units with their codes, and back to a report that is read the same."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from typing import Any

from halfsplit.scan.reading import ANSWERS, CLEAN, CODE, DETAIL, HEADING, SILENT, UNIT, Reading, ReportedCode
from halfsplit.scan.vocabulary import folded

NOT_NAMED = "unit not named"


@dataclass(frozen=True, slots=True)
class UnitReport:
    """One control unit of a report.

    name: as the report writes it. answers: False where the report says that it does not answer, True where it gave
    codes or said that there are none, None where it is only named. codes: in the order of the report.
    announced: how many codes the report says it has, or None. lines: the numbers of the lines that speak of it.
    """

    name: str
    answers: bool | None = None
    codes: tuple[ReportedCode, ...] = ()
    announced: int | None = None
    lines: tuple[int, ...] = ()
    contradicted: bool = False

    @property
    def key(self) -> str:
        """What names are compared by: letters and figures only, without accents and capitals."""
        return "".join(character for character in folded(self.name) if character.isalnum())

    @property
    def warnings(self) -> Iterator[str]:
        """What does not fit together in what the report says of this unit."""
        if self.name == NOT_NAMED and self.codes:
            yield f"{_codes(len(self.codes))} without a unit: name the unit by correcting a line above."
        if self.announced is not None and self.announced != len(self.codes):
            yield f"{self.name}: the report announces {_codes(self.announced)}, {len(self.codes)} found."
        if self.contradicted:
            yield f"{self.name} is said not to answer, and codes of it are listed too."
        yield from (f"{self.name}: {code.name}: {code.note}." for code in self.codes if code.note)

    def as_dict(self) -> dict[str, Any]:
        """Plain values, with the codes decoded."""
        codes = [
            {
                "code": code.name,
                "written": code.text,
                "meaning": code.code.words if code.code else "",
                "kind": code.code.kind if code.code else None,
                "words": code.words,
                "status": code.status_words,
                "present": code.present,
                "note": code.note,
                "caution": code.code.caution if code.code else "",
            }
            for code in self.codes
        ]
        return {"name": self.name, "answers": self.answers, "codes": codes, "announced": self.announced}


@dataclass(slots=True)
class _Unit:
    """A unit while its lines are being gathered."""

    name: str
    silent: bool = False
    heard: bool = False
    codes: list[ReportedCode] = field(default_factory=list)
    announced: int | None = None
    lines: list[int] = field(default_factory=list)

    def finished(self) -> UnitReport:
        answers = False if self.silent else True if self.heard else None
        both = self.silent and bool(self.codes)
        return UnitReport(self.name, answers, tuple(self.codes), self.announced, tuple(self.lines), both)


def units_of(readings: Iterable[tuple[int, Reading]]) -> tuple[UnitReport, ...]:
    """Gather numbered readings, in the order of the report, into units."""
    units: dict[str, _Unit] = {}
    current = nearest = ""
    group: tuple[str, ...] = ()
    for number, reading in readings:
        nearest = reading.unit or nearest
        if reading.kind != SILENT:  # codes below a line that names a silent unit are not that unit's
            current = reading.unit or current
        elif current and units.get(UnitReport(current).key, _Unit("")).silent:
            current = nearest  # where the unit before is silent too, they are nobody else's
        if reading.kind in (UNIT, HEADING):
            group = reading.status
        if reading.kind in (UNIT, SILENT, ANSWERS, CLEAN, CODE, DETAIL):
            name = reading.unit or current or NOT_NAMED
            unit = units.setdefault(UnitReport(name).key, _Unit(name))
            unit.lines.append(number)
            _add(unit, reading, group)
    return tuple(unit.finished() for unit in units.values())


def _add(unit: _Unit, reading: Reading, group: tuple[str, ...]) -> None:
    if reading.kind == SILENT:
        unit.silent = True
    elif reading.kind in (CLEAN, ANSWERS):
        unit.heard = True
    elif reading.kind == CODE:
        unit.heard = True
        unit.codes += [
            code if code.status else code.with_detail("", group, None, ()) for code in reading.codes
        ]
    elif reading.kind == DETAIL and unit.codes:
        unit.codes[-1] = unit.codes[-1].with_detail(
            reading.words, reading.status, reading.status_byte, reading.values
        )
    if reading.kind == UNIT and reading.announced is not None:
        unit.announced = (unit.announced or 0) + reading.announced
        unit.heard = True


def _codes(count: int) -> str:
    return f"{count} code{'' if count == 1 else 's'}"


INDENT = "    "


def write_report(units: Iterable[UnitReport], vehicle: Iterable[tuple[str, str]] = ()) -> str:
    """Units as a report of our own that `ScanReport.parse` reads back the same; a live reading is kept this way.

    vehicle: pairs such as ('VIN', '…') for the head.
    """
    return "\n".join([*(f"{name}: {value}" for name, value in vehicle), *_report_lines(units)]) + "\n"


def _report_lines(units: Iterable[UnitReport]) -> Iterator[str]:
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
