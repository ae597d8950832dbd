"""Expected minutes to the proof of each first test, by playing the rest of the route through.

After the first test and each of its outcomes the route goes on, at first by the best of a few tests, then by the one
that tells most for its minutes, until a repair group is found; then its proof is paid. All of it is worked out on
tables, with no dice: the expectation over outcomes is exact, branches that are hardly ever come to are estimated.
(Policy improvement by rollout: Bertsekas, Tsitsiklis and Wu, "Rollout algorithms for combinatorial optimization",
Journal of Heuristics 3, 1997.)
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from halfsplit.diagnosis.information import TINY, Array, Floats, Integers, entropy, mutual_information
from halfsplit.diagnosis.lookahead import LEAST_MINUTES, ProofsAhead

TESTS = 28
"""Tests that a route is played with."""
FIRST = 8
"""First tests that are played through."""
WIDTHS: tuple[int, ...] = (2,)
"""How many tests are tried at the second step, the third, and so on; one from there."""
DEEPEST = 7
RARE = 0.004
"""Branches that fewer vehicles come to are estimated."""
SIGNATURES = 500
DOUBT_MINUTES = 6.0
"""Minutes a bit of what is left in doubt; common practice, no source."""
TELLS_NOTHING = 0.01


@dataclass(frozen=True, eq=False)
class Table:
    """What the tests would show, by kinds of vehicle that all of them see alike.

    likelihood  (H, T, K) probability of each outcome
    starts      (G,) where each repair group begins among the kinds, which are sorted by group
    minutes     (T,) minutes of each test now
    after       (T, T) minutes of each test after another, places apart
    """

    likelihood: Floats
    starts: Integers
    minutes: Floats
    after: Floats
    proofs: ProofsAhead
    stop_at: float

    def groups(self, weights: Floats) -> Floats:
        """Return the weight of each repair group, (G,)."""
        return np.asarray(np.add.reduceat(weights, self.starts))

    def joint(self, weights: Floats) -> Floats:
        """Return the joint weight of repair group and outcome of each test, (T, G, K)."""
        size, tests, outcomes = self.likelihood.shape
        flat = np.add.reduceat(weights[:, None] * self.likelihood.reshape(size, -1), self.starts, axis=0)
        return np.asarray(flat.reshape(len(self.starts), tests, outcomes).transpose(1, 0, 2))


@dataclass(frozen=True, eq=False)
class Place:
    """Where a route is: tests made, the last of them (-1: none), the places open (P,), the proof done (G,)."""

    made: NDArray[np.bool_]
    last: int
    opened: NDArray[np.bool_]
    done: Floats

    def minutes(self, table: Table) -> Floats:
        """Return the minutes of each test from here; infinite once it has been made."""
        if self.last < 0:
            told = table.minutes
        else:
            way = (table.proofs.opens * table.proofs.reach) @ (~self.opened)
            told = table.after[self.last] + way
        return np.where(self.made, np.inf, told)

    def after(self, table: Table, test: int) -> Place:
        """Return the place once a test has been made."""
        made = self.made.copy()
        made[test] = True
        opened = self.opened | (table.proofs.opens[test] > 0)
        return Place(made, test, opened, self.done + table.proofs.saved[test])

    def proof(self, table: Table) -> Floats:
        """Return the minutes that the proof of each group still costs, (G,)."""
        ahead = table.proofs
        return np.maximum(ahead.base - self.done - (self.opened * ahead.reach) @ ahead.needs, 0.0)


def played(
    likelihood: Array,
    weights: Floats,
    group: Integers,
    minutes: Floats,
    after: Floats,
    expected: Floats,
    stop_at: float,
    proofs: ProofsAhead,
) -> Floats:
    """Return the expected minutes of each first test, (T,): those of the best few by playing the route through.

    The others are moved by the mean difference that this made, so that all can be compared. Arguments as for
    ``lookahead.expected_minutes``, of which ``expected`` is the result for all T tests.
    """
    firsts = np.argsort(np.round(expected, 9), kind="stable")[:FIRST]
    tests = _played_with(firsts, expected, minutes, proofs, np.bincount(group, weights=weights).astype(float))
    table, start = _table(
        likelihood[tests],
        weights,
        group,
        minutes[tests],
        after[np.ix_(tests, tests)],
        stop_at,
        proofs.of(tests),
    )
    nowhere = Place(
        np.zeros(len(tests), dtype=bool),
        -1,
        np.zeros(len(proofs.reach), dtype=bool),
        np.zeros(len(proofs.base)),
    )
    told = np.array([_first(table, start, nowhere, int(np.flatnonzero(tests == one)[0])) for one in firsts])
    result = expected + float(np.mean(told - expected[firsts]))
    result[firsts] = told
    return result


def _played_with(
    firsts: Integers, expected: Floats, minutes: Floats, proofs: ProofsAhead, shares: Floats
) -> Integers:
    """Return the tests of the route, ascending: the best by the look-ahead, the rest by what they cost now."""
    order = np.argsort(np.round(expected, 9), kind="stable")
    cheap = np.argsort(proofs.worth(minutes, shares), kind="stable")
    some = dict.fromkeys([*firsts.tolist(), *order[: TESTS - FIRST].tolist(), *cheap[: TESTS // 2].tolist()])
    return np.sort(np.array(list(some)[:TESTS], dtype=np.intp))


def _table(
    likelihood: Array,
    weights: Floats,
    group: Integers,
    minutes: Floats,
    after: Floats,
    stop_at: float,
    proofs: ProofsAhead,
) -> tuple[Table, Floats]:
    """Join particles of one group that all tests see alike, and return the table with the weights of the kinds."""
    signs = np.vstack(
        [group, np.round(2.0 * likelihood[..., :-1].transpose(0, 2, 1).reshape(-1, len(group)))]
    )
    _, label = np.unique(signs, axis=1, return_inverse=True)
    label = label.ravel()
    size = int(label.max()) + 1
    heavy = np.bincount(label, weights=weights, minlength=size)
    of_group = np.zeros(size, dtype=np.intp)
    of_group[label] = group
    if size > SIGNATURES:  # the rarest go into one kind of their group
        kept = np.argsort(-heavy, kind="stable")[:SIGNATURES]
        number = np.full(size, -1)
        number[kept] = np.arange(SIGNATURES)
        number = np.where(number >= 0, number, SIGNATURES + of_group)
        _, number = np.unique(number, return_inverse=True)
        label = number[label]
    order = np.lexsort((label, group))
    _, label = np.unique(label[order], return_inverse=True)
    size = int(label.max()) + 1
    of_group = np.zeros(size, dtype=np.intp)
    of_group[label] = group[order]
    sorted_kinds = np.argsort(of_group, kind="stable")
    rank = np.empty(size, dtype=np.intp)
    rank[sorted_kinds] = np.arange(size)
    label = rank[label]
    mass: Floats = np.bincount(label, weights=weights[order], minlength=size).astype(float)
    shares = np.zeros((size, likelihood.shape[0], likelihood.shape[2]))
    np.add.at(shares, label, likelihood.transpose(1, 0, 2)[order] * weights[order][:, None, None])
    shares /= np.maximum(mass, TINY)[:, None, None]
    starts = np.searchsorted(of_group[sorted_kinds], np.arange(int(group.max()) + 1))
    way = (proofs.opens * proofs.reach) @ (1.0 - proofs.opens).T
    return Table(shares, starts, minutes, after - way.T, proofs, stop_at), mass


def _first(table: Table, weights: Floats, place: Place, test: int) -> float:
    return float(place.minutes(table)[test]) + _then(table, weights, place.after(table, test), test, 0)


def _then(table: Table, weights: Floats, place: Place, test: int, depth: int) -> float:
    """Minutes after a test, over its outcomes, times the weight of being here."""
    return sum(
        _value(table, weights * table.likelihood[:, test, outcome], place, depth + 1)
        for outcome in range(table.likelihood.shape[2])
    )


def _value(table: Table, weights: Floats, place: Place, depth: int) -> float:
    """Expected minutes from here to the proof, times the weight of being here."""
    shares = table.groups(weights)
    mass = float(shares.sum())
    if mass < TINY:
        return 0.0
    proving = float(shares @ place.proof(table))
    if shares.max() >= (table.stop_at - 1e-9) * mass:
        return proving
    if depth >= DEEPEST or mass < RARE:
        return proving + mass * DOUBT_MINUTES * float(entropy(shares / mass))
    best = float("inf")
    for test, minutes in _worth_trying(table, weights / mass, place, depth):
        best = min(best, mass * minutes + _then(table, weights, place.after(table, test), test, depth))
    return best if np.isfinite(best) else proving + mass * DOUBT_MINUTES * float(entropy(shares / mass))


def _worth_trying(table: Table, weights: Floats, place: Place, depth: int) -> Iterator[tuple[int, float]]:
    """The few tests that tell most for their minutes, less what they do of the proof."""
    minutes = place.minutes(table)
    joint = table.joint(weights)
    bits = mutual_information(joint)
    shares = joint[0].sum(axis=-1)
    ahead = table.proofs
    done = ahead.saved + (ahead.opens * ~place.opened * ahead.reach) @ ahead.needs
    worth = np.maximum(minutes - done @ shares, LEAST_MINUTES)
    rate = np.where(bits > TELLS_NOTHING, bits / worth, 0.0)
    width = WIDTHS[depth - 1] if depth <= len(WIDTHS) else 1
    for test in np.argsort(-rate, kind="stable")[:width]:
        if rate[test] > 0 and np.isfinite(minutes[test]):
            yield int(test), float(minutes[test])
