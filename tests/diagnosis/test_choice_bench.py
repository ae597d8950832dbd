"""What the engine is held against in `python -m bench choice`: the other ways of looking, counted by hand.

Common practice, no source: tracing, halving by position, replacing on suspicion.
"""

from __future__ import annotations

import json
import math

import pytest

from bench import choice, choice_report
from bench.choice_jobs import LONG_LINES, Case, arrived, case, long_line, told_by
from bench.choice_ours import replace
from bench.choice_small import FAULTS, TESTS, expected_minutes, problem_of
from bench.choice_walks import halve, line, trace, walk
from bench.optimum import optimum
from bench.sequencing import half_split, ours
from bench.shared import kept_rows
from halfsplit import Circuit
from halfsplit.notation.library import sample


def _relay_load() -> Circuit:
    return Circuit.parse(sample("relay-load").text)


def _case(circuit: Circuit, name: str) -> Case:
    """A case whose vehicle slips never in the first readings (seed 5)."""
    import numpy as np

    fault = circuit.faults[name]
    return Case(circuit, fault, told_by(arrived(circuit, fault, 5), np.random.default_rng(5)), 5)


@pytest.mark.parametrize("points", LONG_LINES)
def test_a_long_line_has_its_points_and_every_border_is_found(points):
    found = line(Circuit.parse(long_line(points)), "M1", "on")
    assert found is not None
    assert len(found.points) == points == len(found.between) - 1
    assert (found.points[0], found.points[-1]) == ("G1.+", "G1.-")
    assert found.points[found.loaded - 1 : found.loaded + 1] == ("M1.1", "M1.2")
    for border in range(points + 1):
        asked: list[int] = []

        def beyond(place: int, border: int = border, asked: list[int] = asked) -> bool:
            asked.append(place)
            return place < border

        assert halve(found, beyond) == border
        assert len(asked) <= math.ceil(math.log2(points + 1))
        asked.clear()
        assert trace(found, beyond) == border
        # One for each point passed on the feed side; the load's two first, then the ground side's.
        away = found.loaded - border if border < found.loaded else border - found.loaded + 1
        assert away <= len(asked) <= away + 1


def test_both_ways_come_to_the_stretch_with_the_fault():
    one = _case(_relay_load(), "wire X1.2 E2 open")
    halved, traced = walk(one, halve), walk(one, trace)
    assert halved.repairs == traced.repairs == {"wire X1.2 E2"}
    assert halved.points == traced.points
    assert (halved.tests, traced.tests) == (5, 6)
    assert min(halved.minutes, traced.minutes) > 1.5 * 5


def test_a_relay_that_does_not_close_is_followed_to_its_coil():
    one = _case(_relay_load(), "F2 open")
    for order in (halve, trace):
        assert "F2" in walk(one, order).repairs


def test_what_works_when_it_should_not_has_no_line_to_trace():
    one = _case(_relay_load(), "K1 contact welded")
    assert {told.value for told in one.told} == {"yes"}
    assert walk(one, trace).repairs == frozenset()
    assert walk(one, trace).tests == 0


def test_parts_are_fitted_by_probability_until_one_cures():
    circuit = _relay_load()
    first, later = replace(_case(circuit, "M1 open")), replace(_case(circuit, "F2 open"))
    assert (first.parts, first.minutes, first.cost) == (0, 0.0, 0.0)
    assert later.parts > 0
    assert later.cost > later.minutes / 60.0 * 90.0
    assert later.cured


def test_the_small_problem_is_one_and_no_way_beats_its_optimum():
    made = case(_relay_load(), 1, 0)
    assert made is not None
    problem = problem_of(made, 1)
    assert problem is not None
    assert problem.alive <= FAULTS
    assert len(problem.costs) <= TESTS
    best = optimum(problem).minutes
    assert best <= expected_minutes(problem, ours) <= 1.05 * best
    assert expected_minutes(problem, half_split) > best


def _row(number: int, named: str | None, shares: list[list[float]]) -> dict[str, object]:
    ours = {
        "named": named, "proven": named == "A", "tests": 4, "minutes": 10.0, "found": named,
        "found_tests": 3, "found_minutes": 8.0, "stretch_tests": 2, "stretch_minutes": 6.0,
        "slips": 0, "last": 0.4, "rivals": {"B": 0.6, "A": 0.4},
        "shares": shares, "steps": [], "seconds": 1.0,
    }  # fmt: skip
    way = {"right": True, "named": ["A"], "tests": 9, "minutes": 20.0}
    return {
        "kind": "job", "circuit": "made up", "number": number, "seed": 1, "fault": "A open", "group": "A", "told": [],
        "points": 20, "halving": way, "tracing": way, "ours": ours,
        "replacing": {"parts": 1, "minutes": 30.0, "cost": 55.0, "cured": True},
    }  # fmt: skip


def test_the_report_counts_undecided_as_not_right_and_tells_what_was_true():
    rows = [
        _row(0, "A", [[0.65, True], [0.97, True]]),
        _row(1, None, [[0.65, False], [0.61, True]]),
        _row(2, "B", [[0.65, False], [0.96, False]]),
    ]
    assert [choice_report.right(row) for row in rows] == [True, False, False]
    assert [choice_report.look_alike(row) for row in rows] == [False, True, False]
    told = choice_report.told_and_true(rows)
    assert [(low, many) for low, _, _, many in told] == [(0.6, 4), (0.95, 2)]
    assert [true for *_, true, _ in told] == [0.5, 0.5]
    assert choice_report.calibration_error(rows) == pytest.approx((4 * 0.14 + 2 * 0.465) / 6)
    assert "Not right: 2, of which 1 look alike" in choice_report.tables(rows)
    assert choice_report.missed(rows) == ["right cause: under 97%"]


def test_a_run_that_was_broken_off_is_gone_on_with(tmp_path):
    kept = tmp_path / "choice.jsonl"
    rows = [_row(number, "A", []) | {"circuit": "relay-load"} for number in range(2)]
    small = {"kind": "small", "circuit": "relay-load", "number": 0, "seed": 1, "faults": 0}
    kept.write_text("\n".join(json.dumps(row) for row in [small, *rows]) + '\n{"kind": "jo', encoding="utf-8")
    found = kept_rows(kept)
    assert len(found) == 3
    done = {(row["kind"], row["circuit"], row["number"], row["seed"]) for row in found}
    assert list(choice.work(["relay-load"], 2, 1, done)) == []
