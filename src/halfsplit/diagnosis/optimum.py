"""The best plan for a small test-sequencing problem, exactly.

Two ways, each the check of the other: a search over sets of hypotheses with Huffman's bound (AO*, for tests
whose outcome follows from the hypothesis), and dynamic programming over everything that can be known after
any tests (for tests with chances of error).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from math import log2

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components

from halfsplit.diagnosis.lookahead import minutes_left
from halfsplit.diagnosis.sequencing import (
    NEGLIGIBLE,
    NO_PLACE,
    Floats,
    Integers,
    TestProblem,
    cost_of_length,
    expected_cost,
    huffman_length,
)

LATTICE_LIMIT = 80_000_000
"""Most (state of knowledge, hypothesis) pairs that dynamic programming is asked to hold."""

SEARCH_LIMIT = 24
"""Most hypotheses for the search over sets of them."""


@dataclass(frozen=True)
class Optimum:
    """The best first test and the expected minutes of the best plan that starts with it.

    ``test`` is -1 where nothing is left to do. ``first`` holds, for each test, the minutes of the best plan
    that starts with it: exact for dynamic programming, a lower bound for those that the search cut off.
    """

    minutes: float
    test: int
    first: Floats


@dataclass(frozen=True)
class Plan:
    """The best plan: its expected minutes, and what it does next in any problem that it leads to."""

    minutes: float
    next_test: Callable[[TestProblem], int]


def optimal_plan(problem: TestProblem) -> Plan:
    """Return the plan with the fewest expected minutes.

    For up to 12 hypotheses and 12 tests. Raises ``ValueError`` where the problem is too large.
    """
    return Plan(optimum(problem).minutes, lambda rest: optimum(rest).test)


def optimum(problem: TestProblem, limit: int = LATTICE_LIMIT) -> Optimum:
    """Return the best first test, by the way that suits the problem.

    Raises ``ValueError`` where neither way can hold it (``fits`` tells beforehand).
    """
    if problem.found or not len(problem.useful):
        return Optimum(0.0, -1, np.full(len(problem.costs), np.inf))
    if problem.certain and _alive(problem) <= SEARCH_LIMIT:
        return by_search(problem)
    if lattice_size(problem) <= limit:
        return by_lattice(problem)
    raise ValueError(f"{_alive(problem)} hypotheses, {len(problem.useful)} tests: too many for an exact plan")


def fits(problem: TestProblem, limit: int = LATTICE_LIMIT) -> bool:
    """Whether ``optimum`` can hold the problem."""
    return (problem.certain and _alive(problem) <= SEARCH_LIMIT) or lattice_size(problem) <= limit


def _alive(problem: TestProblem) -> int:
    return int(np.count_nonzero(problem.priors > NEGLIGIBLE))


def lattice_size(problem: TestProblem) -> int:
    """Return the number of (state of knowledge, hypothesis) pairs of ``by_lattice``."""
    sizes = [int(np.count_nonzero(problem.likelihood[test].any(axis=0))) + 1 for test in problem.useful]
    return _alive(problem) * int(np.prod(sizes, dtype=object)) if sizes else _alive(problem)


# Tests whose outcome follows from the hypothesis: search over sets of hypotheses, held as bits of an integer.


def by_search(problem: TestProblem) -> Optimum:
    """Return the optimum of a problem with certain outcomes, by depth-first AND/OR search with bounds."""
    search = _Search(problem)
    everything = search.everything
    opened = 0
    first = np.full(len(problem.costs), np.inf)
    best = float("inf")
    for bound, test in search.promising(everything, opened):
        first[test] = bound if bound >= best else search.cost_of(test, everything, opened)
        best = min(best, first[test])
    mass = search.mass(everything)
    return Optimum(best / mass, int(np.argmin(first)), first / mass)


class _Search:
    """Costs of sets of hypotheses, weighted by the set's probability, each worked out once."""

    def __init__(self, problem: TestProblem) -> None:
        self.problem = problem
        self.alive = np.flatnonzero(problem.priors > NEGLIGIBLE)
        self.everything = (1 << len(self.alive)) - 1
        self.priors = [float(p) for p in problem.priors[self.alive]]
        self.group_sets = _sets_by_label(problem.groups[self.alive])
        self.bound_sets = _sets_by_label(_inseparable(problem, self.alive))
        self.outcomes = {int(test): self._outcome_sets(int(test)) for test in problem.useful}
        self.letters = max(len(sets) for sets in self.outcomes.values())
        self._mass: dict[int, float] = {}
        self._best: dict[tuple[int, int], float] = {}
        self._bound: dict[int, float] = {}

    def _outcome_sets(self, test: int) -> list[int]:
        """Return, for each possible outcome, the set of hypotheses that give it."""
        return [_as_bits(column) for column in self.problem.likelihood[test][self.alive].T if column.any()]

    def mass(self, members: int) -> float:
        if members not in self._mass:
            self._mass[members] = sum(p for bit, p in enumerate(self.priors) if members >> bit & 1)
        return self._mass[members]

    def found(self, members: int) -> bool:
        largest = max(self.mass(members & group) for group in self.group_sets)
        return largest >= (self.problem.stop_at - NEGLIGIBLE) * self.mass(members)

    def minutes(self, test: int, opened: int) -> float:
        place = int(self.problem.places[test])
        way = 0.0 if place == NO_PLACE or opened >> place & 1 else float(self.problem.reach[place])
        return float(self.problem.costs[test]) + way

    def parts(self, test: int, members: int) -> list[int]:
        """Return the sets into which the test's outcomes divide the members."""
        return [part for part in (members & outcome for outcome in self.outcomes[test]) if part]

    def cost(self, members: int, opened: int) -> float:
        """Return the minutes of the best plan from here, times the set's probability."""
        key = (members, opened)
        if key not in self._best:
            self._best[key] = self._least(members, opened)
        return self._best[key]

    def _least(self, members: int, opened: int) -> float:
        if self.found(members):
            return 0.0
        best = float("inf")
        for bound, test in self.promising(members, opened):
            if bound >= best:
                break
            best = min(best, self.cost_of(test, members, opened))
        return 0.0 if best == float("inf") else best

    def cost_of(self, test: int, members: int, opened: int) -> float:
        """Return the minutes of the best plan that starts with ``test``, times the set's probability."""
        place = int(self.problem.places[test])
        then = opened if place == NO_PLACE else opened | 1 << place
        rest = sum(self.cost(part, then) for part in self.parts(test, members))
        return self.minutes(test, opened) * self.mass(members) + rest

    def promising(self, members: int, opened: int) -> list[tuple[float, int]]:
        """Return a lower bound for each test that divides the members, lowest first."""
        bounds = []
        for test in self.outcomes:
            parts = self.parts(test, members)
            if len(parts) > 1:
                here = self.minutes(test, opened) * self.mass(members)
                bounds.append((here + sum(self.bound(part) for part in parts), test))
        return sorted(bounds)

    def bound(self, members: int) -> float:
        """Return minutes, times the set's probability, that no plan from here can undercut."""
        if members not in self._bound:
            self._bound[members] = 0.0 if self.found(members) else self._floor(members)
        return self._bound[members]

    def _floor(self, members: int) -> float:
        dividing = [test for test in self.outcomes if len(self.parts(test, members)) > 1]
        if not dividing:
            return 0.0
        mass = self.mass(members)
        shares = [self.mass(members & part) / mass for part in self.bound_sets]
        if sum(share > 0 for share in shares) < 2:
            return 0.0
        length = _least_tests(shares, self.letters, self.problem.stop_at)
        return mass * cost_of_length(min(length, len(dividing)), self.problem.costs[dividing])


def _least_tests(shares: list[float], letters: int, stop_at: float) -> float:
    """Return a mean number of tests that no plan can undercut.

    Stopping short of certainty leaves at most the entropy of Fano's inequality (Cover & Thomas, Elements of
    Information Theory, theorem 2.10.1); the tests must yield the rest, at log2(letters) bits each at most.
    """
    if stop_at >= 1.0:
        return huffman_length(shares, letters)
    present = [share for share in shares if share > 0]
    doubt = 1.0 - stop_at
    left = -doubt * log2(doubt) - stop_at * log2(stop_at) + doubt * log2(max(len(present) - 1, 1))
    bits = -sum(share * log2(share) for share in present)
    return max(1.0, (bits - left) / log2(letters)) if max(present) < stop_at else 0.0


def _as_bits(members: Floats) -> int:
    return sum(1 << int(bit) for bit in np.flatnonzero(members))


def _sets_by_label(labels: Integers) -> list[int]:
    return [_as_bits(labels == label) for label in np.unique(labels)]


def _inseparable(problem: TestProblem, alive: Integers) -> Integers:
    """Label hypotheses so that those of one group, or that no test tells apart, share a label.

    A plan ends in sets of one group or of hypotheses that look alike: each within one label. So Huffman's
    code for the labels is a bound for the plan even where a cause cannot be narrowed down to one group.
    """
    signatures = problem.likelihood[problem.useful][:, alive].transpose(1, 0, 2).reshape(len(alive), -1)
    _, looks = np.unique(signatures, axis=0, return_inverse=True)
    groups = problem.groups[alive]
    size = len(alive) + int(looks.max()) + int(groups.max()) + 2
    rows = np.tile(np.arange(len(alive)), 2)
    columns = np.concatenate([len(alive) + looks.ravel(), len(alive) + looks.max() + 1 + groups])
    graph = coo_array((np.ones(len(rows)), (rows, columns)), shape=(size, size))
    labels = connected_components(graph, directed=False)[1][: len(alive)]
    return labels.astype(np.intp)


# Tests with chances of error: dynamic programming over the lattice of what can be known.


def by_lattice(problem: TestProblem, minutes_per_bit: float = 0.0) -> Optimum:
    """Return the optimum by dynamic programming over all states of knowledge.

    A state says for each useful test 'not made' or its outcome: a number with one digit for each test. All
    probabilities are kept unnormalised, so that sums over outcomes need no division.

    With ``minutes_per_bit`` the plan may leave these tests and go on with others at that price for the doubt
    that is left, and must where no test can tell more.
    """
    tests = problem.useful
    weights, strides = _knowledge(problem, tests)
    shape = weights.shape[:-1]
    by_group = np.stack([weights[..., problem.groups == g].sum(-1) for g in np.unique(problem.groups)])
    mass = by_group.sum(0).ravel()
    digits = np.indices(shape, dtype=np.intp).reshape(len(tests), -1)
    doubtful = by_group.max(0).ravel() < (problem.stop_at - NEGLIGIBLE) * mass
    open_tests = (digits == 0) & doubtful
    open_tests[:, doubtful] &= _tells(problem, tests, weights.reshape(mass.size, -1)[doubtful])
    unsettled = open_tests.any(axis=0)
    made = (digits > 0).sum(0)
    value = np.zeros(mass.size)
    elsewhere = np.full(mass.size, np.inf)
    if minutes_per_bit > 0.0:
        shares = by_group.reshape(len(by_group), -1).T
        elsewhere = minutes_left(shares, minutes_per_bit, float(problem.costs[tests].min()), problem.stop_at)
        value = np.where(unsettled, 0.0, elsewhere)
    for depth in range(len(tests) - 1, -1, -1):
        states = np.flatnonzero(unsettled & (made == depth))
        if len(states):
            costs = np.full((len(tests), len(states)), np.inf)
            for row, test in enumerate(tests):
                free = open_tests[row, states]
                here = states[free]
                minutes = problem.costs[test] + _way(problem, tests, int(test), digits[:, here])
                after = sum(value[here + strides[row] * outcome] for outcome in range(1, shape[row]))
                costs[row, free] = minutes * mass[here] + after
            value[states] = np.minimum(costs.min(axis=0), elsewhere[states])
    first = np.full(len(problem.costs), np.inf)
    first[tests] = costs[:, 0] / mass[0]
    return Optimum(float(value[0] / mass[0]), int(np.argmin(first)), first)


def _tells(problem: TestProblem, tests: Integers, weights: Floats) -> NDArray[np.bool_]:
    """Whether each test can still tell anything in each state, given the weights (states, H); (T, states)."""
    tells = np.ones((len(tests), len(weights)), dtype=bool)
    if np.all(weights[:, problem.priors > 0] > 0):
        return tells
    out = weights <= 0
    for row, test in enumerate(tests):
        spread = np.zeros(len(weights))
        for chances in problem.likelihood[test].T:
            high = np.where(out, -np.inf, chances).max(axis=1)
            np.maximum(spread, high - np.where(out, np.inf, chances).min(axis=1), out=spread)
        tells[row] = spread > NEGLIGIBLE
    return tells


def _knowledge(problem: TestProblem, tests: Integers) -> tuple[Floats, Integers]:
    """Return the weight of each hypothesis in each state, (K1 + 1, K2 + 1, …, H), and each digit's stride."""
    weights = problem.priors
    for test in tests:
        outcomes = problem.likelihood[test][:, problem.likelihood[test].any(axis=0)].T
        factors = np.vstack([np.ones(len(problem.priors)), outcomes])
        weights = weights[..., None, :] * factors
    shape = weights.shape[:-1]
    strides = np.array([int(np.prod(shape[axis + 1 :])) for axis in range(len(shape))], dtype=np.intp)
    return weights, strides


def _way(problem: TestProblem, tests: Integers, test: int, digits: Integers) -> Floats:
    """Return the minutes to the test's place in each state: none where an earlier test opened it."""
    place = problem.places[test]
    if place == NO_PLACE:
        return np.zeros(digits.shape[1])
    opened = (digits[problem.places[tests] == place] > 0).any(axis=0)
    return np.where(opened, 0.0, problem.reach[place])


__all__ = ["Optimum", "Plan", "by_lattice", "by_search", "expected_cost", "fits", "optimal_plan", "optimum"]
