"""The bench of routes: a master's trees are read and walked as they are written.

The trees and what they reach are those of ../shared/cases (invented circuits, written by one who did not know the
faults); they are read there and not copied.
"""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from bench.routes import CASES, Job, jobs, master
from bench.routes_tree import End, Node, read_test, read_tree
from halfsplit.circuit.interventions import Jump, LampFor, Replace, Unplug
from halfsplit.diagnosis.there import check_measurement

OWN = Path(__file__).parents[2] / "bench" / "routes_cases"
TREE = """
works H12 (side lamps and brake) # the left as well?
 [yes|weak]
  volts X1.5:in (brake)
   [>0.4]
    => E2   proof: volts E2 to body (brake); works H2 (brake), jump E2 to body
   [else]
    => goes on: the other lamp
 [else]
  lamp F4.1 to F4.2 (brake), 21 W lamp in place of F4, unplug X8
   [bright]
    => wire X1.5 E2   proof: inspection wire X1.5 E2 (brake)
"""


def test_a_tree_is_read_as_it_is_written():
    tree = read_tree(TREE)
    assert isinstance(tree, Node)
    assert tree.test == read_test("works H12 (side lamps and brake)")
    volts, lamp = tree.after("weak"), tree.after("no")
    assert isinstance(volts, Node)
    assert isinstance(lamp, Node)
    assert lamp.test.changes == (LampFor("F4"), Unplug("X8"))
    found, open_end = volts.after(-1.8), volts.after(0.1)
    assert isinstance(found, End)
    assert (found.cause, found.proof[1].changes) == ("E2", (Jump("E2", "body"),))
    assert open_end == End(None, ())
    # A result that the tree does not have: there the master is at a loss.
    assert lamp.after("dark") is None
    assert read_test("works M9 (wipe), fit a known-good K7").changes == (Replace("K7"),)
    assert read_test("inspection A5.3 (preheating) ('pin drag',)").detail == ("pin drag",)
    with pytest.raises(ValueError, match="this is no test"):
        read_test("look at it")


@pytest.fixture(scope="module")
def given() -> list[Job]:
    if not CASES.exists():
        pytest.skip("the master's trees are not here (../shared/cases)")
    return list(jobs(CASES))


def _tests(place: Node | End | None):
    if isinstance(place, Node):
        yield place.test
        for _, follows in place.branches:
            yield from _tests(follows)
    elif place is not None:
        yield from place.proof


def test_every_test_of_the_trees_can_be_made_on_its_circuit(given):
    asked = [(job, test) for job in given for test in _tests(job.tree)]
    assert len(asked) > 100
    for job, test in asked:
        check_measurement(job.circuit, test)


def test_a_master_names_the_cause_where_the_tree_is_said_to_reach_it(given):
    right = json.loads((CASES / "jobs.json").read_text(encoding="utf-8"))
    for job in given:
        said = next(one for one in right[job.name]["faults"] if one["fault"] == job.fault.name)[
            "master_right"
        ]
        route = master(job, 1)
        assert (route.named == job.fault.group) is said, (job.name, job.fault.name, route)
        assert route.minutes > 0


def test_the_own_jobs_show_what_was_told_of_them():
    """A vehicle with the hidden fault does what the complaint says."""
    for job in jobs(OWN):
        car = job.vehicle(1)
        for one in job.about["told"]:
            assert car.solution(one["state"]).works(one["at"]) == one["value"], (
                job.name,
                job.fault.name,
                one,
            )
