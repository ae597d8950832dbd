"""`practice` on the terminal: to the cause, given up, and its scores."""

from __future__ import annotations

import json
import re

import pytest

from halfsplit.notation.circuit import Circuit
from halfsplit.practice import Exercise

VOLTS = "m\nvolts\nH1.1\n\non\nmeter\n\n"


def test_a_fault_that_is_named_ends_the_exercise_and_is_scored(run, circuit):
    cause = Exercise(Circuit.read(circuit), "single", 3).fault
    code, out, _ = run("practice", circuit, "--seed", 3, "--person", "Ada", typed=f"{VOLTS}n\n{cause.part}\n")
    assert code == 0
    assert f"The cause: {cause.name}. Repair: {cause.repair}." in out
    assert "Your path (minutes; bits to be expected; bits gained):" in out
    assert re.search(r"The best path(, proof included| \(it could not prove the cause\)):\n.+ min", out)
    (score,) = json.loads(run("practice", "--scores", "--json")[1])
    assert (score["person"], score["solved"], score["tests"], score["wrong"]) == ("Ada", True, 1, 0)
    assert "Ada" in run("practice", "--scores", "--person", "Ada")[1]
    assert "Ada" not in run("practice", "--scores", "--person", "Ben")[1]


def test_giving_up_tells_the_cause_what_was_wasted_and_ends_with_1(run, circuit):
    wasted = "m\nworks\nH1\noff\n\n"
    code, out, _ = run("practice", circuit, "--seed", 3, typed=f"r\ns\n{wasted}n\nX99\nn\nS1\ng\n")
    assert code == 1
    assert "there is nothing called 'X99' in this circuit; it was not counted" in out
    assert "It is not S1. The customer pays for a part that was good (25 points)." in out
    assert " bit could be had in " in out
    assert " would lead" in out
    assert "\n0 points: " in out
    assert "; 0 hints, 1 named in error." in out


def test_nothing_measured_is_nothing_scored(run, circuit):
    assert run("practice", circuit, "--seed", 3, typed="")[0] == 1
    assert json.loads(run("practice", "--scores", "--json")[1]) == []


@pytest.mark.parametrize(
    ("arguments", "code", "told"),
    [
        (("no-such-pattern",), 1, "there is no pattern 'no-such-pattern'; there are blower-electronic, "),
        (("--difficulty", "hard"), 1, "'hard' is no difficulty: use one of single, "),
        (("--json",), 2, "needs --scores"),
    ],
)
def test_what_makes_no_sense_is_told(run, arguments, code, told):
    found, out, err = run("practice", *arguments)
    assert (found, out) == (code, "")
    assert told in err
