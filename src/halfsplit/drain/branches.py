"""Which branch draws: currents from the millivolts across fuses, the share explained, the next fuse to measure.

Resistance of a fuse: by the table of its rating where there is one, since 0.1 V / rating (common practice) reads 23 to
40 % low at drain currents. The search is Bayesian: the excess sits in one branch, in none of them, or is spread, and
each reading moves the probabilities; the next fuse is the one with the most information per minute.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np

from halfsplit.errors import InputError, NotFoundError

# Cold resistance of blade fuses by rating in A, in ohm: typical values (40 A large: published; others from memory).
BLADE = {
    3.0: 0.031,
    5.0: 0.0179,
    7.5: 0.0109,
    10.0: 0.0077,
    15.0: 0.0048,
    20.0: 0.0034,
    25.0: 0.0025,
    30.0: 0.0020,
    40.0: 0.0014,
}
SPREAD = 0.15
"""From fuse to fuse and make to make, one standard deviation (common practice, no source)."""

PRACTICE_VOLTS = 0.1
PRACTICE_LOW = (0.23, 0.40)
"""By how much 0.1 V / rating reads low (calculated from the table)."""

MILLIVOLT_ERROR = 0.02e-3
USUAL_BRANCH, USUAL_ERROR = 0.003, 0.004
"""A branch asleep draws a few mA: 1 to 10 mA a module (common practice, no source)."""

ELSEWHERE = 0.08
MINUTES = 1.0
SLIP = 0.03

CAUTIONS = (
    "Do not pull fuses while you search: pulling or refitting one wakes units and can end the fault. Measure "
    "millivolts across the fuse in place, and wait for sleep again after every fuse that was pulled after all.",
    "Never measure in, pull for testing or load the circuits of airbags and belt tensioners: battery off and the "
    "waiting time of the vehicle's documentation come first.",
    "Keep the circuit closed when the meter goes in: fit it in parallel first, then open. Do not start the engine or "
    "switch on ignition or heavy loads through a meter: its fuse blows, or it burns.",
    "A battery sensor sits on the negative post: take the current where it sees it, on the vehicle's side of "
    "the sensor, or the vehicle counts wrongly and may not sleep.",
    "Simulate locked doors and a closed bonnet by their latches; keep the key five metres away.",
    "The vehicle maker's documentation comes first.",
)


@dataclass(frozen=True, slots=True)
class Fuse:
    """A fuse. rating: A. units: what hangs on it. minutes: to measure it. behind: names of fuses that it feeds.

    weight: how likely this branch is, against others, before any reading (1 if nothing is known).
    """

    name: str
    rating: float
    units: tuple[str, ...] = ()
    minutes: float = MINUTES
    behind: tuple[str, ...] = ()
    weight: float = 1.0


@dataclass(frozen=True, slots=True)
class BranchCurrent:
    """A current through a fuse. amps: likeliest; low, high: nine of ten cases. how: which resistance was used."""

    amps: float
    low: float
    high: float
    how: str

    @property
    def error(self) -> float:
        """One standard deviation, A."""
        return (self.high - self.low) / 3.29


def fuse_current(millivolts: float, rating: float) -> BranchCurrent:
    """The current through a blade fuse from the millivolts across it. Raises InputError where that cannot be."""
    if not 0 < rating <= 500:
        raise InputError(f"a fuse of {rating:g} A", remedy="enter the rating printed on it")
    volts = millivolts / 1000
    if abs(volts) > 1:
        remedy = "more than 1 V means that it is blown or missing"
        raise InputError(f"{millivolts:g} mV across a fuse", remedy=remedy)
    if rating in BLADE:
        amps = volts / BLADE[rating]
        error = 1.645 * float(np.hypot(SPREAD * amps, MILLIVOLT_ERROR / BLADE[rating]))
        how = f"cold resistance of a {rating:g} A blade fuse, typical"
        return BranchCurrent(amps, amps - error, amps + error, how)
    low = volts * rating / PRACTICE_VOLTS
    reading = 1.645 * MILLIVOLT_ERROR * rating / PRACTICE_VOLTS
    least, most = (low / (1 - share) for share in PRACTICE_LOW)
    how = "0.1 V / rating, common practice, which reads 23 to 40 % low: corrected by that"
    return BranchCurrent((least + most) / 2, low - reading, most + reading, how)


@dataclass(frozen=True, slots=True)
class Explained:
    """How much of the drain the measured branches make. share: 0 and up; left: A not explained; words: one sentence."""

    share: float
    left: float
    words: str


@dataclass(frozen=True, slots=True)
class Suspect:
    """A branch with its probability, and the units on it. fuse: None for 'not behind any of these fuses'."""

    fuse: str | None
    units: tuple[str, ...]
    probability: float


@dataclass(frozen=True, slots=True)
class NextFuse:
    """A fuse to measure: bits it tells, minutes it takes, and how likely the drain runs through it."""

    fuse: str
    bits: float
    minutes: float
    probability: float

    @property
    def bits_a_minute(self) -> float:
        """What it is ranked by."""
        return self.bits / self.minutes


@dataclass(frozen=True)
class BranchSearch:
    """A search for the branch of a drain.

    total, total_error: A asleep, measured at the battery. fuses: all that can be reached.
    readings: fuse name -> its current.
    """

    fuses: tuple[Fuse, ...]
    total: float
    total_error: float
    readings: Mapping[str, BranchCurrent] = field(default_factory=dict)

    def __post_init__(self) -> None:
        names = [fuse.name for fuse in self.fuses]
        if len(set(names)) != len(names):
            raise InputError("two fuses have one name", remedy="give each fuse its own name")
        for fuse in self.fuses:
            for name in fuse.behind:
                if name not in names:
                    there = f"there are {', '.join(names)}"
                    raise NotFoundError(f"{fuse.name} feeds {name}, which is no fuse here; {there}")

    def measured(self, name: str, current: BranchCurrent) -> BranchSearch:
        """The search with one more reading; a fuse measured again takes the new one. Raises NotFoundError."""
        self.fuse(name)
        return BranchSearch(self.fuses, self.total, self.total_error, {**self.readings, name: current})

    def fuse(self, name: str) -> Fuse:
        """The fuse of that name. Raises NotFoundError."""
        named = next((fuse for fuse in self.fuses if fuse.name == name), None)
        if named is None:
            raise NotFoundError(f"no fuse {name!r}; there are {', '.join(fuse.name for fuse in self.fuses)}")
        return named

    def explained(self) -> Explained:
        """The share of the total that the readings make; a fuse behind a measured one does not count twice."""
        inner = {below for name in self.readings for below in self._below(name)}
        counted = [current for name, current in self.readings.items() if name not in inner]
        sum_amps = sum(current.amps for current in counted)
        error = float(np.sqrt(self.total_error**2 + sum(current.error**2 for current in counted)))
        left = self.total - sum_amps
        share = sum_amps / self.total if self.total > 0 else 0.0
        words = f"{1000 * sum_amps:.0f} of {1000 * self.total:.0f} mA found ({100 * share:.0f} %)."
        if left > 2 * error:
            words += f" {1000 * left:.0f} mA flow elsewhere: measure on."
        elif left < -2 * error:
            words += " More than the total: something woke, or the drain changed. Measure the total again."
        return Explained(share, left, words)

    def suspects(self) -> tuple[Suspect, ...]:
        """The branches by probability, the likeliest first; the probabilities add up to one."""
        leaves = self._leaves()
        probabilities = self._posterior(leaves)
        *likely, elsewhere = probabilities.tolist()
        suspects = [Suspect(leaf.name, leaf.units, p) for leaf, p in zip(leaves, likely, strict=True)]
        suspects.append(Suspect(None, (), elsewhere))
        return tuple(sorted(suspects, key=lambda suspect: -suspect.probability))

    def next_fuses(self) -> tuple[NextFuse, ...]:
        """The fuses not measured yet, by information per minute."""
        leaves = self._leaves()
        probabilities = self._posterior(leaves)[:-1]
        fuses = []
        for fuse in self.fuses:
            if fuse.name in self.readings:
                continue
            through = {fuse.name, *self._below(fuse.name)}
            p = float(sum(q for leaf, q in zip(leaves, probabilities, strict=True) if leaf.name in through))
            # What a reading that slips in `SLIP` of the cases tells of an event (a binary channel).
            seen = p * (1 - SLIP) + (1 - p) * SLIP
            bits = _entropy(seen) - _entropy(SLIP)
            fuses.append(NextFuse(fuse.name, bits, fuse.minutes, p))
        return tuple(sorted(fuses, key=lambda fuse: -fuse.bits_a_minute))

    def _below(self, name: str) -> tuple[str, ...]:
        """The names of all fuses fed through one; a loop in what was entered ends by itself."""
        lower: list[str] = []
        rest = list(self.fuse(name).behind)
        while rest:
            below = rest.pop()
            if below not in lower:
                lower.append(below)
                rest += self.fuse(below).behind
        return tuple(lower)

    def _leaves(self) -> list[Fuse]:
        """Fuses with loads of their own: those that feed no other fuse, or that have units besides."""
        return [fuse for fuse in self.fuses if not fuse.behind or fuse.units]

    def _posterior(self, leaves: Sequence[Fuse]) -> np.ndarray[tuple[int], np.dtype[np.float64]]:
        """Probability of each leaf, and last of 'elsewhere'. The excess is what the total has over usual branches."""
        prior = np.array([leaf.weight for leaf in leaves] + [0.0])
        prior = (1 - ELSEWHERE) * prior / prior.sum()
        prior[-1] = ELSEWHERE
        excess = max(self.total - USUAL_BRANCH * len(leaves), 0.5 * self.total)
        log = np.log(prior)
        for name, current in self.readings.items():
            through = {name, *self._below(name)}
            inside = np.array([leaf.name in through for leaf in leaves] + [False])
            usual = USUAL_BRANCH * max(int(inside.sum()), 1)
            usual_error = USUAL_ERROR * np.sqrt(max(inside.sum(), 1))
            error = float(np.hypot(current.error, np.hypot(usual_error, self.total_error)))
            expected = np.where(inside, usual + excess, usual)
            # a slip of the probe or of the sleep state is a reading of anything between nothing and the total
            density = np.exp(-0.5 * ((current.amps - expected) / error) ** 2) / (error * np.sqrt(2 * np.pi))
            log += np.log((1 - SLIP) * density + SLIP / max(self.total, 1e-3))
        weight = np.exp(log - log.max())
        result: np.ndarray[tuple[int], np.dtype[np.float64]] = weight / weight.sum()
        return result


def _entropy(p: float) -> float:
    return 0.0 if p <= 0 or p >= 1 else float(-p * np.log2(p) - (1 - p) * np.log2(1 - p))
