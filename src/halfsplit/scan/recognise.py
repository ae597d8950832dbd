"""One recogniser for each sort of line; the first in `RECOGNISERS` that says something is believed."""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from dataclasses import replace

from halfsplit.scan import vocabulary
from halfsplit.scan.codes import FaultCode
from halfsplit.scan.continuing import (
    ABBREVIATION,
    ALL_SILENT,
    LONGEST_NAME,
    Context,
    bracketed,
    continues,
    indent_of,
)
from halfsplit.scan.find import STRONG_END, codes_in, own_code, status_byte, tidy, unit_name
from halfsplit.scan.pieces import LONGEST_LINE, with_few_blanks
from halfsplit.scan.reading import (
    ANSWERS,
    CLEAN,
    CODE,
    DETAIL,
    EMPTY,
    HEADING,
    SILENT,
    UNCLEAR,
    UNIT,
    VEHICLE,
    Reading,
    ReportedCode,
    terms_of,
)
from halfsplit.scan.status_words import status_alone, status_terms, without_status
from halfsplit.scan.tables import table_heading, table_row
from halfsplit.scan.vocabulary import column_of, folded, unscanned

ALL_WELL = re.compile(
    rf"(?:(?<=[:\t|=.>;])\s*|\s{{2,}}|\s[-\u2013]\s)(?:{vocabulary.GOOD.pattern}|none|nothing|keine?|nichts|aucune?|rien)\s*\.?\s*$"
)
VIN = re.compile(r"\W*(?:vin|fin)\s+(?=[a-z0-9]{17}\W*$)")
LISTED_NAME = re.compile(r"\s*-\s+\"?(?:name|nombre|nome|nom)\"?\s*:\s*")
ALL_ANSWER = re.compile(
    r"[:=|\t]\s*(?:is )?(?:communicating|responding|answering|online|reachable|kommuniziert|erreichbar)\W*$"
)
BARE = (vocabulary.NO_CODES, vocabulary.SILENT, vocabulary.ANSWER_SAID)
"""What the line below a unit's name says of it without naming it."""
DATE = re.compile(r"\b(?:\d{1,2}[./-]\d{1,2}[./-]\d{2,4}|\d{4}-\d\d-\d\d)\b")


def following(rest: Sequence[str]) -> str:
    """The next line that is not empty, of the few below one."""
    line = next((line for line in rest[:6] if line.strip()), "")
    return unscanned(with_few_blanks(line)[:LONGEST_LINE])


def follow(context: Context, text: str, reading: Reading, rest: Sequence[str]) -> Context:
    """The context of the line after `text`; `rest` are the lines below that one."""
    spaced = context.table is not None and context.table.separator == "  "
    ends = spaced and reading.kind == EMPTY and context.after != HEADING
    after = replace(
        context,
        unit=reading.unit or context.unit,
        after=reading.kind,
        table=reading if reading.columns else None if ends else context.table,
        following=following(rest),
    )
    if reading.kind != CODE:
        return after
    letters = sum(character.isalpha() for character in without_status(folded(reading.codes[-1].words)))
    return replace(after, worded=letters > 3, indent=indent_of(text), owned=bool(reading.unit))


def recognise(text: str, context: Context) -> Reading:
    """What a line says. A line that no recogniser claims is 'not understood', never dropped."""
    text = unscanned(with_few_blanks(text))
    if len(text) > LONGEST_LINE:
        return Reading(UNCLEAR, f"longer than {LONGEST_LINE} characters", words=text[:LONGEST_LINE])
    if not any(character.isalnum() for character in text):
        return Reading(EMPTY, "no words in it")
    for recogniser in RECOGNISERS:
        reading = recogniser(text, context)
        if reading is not None:
            return reading
    return Reading(UNCLEAR, "nothing in it is known: say what it is, or leave it", words=text.strip())


def _raw_answer(text: str, _: Context) -> Reading | None:
    """`59 02 FF 01 43 13 2F`: an answer to ISO 14229-1 service 0x19, sub-functions 02, 0A and the like, as bytes."""
    match = re.fullmatch(
        r"\s*59 ?(02|0A|0B|0C|0D|0E) ?([0-9A-F]{2}) ?((?:[0-9A-F]{2} ?){4,})", text.rstrip() + " "
    )
    data = bytes.fromhex(match[3]) if match else b""
    if match is None or len(data) % 4:
        return None
    mask = int(match[2], 16)
    codes = tuple(
        ReportedCode(
            record.hex(" "), FaultCode.from_bytes(record[:3]), "", terms_of(record[3] & mask), record[3]
        )
        for record in (data[i : i + 4] for i in range(0, len(data), 4))
    )
    return Reading(CODE, "the bytes of an answer to ISO 14229-1 service 19, decoded", codes=codes)


def _coded(text: str, _: Context) -> Reading | None:
    read = codes_in(text)
    if not read:
        return None
    before = text[: read[0][1]]
    status, name = status_alone(before), _owner(before)
    codes = tuple(replace(entry, status=entry.status or status) for entry, _ in read)
    why = f"{len(codes)} codes" if len(codes) > 1 else "a code"
    return Reading(CODE, f"{why}, of {name}" if name else why, unit=name, codes=codes)


def _owner(before: str) -> str:
    """The unit that stands before a code on its line, if a separator sets it off or it is an abbreviation alone."""
    words = folded(before)
    if len(before) > LONGEST_NAME or status_alone(before):
        return ""
    if not STRONG_END.search(before) and not ABBREVIATION.fullmatch(before):
        return ""
    if vocabulary.SILENT_AROUND.search(f"{words} lost") or vocabulary.SILENT.search(words):
        return ""  # `Lost communication with ECM: U0100` describes the code
    keyed = vocabulary.UNIT_KEY.match(words)
    cells = re.split(r"\s{2,}|\s*[\t;|]\s*", before[keyed.end() :] if keyed else before)
    name = next(filter(None, map(unit_name, cells)), "")
    return name if sum(character.isalpha() for character in name) > 1 else ""


def _vehicle(text: str, context: Context) -> Reading | None:
    words = folded(text).lstrip()
    if context.after in (CODE, DETAIL) and not words.startswith(("vin", "fin", "fahrgestell")):
        return None
    for name, pattern in (("vin", VIN), *vocabulary.VEHICLE_PATTERNS):
        match = pattern.match(words)
        if match and words[match.end() :].strip():
            value = text.lstrip()[match.end() :].strip()
            return Reading(VEHICLE, f"about the vehicle or the job: {name}", vehicle=((name, value),))
    return None


def _silent(text: str, context: Context) -> Reading | None:
    words = folded(text)
    labelled = vocabulary.ANSWER_SAID.search(words)
    around = vocabulary.SILENT_AROUND.search(words)
    match = around or vocabulary.SILENT.search(words) or (labelled if labelled and labelled["no"] else None)
    match = match or ALL_SILENT.search(words)
    if match is None or (continues(text, context) and not labelled):
        return None
    if around:
        name = unit_name(text[around.start("unit") : around.end("unit")])
    else:
        name = _subject(text[: match.start()])
        after = vocabulary.WITH.match(words[match.end() :]) or re.match(r"\s*[:\t]\s*", words[match.end() :])
        if not name and after:  # the unit after 'no answer from'
            name = unit_name(text[match.end() + after.end() :])
    return Reading(SILENT, f"{name or 'the unit above'} does not answer", unit=name)


def _answering(text: str, context: Context) -> Reading | None:
    """`Communication: ok` says that a unit answers, and nothing of its codes."""
    words = folded(text)
    labelled = vocabulary.ANSWER_SAID.search(words)
    match = labelled if labelled and labelled["yes"] else ALL_ANSWER.search(words)
    if match is None:
        return None
    name = _subject(text[: match.start()])
    return Reading(ANSWERS, f"{name or 'the unit above'} answers", unit=name)


def _subject(before: str) -> str:
    """The unit before 'does not answer': with or without its keyword, a count of nothing, or a verb."""
    before = re.split(r"\s*[;|]\s*", before.lstrip(" ;|"))[0]
    keyed = vocabulary.UNIT_KEY.match(folded(before).lstrip(" -*\t"))
    if keyed:
        return unit_name(before.lstrip(" -*\t")[keyed.end() :])
    name = re.sub(r"\s+(?:is|status|ist|est|state|:)$", "", unit_name(before), flags=re.IGNORECASE)
    return "" if column_of(name) in ("status", "answer") else name


def _clean(text: str, context: Context) -> Reading | None:
    words = folded(text)
    match = vocabulary.NO_CODES.search(words) or ALL_WELL.search(words)
    if match is None or continues(text, context) or vocabulary.TOTAL.search(words):
        return None
    name = _subject(text[: match.start()])
    name = "" if status_alone(name) else name
    return Reading(CLEAN, f"{name or 'the unit above'} answers, no codes", unit=name)


def _counted(text: str, context: Context) -> Reading | None:
    words = folded(text)
    match = vocabulary.COUNT.search(words)
    if match is None or continues(text, context):
        return None
    count = int(match["count"] or match["after"])
    if vocabulary.TOTAL.search(words):
        return Reading(HEADING, f"a total of {count} codes", announced=count)
    name = _subject(text[: match.start()])
    codes = f"{count} code{'' if count == 1 else 's'}"
    return Reading(UNIT, f"{name or 'the unit above'} announces {codes}", unit=name, announced=count)


def _group(text: str, context: Context) -> Reading | None:
    """`Pending codes:` sets the status of the codes below it; `Permanent codes: none` says that there are none."""
    words = folded(text).strip(" :=-*#[]\t")
    label, _, rest = words.partition(":")
    status = status_terms(label)
    if not status or unit_name(without_status(label)):
        return None
    if vocabulary.NO_CODES.search(words) or vocabulary.COUNT.search(words):
        return None
    if context.after in (CODE, DETAIL) and not re.search(rf"\b{vocabulary.FAULT_NOUN}\b", words):
        return None
    if not rest.strip():
        return Reading(HEADING, f"the codes below are {', '.join(status)}", status=status)
    if vocabulary.NEGATIVE.fullmatch(rest.strip()):
        return Reading(CLEAN, f"no {', '.join(status)} codes", status=status)
    return None


def _keyed_unit(text: str, context: Context) -> Reading | None:
    listed = LISTED_NAME.match(folded(text))
    if listed and (name := unit_name(text[listed.end() :])):
        return Reading(UNIT, f"names the unit {name}", unit=name)
    start = len(text) - len(text.lstrip(" \t-*#=[>"))
    match = vocabulary.UNIT_KEY.match(folded(text[start:]))
    if match is None or (context.after in (CODE, DETAIL) and indent_of(text) > context.indent):
        return None
    name = unit_name(re.sub(r"^\s*[:=#]", "", text[start + match.end() :])) or tidy(text[start:])
    return Reading(UNIT, f"names the unit {name}", unit=name)


def _labelled_status(text: str, context: Context) -> Reading | None:
    labelled = re.match(r"\s*(?:status|statut|etat|zustand|state|type|art)\b", folded(text))
    return _detail_of(text) if labelled and context.after in (CODE, DETAIL) else None


def _detail(text: str, context: Context) -> Reading | None:
    return _detail_of(text) if continues(text, context) else None


def _detail_of(text: str) -> Reading:
    byte = status_byte(text)
    terms = status_terms(text) + terms_of(byte)
    return Reading(DETAIL, "more about the code above", words=tidy(text), status=terms, status_byte=byte)


def _titled(text: str, context: Context) -> Reading | None:
    """A heading of the report, a title (`[Brakes]`, `=== Brakes ===`, `## Brakes` and `Brakes:`), or a date."""
    if vocabulary.HEADING.fullmatch(folded(text).strip(" :=-*#[]\t.|")):
        return Reading(HEADING, "a heading")
    if bracketed(text) or text.rstrip().endswith(":") or re.match(r"\s*#+\s", text):
        name = unit_name(text)
        if name and len(name) <= LONGEST_NAME and not vocabulary.HEADING.fullmatch(folded(name).strip()):
            return Reading(UNIT, f"a title: the unit {name}", unit=name)
    if context.after not in (CODE, DETAIL) and DATE.search(text):
        return Reading(VEHICLE, "a date", vehicle=(("date", text.strip()),))
    return None


def _own(text: str, context: Context) -> Reading | None:
    """A maker's own number, taken for a code only where a unit is named or codes stand above."""
    own = own_code(text) if context.unit or context.after in (CODE, DETAIL) else None
    return Reading(CODE, "a maker's own number with words after it", codes=(own,)) if own else None


def _followed(text: str, context: Context) -> Reading | None:
    """A short line directly above a code, above 'no codes' or above 'does not answer' names the unit."""
    name, below = unit_name(text), folded(context.following).lstrip(" -*\t>.")
    codes = codes_in(context.following)
    if not name or len(name) > LONGEST_NAME or (codes and _owner(context.following[: codes[0][1]])):
        return None
    tells = (
        codes
        or own_code(context.following)
        or any(pattern.match(below) for pattern in BARE)
        or (
            below.startswith(("status", "state"))
            and (ALL_ANSWER.search(below) or vocabulary.SILENT.search(below))
        )
    )
    return Reading(UNIT, f"stands above what a unit reports: the unit {name}", unit=name) if tells else None


RECOGNISERS: tuple[Callable[[str, Context], Reading | None], ...] = (
    table_heading,
    table_row,
    _raw_answer,
    _coded,
    _labelled_status,
    _vehicle,
    _group,
    _silent,
    _answering,
    _clean,
    _own,
    _counted,
    _keyed_unit,
    _detail,
    _titled,
    _followed,
)
