"""Which test next: the fewest expected minutes until the cause is found.

Plain arrays, no circuits. ``next_test`` is for tests with a few outcomes; ``rank_tests`` for hundreds of
candidates with numeric readings, as the circuit engine predicts them. Both go by bits per minute with a look
two tests ahead (``lookahead``), and search exactly (``optimum``) where what is left is small enough.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from halfsplit.diagnosis.condense import deepened
from halfsplit.diagnosis.information import (
    EXACT,
    KNEE,
    SCREENING,
    USUAL_SLIPS,
    Array,
    Floats,
    Integers,
    Precision,
    Slips,
    information,
    outcome_information,
)
from halfsplit.diagnosis.lookahead import ProofsAhead, doubt_of, expected_minutes, minutes_per_bit
from halfsplit.diagnosis.optimum import fits, optimum
from halfsplit.diagnosis.outcomes import outcome_ranges
from halfsplit.diagnosis.sequencing import NO_PLACE, TestProblem

EXACT_LIMIT = 4_000_000
"""Most (state, hypothesis) pairs for which ``next_test`` searches exactly: about a fifth of a second."""
TELLS_NOTHING = 1e-6
"""Bits below which a test is not worth its minutes, whatever they are."""
LOOKED_AT = 60
"""Candidates among which the look-ahead chooses the first and the second test."""
TOLD_EXACTLY = 8
"""Ranked tests whose bits are told exactly; those of the others are as screened, up to 0.1 bit too high."""
DEAR = 15
"""Of these, how many are taken for their bits alone: a place dear to reach may hold several cheap tests."""


# Tests with a few outcomes.


def next_test(problem: TestProblem, limit: int = EXACT_LIMIT) -> int:
    """Return the test to make next: by the exact plan where it fits, else by looking two tests ahead.

    Raises ``ValueError`` where the cause is found already or no test tells anything.
    """
    if problem.found or not len(problem.useful):
        raise ValueError("no test is needed: a repair group is found, or no test separates the rest")
    return optimum(problem, limit).test if fits(problem, limit) else two_ahead(problem)


def two_ahead(problem: TestProblem) -> int:
    """Return the test with the fewest expected minutes by looking two tests ahead; ties by number."""
    useful = problem.useful
    minutes = np.full(len(problem.costs), np.inf)
    minutes[useful] = problem.minutes[useful]
    after = np.stack([minutes_then(problem, int(test), minutes) for test in useful])
    arrays = (problem.likelihood, problem.priors, problem.groups)
    return int(useful[_first_least(expected_minutes(*arrays, useful, minutes, after, problem.stop_at))])


def greedy(problem: TestProblem) -> int:
    """Return the test with the most bits per minute; ties by number. What the others are compared with."""
    useful = problem.useful
    bits = outcome_information(problem.likelihood[useful], problem.priors, problem.groups)
    return int(useful[_first_least(-bits / np.maximum(problem.minutes[useful], 1e-9))])


def half_split(problem: TestProblem) -> int:
    """Return the test that divides the probability most evenly, whatever it costs; ties by number."""
    useful = problem.useful
    largest = np.matmul(problem.priors, problem.likelihood[useful]).max(axis=-1)
    return int(useful[_first_least(largest)])


def minutes_then(problem: TestProblem, test: int, minutes: Floats) -> Floats:
    """Return the minutes of each test after ``test`` has been made and its place is open."""
    after = minutes.copy()
    place = problem.places[test]
    if place != NO_PLACE:
        same = (problem.places == place) & np.isfinite(minutes)
        after[same] = problem.costs[same]
    after[test] = np.inf
    return after


def _first_least(values: Floats) -> int:
    """Return the place of the least value, the first of those that differ by rounding only."""
    return int(np.flatnonzero(values <= values.min() + 1e-9 * max(1.0, abs(values.min())))[0])


# Numeric readings of many candidates.


def _no_numbers() -> NDArray[np.float64]:
    return np.empty((0, 0))


@dataclass(frozen=True, eq=False)
class Candidates:
    """Tests and what every particle predicts for them: T numeric ones first, then D with a few outcomes.

    predicted   (T, N) predicted readings; float32 serves
    sigma       (T, N) their standard deviations, same unit
    likelihood  (D, N, K) probability of each outcome (yes, weak, no; bright, dim, dark)
    minutes     (T + D,) minutes of each test if it came next, the way to its place included; infinite: not
                possible now
    knee        scalar or (T,): see ``information``
    slips       range scalar or (T,): see ``information.Slips``
    """

    minutes: Floats
    predicted: Array = field(default_factory=_no_numbers)
    sigma: Array = field(default_factory=_no_numbers)
    likelihood: Array = field(default_factory=lambda: np.empty((0, 0, 1)))
    knee: ArrayLike = KNEE
    slips: Slips = USUAL_SLIPS

    def __post_init__(self) -> None:
        numeric, discrete = len(self.predicted), len(self.likelihood)
        if np.shape(self.predicted) != np.shape(self.sigma):
            raise ValueError(f"predicted {np.shape(self.predicted)} and sigma {np.shape(self.sigma)} differ")
        if not (np.isfinite(self.predicted).all() and np.all(self.sigma > 0)):
            raise ValueError("predictions must be finite ('OL' as the meter's end of range), sigma positive")
        if np.shape(self.minutes) != (numeric + discrete,):
            raise ValueError(f"{numeric} numeric and {discrete} other tests, minutes of {len(self.minutes)}")

    def bits(self, weights: Array, group: Integers) -> Floats:
        """Return what each test tells about the repair group, in bits; (T + D,)."""
        bits = np.zeros(len(self.minutes))
        numeric = np.arange(len(self.predicted))
        if len(numeric):
            bits[numeric] = self.numeric_bits(numeric, weights, group, SCREENING)
        if len(self.likelihood):
            bits[len(numeric) :] = outcome_information(self.likelihood, weights, group)
        return bits

    def numeric_bits(self, tests: Integers, weights: Array, group: Integers, precision: Precision) -> Floats:
        """Return what some of the numeric tests tell, in bits; (tests,)."""
        some = (self.predicted[tests], self.sigma[tests], weights, group)
        return information(*some, **self._readings(tests), precision=precision)

    def _readings(self, tests: Integers) -> dict[str, Any]:
        """Return the slips and knees of some of the numeric tests."""
        numeric = len(self.predicted)
        knees = np.broadcast_to(np.asarray(self.knee, dtype=float), (numeric,))
        return {"slips": self.slips.of(numeric, tests), "knee": knees[tests]}

    def outcomes(self, tests: Integers, weights: Array, group: Integers) -> Array:
        """Return the probability of each outcome of some tests under each particle; (tests, N, K).

        A numeric test's outcomes are the ranges of its reading. Outcomes that a test does not have: 0.
        """
        numeric = len(self.predicted)
        rows, others = tests[tests < numeric], tests[tests >= numeric] - numeric
        parts = [self.likelihood[others]] if len(others) else []
        if len(rows):
            some = (self.predicted[rows], self.sigma[rows], weights, group)
            parts.insert(0, outcome_ranges(*some, **self._readings(rows)))
        most = max(part.shape[-1] for part in parts)
        padded = [np.pad(part, ((0, 0), (0, 0), (0, most - part.shape[-1]))) for part in parts]
        order = np.concatenate([np.flatnonzero(tests < numeric), np.flatnonzero(tests >= numeric)])
        result: Array = np.concatenate(padded)[np.argsort(order)]
        return result


@dataclass(frozen=True)
class RankedTest:
    """A test's worth.

    test              its number among the candidates
    bits              what its reading tells about the repair group on average
    minutes           what it costs if it comes next
    expected_minutes  estimate until a repair group is found if it comes next; infinite: not looked at
    """

    test: int
    bits: float
    minutes: float
    expected_minutes: float

    @property
    def bits_per_minute(self) -> float:
        """The rate by which candidates are screened."""
        return self.bits / max(self.minutes, 1e-9)


def rank_tests(
    candidates: Candidates,
    weights: Array,
    group: Integers,
    *,
    minutes_after: Callable[[int], Floats] | None = None,
    stop_at: float = 0.95,
    looked_at: int = LOOKED_AT,
    proofs: ProofsAhead | None = None,
) -> tuple[RankedTest, ...]:
    """Return the tests that tell anything, best first.

    Those that the look-ahead took in go by expected minutes until a group holds ``stop_at``; the others
    follow by bits per minute; ties by number. The same arguments always give the same order.

    weights, group  (N,) weights and repair groups (numbered from 0) of the particles
    minutes_after   minutes (T + D,) of each test after the given one has been made and its place is open;
                    without it, as they are now
    proofs          of all tests: with them the minutes are those to the proof, not to the finding
    """
    weights = np.asarray(weights, dtype=float) / np.sum(weights)
    bits = candidates.bits(weights, group)
    minutes = np.where(bits > TELLS_NOTHING, candidates.minutes, np.inf)
    shares = np.bincount(group, weights=weights).astype(float)
    worth = (
        minutes if proofs is None else np.where(np.isfinite(minutes), proofs.worth(minutes, shares), np.inf)
    )
    chosen = _worth_a_look(bits, worth, looked_at)
    expected = np.full(len(minutes), np.inf)
    if len(chosen):
        after = np.stack([_then(int(test), minutes, minutes_after)[chosen] for test in chosen])
        arrays = (candidates.outcomes(chosen, weights, group), weights, group)
        expected[chosen] = _expected(
            *arrays, bits[chosen], minutes[chosen], after, stop_at, proofs.of(chosen) if proofs else None
        )
    order = _order(bits, worth, expected)
    shown = order[:TOLD_EXACTLY][order[:TOLD_EXACTLY] < len(candidates.predicted)]
    if len(shown):
        bits[shown] = candidates.numeric_bits(shown, weights, group, EXACT)
    columns = (array[order].tolist() for array in (bits, minutes, expected))
    return tuple(RankedTest(*row) for row in zip(order.tolist(), *columns, strict=True))


def _expected(
    likelihood: Array,
    weights: Floats,
    group: Integers,
    bits: Floats,
    minutes: Floats,
    after: Floats,
    stop_at: float,
    proofs: ProofsAhead | None,
) -> Floats:
    """Return the expected minutes of each test by looking ahead; of the best few, without proofs, by an exact plan."""
    everyone = np.arange(len(minutes))
    ahead = expected_minutes(likelihood, weights, group, everyone, minutes, after, stop_at, proofs)
    if proofs is not None:
        from halfsplit.diagnosis.rollout import played  # compiled code comes in when it is asked for

        return played(likelihood, weights, group, minutes, after, ahead, stop_at, proofs)
    rate = minutes_per_bit(bits, minutes, doubt_of(weights, group))
    return deepened(likelihood, weights, group, minutes, after, ahead, rate, stop_at)


def _worth_a_look(bits: Floats, minutes: Floats, looked_at: int) -> Integers:
    """Return the candidates for the look-ahead, ascending: most by bits per minute, some by bits alone."""
    possible = np.flatnonzero(np.isfinite(minutes))
    rates = np.round(bits[possible] / np.maximum(minutes[possible], 1e-9), 12)
    by_rate = possible[np.argsort(-rates, kind="stable")]
    by_bits = possible[np.argsort(-np.round(bits[possible], 12), kind="stable")]
    dear = min(DEAR, looked_at // 4)
    leading = by_rate[: looked_at - dear]
    others = by_bits[~np.isin(by_bits, leading)][:dear]
    return np.sort(np.concatenate([leading, others]))


def _then(test: int, minutes: Floats, minutes_after: Callable[[int], Floats] | None) -> Floats:
    after = minutes if minutes_after is None else minutes_after(test)
    after = np.where(np.isfinite(minutes), after, np.inf)
    after[test] = np.inf
    return after


def _order(bits: Floats, minutes: Floats, expected: Floats) -> Integers:
    """Return the tests that can be made and tell anything, best first; equal to rounding means equal."""
    possible = np.flatnonzero(np.isfinite(minutes))
    rates = bits[possible] / np.maximum(minutes[possible], 1e-9)
    order: Integers = np.lexsort((possible, -np.round(rates, 9), np.round(expected[possible], 6)))
    return possible[order]
