"""Small problems made from real predictions of the pattern circuits, so that the optimum can be worked out exactly.

What was told narrows the faults; the likeliest twelve at most are kept, and twelve tests at most of those that the
engine considers, each reading cut into the ranges that the engine itself uses. A fault's chance of each range is the
mean over its drawn cars and severities. Then the same arrays go to the engine's choice and to dynamic programming.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components

from bench.choice_jobs import Case
from bench.lattice import lattice_size
from bench.optimum import optimum
from bench.sequencing import NEGLIGIBLE, NO_PLACE, POLICIES, Policy, TestProblem
from halfsplit.diagnosis import propose
from halfsplit.diagnosis.cost import Minutes, own_minutes, reach_minutes
from halfsplit.diagnosis.evidence import forecast
from halfsplit.diagnosis.expected import WordedAt
from halfsplit.diagnosis.measurement import Measurement
from halfsplit.diagnosis.situation import Situation

FAULTS, TESTS = 12, 12
LARGEST = 4_000_000
"""(State of knowledge, fault) pairs that are worked out; tests are left out until the problem is no larger."""
RARE = 1e-3
"""Branches less likely than this are gone on with by the optimum, for every policy alike."""
LOOKS_ALIKE = 0.05
"""Difference between the chances of a test's outcomes, below which it does not tell two faults apart."""


@dataclass(frozen=True)
class Small:
    """Expected minutes until one repair holds 0.95 or no test tells any more."""

    faults: int
    tests: int
    optimal: float
    minutes: Mapping[str, float]


def small(case: Case, seed: int) -> Small | None:
    """The small problem of a case worked out; None where nothing is to be chosen."""
    problem = problem_of(case, seed)
    if problem is None or problem.found or len(problem.useful) < 2:
        return None
    best = optimum(problem)
    told = {name: expected_minutes(problem, policy) for name, policy in POLICIES.items()}
    return Small(problem.alive, len(problem.costs), best.minutes, told)


def expected_minutes(problem: TestProblem, policy: Policy) -> float:
    """The expected minutes of a policy by expanding its tree; rare branches by the optimum."""
    known: dict[frozenset[tuple[int, int]], float] = {}

    def cost(rest: TestProblem, outcomes: frozenset[tuple[int, int]], share: float) -> float:
        if rest.found or not len(rest.useful):
            return 0.0
        if outcomes not in known:
            if share < RARE:
                known[outcomes] = optimum(rest).minutes
            else:
                test = policy(rest)
                shares = rest.outcome_shares(test)
                known[outcomes] = float(rest.minutes[test]) + sum(
                    float(part) * cost(rest.given(test, k), outcomes | {(test, k)}, share * float(part))
                    for k, part in enumerate(shares)
                    if part > NEGLIGIBLE
                )
        return known[outcomes]

    return cost(problem, frozenset(), 1.0)


def problem_of(case: Case, seed: int) -> TestProblem | None:
    """Arrays of at most twelve faults and twelve tests after what was told."""
    situation = case.job().situation()
    chosen, weights, hypothesis = _faults(situation)
    if not len(chosen):
        return None
    wanted = propose.candidates_for(situation)
    expected = [(one, forecast(one, situation.context).at(chosen)) for one in wanted]
    expected.sort(key=lambda each: isinstance(each[1], WordedAt))
    tests = [test for test, _ in expected]
    if not tests or len(np.unique(hypothesis)) < 2:
        return None
    now = Minutes(situation.bay, tests).now
    options = propose._options([each for _, each in expected], len(chosen), now)
    groups_all = _groups(situation, chosen)
    bits = options.bits(weights, groups_all)
    kept = _kept(bits, now, np.random.default_rng(seed))
    if len(kept) < 2:
        return None
    table = np.asarray(options.outcomes(kept, weights, groups_all), dtype=float)
    priors = np.bincount(hypothesis, weights=weights)
    members = np.zeros((len(priors), len(weights)))
    members[hypothesis, np.arange(len(weights))] = weights / priors[hypothesis]
    likelihood = np.stack([members @ one for one in table])
    first = [int(np.flatnonzero(hypothesis == number)[0]) for number in range(len(priors))]
    return _fitting(situation, [tests[number] for number in kept], likelihood, priors, groups_all[first])


def _faults(situation: Situation) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Particles of the likeliest single faults: flat indices, weights, and the number of the fault of each (N,)."""
    posterior = situation.posterior
    total = posterior.weights.sum(axis=1)
    of_column = posterior.belief.columns.hypothesis
    shares = np.bincount(of_column, weights=total, minlength=len(posterior.hypotheses))
    for number, one in enumerate(posterior.hypotheses):
        if one.first.members or one.first.kind in ("nothing", "unknown"):
            shares[number] = 0.0
    best = [int(number) for number in np.argsort(-shares, kind="stable")[:FAULTS] if shares[number] > 0]
    cars = posterior.weights.shape[1]
    flat, label = [np.empty(0, dtype=np.intp)], [np.empty(0, dtype=np.intp)]
    for place, number in enumerate(best):
        columns = np.flatnonzero(of_column == number)
        mine = (columns[:, None] * cars + np.arange(cars)).ravel()
        flat.append(mine)
        label.append(np.full(len(mine), place))
    chosen, hypothesis = np.concatenate(flat), np.concatenate(label)
    weights = posterior.weights.ravel()[chosen]
    there = weights > 0
    return chosen[there], weights[there] / max(float(weights.sum()), 1e-300), hypothesis[there]


def _groups(situation: Situation, chosen: np.ndarray) -> np.ndarray:
    _, group = situation.posterior.groups
    _, told = np.unique(group[chosen // situation.posterior.weights.shape[1]], return_inverse=True)
    return told


def _kept(bits: np.ndarray, minutes: np.ndarray, generator: np.random.Generator) -> np.ndarray:
    """Half of the tests by bits per minute, a quarter by bits, the rest at random of those that tell anything."""
    telling = np.flatnonzero((bits > 0.02) & np.isfinite(minutes))
    by_rate = telling[np.argsort(-bits[telling] / minutes[telling], kind="stable")][: TESTS // 2]
    by_bits = telling[np.argsort(-bits[telling], kind="stable")]
    by_bits = by_bits[~np.isin(by_bits, by_rate)][: TESTS // 4]
    others = np.setdiff1d(telling, [*by_rate, *by_bits])
    others = generator.permutation(others)[: TESTS - len(by_rate) - len(by_bits)]
    return np.sort(np.concatenate([by_rate, by_bits, others]))


def _alike(likelihood: np.ndarray, groups: np.ndarray) -> np.ndarray:
    """Number the repairs (H,); what no test tells apart counts as one, or every plan would pay for every test."""
    apart = 0.5 * np.abs(likelihood[:, :, None] - likelihood[:, None]).sum(axis=-1).max(axis=0)
    joined = (apart < LOOKS_ALIKE) | (groups[:, None] == groups)
    return np.asarray(connected_components(coo_array(joined.astype(float)), directed=False)[1], dtype=np.intp)


def _fitting(
    situation: Situation,
    tests: list[Measurement],
    likelihood: np.ndarray,
    priors: np.ndarray,
    groups: np.ndarray,
) -> TestProblem:
    """The problem with minutes and places, with as many of the tests as can be held."""
    model = situation.circuit.model
    own = np.array([own_minutes(one, model, situation.state) for one in tests])
    needed = [situation.bay.opens(one) for one in tests]
    keys = sorted({key for each in needed for key in each})
    reach = np.array([reach_minutes(key, model) for key in keys])
    place = np.full(len(tests), NO_PLACE)
    for number, each in enumerate(needed):
        if each:
            dearest = max(each, key=lambda key: (reach_minutes(key, model), key))
            place[number] = keys.index(dearest)
            # A problem knows one place for a test: any other is charged each time.
            own[number] += sum(reach_minutes(key, model) for key in each if key != dearest)
    order = np.random.default_rng(0).permutation(len(tests))
    for count in range(len(tests), 1, -1):
        some = np.sort(order[:count])
        alike = _alike(likelihood[some], groups)
        problem = TestProblem(priors, alike, likelihood[some], own[some], place[some], reach)
        if lattice_size(problem) <= LARGEST:
            break
    return problem
