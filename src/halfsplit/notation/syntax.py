"""The tree of a circuit file: one dataclass for each kind of line, every word with the place where it stands.

Nothing here is checked beyond its form. ``parse.py`` makes it from text, ``lower.py`` makes the model from it.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import TypeVar

from halfsplit.circuit.model import Condition, GaugeQuantity, Position, Side


@dataclass(frozen=True, slots=True)
class Word:
    """A name, pin, position or text (quotation marks removed)."""

    text: str
    at: Position


# Conditions: `Always`, `Not`, `And` and `Or` are the model's own; these have words where the model has names.


@dataclass(frozen=True, slots=True)
class PinTerm:
    """``7 is high``."""

    pin: Word
    level: Side


@dataclass(frozen=True, slots=True)
class StateTerm:
    """``"cranking"``."""

    state: Word


@dataclass(frozen=True, slots=True)
class HearsTerm:
    """``A2 hears A1``."""

    listener: Word
    speaker: Word


Term = Condition | PinTerm | StateTerm | HearsTerm


# What a line gives


@dataclass(frozen=True, slots=True)
class Amount:
    """A number in the model's unit ('' for a bare number), and ``text`` as it was written."""

    value: float
    unit: str
    text: str
    at: Position


@dataclass(frozen=True, slots=True)
class Given:
    """An amount that a line gives under a word: ``limit 3 A``; the word is '' for one known by its unit."""

    word: str
    amount: Amount


@dataclass(frozen=True, slots=True)
class Said:
    """A word or text that a line gives: ``at "tailgate"``, ``on engine``, a position."""

    word: str
    value: Word


@dataclass(frozen=True, slots=True)
class When:
    """``when CONDITION`` of a driver."""

    term: Term


@dataclass(frozen=True, slots=True, kw_only=True)
class Line:
    """A line of a file, and where it stands."""

    at: Position


@dataclass(frozen=True, slots=True, kw_only=True)
class Statement(Line):
    """A line that begins in the first column; ``under`` holds the indented lines."""

    under: tuple[Line, ...] = ()


@dataclass(frozen=True, slots=True)
class WordsLine(Line):
    """A line of names alone, by its rule: ``kind pyro``, ``parks 31b 31 53a``, ``earth PIN…``, ``needs NAME, …``."""

    rule: str
    words: tuple[Word, ...]


@dataclass(frozen=True, slots=True)
class AmountLine(Line):
    """``draws A``, ``works over V``."""

    rule: str
    amount: Amount


# Lines under a part


@dataclass(frozen=True, slots=True)
class JoinsLine(Line):
    """``joins POSITION PIN PIN``."""

    position: Word
    a: Word
    b: Word


@dataclass(frozen=True, slots=True)
class FeedLine(Line):
    """``feed 1 or 2``: every group must be served, by any of its pins."""

    groups: tuple[tuple[Word, ...], ...]


@dataclass(frozen=True, slots=True)
class ReadsLine(Line):
    """``reads PIN …``."""

    pin: Word
    items: tuple[Said | Given, ...]


@dataclass(frozen=True, slots=True)
class DrivesLine(Line):
    """``drives PIN SIDE …``."""

    pin: Word
    side: Side
    items: tuple[Said | Given | When, ...]


@dataclass(frozen=True, slots=True)
class SuppliesLine(Line):
    """``supplies PIN V [limit A]``."""

    pin: Word
    volts: Amount
    limit: Amount | None


@dataclass(frozen=True, slots=True)
class TalksLine(Line):
    """``talks on BUS at PIN [PIN]``."""

    bus: Word
    pins: tuple[Word, ...]


@dataclass(frozen=True, slots=True)
class SleepsLine(Line):
    """``sleeps MA after MIN``."""

    draws: Amount
    after: Amount


@dataclass(frozen=True, slots=True)
class WakesLine(Line):
    """``wakes when CONDITION``."""

    term: Term


# Lines under a stage


@dataclass(frozen=True, slots=True)
class FailsLine(Line):
    """``fails "WORDS" [xN]``."""

    words: Word
    factor: Amount | None


@dataclass(frozen=True, slots=True)
class StandInLine(Line):
    """``stand-in "WORDS" [N min] [caution "WORDS"]``."""

    words: Word
    minutes: Amount | None
    caution: Word | None


# Statements


@dataclass(frozen=True, slots=True)
class TitleLine(Statement):
    """``title TEXT``."""

    words: Word


@dataclass(frozen=True, slots=True)
class IncludeLine(Statement):
    """``include "FILE"``."""

    file: Word


@dataclass(frozen=True, slots=True)
class PartLine(Statement):
    """``KIND NAME …``."""

    kind: Word
    name: Word
    items: tuple[Said | Given, ...]


@dataclass(frozen=True, slots=True)
class Link:
    """One ``--`` with what stands in its brackets: amounts, and words for the colour."""

    details: tuple[Amount | Word, ...]
    at: Position


@dataclass(frozen=True, slots=True)
class ContinuationLine(Line):
    """An indented line that goes on with the path above it."""

    links: tuple[Link, ...]
    points: tuple[Word, ...]


@dataclass(frozen=True, slots=True)
class PathLine(Statement):
    """Points and the links between them; a point ``?`` is a stretch that the diagram does not show."""

    points: tuple[Word, ...]
    links: tuple[Link, ...]


@dataclass(frozen=True, slots=True)
class VariantLine(Statement):
    """``variant NAME``; its paths are under it."""

    name: Word


@dataclass(frozen=True, slots=True)
class StateLine(Statement):
    """``settings``: what each named part is or has; a word for a switch or generator, an amount for a sensor."""

    name: Word
    settings: tuple[tuple[Word, Word | Amount], ...]
    times: tuple[Given, ...]
    helper: bool


@dataclass(frozen=True, slots=True)
class StageLine(Statement):
    """``good`` and ``bad`` are the two numbers with their unit as written, or None."""

    name: Word
    words: Word | None
    good: Amount | None
    bad: Amount | None
    states: tuple[Word, ...]


@dataclass(frozen=True, slots=True)
class ReachLine(Statement):
    """``reach NAME N min ["WORDS"]``."""

    name: Word
    minutes: Amount
    words: Word | None


@dataclass(frozen=True, slots=True)
class SuspectLine(Statement):
    """``suspect NAME xN ["WORDS"]``."""

    name: Word
    factor: Amount
    words: Word | None


@dataclass(frozen=True, slots=True)
class TerminatorLine(Statement):
    """``terminator OHM at PART [on BUS]``."""

    ohms: Amount
    part: Word
    bus: Word | None


@dataclass(frozen=True, slots=True)
class GaugeLine(Statement):
    """``gauge NAME QUANTITY at PLACE [xRATIO] [within ERROR] ["WORDS"]``; the error has its unit as written."""

    name: Word
    quantity: GaugeQuantity
    place: Word
    ratio: Amount | None
    error: Amount | None
    words: Word | None


L = TypeVar("L", bound=Line)


def only(lines: Iterable[Line], kind: type[L]) -> list[L]:
    """The lines of one kind."""
    return [line for line in lines if isinstance(line, kind)]


def words_of(lines: Iterable[Line], rule: str) -> list[Word]:
    """The names on all lines of names that have this rule."""
    return [word for line in only(lines, WordsLine) if line.rule == rule for word in line.words]


def texts(words: Iterable[Word]) -> tuple[str, ...]:
    """What some words say."""
    return tuple(word.text for word in words)


@dataclass(frozen=True, slots=True)
class Tree:
    """The statements of one file.

    ``unread`` holds the names on lines that have errors: nobody is told that these are unknown.
    """

    statements: tuple[Statement, ...]
    unread: frozenset[str]
