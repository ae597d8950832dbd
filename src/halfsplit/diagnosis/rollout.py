"""Expected minutes to the proof of each first test, by playing the rest of the route through.

After the first test and each of its outcomes the route goes on, at first by the best of a few tests, then by the one
that tells most for its minutes, until a repair group is found; then its proof is paid. All of it is worked out on
tables, with no dice: the expectation over outcomes is exact, branches that are hardly ever come to are estimated.
(Policy improvement by rollout: Bertsekas, Tsitsiklis and Wu, "Rollout algorithms for combinatorial optimization",
Journal of Heuristics 3, 1997.)
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numba import njit

from halfsplit.diagnosis.information import TINY, Array, Floats, Integers
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
NEVER = 1e-9
"""Kinds of vehicle that weigh less in a branch are left out of it."""
SIGNATURES = 500
DOUBT_MINUTES = 6.0
"""Minutes a bit of what is left in doubt; common practice, no source."""
TELLS_NOTHING = 0.01
"""Bits below which a test is not tried."""


class Table(NamedTuple):
    """What the tests would show, by kinds of vehicle that all of them see alike, and what each costs.

    likelihood  (H, T, K) probability of each outcome
    group       (H,) repair group of each kind, ascending
    minutes     (T,) minutes of each test now
    after       (T, T) minutes of each test after another, places apart
    base, cost, letter, saved, reach, needs, opens    as in ``ProofsAhead``
    widths      how many tests are tried at the second step, the third, and so on
    """

    likelihood: Floats
    group: Integers
    minutes: Floats
    after: Floats
    base: Floats
    cost: Floats
    letter: Integers
    saved: Floats
    reach: Floats
    needs: Floats
    opens: Floats
    widths: Integers
    stop_at: float


class Route(NamedTuple):
    """Where a route is, by its depth D: what has led there, and what is being tried.

    kinds, weights  (D, H) the kinds that are left and their weights, ``many`` (D,) of them
    shares          (D, G) weight of each repair group
    opened, done, proven, made  (D, P), (D, L), (D, G), (D, T) places open, minutes done of each letter and proof,
                      tests made
    rate, minutes   (D, T) bits for its minutes of each test that is still to be tried (0: not), its minutes
    test, outcome, left  (D,) the test being tried, its next outcome, how many more are tried
    total, best, mass, estimated  (D,) minutes over the outcomes so far, of the best test, weight, where none is tried
    """

    kinds: Integers
    weights: Floats
    many: Integers
    shares: Floats
    opened: Floats
    done: Floats
    proven: Floats
    made: Integers
    rate: Floats
    minutes: Floats
    test: Integers
    outcome: Integers
    left: Integers
    total: Floats
    best: Floats
    mass: Floats
    estimated: Floats


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
    some = proofs.of(tests)
    shares, kinds, mass = _kinds(likelihood[tests], weights, group)
    way = (some.opens * some.reach) @ (1.0 - some.opens).T
    base, cost, saved, reach, needs, opens = (
        np.ascontiguousarray(each, dtype=float)
        for each in (some.base, some.cost, some.saved, some.reach, some.needs, some.opens)
    )
    now, then = minutes[tests].astype(float), after[np.ix_(tests, tests)] - way.T
    widths = np.array(WIDTHS, dtype=np.int64)
    proof = (base, cost, some.letter.astype(np.int64), saved)
    table = Table(shares, kinds, now, then, *proof, reach, needs, opens, widths, float(stop_at))
    played_through = _play(table, mass, np.searchsorted(tests, firsts))
    result = expected + float(np.mean(played_through - expected[firsts]))
    result[firsts] = played_through
    return result


def _played_with(
    firsts: Integers, expected: Floats, minutes: Floats, proofs: ProofsAhead, shares: Floats
) -> Integers:
    """Return the tests of the route, ascending: the best by the look-ahead, the rest by what they cost now."""
    order = np.argsort(np.round(expected, 9), kind="stable")
    cheap = np.argsort(proofs.worth(minutes, shares), kind="stable")
    some = dict.fromkeys([*firsts.tolist(), *order[: TESTS - FIRST].tolist(), *cheap[: TESTS // 2].tolist()])
    return np.sort(np.array(list(some)[:TESTS], dtype=np.intp))


def _kinds(likelihood: Array, weights: Floats, group: Integers) -> tuple[Floats, Integers, Floats]:
    """Join particles of one group that all tests see alike: what they show, their groups and their weights."""
    signs = np.round(2.0 * likelihood[..., :-1]).transpose(0, 2, 1).reshape(-1, len(group))
    # A random number for each sign stands for all of them: columns of the same signs have the same sum.
    salt = np.random.default_rng(1).integers(1, 1 << 40, len(signs))
    _, label = np.unique(salt @ signs.astype(np.int64) * len(group) + group, return_inverse=True)
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
    return shares, of_group[sorted_kinds].astype(np.int64), mass


def _play(table: Table, weights: Floats, firsts: Integers) -> Floats:
    """Minutes of the routes that begin with each of these tests."""
    tests, depths = len(table.minutes), DEEPEST + 2

    def numbers(size: int = 0) -> Integers:
        return np.zeros((depths, size) if size else depths, dtype=np.int64)

    def floats(*size: int) -> Floats:
        return np.zeros((depths, *size))

    kinds = len(weights)
    route = Route(
        kinds=numbers(kinds),
        weights=floats(kinds),
        many=numbers(),
        shares=floats(len(table.base)),
        opened=floats(len(table.reach)),
        done=floats(len(table.cost)),
        proven=floats(len(table.base)),
        made=numbers(tests),
        rate=floats(tests),
        minutes=floats(tests),
        test=numbers(),
        outcome=numbers(),
        left=numbers(),
        total=floats(),
        best=floats(),
        mass=floats(),
        estimated=floats(),
    )
    route.kinds[0], route.weights[0], route.many[0] = np.arange(kinds), weights, kinds
    joint = np.zeros((tests, table.likelihood.shape[2]))
    return np.array([table.minutes[first] + _minutes_after(table, route, first, joint) for first in firsts])


@njit(cache=True, nogil=True)
def _minutes_after(table, route, first, joint):  # type: ignore[no-untyped-def]
    """Minutes from a first test to the proof, over its outcomes; depth first, without recursion."""
    depth, outcomes = np.int64(0), joint.shape[1]  # a plain number would be compiled for its value as well
    route.left[0] = 0
    _make(table, route, depth, first)
    while True:
        if route.outcome[depth] < outcomes:
            _narrow(table, route, depth)
            ended, minutes = _standing(table, route, depth + 1)
            if ended:
                route.total[depth] += minutes
                continue
            last = route.test[depth]
            depth += 1
            _bits(table, route, depth, joint)
            _rates(table, route, last, depth)
            route.best[depth] = np.inf
            route.left[depth] = table.widths[depth - 1] if depth <= len(table.widths) else 1
        elif depth == 0:
            return route.total[0]
        else:
            tried = route.mass[depth] * route.minutes[depth, route.test[depth]] + route.total[depth]
            route.best[depth] = min(route.best[depth], tried)
        test = route.rate[depth].argmax()
        if route.left[depth] > 0 and route.rate[depth, test] > 0.0:
            route.left[depth] -= 1
            route.rate[depth, test] = 0.0
            _make(table, route, depth, test)
        else:
            best = route.best[depth]
            depth -= 1
            route.total[depth] += best if best < np.inf else route.estimated[depth + 1]


@njit(cache=True, nogil=True)
def _make(table, route, depth, test):  # type: ignore[no-untyped-def]
    """Try a test: what is made, open and done one deeper."""
    deeper = depth + 1
    route.test[depth], route.outcome[depth], route.total[depth] = test, 0, 0.0
    # One by one: for whole rows the words of an error about their lengths would be compiled, in seconds.
    for other in range(route.made.shape[1]):
        route.made[deeper, other] = route.made[depth, other]
    route.made[deeper, test] = 1
    for place in range(len(table.reach)):
        route.opened[deeper, place] = max(route.opened[depth, place], table.opens[test, place])
    for group in range(route.proven.shape[1]):
        route.proven[deeper, group] = route.proven[depth, group]
    for letter in range(len(table.cost)):
        before = route.done[depth, letter]
        route.done[deeper, letter] = min(before + table.saved[test, letter], table.cost[letter])
        route.proven[deeper, table.letter[letter]] += route.done[deeper, letter] - before


@njit(cache=True, nogil=True)
def _narrow(table, route, depth):  # type: ignore[no-untyped-def]
    """The kinds that are left one deeper, after the next outcome of the test being tried."""
    test, outcome, count = route.test[depth], route.outcome[depth], 0
    route.outcome[depth] += 1
    for at in range(route.many[depth]):
        kind = route.kinds[depth, at]
        weight = route.weights[depth, at] * table.likelihood[kind, test, outcome]
        if weight > NEVER:
            route.kinds[depth + 1, count], route.weights[depth + 1, count] = kind, weight
            count += 1
    route.many[depth + 1] = count


@njit(cache=True, nogil=True)
def _standing(table, route, depth):  # type: ignore[no-untyped-def]
    """Whether the route ends here, and the expected minutes then, times the weight of being here."""
    shares = route.shares[depth]
    shares[:] = 0.0
    for at in range(route.many[depth]):
        shares[table.group[route.kinds[depth, at]]] += route.weights[depth, at]
    mass = shares.sum()
    if mass < TINY:
        return True, 0.0
    proving, doubt = 0.0, 0.0
    for group in range(len(shares)):
        if shares[group] > 0.0:
            left = table.base[group] - route.proven[depth, group]
            for place in range(len(table.reach)):
                left -= route.opened[depth, place] * table.reach[place] * table.needs[place, group]
            proving += shares[group] * max(left, 0.0)
            doubt -= shares[group] * np.log2(shares[group] / mass)
    route.mass[depth], route.estimated[depth] = mass, proving + DOUBT_MINUTES * doubt
    if shares.max() >= (table.stop_at - 1e-9) * mass:
        return True, proving
    return depth >= DEEPEST or mass < RARE, route.estimated[depth]


@njit(cache=True, nogil=True)
def _bits(table, route, depth, joint):  # type: ignore[no-untyped-def]
    """What each test tells of the repair group here, in bits, into the rates."""
    tests, outcomes = joint.shape
    whole, bits = np.zeros((tests, outcomes)), route.rate[depth]
    joint[:], bits[:] = 0.0, 0.0
    count, mass = route.many[depth], route.mass[depth]
    for at in range(count):
        kind = route.kinds[depth, at]
        weight = route.weights[depth, at] / mass
        for test in range(tests):
            for outcome in range(outcomes):
                joint[test, outcome] += weight * table.likelihood[kind, test, outcome]
        if at + 1 < count and table.group[route.kinds[depth, at + 1]] == table.group[kind]:
            continue
        for test in range(tests):
            of_group = 0.0
            for outcome in range(outcomes):
                share = joint[test, outcome]
                if share > 0.0:
                    bits[test] += share * np.log2(share)
                    of_group += share
                    whole[test, outcome] += share
                    joint[test, outcome] = 0.0
            if of_group > 0.0:
                bits[test] -= of_group * np.log2(of_group)
    for test in range(tests):
        for outcome in range(outcomes):
            if whole[test, outcome] > 0.0:
                bits[test] -= whole[test, outcome] * np.log2(whole[test, outcome])


@njit(cache=True, nogil=True)
def _rates(table, route, last, depth):  # type: ignore[no-untyped-def]
    """Minutes of each test from here, and its bits for these less what it does of the proof."""
    rate, minutes = route.rate[depth], route.minutes[depth]
    for test in range(len(minutes)):
        minutes[test] = table.after[last, test]
    shares, needed = route.shares[depth] / route.mass[depth], np.zeros(len(table.reach))
    for place in range(len(needed)):
        closed = table.reach[place] * (1.0 - route.opened[depth, place])
        for test in range(len(rate)):
            minutes[test] += closed * table.opens[test, place]
        for group in range(len(shares)):
            needed[place] += closed * table.needs[place, group] * shares[group]
    for test in range(len(rate)):
        if rate[test] <= TELLS_NOTHING or route.made[depth, test]:
            rate[test] = 0.0
            continue
        done = 0.0
        for place in range(len(needed)):
            done += table.opens[test, place] * needed[place]
        for letter in range(len(table.cost)):
            left = table.cost[letter] - route.done[depth, letter]
            done += min(table.saved[test, letter], left) * shares[table.letter[letter]]
        rate[test] /= max(minutes[test] - done, LEAST_MINUTES)
