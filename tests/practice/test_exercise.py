"""Exercises: what is hidden fits the difficulty and is noticed; the referee, the best path and the points."""

from __future__ import annotations

import pytest

from halfsplit.diagnosis.measurement import Measurement
from halfsplit.errors import ConflictError, InputError
from halfsplit.notation.circuit import Circuit
from halfsplit.practice import DIFFICULTIES, Exercise, Score, keep_score, scores

CIRCUIT = """\
battery G1  12 V 6 mohm
fuse F1 10 A
switch S1 off on
lamp H1 21 W
ground E1
ground E2
G1.+ -- F1 -- S1 -- H1 -- E1
G1.- -- E2
state "off"
state "on"  S1 on
"""


@pytest.fixture(scope="module")
def circuit():
    return Circuit.parse(CIRCUIT)


@pytest.mark.parametrize("difficulty", DIFFICULTIES)
@pytest.mark.parametrize("seed", range(6))
def test_what_is_hidden_is_noticed_by_the_customer(circuit, difficulty, seed):
    exercise = Exercise(circuit, difficulty, seed)
    assert exercise.complaints
    for load, works, state in exercise.complaints:
        assert (
            circuit.solve(state, fault=exercise.fault).works(load)
            == works
            != circuit.healthy_word(load, state)
        )


@pytest.mark.parametrize("seed", range(6))
def test_each_difficulty_hides_what_it_says(circuit, seed):
    assert Exercise(circuit, "high resistance", seed).fault.mode == "high resistance"
    first, second = Exercise(circuit, "pair", seed).fault.members
    assert first.part != second.part
    misled = Exercise(circuit, "misleading history", seed)
    assert misled.history
    assert not {misled.fault.part, misled.fault.part.partition(".")[0], *misled.fault.touches} & set(
        misled.history
    )


def test_the_same_number_is_the_same_exercise(circuit):
    asked = Measurement("volts", "H1.1", "on", instrument="meter")
    first, again = (Exercise(circuit, "single", 7) for _ in range(2))
    assert (first.fault, first.complaints) == (again.fault, again.complaints)
    assert first.measure(asked).reading.value == again.measure(asked).reading.value


def test_an_intermittent_fault_is_there_and_away(circuit):
    exercise = Exercise(circuit, "intermittent", 2)
    asked = Measurement("works", exercise.complaints[0][0], exercise.complaints[0][2])
    answers = {(exercise.vehicle.answer(asked), exercise.vehicle.present) for _ in range(40)}
    assert {present for _, present in answers} == {"yes", "no"}
    assert {word for word, present in answers if present == "no"} == {"yes"}
    assert {word for word, present in answers if present == "yes"} == {exercise.complaints[0][1]}


def test_points_fall_with_hints_and_parts_condemned_in_error(circuit):
    exercise = Exercise(circuit, "single", 3)
    assert exercise.points == 0
    best = exercise.hint()
    assert exercise.measure(best.measurement).best.measurement == best.measurement
    assert not exercise.condemn("nothing of the kind")
    assert exercise.condemn(exercise.fault.part)
    # Fewer minutes than the best path with its proof: 100, less one hint and one part.
    assert exercise.minutes < exercise.best.minutes
    assert exercise.points == 100 - 10 - 25
    with pytest.raises(ConflictError, match="this exercise is solved"):
        exercise.hint()


def test_the_best_path_ends_at_the_cause(circuit):
    best = Exercise(circuit, "single", 3, slips=0.0).best
    assert best.proven
    assert best.minutes == pytest.approx(sum(test.minutes for test, _ in best.steps))


def test_a_test_that_tells_nothing_is_told_as_wasted(circuit):
    exercise = Exercise(circuit, "single", 3)
    assert exercise.measure(Measurement("works", "H1", "off")).wasted
    best = exercise.hint()
    assert not exercise.measure(best.measurement).wasted


def test_both_of_a_pair_have_to_be_named(circuit):
    exercise = Exercise(circuit, "pair", 1)
    first, second = (one.part for one in exercise.fault.members)
    assert exercise.condemn(first)
    assert not exercise.solved
    assert exercise.condemn(second)
    assert exercise.solved


def test_what_cannot_be_practised_is_told(circuit):
    with pytest.raises(InputError, match="'hard' is no difficulty: use one of single, high resistance"):
        Exercise(circuit, "hard")
    dark = Circuit.parse(
        "battery G1\nfuse F1 10 A\nsensor B1 100 ohm\nground E1\nG1.+ -- F1 -- B1 -- E1\nG1.- -- E1\n"
    )
    with pytest.raises(InputError, match="no fault for 'single' that a customer would notice"):
        Exercise(dark)


def test_scores_are_kept_by_person(tmp_path):
    file = tmp_path / "kept" / "practice.jsonl"
    mine = Score("Ada", "2026-03-02T08:00:00+00:00", "a", "single", 1, True, 90, 10.0, 4, 9.0, 3, 1, 0)
    other = Score("Ben", "2026-03-02T09:00:00+00:00", "a", "pair", 2, False, 0, 30.0, 9, 20.0, 7, 0, 2)
    for one in (mine, other):
        keep_score(file, one)
    with file.open("a", encoding="utf-8") as stream:
        stream.write("damaged\n")
    assert scores(file) == (mine, other)
    assert scores(file, "Ben") == (other,)
    assert scores(tmp_path / "none") == ()


def test_a_test_that_can_tell_nothing_is_ranked_as_such(circuit):
    referee = Exercise(circuit, "single", 3).referee
    for _ in range(3):
        for to in (None, "body"):
            referee.measure("volts", "E1", to=to, state="on", value=12.3)
    assert referee.finding().part == "E1"
    told = referee.rank(Measurement("volts", "G1.-", "off", to="G1.-", instrument="meter"))
    assert told.bits == 0.0
    assert told.minutes > 0
