"""Exercises: what is hidden fits the difficulty and is noticed; the referee, the best path and the points."""

from __future__ import annotations

import math

import pytest

from halfsplit.circuit.interventions import Jump, LampFor, Unplug
from halfsplit.diagnosis.measurement import Measurement
from halfsplit.errors import ConflictError, InputError, NotFoundError
from halfsplit.notation.circuit import Circuit
from halfsplit.practice import DIFFICULTIES, Exercise, hidden_again

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
    hint = exercise.hint()
    exercise.measure(hint.measurement)
    best, made = exercise.path.steps[0].best, exercise.path.steps[0].test
    assert (best.measurement, best.bits) == (made.measurement, pytest.approx(made.bits, rel=1e-9))
    assert exercise.path.steps[0].test.measurement == hint.measurement
    wrong = next(part for part in ("H1", "F1", "S1", "E1") if part not in exercise.fault.part)
    assert not exercise.condemn(wrong)
    assert exercise.condemn(exercise.fault.part)
    # Fewer minutes than the best path with its proof: 100, less one hint and one part.
    assert exercise.minutes < exercise.best.minutes
    assert exercise.points == 100 - 10 - 25
    for late in (exercise.hint, exercise.give_up, lambda: exercise.condemn("H1")):
        with pytest.raises(ConflictError, match="this exercise is over"):
            late()


def test_a_name_that_is_none_costs_nothing(circuit):
    exercise = Exercise(circuit, "single", 3)
    with pytest.raises(
        NotFoundError, match="there is nothing called 'X9' in this circuit; it was not counted"
    ):
        exercise.condemn("X9")
    assert (exercise.wrong, exercise.named) == (0, [])


def test_what_is_gained_adds_up_to_what_the_question_shrank_by(circuit):
    exercise = Exercise(circuit, "single", 3, slips=0.0)
    for asked in (Measurement("volts", "H1.1", "on", instrument="meter"), Measurement("blown", "F1", "on")):
        exercise.measure(asked)
    path = exercise.path
    assert sum(step.gained for step in path.steps) == pytest.approx(path.question[0] - path.question[-1])
    # By the definition of entropy: all of the question is how the shares of the repairs lie before anything is read.
    shares = Exercise(circuit, "single", 3).referee.posterior().probability.values()
    assert path.question[0] == pytest.approx(-sum(one * math.log2(one) for one in shares if one))
    assert path.minutes == pytest.approx(exercise.minutes)


def test_a_quote_tells_minutes_and_cautions_before_the_test_and_is_kept_to(circuit):
    exercise = Exercise(circuit, "single", 3)
    asked = Measurement("lamp", "H1.1", "on", instrument="load lamp")
    quote = exercise.quote(asked)
    assert any("hot" in caution for caution in quote.cautions)
    assert exercise.taken == []
    assert exercise.measure(asked).minutes == quote.minutes
    assert exercise.quote(asked).minutes < quote.minutes  # it is open by now, and switched on


@pytest.mark.parametrize(
    "asked",
    [
        Measurement("volts", "H9.1", "on"),
        Measurement("volts", "H1.1", "upside down"),
        Measurement("volts", "H1.1", "on", to="X9"),
        Measurement("works", "H1", "on", changes=(Unplug("X9"),)),
        Measurement("works", "H1", "on", changes=(LampFor("H1"),)),
        Measurement("works", "H1", "on", changes=(Jump("F1.1", "F9.1"),)),
    ],
)
def test_what_cannot_be_measured_is_told_and_nothing_is_taken(circuit, asked):
    exercise = Exercise(circuit, "single", 3)
    with pytest.raises(NotFoundError):
        exercise.measure(asked)
    assert exercise.taken == []


def test_an_exercise_that_is_taken_up_again_goes_on_as_if_it_had_not_been_put_away(circuit):
    asked = [Measurement("volts", point, "on", instrument="meter") for point in ("H1.1", "F1.2", "S1.2")]
    whole = Exercise(circuit, "intermittent", 4)
    first = [whole.measure(one) for one in asked[:2]]
    hidden = hidden_again(
        circuit, tuple(one.name for one in whole.hidden.faults), whole.complaints, whole.history
    )
    again = Exercise(circuit, "intermittent", 4, hidden=hidden)
    for one in first:
        again.take_up(one.reading.measurement, one.reading.value, one.reading.present, one.minutes)
    assert again.measure(asked[2]) == whole.measure(asked[2])
    assert again.taken == whole.taken
    with pytest.raises(InputError, match="begun with another release"):
        hidden_again(circuit, ("H9 open",), whole.complaints)


def test_the_best_path_ends_at_the_cause(circuit):
    best = Exercise(circuit, "single", 3, slips=0.0).best
    assert best.proven
    assert best.minutes == pytest.approx(sum(step.test.minutes for step in best.steps))


def test_a_test_that_tells_nothing_is_told_as_wasted_with_what_its_minutes_could_have_told(circuit):
    exercise = Exercise(circuit, "single", 3)
    exercise.measure(Measurement("works", "H1", "off"))
    exercise.measure(exercise.hint().measurement)
    wasted, good = exercise.path.steps
    assert (wasted.wasted, good.wasted) == (True, False)
    assert wasted.best.bits > wasted.test.bits
    assert wasted.best.means
    assert all(repair in exercise.referee.posterior().probability for _, repair in wasted.best.means)


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


def test_a_test_that_can_tell_nothing_is_ranked_as_such(circuit):
    referee = Exercise(circuit, "single", 3).referee
    for _ in range(3):
        for to in (None, "body"):
            referee.measure("volts", "E1", to=to, state="on", value=12.3)
    assert referee.finding().part == "E1"
    told = referee.rank(Measurement("volts", "G1.-", "off", to="G1.-", instrument="meter"))
    assert told.bits == 0.0
    assert told.minutes > 0
