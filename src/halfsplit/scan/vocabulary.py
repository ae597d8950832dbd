"""The words that reports of fault codes use, in several languages: the patterns of `words.toml`, ready to run.

Patterns run over `folded` text: small letters without accents, so that capitals and missing accents do not matter.
"""

from __future__ import annotations

import re
import tomllib
import unicodedata
from functools import lru_cache
from importlib.resources import files
from typing import Any


def _on_one_line(words: Any) -> Any:
    """A pattern, or a table of patterns, without the ends of its lines."""
    if isinstance(words, dict):
        return {name: _on_one_line(pattern) for name, pattern in words.items()}
    return words.replace("\n", "")


_FILE = tomllib.loads(files("halfsplit.scan").joinpath("words.toml").read_text(encoding="utf-8"))
_SCANNED = frozenset(_FILE.pop("scanned").split())
WORDS: dict[str, Any] = _on_one_line(_FILE)
"""The patterns by what they mean, as text; some in tables of their own."""

SILENT = re.compile(WORDS["silent"])
SILENT_AROUND = re.compile(WORDS["silent_around"])
WITH = re.compile(WORDS["with"])
ANSWER_SAID = re.compile(
    rf"(?:^|(?<=[\s:;,|>(*\"'-])){WORDS['answering']}(?: (?:status|state|estado|stato|etat))?\"?[\s.:=|>_-]+"
    rf"\"?(?:(?P<no>{WORDS['no']})|(?P<yes>{WORDS['yes']}))\"?\W*$"
)
"""`Communication ....: none`, `"answers": false`, `Antwort: ja`: whether a unit answers, as a label and a word."""

NO_CODES = re.compile(WORDS["no_codes"])
GOOD = re.compile(WORDS["good"])
FAULT_NOUN = WORDS["fault_noun"]
COUNT = re.compile(
    rf"(?P<count>\d{{1,3}}) {FAULT_NOUN}\b"
    rf"|{FAULT_NOUN}(?: found| stored| gespeichert| memorises?| memorizad[oa]s| almacenad[oa]s"
    rf"| memorizzati)?\s*[:=(]\s*(?P<after>\d{{1,3}})\b"
)
TOTAL = re.compile(WORDS["total"])
UNIT_KEY = re.compile(WORDS["unit_key"])
HEADING = re.compile(WORDS["heading"])
AFFIRMATIVE = re.compile(WORDS["affirmative"])
NEGATIVE = re.compile(WORDS["negative"])
ANNOUNCES = re.compile(WORDS["announces"])

VEHICLE_PATTERNS = tuple(
    (name, re.compile(rf"(?:{pattern})\s*(?:[:=]|\t|\s{{2,}}|\s(?=\d+[.,]\d+ ?v\b))\s*"))
    for name, pattern in WORDS["vehicle"].items()
)
COLUMN_PATTERNS = {name: re.compile(pattern) for name, pattern in WORDS["columns"].items()}


class _Folding(dict[int, str]):
    """A table for `str.translate` that fills itself: each character is worked out once."""

    def __missing__(self, code: int) -> str:
        base = unicodedata.normalize("NFKD", chr(code))[0].lower()
        self[code] = plain = " " if base.isspace() and code != ord("\t") else base[0]
        return plain


_FOLDING = _Folding()


@lru_cache(maxsize=256)
def folded(text: str) -> str:
    """Small letters, no accents, no special spaces, and as long as `text`: what the patterns run over."""
    return text.translate(_FOLDING)


def column_of(cell: str) -> str | None:
    """Which column a heading cell names, or None."""
    words = folded(cell).strip(" :*#|") or cell.strip()
    return next((name for name, pattern in COLUMN_PATTERNS.items() if pattern.fullmatch(words)), None)


_FIGURED = re.compile(r"(?<![^\W_])(?=[^\W\d_]*\d)(?=\d*[^\W\d_])[^\W_]{2,16}(?![^\W_])")
_LETTERS = str.maketrans("01582|", "oisbzl")


def unscanned(text: str) -> str:
    """Words that scanned text has with figures for letters, as they were: `N0 RESP0NSE`, `ST0RED`, `ACT1VE`.

    Only words that say something of a unit or a code are mended; a code or a name stays as it stands.

    >>> unscanned("ABS: N0 C0MM"), unscanned("P0562 ST0RED")
    ('ABS: NO COMM', 'P0562 STORED')
    """
    return _FIGURED.sub(_as_word, text)


def _as_word(match: re.Match[str]) -> str:
    written = match[0]
    for letter in ("i", "l"):
        read = written.translate(_LETTERS | {ord("1"): letter})
        if folded(read) in _SCANNED:
            return read.upper() if written.upper() == written else read
    return written
