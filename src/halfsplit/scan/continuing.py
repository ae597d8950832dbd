"""Whether a line goes on about the code above it, or speaks of something else: a unit, its silence, its health."""

from __future__ import annotations

import re
from dataclasses import dataclass

from halfsplit.scan import vocabulary
from halfsplit.scan.find import unit_name
from halfsplit.scan.reading import CODE, DETAIL, EMPTY, Reading
from halfsplit.scan.status_words import without_status
from halfsplit.scan.vocabulary import folded

ABBREVIATION = re.compile(r"\W*[A-Z][A-Z0-9]{1,5}(?:\s|[;,]\s*)")
ALL_SILENT = re.compile(
    r"(?:(?<=[:\t|=>;])\s*|\s{2,}|\s[-\u2013]\s)"
    r"(?:n/[rc]|n\.r\.|nc|no ?comms?|nocom|(?<=[:=])nr|(?<=[:=] )nr)\s*\.?\s*$"
)
"""Short for 'no response' or 'no communication' where it stands alone behind a unit."""
SET_OFF = re.compile(r"[:\t|=]|->|\s-\s|\s{2,}")
LABELLED = re.compile(r"[^:=]{2,40}[:=]\s*\S|.{2,60}(?:\.{3,}|\s{3,})")
LONGEST_NAME = 60
MOST_WORDS_OF_A_NAME = 4
VALUE = re.compile(
    r"(?<![\w.,])(?:[-+\u2212]?\d{1,3}(?:[ \u00a0\u202f\u2009'.]\d{3})+(?:,\d+)?"
    r"|[-+\u2212]?\d{1,3}(?:,\d{3})+(?:\.\d+)?|[-+\u2212]?\d+(?:[.,]\d+)?)[ \u00a0\u202f\u2009]*"
    r"(?:V|mV|A|mA|km/h|km|mi|miles|mph|rpm|1/min|min-1|U/min|tr/min|h|hours|Std|min|s|ms|Hz|%|°C|°F|C|bar|mbar|kPa|ohm"
    r"|Ω|Nm)(?![\w/])",
    re.IGNORECASE,
)
"""A number with a unit, as reports write it: `11,8 V`, `124.350 km`, `124 350 km`, `1,234.5 rpm`."""


@dataclass(frozen=True, slots=True)
class Context:
    """What the lines before a line have set, and the next line that is not empty.

    after: the kind of the line directly above, or empty. worded: the last code had words on its own line.
    indent: how far the last code line was indented. owned: it named its unit itself.
    table: the heading of the table that runs, or None.
    """

    unit: str = ""
    after: str = EMPTY
    worded: bool = False
    indent: int = 0
    owned: bool = False
    table: Reading | None = None
    following: str = ""


def continues(text: str, context: Context) -> bool:
    """Whether a line without a code goes on about the code above it."""
    if context.after not in (CODE, DETAIL):
        return False
    if indent_of(text) > context.indent:
        return not bracketed(text)
    words = folded(text)
    rest = without_status(words)
    if rest != words and not any(character.isalnum() for character in rest):
        return True  # status words alone
    if (
        _stands_above_an_answer(text, context)
        or _says_a_silent_unit(text, words)
        or indent_of(text) < context.indent
        or bracketed(text)
        or vocabulary.UNIT_KEY.match(words.lstrip(" -*\t"))
        or (context.owned and SET_OFF.search(text.strip(" -*")))
    ):
        return False
    if not VALUE.search(text) and not LABELLED.match(text):
        return not context.worded
    tells = (vocabulary.SILENT, vocabulary.COUNT, vocabulary.NO_CODES)
    return not any(pattern.search(words) for pattern in tells)


def _stands_above_an_answer(text: str, context: Context) -> bool:
    """Whether the next line says no more than whether a unit answers, and this one can be its name."""
    words = folded(context.following).lstrip(" -*\t>.")
    match = vocabulary.ANSWER_SAID.match(words) or vocabulary.SILENT.match(words)
    short = (
        len(text.split()) <= MOST_WORDS_OF_A_NAME
        and not VALUE.search(text)
        and not vocabulary.SILENT.search(folded(text))
    )
    return bool(match and short and unit_name(text))


def _says_a_silent_unit(text: str, words: str) -> bool:
    """`ABS  *** NO COMMUNICATION ***`, `ABS does not answer`: a name, set off or an abbreviation, and its silence."""
    match = vocabulary.SILENT.search(words) or vocabulary.NO_CODES.search(words) or ALL_SILENT.search(words)
    before = text[: match.start()] if match else ""
    if match and ABBREVIATION.fullmatch(before) and "comm" not in match[0]:
        return True
    return bool(re.search(r"\w(?:\s{2,}|\s\*{2,}|\t|\s-{1,3}\s)\W*$", before)) and len(before) < LONGEST_NAME


def bracketed(text: str) -> bool:
    """Whether a line begins with a title in brackets or between marks."""
    return re.match(r"\s*(?:\[[^\]]{2,}\]|[=#*]{2,}|-{3,})", text) is not None


def indent_of(text: str) -> int:
    """Blanks at the beginning of a line."""
    return len(text) - len(text.lstrip())
