"""The best plan for tests with chances of error: dynamic programming over all that can be known.

A state of knowledge says for each useful test 'not made' or its outcome: a number with one digit for each test.
All probabilities are kept unnormalised, so that sums over outcomes need no division.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from bench.sequencing import NEGLIGIBLE, NO_PLACE, Floats, Integers, Optimum, TestProblem


def lattice_size(problem: TestProblem) -> int:
    """Return the number of (state of knowledge, hypothesis) pairs of ``by_lattice``."""
    sizes = [int(np.count_nonzero(problem.likelihood[test].any(axis=0))) + 1 for test in problem.useful]
    return problem.alive * int(np.prod(sizes, dtype=object)) if sizes else problem.alive


@dataclass(frozen=True)
class _Lattice:
    """All states of knowledge, S of them; the first is that nothing has been tested yet.

    tests       (T,) numbers of the useful tests
    digits      (T, S) 0: not made, otherwise the outcome counted from 1
    strides     (T,) what an outcome of a test adds to the number of the state
    outcomes    (T,) number of outcomes of each test
    shares      (S, G) probability of each repair group and of being here
    open_tests  (T, S) whether a test can still be made and tells anything; none where a group is found
    """

    tests: Integers
    digits: Integers
    strides: Integers
    outcomes: Integers
    shares: Floats
    open_tests: NDArray[np.bool_]


def by_lattice(problem: TestProblem) -> Optimum:
    """Return the optimum by dynamic programming, from the states where all tests are made backwards."""
    lattice = _lattice(problem)
    mass = lattice.shares.sum(axis=1)
    unsettled = np.asarray(lattice.open_tests.any(axis=0))
    value = np.zeros(len(unsettled))
    first = np.full(len(problem.costs), np.inf)
    made = (lattice.digits > 0).sum(axis=0)
    for depth in range(len(lattice.tests) - 1, -1, -1):
        states = np.flatnonzero(unsettled & (made == depth))
        if len(states):
            costs = _costs(problem, lattice, states, value, mass)
            value[states] = costs.min(axis=0)
            first[lattice.tests] = costs[:, 0] / mass[0]  # of the root in the end, which comes last
    test = int(np.argmin(first)) if unsettled[0] else -1
    return Optimum(float(value[0] / mass[0]), test, first)


def _costs(problem: TestProblem, lattice: _Lattice, states: Integers, value: Floats, mass: Floats) -> Floats:
    """Return the minutes from each state that start with each test, infinite where it is not open; (T, S')."""
    costs = np.full((len(lattice.tests), len(states)), np.inf)
    for row, test in enumerate(lattice.tests):
        free = lattice.open_tests[row, states]
        here = states[free]
        minutes = problem.costs[test] + _way(problem, lattice, int(test), here)
        outcomes = range(1, int(lattice.outcomes[row]) + 1)
        after = sum(value[here + lattice.strides[row] * outcome] for outcome in outcomes)
        costs[row, free] = minutes * mass[here] + after
    return costs


def _way(problem: TestProblem, lattice: _Lattice, test: int, states: Integers) -> Floats:
    """Return the minutes to the test's place in each state: none where an earlier test opened it."""
    place = problem.places[test]
    if place == NO_PLACE:
        return np.zeros(len(states))
    same = np.flatnonzero(problem.places[lattice.tests] == place)
    opened = (lattice.digits[np.ix_(same, states)] > 0).any(axis=0)
    return np.where(opened, 0.0, problem.reach[place])


def _lattice(problem: TestProblem) -> _Lattice:
    tests = problem.useful
    weights = _weights(problem, tests)
    shape = np.array(weights.shape[:-1], dtype=np.intp)
    weights = weights.reshape(-1, len(problem.priors))
    digits = np.indices(shape.tolist(), dtype=np.intp).reshape(len(tests), -1)
    strides = np.append(np.cumprod(shape[:0:-1])[::-1], 1).astype(np.intp)
    members = problem.groups[:, None] == np.unique(problem.groups)
    shares = weights @ members.astype(float)
    doubtful = shares.max(axis=1) < (problem.stop_at - NEGLIGIBLE) * shares.sum(axis=1)
    open_tests = (digits == 0) & doubtful
    open_tests[:, doubtful] &= _tells(problem, tests, weights[doubtful])
    return _Lattice(tests, digits, strides[: len(tests)], shape - 1, shares, open_tests)


def _weights(problem: TestProblem, tests: Integers) -> Floats:
    """Return the weight of each hypothesis in each state, (K1 + 1, K2 + 1, …, H)."""
    weights = problem.priors
    for test in tests:
        outcomes = problem.likelihood[test][:, problem.likelihood[test].any(axis=0)].T
        weights = weights[..., None, :] * np.vstack([np.ones(len(problem.priors)), outcomes])
    return weights


def _tells(problem: TestProblem, tests: Integers, weights: Floats) -> NDArray[np.bool_]:
    """Whether each test can still tell anything in each state, given the weights (states, H); (T, states)."""
    tells = np.ones((len(tests), len(weights)), dtype=bool)
    # As in a problem that is left over: what is all but excluded is no reason for a test.
    out = weights <= NEGLIGIBLE * weights.sum(axis=1, keepdims=True)
    if not np.any(out[:, problem.priors > NEGLIGIBLE]):
        return tells
    for row, test in enumerate(tests):
        spread = np.zeros(len(weights))
        for chances in problem.likelihood[test].T:
            high = np.where(out, -np.inf, chances).max(axis=1)
            np.maximum(spread, high - np.where(out, np.inf, chances).min(axis=1), out=spread)
        tells[row] = spread > NEGLIGIBLE
    return tells
