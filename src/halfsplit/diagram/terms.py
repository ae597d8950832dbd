"""What the words of a diagram mean by the standards: names of parts, terminals, colours and cross-sections of wires."""

from __future__ import annotations

import itertools
import re
import tomllib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from importlib.resources import files

from halfsplit.circuit.kinds import CODES

_CODE = re.compile(r"[-+]?([A-Z]{1,3})([0-9]{1,4}[a-z]?)(?:[.:/]([0-9]{1,3}[A-Za-z]?|[A-Z][0-9]{0,2}))?")
_PIN = re.compile(r"[+-]|[0-9]{1,3}[A-Za-z]{0,2}|[A-Za-z]{1,2}[0-9]{0,2}[+-]?")
_SECTION = re.compile(r"(?:([0-9]{1,3})(?:[.,]([0-9]{1,2}))?)(mm2|mm²|mm\u00b2|□|qmm)?")

_TABLES = tomllib.loads(files("halfsplit.diagram").joinpath("terms.toml").read_text(encoding="utf-8"))


def _by_word(table: str) -> Mapping[str, str]:
    return {word: meant for meant, words in _TABLES[table].items() for word in words.split()}


LETTERS: Mapping[str, str] = {**CODES, **_TABLES["letters"]}
"""Letter code (DIN 40719-2, IEC 81346-2) → the nearest kind of part that a circuit knows."""
WORDS = _by_word("words")
"""A word in a part's description → its kind; plain English."""
COLOURS = _by_word("colours")
"""Letters of a colour, in capitals → the letters of IEC 60757."""
_SINGLE: Mapping[str, str] = _TABLES["single"]
"""Single letters, which only count beside a cross-section or a second colour."""

FEEDS = frozenset("15 15a 30 30a 30b 30g 31 31b 50 54 56 58 58L 58R 61 75 B+ B- D+ +12V 12V GND".split())  # noqa: SIM905
"""Terminals that stand at the end of many wires (DIN 72552): the same word there never joins two wires by itself."""


@dataclass(frozen=True, slots=True)
class Code:
    """The name of a part as diagrams write it: ``K7``, or ``X31.4`` with its ``pin``."""

    letters: str
    name: str
    pin: str = ""


@dataclass(frozen=True, slots=True)
class WireText:
    """What stands beside a wire: colour (IEC 60757), cross-section in mm², both '' or None where not given."""

    colour: str = ""
    mm2: float | None = None


def code_of(text: str) -> Code | None:
    """A word as the name of a part, if it reads like one.

    >>> code_of("-K7"), code_of("X31/4"), code_of("GN")
    (Code(letters='K', name='K7', pin=''), Code(letters='X', name='X31', pin='4'), None)
    """
    match = _CODE.fullmatch(text.strip(",;()"))
    if match is None:
        return None
    return Code(match[1], match[1] + match[2], match[3] or "")


def reads_as_pin(text: str) -> bool:
    """Whether a word can be the name of a pin: a number, a terminal of DIN 72552, a letter, a cavity."""
    return _PIN.fullmatch(text) is not None


def colour_of(text: str, *, alone: bool = True) -> str:
    """Letters of one or two colours as IEC 60757 writes them (``RD/WH``); '' where it is none.

    ``alone``: nothing beside it says that it is a colour, so that a single letter does not count.

    >>> colour_of("ro/ws"), colour_of("BLK"), colour_of("R"), colour_of("R", alone=False)
    ('RD/WH', 'BK', '', 'RD')
    """
    parts = [part.upper() for part in re.split(r"[/\-]", text) if part]
    if not 1 <= len(parts) <= 2 or (text.islower() and len(parts) == 1 and len(text) != 2):
        return ""
    single = not alone or len(parts) == 2
    named = [COLOURS.get(part) or (_SINGLE.get(part, "") if single else "") for part in parts]
    return "/".join(named) if all(named) else ""


def section_of(text: str) -> tuple[float, bool] | None:
    """A cross-section in mm², and whether its unit or its decimals say for certain that it is one."""
    match = _SECTION.fullmatch(text)
    if match is None:
        return None
    value = float(f"{match[1]}.{match[2] or 0}")
    return (value, bool(match[3] or match[2])) if 0.05 <= value <= 120 else None


def wire_text(words: Sequence[str]) -> WireText | None:
    """Words that stand together, as the text of a wire; None where they are something else.

    >>> wire_text(["0.75", "RD/WH"]), wire_text(["1,5", "br"]), wire_text(["2.5mm²"]), wire_text(["30"])
    (WireText(colour='RD/WH', mm2=0.75), WireText(colour='BN', mm2=1.5), WireText(colour='', mm2=2.5), None)
    """
    colour, mm2, certain = "", None, False
    for word in itertools.chain.from_iterable(map(_split, words)):
        section = section_of(word)
        if word in ("mm2", "mm²", "qmm") and mm2 is not None:
            certain = True
        elif section is not None and mm2 is None:
            mm2, certain = section
        elif not colour and colour_of(word, alone=mm2 is None):
            colour = colour_of(word, alone=mm2 is None)
        else:
            return None
    if colour or (mm2 is not None and certain):
        return WireText(colour, mm2)
    return None


def _split(word: str) -> list[str]:
    """``0.5RD/WH`` and ``RD/WH0.5`` as two words."""
    match = re.fullmatch(r"([0-9]+(?:[.,][0-9]+)?)([A-Za-z]{1,4}(?:[/-][A-Za-z]{1,4})?)", word)
    if match and match[2].lower() not in ("mm", "qmm", "a", "w", "v", "m") and not match[2].islower():
        return [match[1], match[2]]
    match = re.fullmatch(r"([A-Z]{2}(?:[/-][A-Z]{2})?)[- ]?([0-9]+(?:[.,][0-9]+)?)", word)
    return (
        [match[1], match[2]]
        if match and colour_of(match[1]) and "." in match[2].replace(",", ".")
        else [word]
    )


def kind_of(letters: str, words: str, pins: int) -> str:
    """The kind of a part by its letter code, else by its words, else by the number of its pins."""
    if letters == "E":
        return "ground" if pins <= 1 else "heater"
    if letters in LETTERS:
        return LETTERS[letters]
    for word in reversed(re.findall(r"[a-z]+", words.lower())):
        if word in WORDS:
            return WORDS[word]
    return "ground" if pins == 1 else "resistor" if pins == 2 else "module"
