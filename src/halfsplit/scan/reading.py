"""What one line of a report was understood as."""

from __future__ import annotations

from dataclasses import dataclass, replace

from halfsplit.scan.codes import FaultCode, Status

UNIT = "unit"
CODE = "code"
DETAIL = "detail"
SILENT = "does not answer"
CLEAN = "no codes"
ANSWERS = "answers"
VEHICLE = "vehicle"
HEADING = "heading"
EMPTY = "empty"
UNCLEAR = "not understood"
IGNORED = "ignored"

KINDS = (UNIT, CODE, DETAIL, SILENT, ANSWERS, CLEAN, VEHICLE, HEADING, EMPTY, UNCLEAR, IGNORED)

# From the bits of ISO 14229-1 to the terms that reports use.
BIT_TERMS = (
    ("testFailed", "present"),
    ("pendingDTC", "pending"),
    ("confirmedDTC", "confirmed"),
    ("testNotCompletedSinceLastClear", "not tested"),
    ("warningIndicatorRequested", "warning lamp"),
)


@dataclass(frozen=True, slots=True)
class ReportedCode:
    """A code as a report gives it.

    text: as written there. code: decoded, or None for a maker's own numbering.
    words: the report's own words. status: our terms (see `vocabulary.STATUS_TERMS`). status_byte: ISO 14229-1, or None.
    note: what is doubtful, or nothing.
    """

    text: str
    code: FaultCode | None
    words: str = ""
    status: tuple[str, ...] = ()
    status_byte: int | None = None
    note: str = ""

    @property
    def name(self) -> str:
        """How the code is written here."""
        return self.code.text if self.code else self.text

    @property
    def meaning(self) -> str:
        """What it says: by its number where that is decoded, else in the report's own words."""
        return self.code.words if self.code else self.words

    @property
    def caution(self) -> str:
        """The caution that belongs beside it, or nothing."""
        return self.code.caution if self.code else ""

    @property
    def present(self) -> str:
        """Is the fault there now, as far as the report tells: `yes`, `no` or `unknown`."""
        if self.status_byte is not None:
            return Status(self.status_byte).present.replace("not tested", "unknown")
        if "not present" in self.status or "intermittent" in self.status:
            return "no" if "not present" in self.status else "unknown"
        return "yes" if "present" in self.status else "unknown"

    @property
    def status_words(self) -> str:
        """The status in words: the bits where a byte is given, else the report's terms."""
        return Status(self.status_byte).words if self.status_byte is not None else ", ".join(self.status)

    def with_detail(self, words: str, status: tuple[str, ...], byte: int | None) -> ReportedCode:
        """The same code with what a further line says about it."""
        return replace(
            self,
            words="; ".join(filter(None, (self.words, words))),
            status=tuple(dict.fromkeys((*self.status, *status))),
            status_byte=self.status_byte if byte is None else byte,
        )


@dataclass(frozen=True, slots=True)
class Reading:
    """What a line was understood as. kind: one of `KINDS`; why: one sentence; the rest as far as the kind has it.

    unit: the unit that the line itself names, or nothing. announced: how many codes it says that there are.
    vehicle: (name, text) pairs of a line about it. columns: what each column is, of a table's heading; separator: what
    sets its cells off.
    """

    kind: str
    why: str
    unit: str = ""
    codes: tuple[ReportedCode, ...] = ()
    announced: int | None = None
    words: str = ""
    status: tuple[str, ...] = ()
    status_byte: int | None = None
    vehicle: tuple[tuple[str, str], ...] = ()
    columns: tuple[str | None, ...] = ()
    separator: str = ""


def terms_of(byte: int | None) -> tuple[str, ...]:
    """The report terms of a status byte; none where there is no byte."""
    status = Status(byte or 0)
    return tuple(term for name, term in BIT_TERMS if status.has(name))
