"""Words, and conditions made of them: ``7 is high and not "rest"``."""

from __future__ import annotations

from dataclasses import dataclass

from halfsplit.circuit.model import Position, Side


@dataclass(frozen=True, slots=True)
class Word:
    """A name, pin, position or text (quotation marks removed)."""

    text: str
    at: Position


@dataclass(frozen=True, slots=True)
class AlwaysTerm:
    """``always``."""


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


@dataclass(frozen=True, slots=True)
class NotTerm:
    """``not …``."""

    term: Term


@dataclass(frozen=True, slots=True)
class AndTerm:
    """``… and …``."""

    terms: tuple[Term, ...]


@dataclass(frozen=True, slots=True)
class OrTerm:
    """``… or …``."""

    terms: tuple[Term, ...]


Term = AlwaysTerm | PinTerm | StateTerm | HearsTerm | NotTerm | AndTerm | OrTerm
