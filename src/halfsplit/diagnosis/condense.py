"""A small exact problem made from thousands of particles and the best few tests.

Particles of one repair group that answer all these tests alike are one hypothesis. What the tests cannot
settle is charged with an estimate, so that the plan does not favour leaving doubt behind.
"""

from __future__ import annotations

import numpy as np
from scipy.sparse import coo_array, csr_array
from scipy.sparse.csgraph import connected_components

from halfsplit.diagnosis.information import TINY, Array, Floats, Integers
from halfsplit.diagnosis.lattice import by_lattice, lattice_size
from halfsplit.diagnosis.sequencing import NO_PLACE, TestProblem

CONDENSED_TESTS = 8
"""Most tests of the small problem."""
CONDENSED_LIMIT = 1_000_000
"""Most (state of knowledge, hypothesis) pairs of the small problem: about a twentieth of a second."""
FEWEST_TESTS = 3
"""With fewer tests the plan sees no further than the look-ahead did."""


def deepened(
    likelihood: Array,
    weights: Array,
    group: Integers,
    minutes: Floats,
    minutes_after: Floats,
    expected: Floats,
    minutes_per_bit: float,
    stop_at: float,
) -> Floats:
    """Return the expected minutes of each first test, (T,), those of the best few by an exact plan.

    The others are moved by the mean difference that the exact plan made, so that all can be compared.
    Arguments as for ``lookahead.expected_minutes``, of which ``expected`` is the result for all T tests.
    """
    best = np.argsort(np.round(expected, 9), kind="stable")[:CONDENSED_TESTS]
    for count in range(len(best), FEWEST_TESTS - 1, -1):
        tests = best[:count]
        problem = condensed(
            likelihood[tests], weights, group, minutes[tests], minutes_after[np.ix_(tests, tests)], stop_at
        )
        if lattice_size(problem) <= CONDENSED_LIMIT:
            exact = by_lattice(problem, minutes_per_bit).first
            known = tests[np.isfinite(exact)]
            moved = exact[np.isfinite(exact)] - expected[known]
            result = expected + (np.mean(moved) if len(known) else 0.0)
            result[known] = expected[known] + moved
            return result
    return expected


def condensed(
    likelihood: Array, weights: Array, group: Integers, minutes: Floats, minutes_after: Floats, stop_at: float
) -> TestProblem:
    """Join particles of one group with the same likeliest outcomes; minutes (T,), minutes_after (T, T)."""
    signs = np.vstack([group, likelihood.argmax(axis=-1)])
    _, label = np.unique(signs, axis=1, return_inverse=True)
    label = label.ravel()
    size = int(label.max()) + 1
    members = csr_array((weights, (label, np.arange(len(label)))), shape=(size, len(label)))
    priors = np.bincount(label, weights=weights).astype(float)
    means = np.stack([members @ table for table in likelihood]) / np.maximum(priors, TINY)[:, None]
    groups = np.zeros(size, dtype=np.intp)
    groups[label] = group
    places, reach = _places(minutes, minutes_after)
    costs = minutes - np.where(places == NO_PLACE, 0.0, np.append(reach, 0.0)[places])
    return TestProblem(priors, groups, means, np.maximum(costs, 0.0), places, reach, stop_at)


def _places(minutes: Floats, minutes_after: Floats) -> tuple[Integers, Floats]:
    """Return each test's place and the minutes to each, from what one test saves the next; (T,), (P,)."""
    saved = np.where(np.isfinite(minutes_after), minutes - minutes_after, 0.0)
    shared = saved > 1e-9
    count, label = connected_components(coo_array(shared.astype(float)), directed=False)
    reach = np.array(
        [saved[np.ix_(label == place, label == place)].max(initial=0.0) for place in range(count)]
    )
    places = np.where(shared.any(axis=0) | shared.any(axis=1), label, NO_PLACE).astype(np.intp)
    return places, reach
