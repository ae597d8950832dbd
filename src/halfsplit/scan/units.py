"""From the readings of lines to units with their codes, and back to a report that is read the same."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
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
                "caution": code.caution,
            }
            for code in self.codes
        ]
        return {"name": self.name, "answers": self.answers, "codes": codes, "announced": self.announced}


def units_of(readings: Iterable[tuple[int, Reading]]) -> tuple[UnitReport, ...]:
    """Gather numbered readings, in the order of the report, into units."""
    names: dict[str, str] = {}
    said: dict[str, list[tuple[int, Reading]]] = {}
    current = nearest = ""
    group: tuple[str, ...] = ()
    for number, reading in readings:
        nearest = reading.unit or nearest
        if reading.kind != SILENT:  # codes below a line that names a silent unit are not that unit's
            current = reading.unit or current
        elif current and any(earlier.kind == SILENT for _, earlier in said.get(UnitReport(current).key, ())):
            current = nearest  # where the unit before is silent too, they are nobody else's
        if reading.kind in (UNIT, HEADING):
            group = reading.status
        if reading.kind in (UNIT, SILENT, ANSWERS, CLEAN, CODE, DETAIL):
            name = reading.unit or current or NOT_NAMED
            key = UnitReport(name).key
            names.setdefault(key, name)
            grouped = tuple(
                code if code.status else code.with_detail("", group, None) for code in reading.codes
            )
            said.setdefault(key, []).append((number, replace(reading, codes=grouped)))
    return tuple(_unit(names[key], said[key]) for key in names)


def _unit(name: str, said: list[tuple[int, Reading]]) -> UnitReport:
    """A unit by all that the report says of it: (number of the line, its reading)."""
    codes: list[ReportedCode] = []
    for _, reading in said:
        codes += reading.codes
        if reading.kind == DETAIL and codes:
            codes[-1] = codes[-1].with_detail(reading.words, reading.status, reading.status_byte)
    counts = [
        reading.announced for _, reading in said if reading.kind == UNIT and reading.announced is not None
    ]
    kinds = {reading.kind for _, reading in said}
    silent = SILENT in kinds
    heard = bool(counts) or bool(kinds & {CLEAN, ANSWERS, CODE})
    return UnitReport(
        name,
        answers=False if silent else heard or None,
        codes=tuple(codes),
        announced=sum(counts) if counts else None,
        lines=tuple(number for number, _ in said),
        contradicted=silent and bool(codes),
    )


def _codes(count: int) -> str:
    return f"{count} code{'' if count == 1 else 's'}"


def write_report(units: Iterable[UnitReport], vehicle: Iterable[tuple[str, str]] = ()) -> str:
    """Units as a report of our own that `ScanReport.parse` reads back the same; a live reading is kept this way.

    vehicle: pairs such as ('VIN', '…') for the head.
    """
    lines = [f"{name}: {value}" for name, value in vehicle]
    for unit in units:
        lines += ["", f"Unit: {unit.name}"]
        if unit.answers is False:
            lines.append("    does not answer")
        elif not unit.codes:
            lines.append("    no codes")
        for code in unit.codes:
            byte = "" if code.status_byte is None else f"status: 0x{code.status_byte:02X}"
            lines.append("    " + "  ".join(filter(None, (code.name, byte or ", ".join(code.status)))))
    return "\n".join(lines) + "\n"
