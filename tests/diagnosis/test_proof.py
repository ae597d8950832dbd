"""What is called proven: each letter of the proof against a control unit, joints, absent faults.

For each letter a simulated vehicle has just that defect; it must never end with the unit proven bad. A few runs are
made in the suite; ``HALFSPLIT_RUNS=1000`` makes as many of each letter.
"""

from __future__ import annotations

import math
import os

import numpy as np
import pytest

from halfsplit import Circuit, Diagnosis
from halfsplit.circuit.interventions import Jump, Replace, Unplug
from halfsplit.diagnosis.cost import cautions
from halfsplit.diagnosis.measurement import CODING, PIN_DRAG, TRIED_AGAIN, Measurement
from halfsplit.diagnosis.predictions import Predictions
from halfsplit.diagnosis.proof import Finding
from halfsplit.diagnosis.proof_parts import requirements
from halfsplit.notation.library import sample
from halfsplit.practice.vehicle import Vehicle
from tests.circuits import BARE_LAMP as LAMP

RUNS = int(os.environ.get("HALFSPLIT_RUNS", "3"))
SLIPS = 1 / 50
MOST_TESTS = 40

UNIT = """
battery G1
fuse F1 15 A
switch S1 off on
lamp H1 21 W
ground E1
ground E2
module A1 "body control unit"
  feed 30
  earth 31
  reads 5 pulled down 10 kohm
  talks on CAN1 at 1 2
  drives 12 high latches off until "off" when 5 is high and A1 hears A2
module A2 "instrument cluster"
  feed 30
  earth 31
  talks on CAN1 at 1 2
G1.- --[16mm2 0.6m]-- E2
G1.+ --[4mm2 1m]-- F1 --[2.5mm2 1m]-- A1.30
F1.2 --[0.5mm2 1m]-- S1 --[0.5mm2 1m]-- A1.5
F1.2 --[1mm2 1m]-- A2.30
A1.1 -- A2.1
A1.2 -- A2.2
A1.31 --[2.5mm2 1m]-- E2
A2.31 -- E2
A1.12 --[1mm2 2m]-- H1 --[1mm2 1m]-- E1
state "off"
state "on" S1 on
"""


@pytest.fixture(scope="module")
def unit():
    circuit = Circuit.parse(UNIT)
    return circuit, Predictions(circuit, draws=16, seed=0)


class Bay(Vehicle):
    """A vehicle whose technician ticks off everything as good, but for what is named: there the truth comes out."""

    true_ticks: tuple[str, ...] = ()

    def answer(self, measurement: Measurement) -> float | str:
        if measurement.quantity == "inspection" and measurement.detail in ((TRIED_AGAIN,), (CODING,)):
            aspect = measurement.detail[0]
            if aspect not in self.true_ticks:
                return "good"
            if aspect == CODING:
                return "bad"
        return super().answer(measurement)


class Latched(Bay):
    """Its driver latched off after an overload that is over: with the latch cleared the unit drives again."""

    def answer(self, measurement: Measurement) -> float | str:
        return "bad" if measurement.detail == (TRIED_AGAIN,) else super().answer(measurement)


class Uncoded(Bay):
    """A unit that does not know that its vehicle has this lamp."""

    true_ticks = (CODING,)


class Terminals(Bay):
    """A terminal of the unit does not touch: leads straight at its pins go round that."""

    true_ticks = (TRIED_AGAIN,)


class Looked(Vehicle):
    """It notes which of its sound contacts were taken for bad ones."""

    def __init__(self, *given: object) -> None:
        super().__init__(*given)
        self.seen_wrongly: list[str] = []

    def answer(self, measurement: Measurement) -> float | str:
        answered = super().answer(measurement)
        if measurement.quantity == "inspection" and answered == "bad":
            self.seen_wrongly.append(measurement.at)
        return answered


def _everything() -> list[Measurement]:
    """What one who wants the unit to be the cause can measure: everything around it, and each letter of its proof."""
    state = "on"
    points = ("F1.1", "F1.2", "A1.30", "A1.31", "A1.5", "A1.12", "H1.1", "H1.2", "E1")
    pairs = (("A1.12", "H1.1"), ("H1.1", "H1.2"), ("H1.2", "E1"), ("E1", "body"), ("A1.31", "E2"))
    told = [Measurement("volts", point, state, instrument="meter") for point in points]
    told += [Measurement("volts", a, state, to=b, instrument="meter") for a, b in pairs]
    told += [Measurement("answers", name, state) for name in ("A1", "A2")]
    contacts = ("A1.30", "A1.31", "A1.5", "A1.12")
    told += [Measurement("inspection", at, state, detail=one) for at in contacts for one in ((), (PIN_DRAG,))]
    told.append(Measurement("lamp", "A1.30", state, instrument="test lamp"))
    told.append(Measurement("ohms", "A1.12", state, to="body", instrument="meter", changes=(Unplug("A1"),)))
    told += [Measurement("inspection", "A1", state, detail=(tick,)) for tick in (TRIED_AGAIN, CODING)]
    return told


def _condemn(unit: tuple[Circuit, Predictions], vehicle: Vehicle, *, absent: bool = False) -> Finding | None:
    """The finding after everything was measured; ``absent``: each time while the fault was not there."""
    circuit, predictions = unit
    job = Diagnosis(circuit, predictions=predictions, intermittent=absent)
    shown = "no" if absent else "yes"
    job.complain("H1", works="no" if absent else vehicle.solution("on").works("H1"), state="on")
    for one in _everything():
        job.measure(
            one.quantity, one.at, to=one.to, state=one.state, instrument=one.instrument, changes=one.changes,
            detail=one.detail, value=vehicle.answer(one), present=shown, sure=True,
        )  # fmt: skip
    return job.finding()


DEFECTS = {
    "a the fault is not there": (Bay, ("nothing wrong",)),
    "b a feed or an earth under load": (
        Bay,
        ("wire F1.2 A1.30 high resistance 1 ohm", "A1.31 high resistance 10 ohm", "wire A1.31 E2 open"),
    ),
    "c a command": (Bay, ("wire S1.2 A1.5 open", "S1 open", "CAN1 lines shorted")),
    "d a terminal of the unit": (Terminals, ("A1.12 open", "A1.5 open", "A1.30 open")),
    "e the wire and the load": (Bay, ("wire A1.12 H1.1 open", "wire A1.12 H1.1 short to body", "H1 shorted")),
    "f the latch": (Latched, ("A1.12 never on",)),
    "g the coding": (Uncoded, ("A1.12 never on",)),
    "h a rival": (Bay, ("H1 open", "wire H1.2 E1 open", "E1 open")),
}


@pytest.mark.parametrize(("bay", "faults"), DEFECTS.values(), ids=DEFECTS)
def test_the_defect_of_one_letter_never_ends_with_the_unit_proven(unit, bay, faults):
    circuit, _ = unit
    for seed in range(RUNS):
        fault = circuit.faults[faults[seed % len(faults)]]
        vehicle = bay(circuit, fault, np.random.default_rng(seed), slips=SLIPS)
        finding = _condemn(unit, vehicle, absent=fault.name == "nothing wrong")
        assert not (finding and finding.proven and finding.part == "A1"), (fault.name, seed)


def test_a_unit_that_is_bad_is_proven_by_the_same_readings(unit):
    """Else the test above could not fail. Where a sound contact is taken for a bad one, the unit stays unproven."""
    circuit, _ = unit
    proven = []
    for seed in range(3):
        vehicle = Looked(circuit, circuit.faults["A1.12 never on"], np.random.default_rng(seed))
        finding = _condemn(unit, vehicle)
        proven.append(finding is not None and (finding.part, finding.proven) == ("A1", True))
        assert proven[-1] == (not vehicle.seen_wrongly), (seed, vehicle.seen_wrongly, finding)
    assert any(proven)


def test_the_tool_leads_to_the_proof_of_a_dead_unit(unit):
    circuit, predictions = unit
    vehicle = Vehicle(circuit, circuit.faults["A1 dead"], np.random.default_rng(2))
    job = Diagnosis(circuit, predictions=predictions)
    job.complain("H1", state="on")
    for _ in range(MOST_TESTS):
        if (finding := job.finding()) and finding.proven:
            break
        test = job.next_tests(1)[0]
        job.record(test, vehicle.answer(test.measurement), sure=True)
    finding = job.finding()
    assert finding is not None
    assert (finding.part, finding.proven) == ("A1", True)


def _bad_ground() -> tuple[Diagnosis, Vehicle]:
    """A job on a lamp with 10 ohm in its ground, measured until that is found, its own drop once."""
    circuit = Circuit.parse(LAMP)
    vehicle = Vehicle(circuit, circuit.faults["E1 high resistance 10 ohm"], np.random.default_rng(0))
    job = Diagnosis(circuit)
    job.complain("H1", works=vehicle.solution("on").works("H1"), state="on")
    for point in ("H1.1", "H1.2", "E1"):
        measurement = Measurement("volts", point, "on", instrument="meter")
        job.measure("volts", point, state="on", value=vehicle.answer(measurement))
    _drop(job, vehicle)
    return job, vehicle


def _drop(job: Diagnosis, vehicle: Vehicle) -> None:
    value = vehicle.answer(Measurement("volts", "E1", "on", to="body", instrument="meter"))
    job.measure("volts", "E1", to="body", state="on", value=value)


def test_a_joint_needs_its_own_drop_twice_and_bridging():
    job, vehicle = _bad_ground()
    before = job.finding()
    assert before is not None
    assert (before.part, before.proven) == ("E1", False)
    assert len(before.missing_proof) == 2
    _drop(job, vehicle)
    after = job.finding()
    assert after.missing_proof == ("bridging E1 to body restores the function",)
    assert not after.proven
    job.measure("works", "H1", state="on", value="yes", changes=[Jump("E1", "body")])
    assert job.finding().proven


def test_a_joint_whose_bridging_changes_nothing_is_not_proven():
    job, vehicle = _bad_ground()
    _drop(job, vehicle)
    job.measure("works", "H1", state="on", value="no", changes=[Jump("E1", "body")])
    finding = job.finding()
    assert finding is None or not finding.proven


def test_one_inspection_does_not_prove():
    job, _ = _bad_ground()
    job.measure("inspection", "E1", state="on", value="bad")
    finding = job.finding()
    assert finding.part == "E1"
    assert not finding.proven


def test_a_contact_that_only_looks_tell_from_the_unit_needs_two(unit):
    circuit, predictions = unit
    job = Diagnosis(circuit, predictions=predictions)
    job.complain("H1", state="on")
    for point, volts in (("A1.30", 12.5), ("A1.5", 12.5), ("A1.12", 0.0)):
        job.measure("volts", point, state="on", value=volts)
    job.measure("inspection", "A1.5", state="on", value="good", detail=[PIN_DRAG])
    job.measure("inspection", "A1.12", state="on", value="bad")
    first = job.finding()
    assert first is None or not first.proven
    job.measure("inspection", "A1.12", state="on", value="bad", detail=[PIN_DRAG])
    finding = job.finding()
    assert (finding.part, finding.proven) == ("A1.12", True)


def test_readings_made_while_the_fault_was_absent_prove_nothing():
    circuit = Circuit.parse(LAMP)
    job = Diagnosis(circuit, intermittent=True)
    job.complain("H1", state="on")
    shares = {one.part: one.probability for one in job.suspects()}
    for point, volts in (("H1.1", 12.4), ("H1.2", 0.05), ("E1", 0.02)):
        job.measure("volts", point, state="on", value=volts, present="no")
    for _ in range(2):
        job.measure("volts", "E1", to="body", state="on", value=0.01, present="no")
    after = {one.part: one.probability for one in job.suspects()}
    assert max(abs(after[name] - shares[name]) for name in shares) < 0.02
    assert job.finding() is None


def test_a_silent_unit_is_complaint_enough_for_a_cause_to_be_found():
    """A job may begin with the scan: no load of a pedal sensor's circuit is there to be missed. (From memory.)"""
    circuit = Circuit.parse(sample("pedal-sensor").text)
    job = Diagnosis(circuit)
    state = "pedal released"
    job.observe("A1", answers=False, state=state)
    assert job.finding() is None
    for point in ("F1.2", "F1.1"):
        job.measure("volts", point, state=state, value=0.01)
    job.measure("ohms", "S1.1:part", to="S1.2:part", state=state, value=math.inf, changes=[Unplug("S1")])
    job.measure("volts", "S1.1", to="S1.2", state=state, value=12.3)
    finding = job.finding()
    assert finding is not None
    assert finding.part == "S1"
    # What it passes on may have another fault behind it.
    assert list(finding.missing_proof) == ["bridging S1.1 to S1.2 restores the function"]
    job.measure("answers", "A1", state=state, value="yes", changes=[Jump("S1.1", "S1.2")])
    finding = job.finding()
    assert finding is not None
    assert finding.proven


def test_a_known_good_part_is_tried_with_a_new_fuse_where_the_old_one_blew():
    """Common practice, no source: with the fuse gone no lamp lights, whatever is fitted."""
    circuit = Circuit.parse(sample("trailer-socket").text)
    job = Diagnosis(circuit)
    job.complain("H3", state="indicator right")
    last = requirements(job.situation(), circuit.faults["H3 shorted"])[-1]
    ((tried, met),) = last.options
    assert tried.changes == (Replace("H3"), Replace("F2"))
    assert "new F2" in last.text
    assert met("yes")
    assert not met("weak")


def test_each_failure_of_a_stage_has_its_look_among_the_tests():
    """Nothing but a look tells a thermostat from a pump here. (Common practice, no source.)"""
    circuit = Circuit.parse(sample("overheats").text)
    job = Diagnosis(circuit)
    job.observe("flow", stage="no", state="hot")
    job.observe("level", stage="yes", state="hot")
    asked = {test.at for test in job.next_tests(limit=30) if test.quantity == "inspection"}
    failures = {one.part for one in circuit.faults.values() if one.failure and one.failure[0] == "flow"}
    assert len(failures) == 3
    assert failures <= asked
    assert not any(" + " in name for name in asked)


def test_a_sensor_is_sound_at_the_ohms_that_it_has_in_that_state():
    """A wheel-speed sensor over a tooth is not the one over a gap. (Common practice, no source.)"""
    circuit = Circuit.parse(sample("wheel-speed").text)
    for state in list(circuit.states)[1:]:
        job = Diagnosis(circuit)
        job.code("A3", "circuit low", "4", state=state)
        ((ohms, met),) = requirements(job.situation(), circuit.faults["B2.1 open"])[-1].options
        assert ohms.quantity == "ohms"
        sound = Vehicle(circuit, circuit.faults["B1 open"], np.random.default_rng(1), noise=False)
        assert met(sound.answer(ohms))
        assert not met(math.inf)


def test_the_proof_of_a_missing_supply_looks_at_that_supply():
    """Common practice, no source: the pin of the 5 V itself, and that nothing that hangs on it pulls it down."""
    circuit = Circuit.parse(sample("sensor-supply", "demo").text)
    job = Diagnosis(circuit)
    job.code("A1", "circuit low", "11", state="ignition on")
    asked = requirements(job.situation(), circuit.faults["A1.40 missing"])
    places = {test.at for requirement in asked for test, _ in requirement.options}
    assert "A1.40" in places
    assert "A1.20" not in places
    ((ohms, met),) = next(one.options for one in asked if "pulls it down" in one.text)
    assert ohms.changes == (Unplug("A1"),)
    # 5 V at a limit of 0.1 A: what takes less than that is 50 ohm and more.
    assert (met(40.0), met(60.0), met(math.inf)) == (False, True, True)
    # A command that comes from a sensor on the unit's own supply is gone with the unit: nobody can show it.
    dead = requirements(job.situation(), circuit.faults["A1 dead"])
    assert not any("command at A1.12" in one.text for one in dead)


def test_an_earth_is_held_against_what_its_wire_drops_in_a_sound_vehicle():
    """Kirchhoff: a load's return through the unit's own thin earth wire, which no repair takes away."""
    circuit = Circuit.parse("""
battery G1
fuse F1 10 A
fuse F2 15 A
motor M1 6 A "water pump"
lamp H1 5 W
switch S1 off on
ground E1
module A1
  feed 30
  earth 31
  reads 5 as switch pulled down 10 kohm
  drives 8 low when switch is high
  drives 9 high when switch is high
G1.+ -- SP1
SP1 -- F1 -- A1.30
SP1 -- F2 -- M1.1
SP1 -- S1 -- A1.5
M1.2 -- A1.8
A1.9 -- H1 -- E1
A1.31 --[0.5mm2 1m]-- E1
G1.- -- E1
state "on" S1 on
""")
    sound = abs(circuit.solve("on").volts("A1.31"))
    assert sound > 0.15
    job = Diagnosis(circuit, draws=4)
    job.complain("H1", state="on")
    fault = circuit.faults["A1.9 never on"]
    (earth,) = [one for one in requirements(job.situation(), fault) if "earth A1.31" in one.text]
    _, met = earth.options[0]
    assert met(sound)
    assert met.words.startswith("at most ")
    bad = circuit.solve("on", fault="wire A1.31 E1 high resistance 1 ohm").volts("A1.31")
    assert not met(bad)


def test_a_water_pump_is_no_fuel_pump():
    for words, warned in (("water pump", False), ("fuel pump, water side", True), ("pump", True)):
        circuit = Circuit.parse(f"""
battery G1
fuse F1 10 A
motor M1 5 A "{words}"
ground E1
G1.+ -- F1 -- M1 -- E1
G1.- -- E1
state "on"
""")
        told = cautions(Measurement("volts", "M1.1", "on", instrument="meter"), circuit.model)
        assert any("Fuel" in one for one in told) == warned
