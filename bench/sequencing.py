"""The test-sequencing problem: which test next, so that the cause is known after the fewest minutes.

Plain arrays, no circuits: the same functions run on published problems and on what the circuit engine
predicts. The problem, its bounds by Huffman's code and the search by AO* are those of K. R. Pattipati and
M. G. Alexandridis, "Application of heuristic search and information theory to sequential fault diagnosis",
IEEE Transactions on Systems, Man and Cybernetics 20(4), 1990.

Here H is the number of hypotheses, G of repair groups, T of tests, K the largest number of outcomes of a
test and P the number of places that must be reached.
"""

from __future__ import annotations

import heapq
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from functools import cached_property

import numpy as np
from numpy.typing import ArrayLike, NDArray

from halfsplit.diagnosis.choose import Candidates, rank_tests
from halfsplit.diagnosis.information import outcome_information
from halfsplit.diagnosis.lookahead import ProofsAhead

Floats = NDArray[np.float64]
Integers = NDArray[np.intp]

NO_PLACE = -1
NEGLIGIBLE = 1e-12
"""Probabilities below this are rounding, not belief."""


@dataclass(frozen=True, eq=False)
class TestProblem:
    """Hypotheses, and tests that tell them apart at a cost in minutes.

    A test is made at most once: made again, it would give the same reading. ``expected_cost`` and the exact
    search end where one repair group holds ``stop_at`` or no test is left that could tell anything.

    priors      (H,) probabilities; normalised here
    groups      (H,) repair group of each hypothesis, numbered from 0
    likelihood  (T, H, K) probability of each outcome under each hypothesis; 0 where a test has fewer
    costs       (T,) minutes of each test without reaching its place; infinite: cannot be made (again)
    places      (T,) place that the test needs open, ``NO_PLACE`` for none
    reach       (P,) minutes to open each place, paid once
    stop_at     probability at which a repair group counts as found

    Raises ``ValueError`` where shapes or numbers do not fit together.
    """

    priors: Floats
    groups: Integers
    likelihood: Floats
    costs: Floats
    places: Integers = field(default_factory=lambda: np.empty(0, dtype=np.intp))
    reach: Floats = field(default_factory=lambda: np.empty(0))
    stop_at: float = 0.95

    def __post_init__(self) -> None:
        if not len(self.places):
            object.__setattr__(self, "places", np.full(len(self.costs), NO_PLACE, dtype=np.intp))
        _check(self)

    @cached_property
    def minutes(self) -> Floats:
        """Minutes of each test if it came next, the way to its place included; (T,)."""
        if not len(self.reach):
            return self.costs
        return self.costs + np.where(self.places == NO_PLACE, 0.0, self.reach[self.places])

    @cached_property
    def group_shares(self) -> Floats:
        """Probability of each repair group; (G,)."""
        shares: Floats = np.bincount(self.groups, weights=self.priors).astype(float)
        return shares

    @cached_property
    def alive(self) -> int:
        """Number of hypotheses that are still possible."""
        return int(np.count_nonzero(self.priors > NEGLIGIBLE))

    @cached_property
    def found(self) -> bool:
        """Whether one repair group holds ``stop_at``."""
        return bool(self.group_shares.max() >= self.stop_at - NEGLIGIBLE)

    @cached_property
    def useful(self) -> Integers:
        """The tests that can still be made and whose outcome depends on the hypothesis; ascending."""
        alive = self.likelihood[:, self.priors > NEGLIGIBLE]
        tells = np.ptp(alive, axis=1).max(axis=1) > NEGLIGIBLE
        return np.flatnonzero(tells & np.isfinite(self.costs))

    @cached_property
    def certain(self) -> bool:
        """Whether every outcome follows from the hypothesis: all likelihoods are 0 or 1."""
        return bool(np.all((self.likelihood == 0.0) | (self.likelihood == 1.0)))

    def outcome_shares(self, test: int) -> Floats:
        """Probability of each outcome of ``test``; (K,)."""
        shares: Floats = self.priors @ self.likelihood[test]
        return shares

    def given(self, test: int, outcome: int) -> TestProblem:
        """Return the problem that is left after ``test`` came out as ``outcome``; numbering unchanged."""
        priors = self.priors * self.likelihood[test][:, outcome]
        costs = self.costs.copy()
        costs[test] = np.inf
        reach = self.reach
        if self.places[test] != NO_PLACE:
            reach = reach.copy()
            reach[self.places[test]] = 0.0
        return replace(self, priors=priors, costs=costs, reach=reach)


@dataclass(frozen=True)
class Optimum:
    """The best first test and the expected minutes of the best plan that starts with it.

    ``test`` is -1 where nothing is left to do. ``first`` holds, for each test, the minutes of the best plan
    that starts with it: exact for dynamic programming, a lower bound for those that the search cut off.
    """

    minutes: float
    test: int
    first: Floats


Policy = Callable[[TestProblem], int]
"""Chooses the next test of a problem that is not solved yet."""


def _check(problem: TestProblem) -> None:
    tests, hypotheses, _ = np.shape(problem.likelihood)
    if np.shape(problem.priors) != (hypotheses,) or np.shape(problem.groups) != (hypotheses,):
        raise ValueError(f"{hypotheses} hypotheses in the likelihood: priors and groups must be as long")
    if np.shape(problem.costs) != (tests,) or np.shape(problem.places) != (tests,):
        raise ValueError(f"{tests} tests in the likelihood: costs and places must be as long")
    if np.any(problem.costs < 0) or np.any(problem.reach < 0):
        raise ValueError("minutes must not be negative")
    if np.any(problem.places >= len(problem.reach)):
        raise ValueError(f"a test needs place {problem.places.max()}, reach has {len(problem.reach)}")
    total = float(np.sum(problem.priors))
    if not total > 0 or np.any(problem.priors < 0):
        raise ValueError("priors must not be negative and must have a positive sum")
    object.__setattr__(problem, "priors", np.asarray(problem.priors, dtype=float) / total)


def yes_no(positive: ArrayLike) -> Floats:
    """Return the likelihood (T, H, 2) of tests that are positive with probabilities ``positive`` (H, T)."""
    chances = np.asarray(positive, dtype=float).T
    return np.stack([1.0 - chances, chances], axis=-1)


def huffman_length(shares: ArrayLike, outcomes: int = 2) -> float:
    """Return the mean word length of Huffman's code for ``shares`` with an alphabet of ``outcomes`` letters.

    No sequence of tests with as many outcomes can do with fewer tests on average (Huffman 1952; Zimmerman
    1959). Shares need not sum to 1; the result is weighted by them.
    """
    heap = [float(share) for share in np.ravel(shares) if share > 0.0]
    if len(heap) < 2:
        return 0.0
    heap += [0.0] * (-(len(heap) - 1) % (outcomes - 1))
    heapq.heapify(heap)
    length = 0.0
    while len(heap) > 1:
        joined = sum(heapq.heappop(heap) for _ in range(outcomes))
        length += joined
        heapq.heappush(heap, joined)
    return length


def cost_of_length(length: float, costs: ArrayLike) -> float:
    """Return a lower bound of the expected minutes of any plan whose mean number of tests is ``length``.

    A path of d different tests costs at least the d cheapest; that is convex in d, so the bound holds for the
    mean as well (Pattipati & Alexandridis 1990). Infinite if there are not as many tests.
    """
    cheapest = np.concatenate([[0.0], np.cumsum(np.sort(np.ravel(costs)))])
    if length > len(cheapest) - 1 + NEGLIGIBLE:
        return float("inf")
    return float(np.interp(length, np.arange(len(cheapest)), cheapest))


def expected_cost(problem: TestProblem, policy: Policy) -> float:
    """Return the expected minutes of ``policy``, exactly, by expanding its whole tree.

    The order of readings does not matter to what is known, so each set of outcomes is expanded once.
    """
    known: dict[frozenset[tuple[int, int]], float] = {}

    def cost(rest: TestProblem, outcomes: frozenset[tuple[int, int]]) -> float:
        if rest.found or not len(rest.useful):
            return 0.0
        if outcomes not in known:
            test = policy(rest)
            shares = rest.outcome_shares(test)
            known[outcomes] = float(rest.minutes[test]) + sum(
                share * cost(rest.given(test, k), outcomes | {(test, k)})
                for k, share in enumerate(shares)
                if share > NEGLIGIBLE
            )
        return known[outcomes]

    return cost(problem, frozenset())


# Ways of choosing.


def greedy(problem: TestProblem) -> int:
    """Return the test with the most bits per minute; ties by number."""
    useful = problem.useful
    bits = outcome_information(problem.likelihood[useful], problem.priors, problem.groups)
    return int(useful[_first_least(-bits / np.maximum(problem.minutes[useful], 1e-9))])


def half_split(problem: TestProblem) -> int:
    """Return the test that divides the probability most evenly, whatever it costs; ties by number."""
    useful = problem.useful
    largest = np.matmul(problem.priors, problem.likelihood[useful]).max(axis=-1)
    return int(useful[_first_least(largest)])


def _first_least(values: Floats) -> int:
    """Return the place of the least value, the first of those that differ by rounding only."""
    return int(np.flatnonzero(values <= values.min() + 1e-9 * max(1.0, abs(values.min())))[0])


def ours(problem: TestProblem) -> int:
    """Return the test that a job would put first: ``rank_tests``, the problem's hypotheses as its particles."""
    useful, opens = problem.useful, problem.places[:, None] == np.arange(len(problem.reach))
    minutes = np.full(len(problem.costs), np.inf)
    minutes[useful] = problem.minutes[useful]
    nothing_to_prove = ProofsAhead(
        np.zeros(len(problem.group_shares)),
        np.zeros(0),
        np.zeros(0, dtype=int),
        np.zeros((len(minutes), 0)),
        problem.reach,
        np.zeros((len(problem.reach), len(problem.group_shares))),
        opens.astype(float),
    )
    ranked = rank_tests(
        Candidates(minutes, likelihood=problem.likelihood),
        problem.priors,
        problem.groups,
        minutes_after=lambda test: np.where(
            (opens[test] & opens).any(axis=1) & np.isfinite(minutes), problem.costs, minutes
        ),
        stop_at=problem.stop_at,
        proofs=nothing_to_prove,
    )
    return ranked[0].test if ranked else int(useful[0])


POLICIES: Mapping[str, Policy] = {"half-splitting": half_split, "greedy": greedy, "ours": ours}
"""The ways to choose that are compared."""
