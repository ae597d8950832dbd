"""What a technician can type that makes no sense: a clear word, and nothing of it kept."""

from __future__ import annotations

import math

import pytest

from halfsplit import Circuit, Diagnosis, HalfsplitError, ImplausibleReadingError, UnknownNameError
from halfsplit.errors import ConflictError, InputError, NotFoundError

LAMP = """
battery G1
fuse F1 10 A
switch S1
lamp H1 21 W
ground E1
G1.+ -- F1 -- S1 -- H1 -- E1
G1.- -- E1
state "off"
state "on" S1 closed
"""


@pytest.fixture
def job():
    return Diagnosis(Circuit.parse(LAMP))


@pytest.mark.parametrize(
    ("given", "error", "text"),
    [
        (
            {"at": "H1.1", "state": "up", "value": 1.0},
            UnknownNameError,
            'there is no state "up" in this circuit; it has "off", "on"',
        ),
        ({"at": "H1.9", "value": 1.0}, UnknownNameError, "there is no point 'H1.9' in this circuit"),
        (
            {"at": "H1.1", "to": "H9.1", "value": 1.0},
            UnknownNameError,
            "there is no point 'H9.1' in this circuit",
        ),
        (
            {"at": "H1.1", "value": math.nan},
            InputError,
            "nan is no reading: give the number that the instrument shows",
        ),
        (
            {"at": "H1.1", "value": math.inf},
            InputError,
            "inf is no reading: give the number that the instrument shows",
        ),
        ({"at": "H1.1", "value": "bright"}, InputError, "'bright' is no answer to 'volts': give a number"),
        (
            {"at": "H1.1", "value": 400.0},
            ImplausibleReadingError,
            "400 V on a 12 V net? More than 16.8 V is out of the ordinary: check range and decimal point.: "
            "record it again as sure if it stands",
        ),
    ],
)
def test_readings_that_cannot_be(job, given, error, text):
    with pytest.raises(error) as raised:
        job.measure("volts", **({"state": "on"} | given))
    assert str(raised.value) == text
    assert job.readings == ()


def test_a_reading_that_can_hardly_be_is_kept_when_one_is_sure(job):
    job.measure("volts", "H1.1", state="on", value=40.0, sure=True)
    assert len(job.readings) == 1


@pytest.mark.parametrize(
    ("quantity", "at", "value", "text"),
    [
        ("works", "H1", "perhaps", "'perhaps' is no answer to 'works': use yes, weak, no"),
        ("works", "H1", 1.0, "'works' is answered in words: use yes, weak, no"),
        ("watts", "H1", 1.0, "there is no quantity 'watts'"),
        ("works", "H7", "no", "there is no part 'H7' in this circuit"),
        ("amps", "wire A B", 1.0, "there is no wire, contact or two-pin part 'wire A B' in this circuit"),
        ("stage", "fuel", "yes", "there is no stage 'fuel' in this circuit"),
        ("inspection", "wire A B", "good", "there is no 'wire A B' in this circuit"),
    ],
)
def test_answers_and_names_that_are_none(job, quantity, at, value, text):
    with pytest.raises(HalfsplitError) as raised:
        job.measure(quantity, at, state="on", value=value)
    assert str(raised.value) == text
    assert job.readings == ()


def test_striking_twice_and_striking_what_is_not_there(job):
    reading = job.complain("H1")
    job.strike(reading, "the customer meant another lamp")
    with pytest.raises(ConflictError) as twice:
        job.strike(reading, "again")
    assert str(twice.value) == "this reading is struck out already"
    assert job.readings[0].struck == "the customer meant another lamp"
    other = Diagnosis(job.circuit)
    with pytest.raises(NotFoundError) as absent:
        other.strike(reading, "not mine")
    assert str(absent.value) == "this reading is none of this job"


def test_one_reading_is_not_taken_twice(job):
    job.complain("H1", state="on")
    test = job.next_tests(1)[0]
    job.record(test, test.outcomes[0].word or test.outcomes[0].typical, id="tablet-7")
    with pytest.raises(ConflictError) as raised:
        job.record(test, test.outcomes[0].word or test.outcomes[0].typical, id="tablet-7")
    assert str(raised.value) == "a reading tablet-7 is there already"
    assert len(job.readings) == 2


@pytest.mark.parametrize(
    ("quantity", "value"),
    [("amps", 4000.0), ("ohms", -3.0), ("volts", -11.0), ("duty", 70.0), ("hertz", -1.0)],
)
def test_an_odd_number_of_any_unit_is_asked_about(job, quantity, value):
    at = {"amps": "F1", "duty": "H1.1", "hertz": "H1.1"}.get(quantity, "H1.1")
    with pytest.raises(ImplausibleReadingError, match="out of the ordinary"):
        job.measure(quantity, at, state="on", value=value)
    assert job.readings == ()


def test_an_unknown_kind_of_code_and_unknown_earlier_work(job):
    with pytest.raises(InputError, match="there is no kind of code 'sad'"):
        job.code("H1", "sad")
    with pytest.raises(NotFoundError, match="there is no part or connector 'X9'"):
        job.earlier_work(["X9"])
    assert job.readings == ()
