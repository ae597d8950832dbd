"""Which test next: the fewest expected minutes until the cause is found.

Plain arrays, no circuits. ``rank_tests`` screens hundreds of candidates by bits per minute, looks two tests ahead
from the best of them (``lookahead``), and plays the route of the best few through to the proof (``rollout``).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

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
from halfsplit.diagnosis.lookahead import ProofsAhead, expected_minutes
from halfsplit.diagnosis.outcomes import outcome_ranges

TELLS_NOTHING = 1e-6
"""Bits below which a test is not worth its minutes, whatever they are."""
LOOKED_AT = 60
"""Candidates among which the look-ahead chooses the first and the second test."""
TOLD_EXACTLY = 5
"""Ranked tests whose bits are told exactly; those of the others are as screened, up to 0.1 bit too high."""
DEAR = 15
"""Of these, how many are taken for their bits alone: a place dear to reach may hold several cheap tests."""
NEAR_SHARE, NEAR_MINUTES = 0.02, 0.2
"""Share of the expected minutes, and minutes, by which estimates with a proof in them are no better than each other."""


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

    def bits(self, weights: Array, group: Integers, precision: Precision = SCREENING) -> Floats:
        """Return what each test tells about the repair group, in bits; (T + D,)."""
        bits = np.zeros(len(self.minutes))
        numeric = np.arange(len(self.predicted))
        if len(numeric):
            bits[numeric] = self.numeric_bits(numeric, weights, group, precision)
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


def rank_tests(
    candidates: Candidates,
    weights: Array,
    group: Integers,
    *,
    minutes_after: Callable[[int], Floats],
    stop_at: float,
    proofs: ProofsAhead,
) -> tuple[RankedTest, ...]:
    """Return the tests that tell anything, best first.

    Those that the look-ahead took in go by expected minutes until a group holds ``stop_at`` and is proven; the
    others follow by bits per minute; ties by number. The same arguments always give the same order.

    weights, group  (N,) weights and repair groups (numbered from 0) of the particles
    minutes_after   minutes (T + D,) of each test after the given one has been made and its place is open
    proofs          what is left to prove, of all tests
    """
    weights = np.asarray(weights, dtype=float) / np.sum(weights)
    bits = candidates.bits(weights, group)
    minutes = np.where(bits > TELLS_NOTHING, candidates.minutes, np.inf)
    shares = np.bincount(group, weights=weights).astype(float)
    worth = np.where(np.isfinite(minutes), proofs.worth(minutes, shares), np.inf)
    chosen = _worth_a_look(bits, worth)
    expected = np.full(len(minutes), np.inf)
    if len(chosen):
        from halfsplit.diagnosis.rollout import played  # compiled code comes in when it is asked for

        outcomes, some = candidates.outcomes(chosen, weights, group), proofs.of(chosen)
        after = np.stack([minutes_after(int(test))[chosen] for test in chosen]).astype(float)
        np.fill_diagonal(after, np.inf)  # what was made is not made again
        ahead = expected_minutes(outcomes, weights, group, minutes[chosen], after, stop_at, some)
        expected[chosen] = played(outcomes, weights, group, minutes[chosen], after, ahead, stop_at, some)
    order = _order(bits, worth, expected, rough=bool(proofs.base.any()))
    shown = order[:TOLD_EXACTLY][order[:TOLD_EXACTLY] < len(candidates.predicted)]
    if len(shown):
        bits[shown] = candidates.numeric_bits(shown, weights, group, EXACT)
    columns = (array[order].tolist() for array in (bits, minutes, expected))
    return tuple(RankedTest(*row) for row in zip(order.tolist(), *columns, strict=True))


def _worth_a_look(bits: Floats, minutes: Floats) -> Integers:
    """Return the candidates for the look-ahead, ascending: most by bits per minute, some by bits alone."""
    possible = np.flatnonzero(np.isfinite(minutes))
    rates = np.round(bits[possible] / np.maximum(minutes[possible], 1e-9), 12)
    by_rate = possible[np.argsort(-rates, kind="stable")]
    by_bits = possible[np.argsort(-np.round(bits[possible], 12), kind="stable")]
    leading = by_rate[: LOOKED_AT - DEAR]
    others = by_bits[~np.isin(by_bits, leading)][:DEAR]
    return np.sort(np.concatenate([leading, others]))


def _order(bits: Floats, minutes: Floats, expected: Floats, *, rough: bool) -> Integers:
    """Return the tests that can be made and tell anything, best first; equal to rounding means equal.

    Where the estimates are ``rough`` and those of several as good as the best one's, the test that tells most leads, if
    it costs no more.
    """
    possible = np.flatnonzero(np.isfinite(minutes))
    rates = bits[possible] / np.maximum(minutes[possible], 1e-9)
    order: Integers = np.lexsort((possible, -np.round(rates, 9), np.round(expected[possible], 6)))
    order = possible[order]
    if not rough:
        return order
    near = expected[order] <= expected[order[:1]] * (1 + NEAR_SHARE) + NEAR_MINUTES
    near &= minutes[order] <= minutes[order[:1]] + 1e-9
    leading = order[near]
    leading = leading[np.argsort(-np.round(bits[leading], 9), kind="stable")]
    return np.concatenate([leading, order[~near]])
