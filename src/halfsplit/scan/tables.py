"""Reports as tables: delimited text, HTML rows (tabs), columns set off by two spaces or by bars."""

from __future__ import annotations

import re
from dataclasses import replace

from halfsplit.delimited.cells import split
from halfsplit.scan import vocabulary
from halfsplit.scan.codes import FaultCode
from halfsplit.scan.continuing import Context
from halfsplit.scan.find import codes_in, own_number, status_byte, tidy
from halfsplit.scan.reading import CLEAN, CODE, HEADING, SILENT, UNIT, Reading, ReportedCode, terms_of
from halfsplit.scan.status_words import status_terms
from halfsplit.scan.vocabulary import column_of, folded

_TYPE = re.compile(r"(?:0x|\$)?([0-9A-Fa-f]{2})h?")
"""A failure type in a column of its own."""
SEPARATORS = ("\t", ";", "|", ",", "  ")


def split_row(text: str, separator: str) -> list[str]:
    """The cells of a row. separator: one of `SEPARATORS`; two spaces mean two or more."""
    if separator == "  ":
        return re.split(r"\s{2,}", text.strip())
    return split(text.strip().strip("|") if separator == "|" else text.strip("\r\n "), separator)


class _Row(dict[str, str]):
    """The cells of a row by their columns; empty where the table has no such column."""

    def __missing__(self, column: str) -> str:
        return ""


def table_heading(text: str, _: Context) -> Reading | None:
    """The heading of a table: at least two cells, all but one known, a unit or a code among them."""
    for separator in SEPARATORS:
        columns = tuple(column_of(cell) for cell in split_row(text, separator))
        known = [column for column in columns if column]
        if len(columns) > 1 and len(known) >= max(2, len(columns) - 2) and {"unit", "code"} & set(known):
            why = f"the heading of a table: {', '.join(column or '?' for column in columns)}"
            # A column counts the first time; 'words' may come again.
            distinct = tuple(
                "other" if column != "words" and column in columns[:place] else column
                for place, column in enumerate(columns)
            )
            return Reading(HEADING, why, columns=distinct, separator=separator)
    return None


def table_row(text: str, context: Context) -> Reading | None:
    """What a row says under its heading, or None where the line is no row of that table."""
    heading = context.table
    if heading is None:
        return None
    cells = split_row(text, heading.separator)
    fewest = len(heading.columns) if heading.separator == "  " else 2
    if not max(fewest, 2) <= len(cells) <= len(heading.columns):
        return None
    row = _Row()
    for column, cell in zip(heading.columns, cells, strict=False):
        key = column or "other"
        row[key] = "; ".join(filter(None, (row[key], cell)))
    name = row["unit"] or context.unit
    cell = row["code"]
    codes = [entry for entry, _ in codes_in(cell) or codes_in(row["words"])[:1]]
    figures = any(character.isdigit() for character in cell)
    if not codes and figures and not vocabulary.NO_CODES.search(folded(cell)) and cell != "0":
        codes = [own_number(cell)]  # a maker's own number counts if it holds a figure
    if codes:
        why = f"a row of the table: a code of {name or 'a unit not named'}"
        return Reading(CODE, why, unit=name, codes=tuple(_completed(entry, row) for entry in codes))
    return _row_without_code(row, name) if name else None


def _completed(entry: ReportedCode, row: _Row) -> ReportedCode:
    """A code with what its row says in other cells."""
    byte = status_byte(f"status: {row['status']}") if entry.status_byte is None else entry.status_byte
    terms = status_terms(row["status"]) or status_terms(row["other"]) or entry.status
    code, kind = entry.code, _TYPE.fullmatch(row["failure type"].strip())
    if code and code.failure_type is None and kind:
        code = FaultCode(code.number, int(kind[1], 16))
    return replace(
        entry,
        code=code,
        words="; ".join(filter(None, (row["words"], tidy(entry.words), row["other"]))),
        status=tuple(dict.fromkeys(terms + terms_of(byte))),
        status_byte=byte,
    )


def _row_without_code(row: _Row, name: str) -> Reading:
    said = folded(" ; ".join(cell for column, cell in row.items() if column not in ("unit", "answer")))
    answer = folded(row["answer"]).strip()
    count = (row["count"] if "count" in row else row["code"]).strip()
    if vocabulary.SILENT.search(f"{said} ; {answer}") or (answer and vocabulary.NEGATIVE.fullmatch(answer)):
        return Reading(SILENT, f"a row of the table: {name} does not answer", unit=name)
    count_said = vocabulary.COUNT.search(said)
    if count_said and not count.isdigit():
        count = count_said["count"] or count_said["after"]
    if count.isdigit() and int(count) > 0:
        why = f"a row of the table: {name} announces {count} codes"
        return Reading(UNIT, why, unit=name, announced=int(count))
    if (
        vocabulary.NO_CODES.search(said)
        or any(vocabulary.GOOD.fullmatch(cell.strip()) for cell in said.split(";"))
        or count == "0"
        or (count and vocabulary.NEGATIVE.fullmatch(folded(count)))
        or (answer and vocabulary.AFFIRMATIVE.fullmatch(answer))
    ):
        return Reading(CLEAN, f"a row of the table: {name} answers, no codes", unit=name)
    return Reading(UNIT, f"a row of the table: the unit {name}", unit=name, words=tidy(said))
