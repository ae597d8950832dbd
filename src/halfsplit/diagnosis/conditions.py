"""What else closed jobs teach: how much earlier work, a place and the vehicle's age and distance move a cause.

Each condition is counted as jobs in which the cause had it, beside the chance that the shipped priors gave it in those
very jobs; learned is the odds between the two, held by the shipped chance as so many jobs (Beta, as for the kinds).
Minutes of places are learned as the mean of the logarithm of taken over expected, slips as a share of readings.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from functools import lru_cache
from typing import TypeVar

from halfsplit.circuit.model import Model
from halfsplit.diagnosis.cost import PLACES

STRENGTH = 40.0
"""Jobs that the shipped chance of a condition counts for: it moves a cause less than it is told. Set here."""
GOOD_TO = 2.0
"""Factor to which the odds of a shipped share are taken to be good: one standard deviation of their logarithm. Set
here."""
VISITS = 10.0
"""Visits that the shipped minutes of a place count for. Set here."""
READINGS = 100.0
"""Readings that the shipped chance of a slip counts for. Set here."""
SHIPPED_SLIP = 0.02
LARGEST = 4.0
"""The most by which a condition, or the minutes of a place, are moved."""
ELSEWHERE = "other places"
DISTANCES = ((50_000, "under 50,000 km"), (150_000, "50,000 to 150,000 km"), (10**9, "over 150,000 km"))
AGES = ((5, "under 5 years"), (12, "5 to 12 years"), (10**9, "over 12 years"))
FINE = 2**20
"""Steps in which fractions are counted: a float holds 2**33 of them without rounding."""
KM_IN_A_MILE = 1.609344
"""International yard and pound agreement, 1959."""


def jobs_for(share: float) -> float:
    """Jobs that a shipped share counts for in a Beta whose log odds spread by log(`GOOD_TO`).

    The variance of the log odds is 1/a + 1/b to first order, with a and b the pseudo-jobs for and against.

    >>> [round(jobs_for(share)) for share in (0.02, 0.1, 0.5)]
    [106, 23, 8]
    """
    return 1.0 / (math.log(GOOD_TO) ** 2 * share * (1.0 - share))


@dataclass(frozen=True)
class Condition:
    """``jobs`` of ``of`` in which the cause had it; ``expected``: how many the shipped priors expect."""

    jobs: int = 0
    of: int = 0
    expected: float = 0.0

    def __add__(self, other: Condition) -> Condition:
        return Condition(self.jobs + other.jobs, self.of + other.of, self.expected + other.expected)

    def __mul__(self, times: int) -> Condition:
        return Condition(times * self.jobs, times * self.of, times * self.expected)

    @property
    def factor(self) -> float:
        """By how much the odds of a cause that has it are moved.

        >>> Condition().factor, round(Condition(30, 60, 10.0).factor, 2)
        (1.0, 2.89)
        """
        if not self.of:
            return 1.0
        shipped = min(max(self.expected / self.of, 1e-6), 1.0 - 1e-6)
        share = (STRENGTH * shipped + self.jobs) / (STRENGTH + self.of)
        odds = share / (1.0 - share) / (shipped / (1.0 - shipped))
        return min(max(odds, 1.0 / LARGEST), LARGEST)


@dataclass(frozen=True)
class Visits:
    """How often a place was opened and the sum of log(taken / expected)."""

    count: int = 0
    log: float = 0.0

    def __add__(self, other: Visits) -> Visits:
        return Visits(self.count + other.count, self.log + other.log)

    @property
    def factor(self) -> float:
        """By how much the shipped minutes are moved.

        >>> Visits().factor, round(Visits(10, 10 * math.log(4.0)).factor, 2)
        (1.0, 2.0)
        """
        return min(max(math.exp(self.log / (VISITS + self.count)), 1.0 / LARGEST), LARGEST)


@dataclass(frozen=True)
class Slips:
    """Readings of an instrument that were struck out or fitted nothing, of all."""

    wrong: int = 0
    of: int = 0

    def __add__(self, other: Slips) -> Slips:
        return Slips(self.wrong + other.wrong, self.of + other.of)

    @property
    def share(self) -> float:
        """How often a reading slips.

        >>> Slips().share, Slips(8, 100).share
        (0.02, 0.05)
        """
        return (READINGS * SHIPPED_SLIP + self.wrong) / (READINGS + self.of)


@dataclass(frozen=True)
class Circumstances:
    """What was counted besides causes, each by its name in words."""

    conditions: Mapping[str, Condition] = field(default_factory=dict)
    visits: Mapping[str, Visits] = field(default_factory=dict)
    slips: Mapping[str, Slips] = field(default_factory=dict)


Counted = TypeVar("Counted", Condition, Visits, Slips)


def exact(number: float) -> float:
    """A number rounded so that a thousand million of them add up to the same in any order."""
    return round(number * FINE) / FINE


def together(several: Iterable[Circumstances]) -> Circumstances:
    """Those of several jobs, or of several workshops; their order makes no difference where they are `exact`."""
    counted = list(several)
    return Circumstances(
        _added(each.conditions for each in counted),
        _added(each.visits for each in counted),
        _added(each.slips for each in counted),
    )


def _added(several: Iterable[Mapping[str, Counted]]) -> dict[str, Counted]:
    """The sum of each name's counts, by name."""
    total: dict[str, Counted] = {}
    for counts in several:
        for name, count in counts.items():
            total[name] = total[name] + count if name in total else count
    return dict(sorted(total.items()))


@lru_cache(maxsize=4_096)
def place_class(place: str) -> str:
    """The sort of place that a place is, by the words that the shipped minutes go by.

    >>> place_class("left front door"), place_class("under the bonnet")
    ('trim, tailgate, door, boot, pillar, roof', 'other places')
    """
    return next(
        (", ".join(words) for words, _ in PLACES if any(word in place.lower() for word in words)), ELSEWHERE
    )


def class_of_part(part: str, model: Model) -> str:
    """The sort of place of a cause; '' for what has none, such as a wire."""
    known_part = model.parts.get(part.partition(".")[0])
    return place_class(known_part.place) if known_part is not None and known_part.place else ""


def bands(distance: float | None, age: int | None) -> tuple[str, ...]:
    """A vehicle's distance (km) and age (years) in coarse words; empty where neither is known.

    >>> bands(163_000, None), bands(None, 3)
    (('over 150,000 km',), ('under 5 years',))
    """
    known = ((distance, DISTANCES), (age, AGES))
    return tuple(
        next(words for end, words in table if value < end) for value, table in known if value is not None
    )


def in_band(kind: str, band: str) -> str:
    """The condition that a kind is the cause in a vehicle of this age or distance."""
    return f"{kind}, {band}"


def at_place(name: str) -> str:
    """The condition that the cause is at a sort of place."""
    return f"at {name}"


def cause_factor(
    known: Circumstances, kind: str, part: str, model: Model, vehicle: Sequence[str], kinds: Counter[str]
) -> float:
    """By how much the place of a cause, and the vehicle's age and distance, move its chance.

    ``kinds``: by how much the kind itself is moved already, which the bands are held by.
    """
    place = class_of_part(part, model)
    factor = known.conditions.get(at_place(place), Condition()).factor if place else 1.0
    for band in vehicle:
        seen = known.conditions.get(in_band(kind, band))
        if seen is not None:
            moved = min(seen.expected * float(kinds[kind] or 1.0), 0.95 * seen.of)
            factor *= Condition(seen.jobs, seen.of, moved).factor
    return min(max(factor, 1.0 / LARGEST), LARGEST)
