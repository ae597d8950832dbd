r"""A report of any scan tool, understood line by line.

>>> report = ScanReport.parse("Tailgate unit: no response\nDoor unit\n  U0230-87 confirmed\n")
>>> [(unit.name, unit.answers, [code.name for code in unit.codes]) for unit in report.units]
[('Tailgate unit', False, []), ('Door unit', True, ['U0230-87'])]

The lines are the truth: units, codes and warnings are computed from them, so a corrected line corrects everything.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, replace
from functools import cached_property
from pathlib import Path
from typing import Any

from halfsplit.errors import InputError, NotFoundError
from halfsplit.scan.codes import FaultCode
from halfsplit.scan.continuing import Context
from halfsplit.scan.find import like_codes
from halfsplit.scan.pieces import LONGEST_LINE, lines_and_pieces, with_few_blanks
from halfsplit.scan.reading import CODE, IGNORED, KINDS, UNCLEAR, UNIT, Reading, ReportedCode, terms_of
from halfsplit.scan.recognise import follow, following, recognise
from halfsplit.scan.status_words import status_alone
from halfsplit.scan.text import lines_of, read_text
from halfsplit.scan.units import UnitReport, units_of


@dataclass(frozen=True, slots=True)
class Line:
    """A line of a report: its number from 1, its text as it stood, and what it was understood as.

    piece: 0 for a whole line, from 1 on for the pieces of a line that speaks of several units.
    """

    number: int
    text: str
    reading: Reading
    corrected: bool = False
    piece: int = 0

    @property
    def name(self) -> str:
        """How the line is called: `12`, or `12.2` for its second piece."""
        return f"{self.number}.{self.piece}" if self.piece else str(self.number)

    @property
    def doubts(self) -> tuple[str, ...]:
        """What looks like a code in it and was not read as one."""
        if self.corrected or self.reading.kind in (UNCLEAR, IGNORED):
            return ()
        read = tuple(code.text for code in self.reading.codes)
        return like_codes(with_few_blanks(self.text)[:LONGEST_LINE], read)


@dataclass(frozen=True)
class ScanReport:
    """A report: every line with its reading; `units`, `vehicle` and `warnings` follow from them."""

    lines: tuple[Line, ...]
    source: str = ""

    @classmethod
    def read(cls, path: str | Path) -> ScanReport:
        """Read a saved report: text, CSV, HTML or PDF. Raises InputError."""
        return replace(cls.parse(read_text(path)), source=Path(path).name)

    @classmethod
    def parse(cls, text: str) -> ScanReport:
        """Read pasted text. Never fails on what a line says: what is not understood is shown as such."""
        pieces = list(lines_and_pieces(lines_of(text)))
        texts = [piece for _, _, piece in pieces]
        context, lines = Context(following=following(texts[1:])), []
        for place, (number, part, piece) in enumerate(pieces, 1):
            reading = recognise(piece, context)
            lines.append(Line(number, piece, reading, piece=part))
            context = follow(context, piece, reading, texts[place + 1 : place + 7])
        return cls(tuple(lines))

    @cached_property
    def units(self) -> tuple[UnitReport, ...]:
        """The units in the order in which they are first named, each with its codes."""
        return units_of((line.number, line.reading) for line in self.lines)

    @cached_property
    def vehicle(self) -> dict[str, str]:
        """What the report says about vehicle and job, by `vocabulary.VEHICLE_KEYS`; the first mention counts."""
        pairs = [pair for line in self.lines for pair in line.reading.vehicle]
        return dict(reversed(pairs))

    def unit(self, name: str) -> UnitReport:
        """The unit of that name, without regard to capitals and spaces. Raises NotFoundError."""
        for unit in self.units:
            if unit.key == UnitReport(name).key:
                return unit
        raise NotFoundError(
            f"no unit {name!r} in the report; there are {', '.join(u.name for u in self.units)}"
        )

    @cached_property
    def unclear(self) -> tuple[Line, ...]:
        """The lines that nothing was understood of, or not all that looks like a code."""
        return tuple(line for line in self.lines if line.reading.kind == UNCLEAR or line.doubts)

    @property
    def warnings(self) -> tuple[str, ...]:
        """What the technician should look at before relying on the reading."""
        warnings = [warning for unit in self.units for warning in unit.warnings]
        if not self.units:
            warnings = ["No unit, no code and no silent unit was found: is this the whole report?"]
        total = sum(len(unit.codes) for unit in self.units)
        for line in self.lines:
            announced = line.reading.announced
            if line.reading.kind not in (UNIT, IGNORED) and announced is not None and announced != total:
                warnings.append(f"Line {line.number} says {announced} codes in all; {total} found.")
        for line in self.unclear[:20]:
            if line.doubts:
                doubts = ", ".join(line.doubts)
                warnings.append(f"Line {line.name}: {doubts} looks like a code and was not read as one.")
        bare = [line.name for line in self.unclear if not line.doubts]
        if bare:
            more = f" and {len(bare) - 20} more" if len(bare) > 20 else ""
            warnings.append(
                f"Not understood: line{'s' if len(bare) > 1 else ''} {', '.join(bare[:20])}{more}."
            )
        return tuple(warnings)

    def correct(
        self,
        line: int,
        kind: str,
        *,
        piece: int = 0,
        unit: str = "",
        code: str = "",
        words: str = "",
        status: str = "",
    ) -> ScanReport:
        """The report with line number `line`, or its piece of that number, read as the technician says.

        kind: one of `reading.KINDS`. code: needed for 'code', several with commas; unit: needed for 'unit'. status: a
        status byte in hexadecimal, a word such as 'stored', or nothing. Later lines belong to a corrected unit at
        once. Raises NotFoundError or InputError.
        """
        place = next(
            (i for i, entry in enumerate(self.lines) if (entry.number, entry.piece) == (line, piece)), None
        )
        if place is None:
            last = self.lines[-1].number if self.lines else 0
            what = f"{line}.{piece}" if piece else line
            raise NotFoundError(f"the report has lines 1 to {last}, not {what}")
        if kind not in KINDS:
            raise InputError(f"{kind!r} is no kind of line", remedy=f"write one of {', '.join(KINDS)}")
        if kind == UNIT and not unit.strip():
            raise InputError(
                "the name of the unit is missing", remedy="write it as the report or the diagram does"
            )
        typed = [text.strip() for text in re.split(r"[,;]", code) if text.strip()] or [""]
        codes = (
            tuple(_typed_code(text, words.strip(), status.strip()) for text in typed) if kind == CODE else ()
        )
        reading = Reading(kind, "corrected by hand", unit=unit.strip(), codes=codes, words=words.strip())
        changed = replace(self.lines[place], reading=reading, corrected=True)
        return replace(self, lines=(*self.lines[:place], changed, *self.lines[place + 1 :]))

    def as_dict(self) -> dict[str, Any]:
        """Everything as plain values, for programs and for storage."""
        return {
            "source": self.source,
            "vehicle": self.vehicle,
            "units": [unit.as_dict() for unit in self.units],
            "warnings": list(self.warnings),
            "lines": [
                {
                    "number": x.number,
                    "piece": x.piece,
                    "doubts": list(x.doubts),
                    "text": x.text,
                    "kind": x.reading.kind,
                    "why": x.reading.why,
                    "corrected": x.corrected,
                }
                for x in self.lines
            ],
        }


def _typed_code(text: str, words: str, status: str) -> ReportedCode:
    """A code typed by hand: of the standard's form, or a maker's own number as it is."""
    if not any(character.isdigit() for character in text):
        raise InputError(
            f"{text!r} is not a fault code", remedy="write it as the report does, such as U0121-87"
        )
    try:
        code = FaultCode.parse(text)
    except InputError:
        code = None
    terms = status_alone(status)
    if terms or not status:
        return ReportedCode(text, code, words, terms)
    try:
        byte = int(status.lower().removeprefix("0x"), 16)
    except ValueError:
        byte = -1
    if not 0 <= byte <= 0xFF:
        raise InputError(
            f"{status!r} is no status byte",
            remedy="write two hexadecimal figures, such as 2F, or a word such as stored or present",
        )
    return ReportedCode(text, code, words, terms_of(byte), byte)
