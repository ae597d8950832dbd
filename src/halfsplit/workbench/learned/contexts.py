"""What the page about learned causes knows: frozen records, one for each template."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime


@dataclass(frozen=True)
class KindRow:
    """One kind of cause. ``jobs`` of ``of``; the rest are shares of all causes, and where they are drawn (0 to 100)."""

    name: str
    jobs: int
    of: int
    shipped: float
    share: float
    at_shipped: float
    at_share: float
    from_low: float
    width: float


@dataclass(frozen=True)
class CircuitRow:
    """What was the cause in one circuit before: (part, jobs), the most frequent first; ``others``: jobs of the rest."""

    title: str
    jobs: int
    parts: Sequence[tuple[str, int]]
    others: int


@dataclass(frozen=True)
class LearnedPage:
    """``sources``: who, when, how many jobs; ``used``: whether the engine uses it; ``largest``: the scale's end.

    ``besides``: what was learned besides causes: (what, how often, what is believed now).
    """

    sources: Sequence[tuple[str, datetime, int]]
    used: bool
    kinds: Sequence[KindRow]
    circuits: Sequence[CircuitRow]
    largest: float
    problem: str = ""
    besides: Sequence[tuple[str, str, str]] = ()
