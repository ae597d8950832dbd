"""The exact plan: against published optima, textbook codes, and its two ways against each other."""

import numpy as np
import pytest

from bench.choice_arrays import KINDS, POLICIES, published, sample
from bench.lattice import by_lattice
from bench.optimum import by_search, optimum
from bench.sequencing import TestProblem as Problem
from bench.sequencing import cost_of_length, expected_cost, greedy, huffman_length, ours, yes_no
from tests.references.sequencing import (
    CORMEN_LENGTH,
    CORMEN_LETTERS,
    SEQUENCES,
    known_optimum,
)


@pytest.mark.parametrize("name", SEQUENCES)
def test_known_optimum_is_found(outside_data, name):
    entry = known_optimum(outside_data, name)
    problem = published(entry)
    best = by_search(problem)
    assert best.minutes == pytest.approx(entry["optimal_expected_cost"], abs=1e-9)
    assert expected_cost(problem, ours) == pytest.approx(entry["optimal_expected_cost"], abs=1e-9)
    if "first_test_1based" in entry:
        assert best.test + 1 == entry["first_test_1based"]
    if "first_test_0based" in entry:  # the optimum may begin with its mirror image as well
        first = entry["first_test_0based"]
        assert best.first[first] == pytest.approx(best.minutes)
    if "greedy_info_gain_cost" in entry:
        assert expected_cost(problem, greedy) == pytest.approx(entry["greedy_info_gain_cost"], abs=1e-9)
    if "huffman_lower_bound" in entry:
        assert huffman_length(problem.priors) == pytest.approx(entry["huffman_lower_bound"], abs=1e-9)


def test_huffman_code_of_the_textbook():
    assert huffman_length(CORMEN_LETTERS) == pytest.approx(CORMEN_LENGTH, abs=1e-12)


def test_huffman_code_with_three_letters():
    # By hand: nine equal words with three letters need two letters each; four need one more merger.
    assert huffman_length(np.full(9, 1 / 9), 3) == pytest.approx(2.0)
    assert huffman_length([0.5, 0.25, 0.125, 0.125], 3) == pytest.approx(1.25)
    assert huffman_length([1.0, 0.0], 3) == 0.0


def optimal(problem: Problem) -> int:
    return optimum(problem).test


def small_problem(rng: np.random.Generator, *, certain: bool) -> Problem:
    """Return seven faults, some of which no test may separate, five tests, places, at either threshold."""
    table = (rng.random((7, 5)) < 0.5).astype(float)
    if not certain:
        table[:, :3] = np.clip(table[:, :3], 0.05, 0.9)
    return Problem(
        priors=rng.dirichlet(np.ones(7)),
        groups=np.sort(rng.integers(0, 6, 7)),
        likelihood=yes_no(table),
        costs=rng.uniform(1, 5, 5),
        places=rng.integers(-1, 3, 5),
        reach=rng.uniform(0, 10, 3),
        stop_at=float(rng.choice([0.95, 1.0])),
    )


def test_search_lattice_and_expanded_plan_agree():
    rng = np.random.default_rng(1)
    for _ in range(30):
        problem = small_problem(rng, certain=True)
        minutes = by_lattice(problem).minutes if len(problem.useful) and not problem.found else 0.0
        assert optimum(problem).minutes == pytest.approx(minutes, abs=1e-9)
        assert expected_cost(problem, optimal) == pytest.approx(minutes, abs=1e-9)


def test_plan_with_erring_tests_costs_what_it_says():
    rng = np.random.default_rng(2)
    for _ in range(15):
        problem = small_problem(rng, certain=False)
        assert expected_cost(problem, optimal) == pytest.approx(optimum(problem).minutes, abs=1e-9)


@pytest.mark.parametrize("kind", KINDS, ids=lambda kind: kind.__name__)
def test_no_policy_beats_the_optimum(kind):
    for problem in sample(kind, 3, seed=5):
        best = optimum(problem).minutes
        for policy in POLICIES.values():
            assert expected_cost(problem, policy) >= best - 1e-9


def test_optimum_by_trying_every_plan():
    """Three faults, three tests: every decision tree is written out and priced."""

    def every_plan(problem: Problem) -> float:
        if problem.found or not len(problem.useful):
            return 0.0
        costs = []
        for test in problem.useful:
            shares = problem.outcome_shares(test)
            after = [s * every_plan(problem.given(test, k)) for k, s in enumerate(shares) if s > 0]
            costs.append(problem.minutes[test] + sum(after))
        return float(min(costs))

    rng = np.random.default_rng(4)
    for _ in range(20):
        problem = Problem(
            priors=rng.dirichlet(np.ones(3)),
            groups=np.arange(3),
            likelihood=rng.dirichlet(np.ones(3), (3, 3)),
            costs=rng.uniform(1, 5, 3),
            places=np.array([0, 0, -1]),
            reach=rng.uniform(0, 8, 1),
        )
        assert by_lattice(problem).minutes == pytest.approx(every_plan(problem), abs=1e-9)


def test_bound_with_unequal_costs_never_exceeds_the_optimum():
    for problem in sample(KINDS[0], 10, seed=6):
        length = huffman_length(problem.group_shares)
        assert cost_of_length(length, problem.costs) <= by_search(problem).minutes + 1e-9
    assert cost_of_length(2.5, [4.0, 1.0, 2.0]) == pytest.approx(1 + 2 + 0.5 * 4)
    assert cost_of_length(3.5, [4.0, 1.0, 2.0]) == float("inf")


def test_a_place_is_paid_for_once():
    """By hand: four equal faults, two tests behind one cover (10 min, then 1 and 1): 12 min whatever comes."""
    table = np.array([[0, 0], [0, 1], [1, 0], [1, 1]], dtype=float)
    problem = Problem(
        np.full(4, 0.25), np.arange(4), yes_no(table), np.ones(2), np.zeros(2, dtype=int), np.array([10.0])
    )
    assert by_search(problem).minutes == pytest.approx(12.0)
    assert by_lattice(problem).minutes == pytest.approx(12.0)


def test_what_is_all_but_excluded_is_no_reason_for_a_test():
    # By hand: the first test leaves a third fault with a chance of 1e-13, the only one that the second could show.
    table = np.array([[1e-13, 1e-13], [1e-13, 1e-13], [1 - 1e-13, 1 - 1e-13]])
    problem = Problem(np.array([0.4, 0.4, 0.2]), np.arange(3), yes_no(table), np.array([2.0, 3.0]))
    assert by_lattice(problem).minutes == pytest.approx(2.0, abs=1e-9)
    assert expected_cost(problem, optimal) == pytest.approx(2.0, abs=1e-9)


def test_tests_with_unequal_numbers_of_outcomes():
    yes_or_no, bright_dim_dark = np.eye(3)[[0, 0, 1]], np.eye(3)
    likelihood = np.stack([yes_or_no, bright_dim_dark])
    problem = Problem(np.full(3, 1 / 3), np.arange(3), likelihood, np.array([1.0, 1.2]))
    assert by_search(problem).minutes == pytest.approx(1.2)
    assert by_lattice(problem).minutes == pytest.approx(1.2)


def test_too_large_a_problem_says_so():
    rng = np.random.default_rng(7)
    table = np.clip(rng.random((30, 30)), 0.1, 0.9)
    problem = Problem(np.full(30, 1 / 30), np.arange(30), yes_no(table), np.ones(30))
    with pytest.raises(ValueError, match="30 hypotheses, 30 tests"):
        optimum(problem)
    assert ours(problem) in range(30)


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ({"priors": np.ones(2)}, "3 hypotheses"),
        ({"costs": np.ones(3)}, "2 tests"),
        ({"costs": np.array([1.0, -1.0])}, "negative"),
        ({"priors": np.zeros(3)}, "positive sum"),
        ({"places": np.array([0, 1]), "reach": np.ones(1)}, "place 1"),
    ],
)
def test_a_problem_that_does_not_fit_together_is_refused(change, message):
    good = {
        "priors": np.ones(3),
        "groups": np.arange(3),
        "likelihood": yes_no(np.eye(3)[:, :2]),
        "costs": np.ones(2),
    }
    assert Problem(**good).priors.sum() == pytest.approx(1.0)
    with pytest.raises(ValueError, match=message):
        Problem(**{**good, **change})
