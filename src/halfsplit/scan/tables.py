"""Reports as tables: delimited text, HTML rows (tabs), columns set off by two spaces or by bars."""

from __future__ import annotations

import re
from dataclasses import replace

from halfsplit.delimited.cells import split
from halfsplit.scan import vocabulary
from halfsplit.scan.codes import FaultCode
from halfsplit.scan.find import codes_in, status_byte, tidy
from halfsplit.scan.reading import CLEAN, CODE, HEADING, SILENT, UNIT, Reading, ReportedCode, terms_of
from halfsplit.scan.status_words import status_terms
from halfsplit.scan.values import values_in
from halfsplit.scan.vocabulary import column_of, folded

SEPARATORS = ("\t", ";", "|", ",", "  ")


def split_row(text: str, separator: str) -> list[str]:
    """The cells of a row. separator: one of `SEPARATORS`; two spaces mean two or more."""
    if separator == "  ":
        return re.split(r"\s{2,}", text.strip())
    return split(text.strip().strip("|") if separator == "|" else text.strip("\r\n "), separator)


def table_heading(text: str) -> Reading | None:
    """The heading of a table: at least two cells, all but one known, a unit or a code among them."""
    for separator in SEPARATORS:
        cells = split_row(text, separator)
        columns = tuple(column_of(cell) for cell in cells)
        known = [column for column in columns if column]
        if len(cells) > 1 and len(known) >= max(2, len(cells) - 2) and {"unit", "code"} & set(known):
            named = ", ".join(column or "?" for column in columns)
            return Reading(
                HEADING, f"the heading of a table: {named}", columns=_once(columns), separator=separator
            )
    return None


def _once(columns: tuple[str | None, ...]) -> tuple[str | None, ...]:
    """A column name counts the first time; 'words' may come again."""
    return tuple(
        "other" if column != "words" and column in columns[:place] else column
        for place, column in enumerate(columns)
    )


def table_row(text: str, heading: Reading | None, unit: str) -> Reading | None:
    """What a row says under its heading, or None where the line is no row of that table."""
    if heading is None:
        return None
    cells = split_row(text, heading.separator)
    if (
        len(cells) < 2
        or len(cells) > len(heading.columns)
        or (heading.separator == "  " and len(cells) != len(heading.columns))
    ):
        return None
    row = _by_column(heading.columns, cells)
    name = row.get("unit", "") or unit
    code = _code(row)
    if code is not None:
        return Reading(
            CODE, f"a row of the table: a code of {name or 'a unit not named'}", unit=name, codes=code
        )
    return _row_without_code(row, name)


def _by_column(columns: tuple[str | None, ...], cells: list[str]) -> dict[str, str]:
    row: dict[str, str] = {}
    for column, cell in zip(columns, cells, strict=False):
        key = column or "other"
        row[key] = "; ".join(part for part in (row.get(key, ""), cell) if part)
    return row


def _code(row: dict[str, str]) -> tuple[ReportedCode, ...] | None:
    """The codes of a row; a maker's own number counts if it holds a figure."""
    cell = row.get("code", "")
    codes = [entry for entry, _, _ in codes_in(cell)] or [
        entry for entry, _, _ in codes_in(row.get("words", ""))[:1]
    ]
    if (
        not codes
        and any(character.isdigit() for character in cell)
        and not vocabulary.NO_CODES.search(folded(cell))
        and cell != "0"
    ):
        codes = [ReportedCode(cell, None, note="a maker's own number: its meaning is the maker's")]
    return tuple(_completed(entry, row) for entry in codes) or None


def _completed(entry: ReportedCode, row: dict[str, str]) -> ReportedCode:
    status = row.get("status", "")
    byte = status_byte(f"status: {status}") if entry.status_byte is None else entry.status_byte
    terms = status_terms(status) or status_terms(row.get("other", "")) or entry.status
    words = "; ".join(
        part for part in (row.get("words", ""), tidy(entry.words), row.get("other", "")) if part
    )
    return replace(
        entry,
        code=_with_failure(entry.code, row.get("failure type", "")),
        words=words,
        status=tuple(dict.fromkeys((*terms, *(terms_of(byte) if byte is not None else ())))),
        status_byte=byte,
        values=values_in(words),
    )


def _with_failure(code: FaultCode | None, cell: str) -> FaultCode | None:
    match = re.fullmatch(r"(?:0x|\$)?([0-9A-Fa-f]{2})h?", cell.strip())
    if code is None or code.failure_type is not None or match is None:
        return code
    return FaultCode(code.number, int(match[1], 16))


def _row_without_code(row: dict[str, str], name: str) -> Reading | None:
    said = folded(" ; ".join(cell for column, cell in row.items() if column not in ("unit", "answer")))
    answer = folded(row.get("answer", "")).strip()
    count = row.get("count", row.get("code", "")).strip()
    if not name:
        return None
    if vocabulary.SILENT.search(f"{said} ; {answer}") or (answer and vocabulary.NEGATIVE.fullmatch(answer)):
        return Reading(SILENT, f"a row of the table: {name} does not answer", unit=name)
    count_said = vocabulary.COUNT.search(said)
    if count_said and not count.isdigit():
        count = count_said["count"] or count_said["after"]
    if count.isdigit() and int(count) > 0:
        return Reading(
            UNIT, f"a row of the table: {name} announces {count} codes", unit=name, announced=int(count)
        )
    if _is_clean(said, answer, count):
        return Reading(CLEAN, f"a row of the table: {name} answers, no codes", unit=name)
    return Reading(UNIT, f"a row of the table: the unit {name}", unit=name, words=tidy(said))


def _is_clean(said: str, answer: str, count: str) -> bool:
    good = any(vocabulary.GOOD.fullmatch(cell.strip()) for cell in said.split(";"))
    none = count == "0" or bool(vocabulary.NEGATIVE.fullmatch(folded(count))) if count else False
    return (
        bool(vocabulary.NO_CODES.search(said))
        or good
        or none
        or bool(answer and vocabulary.AFFIRMATIVE.fullmatch(answer))
    )
