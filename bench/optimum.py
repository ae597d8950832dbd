"""The best plan for a small test-sequencing problem, exactly.

Two ways, each the check of the other: a search over sets of hypotheses with Huffman's bound (AO*, for tests
whose outcome follows from the hypothesis), and dynamic programming over everything that can be known after
any tests (for tests with chances of error).
"""

from __future__ import annotations

from math import log2

import numpy as np
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components

from bench.lattice import by_lattice, lattice_size
from bench.sequencing import (
    NEGLIGIBLE,
    NO_PLACE,
    Floats,
    Integers,
    Optimum,
    TestProblem,
    cost_of_length,
    huffman_length,
)

LATTICE_LIMIT = 80_000_000
"""Most (state of knowledge, hypothesis) pairs that dynamic programming is asked to hold."""

SEARCH_LIMIT = 24
"""Most hypotheses for the search over sets of them."""


def optimum(problem: TestProblem) -> Optimum:
    """Return the best first test, by the way that suits the problem.

    Raises ``ValueError`` where neither way can hold it.
    """
    if problem.found or not len(problem.useful):
        return Optimum(0.0, -1, np.full(len(problem.costs), np.inf))
    if problem.certain and problem.alive <= SEARCH_LIMIT:
        return by_search(problem)
    if lattice_size(problem) <= LATTICE_LIMIT:
        return by_lattice(problem)
    raise ValueError(f"{problem.alive} hypotheses, {len(problem.useful)} tests: too many for an exact plan")


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
