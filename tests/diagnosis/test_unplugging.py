"""A supply that has collapsed: one plug after the other comes off, and does it come back?

Common practice, no source; what comes back is Kirchhoff's: with the short's branch open nothing drags the supply.
"""

from dataclasses import replace

import pytest

from halfsplit import Circuit, Diagnosis
from halfsplit.circuit.interventions import Replace, Unplug
from halfsplit.diagnosis.measurement import Measurement
from halfsplit.diagnosis.proof_value import open_letters
from halfsplit.diagnosis.waiting import waiting
from halfsplit.diagnosis.words import change_words

SENSORS = """
battery G1 at "engine bay"
fuse F1 10 A at "fuse box"
sensor B1 0.3 4 kohm at "left"
sensor B2 0.4 4 kohm at "right"
connector X1 at "left"
connector X2 at "right"
ground E1 at "engine bay"
module A1 at "bulkhead"
  feed 15
  earth 31 32
  supplies 40 5 V limit 60 mA
  reads 11 as left pulled down 100 kohm
  reads 12 as right pulled down 100 kohm
G1.+ -- F1 -- A1.15
A1.31 -- E1
A1.40 --[0.5mm2 1m]-- SP1
SP1 --[0.5mm2 1m]-- X1.1 -- B1.1
SP1 --[0.5mm2 1m]-- X2.1 -- B2.1
B1.2 -- X1.2 -- A1.11
B2.2 -- X2.2 -- A1.12
B1.3 -- X1.3 -- A1.32
B2.3 -- X2.3 -- A1.32
G1.- -- E1
state "on"
gauge P1 volts at A1.11 within 0.03 V "left"
gauge P2 volts at A1.12 within 0.03 V "right"
"""


@pytest.fixture(scope="module")
def sensors() -> Circuit:
    return Circuit.parse(SENSORS)


def collapsed(circuit: Circuit) -> Diagnosis:
    """Both sensors read nothing in live data, and the supply has nothing at the left plug."""
    job = Diagnosis(circuit, instruments=("meter",), draws=4)
    for gauge in ("P1", "P2"):
        job.measure("gauge", gauge, state="on", value=0.01)
    job.measure("volts", "X1.1:in", state="on", value=0.02)
    return job


def after(job: Diagnosis, circuit: Circuit, fault: str, at: str, *off: str) -> None:
    """A reading in volts on a vehicle with this fault, with these plugs off."""
    made = [Unplug(name) for name in off]
    job.measure(
        "volts", at, state="on", value=circuit.solve("on", fault=fault, changes=made).volts(at), changes=made
    )


def test_each_plug_on_a_collapsed_supply_is_taken_off_while_volts_and_live_data_are_watched(sensors):
    asked = waiting(collapsed(sensors).situation())
    for plug in ("X1", "X2"):
        assert Measurement("volts", "X1.1:in", "on", None, "meter", (Unplug(plug),)) in asked
    assert Measurement("gauge", "P1", "on", changes=(Unplug("X2"),)) in asked


def test_what_was_unplugged_stays_so_until_the_volts_are_back(sensors):
    job = collapsed(sensors)
    after(job, sensors, "B2 shorted", "X1.1:in", "X1")
    both = Measurement("volts", "X1.1:in", "on", None, "meter", (Unplug("X1"), Unplug("X2")))
    assert both in waiting(job.situation())
    after(job, sensors, "B2 shorted", "X1.1:in", "X1", "X2")
    assert next(iter(job.posterior().probability)) == "B2"


def test_a_shorted_sensor_is_shown_by_its_ohms_and_by_what_comes_back_without_it(sensors):
    """That its own volts are gone shows nothing: they are gone all along the line."""
    job = collapsed(sensors)
    after(job, sensors, "B2 shorted", "X1.1:in", "X2")
    letters = open_letters(job.situation(), "B2")
    assert [test.quantity for letter in letters for test, _ in letter.options] == ["ohms"]


def test_no_plug_comes_off_where_the_supply_is_there(sensors):
    job = Diagnosis(sensors, instruments=("meter",), draws=4)
    job.measure("gauge", "P1", state="on", value=0.01)
    job.measure("volts", "X1.1:in", state="on", value=5.0)
    assert not [test for test in waiting(job.situation()) if test.quantity == "volts" and test.changes]


def test_a_wire_that_meets_in_a_splice_is_cut_only_after_a_look_at_all_and_proven_by_what_comes_back(sensors):
    job = collapsed(sensors)
    after(job, sensors, "wire SP1 X2.1 short to body", "X1.1:in", "X1", "X2")
    off = [Unplug(name) for name in ("A1", "X1", "X2")]
    job.measure("ohms", "X1.1:in", to="body", state="on", value=0.1, changes=off)
    wire = "wire SP1 X2.1"

    def cutting() -> list[Measurement]:
        return [test for test in waiting(job.situation()) if Replace(wire) in test.changes]

    assert not cutting()
    job.measure("inspection", wire, state="on", value="good")
    assert not cutting()
    for other in ("wire A1.40 SP1", "wire SP1 X1.1"):
        job.measure("inspection", other, state="on", value="good")
    trial = next(test for test in cutting() if test.quantity == "volts")
    # The harness is opened once for all the wires that meet there.
    bay = job.situation().bay
    other = replace(
        trial, changes=tuple(Replace("wire SP1 X1.1") if c == Replace(wire) else c for c in trial.changes)
    )
    assert bay.minutes(trial) - bay.after(other).minutes(trial) > 10
    before = job.posterior().probability[wire]
    job.measure("volts", trial.at, state="on", value=5.0, changes=trial.changes)
    assert job.posterior().probability[wire] > max(0.9, before)
    assert not [letter for letter in open_letters(job.situation(), wire) if "another wire" in letter.text]
    assert change_words(Replace(wire), sensors).startswith("Cut wire SP1 to X2.1 off at both ends")


BUS = """
battery G1 at "engine bay"
fuse F1 10 A at "fuse box"
connector X1 "door harness" at "pillar"
ground E1 at "engine bay"
module A1 "body unit" at "dash"
  feed 30
  earth 31
  talks on CAN1 at 1 2
module A2 "gateway" at "dash"
  feed 30
  earth 31
  talks on CAN1 at 1 2
module A3 "door unit" at "door"
  feed 30
  earth 31
  talks on CAN1 at 1 2
terminator 120 ohm at A1
terminator 120 ohm at A2
G1.+ -- F1 -- SP1
SP1 -- A1.30
SP1 -- A2.30
SP1 -- A3.30
A1.31 -- E1
A2.31 -- E1
A3.31 -- E1
A1.1 -- A2.1 -- SP2 -- X1.1 -- A3.1
A1.2 -- A2.2 -- SP3 -- X1.2 -- A3.2
G1.- -- E1
state "on"
"""


def test_one_plug_after_the_other_comes_off_a_dead_bus_while_another_unit_is_asked_for_its_answer():
    """Common practice, no source: with the shorted branch off the others talk again."""
    circuit = Circuit.parse(BUS)
    short = "wire X1.1 A3.1 short to body"
    job = Diagnosis(circuit, instruments=("meter",), draws=4)
    for unit in ("A1", "A2", "A3"):
        assert not circuit.solve("on", fault=short).answers(unit)
        job.observe(unit, answers=False, state="on")
    test = Measurement("answers", "A1", "on", changes=(Unplug("X1"),))
    assert circuit.solve("on", fault=short, changes=test.changes).answers("A1")
    assert test in waiting(job.situation())
