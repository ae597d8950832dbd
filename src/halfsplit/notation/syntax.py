"""The tree of a circuit file: one dataclass for each kind of line, every word with the place where it stands.

Nothing here is checked beyond its form. ``parse.py`` makes it from text, ``lower.py`` makes the model from it.
"""

from __future__ import annotations

from dataclasses import dataclass

from halfsplit.circuit.model import GaugeQuantity, Position, Side
from halfsplit.notation.terms import Term, Word


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


# Lines under a part


@dataclass(frozen=True, slots=True)
class TagLine:
    """``kind pyro``."""

    tag: Word
    at: Position


@dataclass(frozen=True, slots=True)
class JoinsLine:
    """``joins POSITION PIN PIN``."""

    position: Word
    a: Word
    b: Word
    at: Position


@dataclass(frozen=True, slots=True)
class ParksLine:
    """``parks COMMON PARKED RUNNING``."""

    pins: tuple[Word, Word, Word]
    at: Position


@dataclass(frozen=True, slots=True)
class DriftsLine:
    """``drifts``."""

    at: Position


@dataclass(frozen=True, slots=True)
class FeedLine:
    """``feed 1 or 2``: every group must be served, by any of its pins."""

    groups: tuple[tuple[Word, ...], ...]
    at: Position


@dataclass(frozen=True, slots=True)
class EarthLine:
    """``earth PIN…``."""

    pins: tuple[Word, ...]
    at: Position


@dataclass(frozen=True, slots=True)
class ClampLine:
    """``clamp PIN…``."""

    pins: tuple[Word, ...]
    at: Position


@dataclass(frozen=True, slots=True)
class DrawsLine:
    """``draws A``."""

    amount: Amount
    at: Position


@dataclass(frozen=True, slots=True)
class WorksLine:
    """``works over V``."""

    amount: Amount
    at: Position


@dataclass(frozen=True, slots=True)
class ReadsLine:
    """``reads PIN …``."""

    pin: Word
    items: tuple[Said | Given, ...]
    at: Position


@dataclass(frozen=True, slots=True)
class DrivesLine:
    """``drives PIN SIDE …``."""

    pin: Word
    side: Side
    items: tuple[Said | Given | When, ...]
    at: Position


@dataclass(frozen=True, slots=True)
class SuppliesLine:
    """``supplies PIN V [limit A]``."""

    pin: Word
    volts: Amount
    limit: Amount | None
    at: Position


@dataclass(frozen=True, slots=True)
class TalksLine:
    """``talks on BUS at PIN [PIN]``."""

    bus: Word
    pins: tuple[Word, ...]
    at: Position


@dataclass(frozen=True, slots=True)
class SleepsLine:
    """``sleeps MA after MIN``."""

    draws: Amount
    after: Amount
    at: Position


@dataclass(frozen=True, slots=True)
class WakesLine:
    """``wakes when CONDITION``."""

    term: Term
    at: Position


BehaviourLine = (
    FeedLine
    | EarthLine
    | ClampLine
    | DrawsLine
    | WorksLine
    | ReadsLine
    | DrivesLine
    | SuppliesLine
    | TalksLine
    | SleepsLine
    | WakesLine
)


# Lines under a stage


@dataclass(frozen=True, slots=True)
class NeedsLine:
    """``needs NAME, …``."""

    names: tuple[Word, ...]
    at: Position


@dataclass(frozen=True, slots=True)
class FailsLine:
    """``fails "WORDS" [xN]``."""

    words: Word
    factor: Amount | None
    at: Position


@dataclass(frozen=True, slots=True)
class StandInLine:
    """``stand-in "WORDS" [N min] [caution "WORDS"]``."""

    words: Word
    minutes: Amount | None
    caution: Word | None
    at: Position


@dataclass(frozen=True, slots=True)
class WithinLine:
    """``in "STATE", …``."""

    states: tuple[Word, ...]
    at: Position


# Statements. ``under`` holds the indented lines.


@dataclass(frozen=True, slots=True)
class TitleLine:
    """``title TEXT``."""

    words: Word
    at: Position
    under: tuple[Line, ...] = ()


@dataclass(frozen=True, slots=True)
class IncludeLine:
    """``include "FILE"``."""

    file: Word
    at: Position
    under: tuple[Line, ...] = ()


@dataclass(frozen=True, slots=True)
class PartLine:
    """``KIND NAME …``."""

    kind: Word
    name: Word
    items: tuple[Said | Given, ...]
    at: Position
    under: tuple[Line, ...] = ()


@dataclass(frozen=True, slots=True)
class Link:
    """One ``--`` with what stands in its brackets: amounts, and words for the colour."""

    details: tuple[Amount | Word, ...]
    at: Position


@dataclass(frozen=True, slots=True)
class ContinuationLine:
    """An indented line that goes on with the path above it."""

    links: tuple[Link, ...]
    points: tuple[Word, ...]
    at: Position


@dataclass(frozen=True, slots=True)
class PathLine:
    """Points and the links between them; a point ``?`` is a stretch that the diagram does not show."""

    points: tuple[Word, ...]
    links: tuple[Link, ...]
    at: Position
    under: tuple[Line, ...] = ()


@dataclass(frozen=True, slots=True)
class VariantLine:
    """``variant NAME``; its paths are under it."""

    name: Word
    at: Position
    under: tuple[Line, ...] = ()


@dataclass(frozen=True, slots=True)
class StateLine:
    """``settings``: what each named part is or has; a word for a switch or generator, an amount for a sensor."""

    name: Word
    settings: tuple[tuple[Word, Word | Amount], ...]
    times: tuple[Given, ...]
    helper: bool
    at: Position
    under: tuple[Line, ...] = ()


@dataclass(frozen=True, slots=True)
class StageLine:
    """``good`` and ``bad`` are the two numbers with their unit as written, or None."""

    name: Word
    words: Word | None
    good: Amount | None
    bad: Amount | None
    states: tuple[Word, ...]
    at: Position
    under: tuple[Line, ...] = ()


@dataclass(frozen=True, slots=True)
class ReachLine:
    """``reach NAME N min ["WORDS"]``."""

    name: Word
    minutes: Amount
    words: Word | None
    at: Position
    under: tuple[Line, ...] = ()


@dataclass(frozen=True, slots=True)
class SuspectLine:
    """``suspect NAME xN ["WORDS"]``."""

    name: Word
    factor: Amount
    words: Word | None
    at: Position
    under: tuple[Line, ...] = ()


@dataclass(frozen=True, slots=True)
class TerminatorLine:
    """``terminator OHM at PART [on BUS]``."""

    ohms: Amount
    part: Word
    bus: Word | None
    at: Position
    under: tuple[Line, ...] = ()


@dataclass(frozen=True, slots=True)
class GaugeLine:
    """``gauge NAME QUANTITY at PLACE [xRATIO] [within ERROR] ["WORDS"]``; the error has its unit as written."""

    name: Word
    quantity: GaugeQuantity
    place: Word
    ratio: Amount | None
    error: Amount | None
    words: Word | None
    at: Position
    under: tuple[Line, ...] = ()


Statement = (
    TitleLine
    | IncludeLine
    | PartLine
    | PathLine
    | VariantLine
    | StateLine
    | StageLine
    | ReachLine
    | SuspectLine
    | TerminatorLine
    | GaugeLine
)

Line = (
    Statement
    | BehaviourLine
    | TagLine
    | JoinsLine
    | ParksLine
    | DriftsLine
    | ContinuationLine
    | NeedsLine
    | FailsLine
    | StandInLine
    | WithinLine
)


@dataclass(frozen=True, slots=True)
class Tree:
    """The statements of one file.

    ``unread`` holds the names on lines that have errors: nobody is told that these are unknown.
    """

    statements: tuple[Statement, ...]
    unread: frozenset[str]
