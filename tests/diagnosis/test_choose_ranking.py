"""The order of tests: how close to the optimum, and the laws that a ranking must obey."""

from functools import cache

import numpy as np
import pytest

from bench.choice_arrays import AIM, KINDS, sample
from bench.optimum import optimum
from bench.sequencing import TestProblem as Problem
from bench.sequencing import expected_cost, greedy, half_split, ours, yes_no
from halfsplit.diagnosis.choose import Candidates, rank_tests
from halfsplit.diagnosis.lookahead import (
    ProofsAhead,
    expected_minutes,
    minutes_left,
    minutes_per_bit,
    pair_table,
)


def nothing_to_prove(tests: int, groups: int) -> ProofsAhead:
    return ProofsAhead(
        np.zeros(groups),
        np.zeros(0),
        np.zeros(0, dtype=int),
        np.zeros((tests, 0)),
        np.zeros(0),
        np.zeros((0, groups)),
        np.zeros((tests, 0)),
    )


def ranking(candidates: Candidates, weights, group):
    """The ranking where nothing is to be opened and nothing to be proven."""
    proofs = nothing_to_prove(len(candidates.minutes), int(group.max()) + 1)
    return rank_tests(
        candidates, weights, group, minutes_after=lambda _: candidates.minutes, stop_at=0.95, proofs=proofs
    )


@cache
def solved(kind):
    """Return eight problems of a kind with the minutes of their optima."""
    return [(problem, optimum(problem).minutes) for problem in sample(kind, 8, seed=21)]


@cache
def mean_ratio(policy, kind):
    ratios = [expected_cost(problem, policy) / best for problem, best in solved(kind)]
    name = kind.__name__
    print(f"{name}: mean {np.mean(ratios):.4f}, worst {max(ratios):.4f} of the optimum")
    return float(np.mean(ratios))


@pytest.mark.parametrize("kind", KINDS, ids=lambda kind: kind.__name__)
def test_expected_minutes_are_within_the_aim_of_the_optimum(kind):
    assert mean_ratio(ours, kind) <= AIM


def test_half_splitting_and_greed_leave_something_to_gain():
    """Else the comparison above would show nothing."""
    assert np.mean([mean_ratio(half_split, kind) for kind in KINDS]) > 1.2
    assert np.mean([mean_ratio(greedy, kind) for kind in KINDS]) > AIM


def test_pair_table_against_the_sum_written_out():
    rng = np.random.default_rng(1)
    first, second = rng.dirichlet(np.ones(3), (2, 7)), rng.dirichlet(np.ones(2), (4, 7))
    weights, group = rng.dirichlet(np.ones(7)), np.array([0, 2, 1, 0, 2, 2, 1])
    table = pair_table(first, second, weights, group)
    for f, j, t, k, g in np.ndindex(2, 3, 4, 2, 3):
        terms = [weights[n] * first[f, n, j] * second[t, n, k] for n in range(7) if group[n] == g]
        assert table[f, j, t, k, g] == pytest.approx(sum(terms))


def test_look_ahead_is_exact_where_two_tests_suffice():
    """Four equal faults, two tests that split them crosswise: by hand 3 + 2 minutes either way round."""
    likelihood = yes_no([[0, 0], [0, 1], [1, 0], [1, 1]])
    costs = np.array([3.0, 2.0])
    after = np.array([[np.inf, 2.0], [3.0, np.inf]])
    got = expected_minutes(
        likelihood, np.full(4, 0.25), np.arange(4), costs, after, 0.95, nothing_to_prove(2, 4)
    )
    assert got == pytest.approx([5.0, 5.0])


def test_doubt_is_priced_per_bit():
    """By hand: two equal suspects are one bit; at 0.96 nothing is left to do; the cheapest test is the least."""
    shares = np.array([[0.25, 0.25], [0.96, 0.04], [0.9, 0.1]])
    assert minutes_left(shares, 10.0, 1.0, 0.95)[:2] == pytest.approx([5.0, 0.0])
    assert minutes_left(shares, 0.1, 3.0, 0.95)[2] == pytest.approx(3.0)
    assert minutes_per_bit(np.zeros(3), np.array([1.0, 5.0, np.inf]), 2.0) == pytest.approx(3.0)


def test_a_free_look_does_not_make_the_rest_free():
    """By hand: 0.1 bit for nothing, then a bit for 4 min and one for 6: 10 min for 2.1 bits, half as much again."""
    bits, minutes = np.array([1.0, 0.1, 1.0, 1.0]), np.array([6.0, 0.0, 4.0, 50.0])
    assert minutes_per_bit(bits, minutes, 2.0) == pytest.approx(1.5 * 10 / 2.1)


def numeric_candidates(dtype=np.float64):
    """Return 30 points along a feed of 24 faults, 20 particles each, with draws of the battery."""
    rng = np.random.default_rng(2)
    group = np.repeat(np.arange(24), 20)
    battery = np.tile(rng.uniform(12.0, 12.6, 20), 24)
    point = np.linspace(0, 24, 30)
    predicted = np.where(group[None] > point[:, None], battery, 0.0)
    sigma = 0.02 + 0.005 * predicted
    return predicted.astype(dtype), sigma.astype(dtype), np.full(480, 1 / 480), group


def test_a_feed_is_halved():
    predicted, sigma, weights, group = numeric_candidates()
    best = ranking(Candidates(np.ones(30), predicted, sigma), weights, group)[0]
    good = (predicted[best.test] > 6).mean()
    assert 0.4 <= good <= 0.6
    assert best.bits == pytest.approx(1.0, abs=0.15)
    # No plan needs less than the entropy; 60 simulated jobs with slips took 4.85 tests on average.
    assert np.log2(24) - 0.5 <= best.expected_minutes <= 1.5 * 4.85


def test_the_order_is_the_same_every_time_and_in_single_precision():
    predicted, sigma, weights, group = numeric_candidates()
    minutes = np.linspace(1, 4, 30)
    ranked = ranking(Candidates(minutes, predicted, sigma), weights, group)
    assert ranked == ranking(Candidates(minutes, predicted, sigma), weights, group)
    single = [array.astype(np.float32) for array in (predicted, sigma)]
    assert ranking(Candidates(minutes, *single), weights, group)[0].test == ranked[0].test


def test_equal_tests_keep_their_order():
    predicted, sigma, weights, group = numeric_candidates()
    same = [np.repeat(array[14:15], 6, axis=0) for array in (predicted, sigma)]
    ranked = ranking(Candidates(np.ones(6), *same), weights, group)
    assert [test.test for test in ranked] == list(range(6))


def test_tests_that_tell_nothing_or_cannot_be_made_are_left_out():
    predicted, sigma, weights, group = numeric_candidates()
    predicted[3] = 12.0
    sigma[3] = 0.1
    minutes = np.ones(30)
    minutes[7] = np.inf
    ranked = ranking(Candidates(minutes, predicted, sigma), weights, group)
    assert {test.test for test in ranked} == set(range(28)) - {3, 7}  # the last two see no fault at all


def test_readings_and_observations_stand_in_one_order():
    predicted, sigma, weights, group = numeric_candidates()
    tells_half = (group < 12)[:, None] == np.array([True, False])
    ranked = ranking(
        Candidates(np.append(np.full(30, 5.0), 0.1), predicted, sigma, tells_half[None].astype(float)),
        weights,
        group,
    )
    assert ranked[0].test == 30
    assert ranked[0].bits == pytest.approx(1.0)


def test_a_place_that_holds_several_tests_is_worth_its_way():
    """Four equal faults. Two tests behind one cover settle it in 10 + 1 + 1 min; either of two in the open takes
    8 min. Greed starts in the open (8 + 8 min); looking ahead opens the cover."""
    table = np.array([[0, 0, 0, 0], [0, 1, 0, 1], [1, 0, 1, 0], [1, 1, 1, 1]], dtype=float)
    problem = Problem(
        np.full(4, 0.25),
        np.arange(4),
        yes_no(table),
        np.array([1.0, 1.0, 8.0, 8.0]),
        np.array([0, 0, -1, -1]),
        np.array([10.0]),
    )
    assert greedy(problem) == 2
    assert ours(problem) == 0
    assert expected_cost(problem, ours) == pytest.approx(12.0)


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ({"sigma": np.ones((2, 3))}, "differ"),
        ({"minutes": np.ones(3)}, "minutes of 3"),
        ({"predicted": np.array([[0.0, np.inf]])}, "finite"),
        ({"sigma": np.array([[0.1, 0.0]])}, "positive"),
    ],
)
def test_candidates_that_do_not_fit_together_are_refused(change, message):
    good = {"minutes": np.ones(1), "predicted": np.array([[0.0, 12.0]]), "sigma": np.full((1, 2), 0.1)}
    assert len(ranking(Candidates(**good), np.array([0.5, 0.5]), np.array([0, 1]))) == 1
    with pytest.raises(ValueError, match=message):
        Candidates(**{**good, **change})
