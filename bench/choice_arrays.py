"""Expected minutes of the choice of tests over the optimum: random problems of up to 18 faults, published ones.

Beside it half-splitting (the most even division, whatever it costs) and the greedy choice (most bits per
minute). 'Ours' is the ranking that a job uses, with nothing to prove. Every policy is worked out exactly, by
expanding its whole tree.
"""

import argparse
import json
import sys
from collections.abc import Callable, Mapping

import numpy as np
from numpy.typing import NDArray

from bench.optimum import optimum
from bench.sequencing import POLICIES, Floats, TestProblem, expected_cost, yes_no
from bench.shared import DATA

AIM = 1.05


def plain(rng: np.random.Generator) -> TestProblem:
    """Twelve faults, twelve tests that each see a random share of them, certain, of unequal cost."""
    return _problem(rng, _random_table(rng, 12, 12), places=False, stop_at=1.0)


def chain(rng: np.random.Generator) -> TestProblem:
    """Twelve stretches in a row, a test between each two, some behind covers that take minutes to open."""
    return _problem(rng, yes_no(np.arange(12)[:, None] <= np.arange(11)))


def behind_covers(rng: np.random.Generator) -> TestProblem:
    """As plain, with places that must be opened first."""
    return _problem(rng, _random_table(rng, 12, 12))


def erring(rng: np.random.Generator) -> TestProblem:
    """Nine faults, nine tests that say the wrong thing in 3 to 5 % of cases."""
    return _problem(rng, np.clip(_random_table(rng, 9, 9), 0.03, 0.97))


def three_outcomes(rng: np.random.Generator) -> TestProblem:
    """Eight faults, six tests with three outcomes (about 12 V, about 0 V, between), each a matter of chance."""
    return _problem(rng, rng.dirichlet(np.full(3, 0.15), (6, 8)))


def large(rng: np.random.Generator) -> TestProblem:
    """Eighteen faults and eighteen tests, certain."""
    return _problem(rng, _random_table(rng, 18, 18))


KINDS: tuple[Callable[[np.random.Generator], TestProblem], ...] = (
    plain,
    chain,
    behind_covers,
    erring,
    three_outcomes,
    large,
)


def _random_table(rng: np.random.Generator, faults: int, tests: int) -> Floats:
    return yes_no((rng.random((faults, tests)) < rng.uniform(0.2, 0.5)).astype(float))


def _problem(
    rng: np.random.Generator, likelihood: Floats, *, places: bool = True, stop_at: float = 0.95
) -> TestProblem:
    """Add uneven priors, repair groups (in half of the problems of several faults) and minutes to a table."""
    tests, faults, _ = likelihood.shape
    several = np.sort(rng.integers(0, faults * 2 // 3, faults))
    return TestProblem(
        priors=rng.dirichlet(np.full(faults, 0.7)),
        groups=several if rng.random() < 0.5 else np.arange(faults),
        likelihood=likelihood,
        costs=np.asarray(rng.uniform(1.0, 8.0, tests)),
        places=np.asarray(rng.integers(-1, 3, tests)) if places else np.full(tests, -1),
        reach=rng.uniform(0.0, 10.0, 3),
        stop_at=stop_at,
    )


def ratios(problem: TestProblem) -> list[float]:
    """Return the expected minutes of each policy over the optimum."""
    best = optimum(problem).minutes
    return [expected_cost(problem, policy) / best for policy in POLICIES.values()]


def sample(kind: Callable[[np.random.Generator], TestProblem], count: int, seed: int) -> list[TestProblem]:
    """Return so many problems of a kind, leaving out those where nothing is to be done."""
    rng = np.random.default_rng(seed)
    problems: list[TestProblem] = []
    while len(problems) < count:
        problem = kind(rng)
        if not problem.found and len(problem.useful):
            problems.append(problem)
    return problems


def published(entry: Mapping[str, list[float]]) -> TestProblem:
    """Make a problem from an entry of the file of known optima: a table, a chain, or all divisions in two."""
    priors = np.array(entry["prior"])
    faults = np.arange(len(priors))
    if "D_rows_states_cols_tests" in entry:
        table = np.array(entry["D_rows_states_cols_tests"], dtype=float)
    elif "D_rule" in entry:
        table = (faults[:, None] <= faults[:-1]).astype(float)
    else:
        table = (np.arange(1, 2 ** (len(priors) - 1)) >> faults[:, None] & 1).astype(float)
    costs = np.array(entry.get("cost", np.ones(table.shape[1])), dtype=float)
    return TestProblem(priors, faults, yes_no(table), costs, stop_at=1.0)


def _known_optima() -> list[dict[str, list[float]]]:
    file = DATA / "sequential" / "known_optimum.json"
    if not file.exists():
        print(f"published problems left out: {file.name} is not there (set HALFSPLIT_DATA)", file=sys.stderr)
        return []
    entries: list[dict[str, list[float]]] = json.loads(file.read_text(encoding="utf-8"))
    return [entry for entry in entries if "prior" in entry]


def _row(name: str, values: NDArray[np.float64], digits: int = 3) -> str:
    return f"{name:<42}" + "".join(f"{value:>16.{digits}f}" for value in values)


def main(arguments: list[str]) -> int:
    """Print the table; 1 if 'ours' misses its aim on any kind of problem."""
    parser = argparse.ArgumentParser(prog="choice_arrays", description=__doc__)
    parser.add_argument("--count", type=int, default=40, help="random problems of each kind")
    parser.add_argument("--seed", type=int, default=1)
    options = parser.parse_args(arguments)
    print(f"{'expected minutes over the optimum':<42}" + "".join(f"{name:>16}" for name in POLICIES))
    missed = False
    for kind in KINDS:
        table = np.array([ratios(problem) for problem in sample(kind, options.count, options.seed)])
        name = kind.__name__.replace("_", " ")
        print(_row(f"{name}, mean of {options.count}", table.mean(axis=0)))
        print(_row(f"{name}, worst", table.max(axis=0)))
        missed |= bool(table[:, -1].mean() > AIM)
    for entry in _known_optima():
        values = np.array(ratios(published(entry)))
        print(_row(str(entry["id"]), values))
        missed |= bool(values[-1] > AIM)
    return int(missed)


if __name__ == "__main__":
    raise SystemExit(main(sys.argv[1:]))
