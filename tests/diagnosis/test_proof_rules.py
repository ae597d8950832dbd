"""What a proof asks for, rule by rule; common practice, no source, but for the laws that the vehicles obey.

Each rule is held against a vehicle, solved from scratch, that has something else than the cause in question.
"""

from __future__ import annotations

import math

import numpy as np
import pytest

from halfsplit import Circuit, Diagnosis
from halfsplit.circuit.faults import Fault, pair
from halfsplit.circuit.interventions import Jump, Replace
from halfsplit.diagnosis.measurement import COMMAND, ENDS, Measurement, Reading
from halfsplit.diagnosis.proof_parts import requirements
from halfsplit.diagnosis.requirement import Requirement, drops, is_word
from halfsplit.diagnosis.words import change_words
from halfsplit.notation.library import sample
from halfsplit.practice.vehicle import Vehicle

LAMPS = """
battery G1
fuse F1 10 A
switch S1 off on
switch S2 off on
relay K1
lamp H1 21 W
lamp H2 21 W
motor M1 4 A
connector X1
ground E1
ground E2
G1.+ --[2.5mm2 1m]-- F1 --[1mm2 1m]-- SP1
SP1 -- S1 --[1mm2 2m]-- X1.1 --[1mm2 1m]-- H1 --[1mm2 1m]-- E1
SP1 -- S2 --[1mm2 2m]-- X1.2 --[1mm2 1m]-- H2 --[1mm2 1m]-- E1
SP1 -- K1.30
S2.2 -- K1.86
K1.85 -- E1
K1.87 --[1mm2 2m]-- X1.3 --[1mm2 1m]-- M1 --[1mm2 1m]-- E1
G1.- --[16mm2 0.6m]-- E2
state "off"
state "first" S1 on
state "second" S2 on
"""


@pytest.fixture(scope="module")
def lamps() -> Circuit:
    return Circuit.parse(LAMPS)


def asked(circuit: Circuit, cause: str, load: str, state: str, works: str = "no") -> list[Requirement]:
    """What is asked before a cause is proven, after one complaint."""
    job = Diagnosis(circuit, draws=4)
    job.complain(load, works=works, state=state)
    return requirements(job.situation(), circuit.faults[cause])


def sound(circuit: Circuit, other: str) -> Vehicle:
    """A vehicle that has another fault."""
    return Vehicle(circuit, circuit.faults[other], np.random.default_rng(0), noise=False)


def read(number: int, test: Measurement, value: float | str) -> Reading:
    return Reading(f"{number:05d}", test, value)


def test_two_readings_that_bracket_an_element_are_its_drop_once_and_the_proof_asks_once_more(lamps):
    drop = asked(lamps, "X1.1 open", "H1", "first")[0]
    assert drop.bracket == ("X1.1:in", "X1.1:out")
    near = Measurement("volts", "X1.1:in", "first", instrument="meter")
    far = Measurement("volts", "X1.1:out", "first", instrument="meter")
    both = [read(1, near, 12.5), read(2, far, 0.02)]
    assert list(drops(both, drop.bracket, "first")) == [pytest.approx(12.48)]
    assert drop.lacking([]) == 2
    assert drop.lacking(both) == 1
    ((direct, _),) = drop.options
    assert drop.met([*both, read(3, direct, 12.4)])
    # In another state, or against another point, they bracket nothing.
    assert (
        drop.lacking([both[0], read(2, Measurement("volts", "X1.1:out", "off", instrument="meter"), 0.0)])
        == 2
    )
    assert (
        drop.lacking([both[0], read(2, Measurement("volts", "X1.1:out", "first", "E1", "meter"), 0.0)]) == 2
    )


def test_the_limit_of_a_proof_is_a_number_that_is_said(lamps):
    drop = asked(lamps, "X1.1 high resistance 10 ohm", "H1", "first", "weak")[0]
    assert drop.options[0][1].words == "at least 5 V"


def test_a_wire_that_carries_nothing_is_proven_only_where_its_ends_are_seen_to_belong_together(lamps):
    """Two cavities of a plug swapped: 12 V along the wire, and a lead along it lights the lamp."""
    every = asked(lamps, "wire X1.1 H1.1 open", "H1", "first")
    ends = next(one for one in every if ENDS in one.text)
    ((look, met),) = ends.options
    assert look.detail == (ENDS,)
    assert met("good")
    assert not ends.met([read(1, look, "bad")])
    # What still lights the lamp weakly is one wire from end to end.
    weak = asked(lamps, "wire X1.1 H1.1 high resistance 10 ohm", "H1", "first", "weak")
    assert not any(ENDS in one.text for one in weak)


def test_a_joint_is_not_proven_without_the_bridge_that_restores_the_function(lamps):
    for cause in ("F1.2 open", "X1.1 open", "wire H1.2 E1 open", "E1 open"):
        every = asked(lamps, cause, "H1", "first")
        bridged = [
            one
            for one in every
            if any(isinstance(change, Jump) for test, _ in one.options for change in test.changes)
        ]
        assert len(bridged) == 1
        assert not bridged[0].met([read(1, bridged[0].options[0][0], "no")])


def test_a_contact_of_a_fuse_is_proven_at_the_test_point_on_top_of_it(lamps):
    """Its two contacts and the fuse itself lie between the same two terminals: looks alone took one for another."""
    for contact, ends in (("F1.1", ("F1.1", "F1.1:part")), ("F1.2", ("F1.2:part", "F1.2"))):
        drop, *_ = asked(lamps, f"{contact} high resistance 10 ohm", "H1", "first", "weak")
        ((test, met),) = drop.options
        assert (test.at, test.to, drop.times) == (*ends, 2)
        assert met(lamps.solve("first", fault=lamps.faults[f"{contact} high resistance 10 ohm"]).volts(*ends))
        assert not met(0.0)


def test_a_clamp_on_a_battery_post_is_measured_against_the_post_and_bridged_with_a_booster_cable(lamps):
    """A post has no terminal whose fit a test pin could try (common practice, no source)."""
    drop, bridge = asked(lamps, "G1.- high resistance 1 ohm", "M1", "second", "weak")
    assert [(test.at, test.to) for test, _ in drop.options] == [("G1.-", None)]
    assert drop.times == 2
    assert bridge.options[0][0].changes == (Jump("G1.-", "G1.-:part", heavy=True),)
    sick = lamps.solve("second", fault="G1.- high resistance 1 ohm")
    cured = lamps.solve("second", fault="G1.- high resistance 1 ohm", changes=bridge.options[0][0].changes)
    assert drop.options[0][1](sick.volts("G1.-"))
    assert not drop.options[0][1](lamps.solve("second").volts("G1.-"))
    assert cured.works("M1") == "yes" != sick.works("M1")


def test_a_word_that_was_another_once_needs_two_against_one():
    test = Measurement("works", "H1", "on", changes=(Jump("E1", "body"),))
    back = Requirement("the function", ((test, is_word("yes")),))
    words = [read(number, test, word) for number, word in enumerate(("weak", "yes", "yes"))]
    assert [back.met(words[:count]) for count in range(4)] == [False, False, False, True]
    assert [back.may_be_asked(words[:count], test) for count in range(3)] == [True, True, True]
    twice = [read(number, test, "weak") for number in range(2)]
    assert back.refuted(twice)
    assert not back.refuted(twice[:1])


def test_a_bad_look_after_a_good_one_shows_nothing(lamps):
    look = Measurement("inspection", "X1.1", "first")
    seen = Requirement("seen", ((look, is_word("bad")),))
    assert seen.met([read(1, look, "bad")])
    assert not seen.met([read(1, look, "good"), read(2, look, "good"), read(3, look, "bad")])
    assert seen.refuted([read(1, look, "good")])


def test_a_stand_in_proves_only_what_it_alone_changes():
    """A known-good lamp together with a good fuse: with the fuse alone the function must still lack."""
    circuit = Circuit.parse(sample("trailer-socket").text)
    every = asked(circuit, "H3 shorted", "H3", "indicator right")
    alone = next(one for one in every if one.options[0][0].changes == (Replace("F2"),))
    ((test, met),) = alone.options
    assert not met("yes")
    assert not alone.met([read(1, test, "yes")])
    assert alone.met([read(1, test, "no")])


def test_a_fuse_is_a_consequence_until_every_state_that_it_feeds_has_run_with_a_new_one(lamps):
    """The wire behind the second switch is chafed: in the first state a new fuse holds, in the second it does not."""
    every = asked(lamps, "F1 open", "H1", "first")
    tried = {test.state: (test, met) for one in every[1:] for test, met in one.options}
    assert set(tried) == {"first", "second"}
    vehicle = sound(lamps, "wire S2.2 X1.2 short to body")
    assert tried["first"][1](vehicle.answer(tried["first"][0]))
    assert not tried["second"][1](vehicle.answer(tried["second"][0]))


def test_a_short_to_supply_is_told_from_a_welded_relay_by_the_wire_taken_off(lamps):
    cause = next(name for name in lamps.faults if name.startswith("wire K1.87 X1.3 short to supply"))
    ohms, met = asked(lamps, cause, "M1", "off", "yes")[0].options[0]
    assert not met(sound(lamps, "K1 contact welded").answer(ohms))
    assert met(sound(lamps, cause).answer(ohms))


def test_what_is_weak_for_other_reasons_is_restored_when_its_volts_are(lamps):
    bridge = asked(lamps, "X1.3 high resistance 1 ohm", "M1", "second", "weak")[-1]
    (word, is_good), (volts, back) = bridge.options
    assert (word.quantity, volts.quantity) == ("works", "volts")
    assert not is_good("weak")
    assert volts.changes == word.changes
    assert back(12.2)
    assert not back(8.0)


def test_a_starter_is_bridged_with_a_booster_cable_that_carries_it():
    """A lead of 20 milliohm would not restore it (Ohm's law: 150 A drop 3 V along it)."""
    circuit = Circuit.parse(sample("starter").text)
    bridge = asked(circuit, "GND3 high resistance 0.1 ohm", "M1", "cranking", "weak")[-1]
    (word, good), (volts, back) = bridge.options
    assert word.changes[0].heavy
    vehicle = sound(circuit, "GND3 high resistance 0.1 ohm")
    assert good(vehicle.answer(word))
    assert back(vehicle.answer(volts))


def test_the_output_of_a_unit_is_condemned_only_after_its_command_was_seen():
    """Whether the lamp is asked for comes from inside the unit here: live data or an actuator test show it."""
    circuit = Circuit.parse(
        "battery G1\nfuse F1 10 A\nlamp H1 21 W\nground E1\nmodule A1\n  feed 1\n  earth 31\n"
        '  drives 2 high when "on"\nG1.+ -- F1 -- A1.1\nA1.31 -- E1\nA1.2 -- H1 -- E1\nG1.- -- E1\n'
        'state "off"\nstate "on"\n'
    )
    every = asked(circuit, "A1.2 never on", "H1", "on")
    command = next(one for one in every if COMMAND in one.text)
    assert not command.met([])
    assert command.met([read(1, command.options[0][0], "good")])


def test_a_short_is_seen_or_reads_the_same_from_both_ends(lamps):
    every = asked(lamps, "wire S1.2 X1.1 short to body", "H1", "first")
    (near, _), *_ = every[0].options
    look, (far, met) = every[1].options
    assert look[0].quantity == "inspection"
    assert {near.at, far.at} == {"S1.2", "X1.1:in"}
    assert near.changes == far.changes
    assert met(0.3)
    assert not met(math.inf)
    # Another wire that sits in its cavity reads the same from both ends: it has to be looked for.
    assert [one.detail for one, _ in every[2].options] == [(), (ENDS,)]


def both_complained_of(circuit: Circuit, cause: Fault) -> list[Requirement]:
    """What is asked before a cause is proven, after a complaint of either lamp."""
    job = Diagnosis(circuit, draws=4)
    job.complain("H1", works="no", state="first")
    job.complain("H2", works="no", state="second")
    return requirements(job.situation(), cause)


def made(asked_for: list[Requirement], quantity: str) -> set[tuple[str, tuple[object, ...]]]:
    """Where this quantity is asked for, and what is changed before."""
    return {
        (test.at, test.changes)
        for requirement in asked_for
        for test, _ in requirement.options
        if test.quantity == quantity
    }


def test_all_that_was_complained_of_has_to_come_back(lamps):
    wire = next(name for name in lamps.faults if name.startswith("wire F1.2 SP1 open"))
    looks = made(both_complained_of(lamps, lamps.faults[wire]), "works")
    assert {at for at, changes in looks if any(isinstance(one, Jump) for one in changes)} == {"H1", "H2"}


def test_a_contact_is_not_proven_by_one_reading_and_a_look(lamps):
    """A probe that touched the feed by mistake read 12 V over a sound fuse."""
    asked_for = both_complained_of(lamps, lamps.faults["F1.1 open"])
    drop = next(one for one in asked_for if one.times == 2)
    assert {(test.at, test.to) for test, _ in drop.options} == {("F1.1", "F1.1:part")}
    assert {("H1", (Jump("F1.1", "F1.2"),)), ("H2", (Jump("F1.1", "F1.2"),))} <= made(asked_for, "works")


def test_of_two_faults_in_one_line_each_is_shown_with_the_other_out_of_the_way(lamps):
    asked_for = both_complained_of(lamps, pair(lamps.faults["S1 open"], lamps.faults["X1.1 open"]))
    over_switch, over_plug = Jump("S1.1", "S1.2"), Jump("X1.1:in", "X1.1:out")
    assert ("H1", (over_switch, over_plug)) in made(asked_for, "works")
    assert ("X1.1:in", (over_switch,)) in made(asked_for, "volts")


def test_a_load_is_not_condemned_by_volts_that_its_line_takes_from_it():
    """A motor that stalls pulls its unit's output down, and so does a chafed wire before it."""
    circuit = Circuit.parse(sample("fuel-pump").text)
    job = Diagnosis(circuit, draws=4)
    job.complain("M1", works="no", state="engine running")
    short = circuit.solve("engine running", fault="wire A3.6 X1.1 short to body 1 ohm")
    for asked_for in requirements(job.situation(), circuit.faults["M1 stalled"]):
        for test, met in asked_for.options:
            assert test.quantity != "volts" or not met(short.volts(test.at, test.to))


def test_a_wire_into_a_splice_is_shown_by_the_ohms_from_the_next_terminal():
    """Where a unit's output may not be bridged and a look finds nothing, the ohms beyond the splice remain."""
    circuit = Circuit.parse(sample("door-lock").text)
    job = Diagnosis(circuit, draws=4)
    job.complain("M1", works="no", state="unlocking")
    last = requirements(job.situation(), circuit.faults["wire A1.7 SP2 open"])[-1]
    (ohms,) = [test for test, _ in last.options if test.quantity == "ohms"]
    assert {ohms.at, ohms.to} == {"A1.7", "X1.5:in"}
    assert {change.name for change in ohms.changes} == {"A1", "X1"}


def test_a_switch_is_bridged_over_the_contact_that_each_state_closes():
    circuit = Circuit.parse(sample("blower-steps").text)
    states = [state for state in circuit.states if circuit.healthy_word("M1", state) == "yes"][-2:]
    job = Diagnosis(circuit, draws=4)
    for state in states:
        job.complain("M1", works="no", state=state)
    bridged = [
        test
        for requirement in requirements(job.situation(), circuit.faults["S1 open"])
        for test, _ in requirement.options
        if test.quantity == "works" and test.changes
    ]
    assert {test.state for test in bridged} == {*states}
    for test in bridged:
        assert circuit.solve(test.state, fault="S1 open").works("M1") == "no"
        assert circuit.solve(test.state, fault="S1 open", changes=test.changes).works("M1") == "yes"


def test_what_a_car_has_when_nothing_is_wrong_is_what_works_in_it():
    """With a lead over the fault a load has what it always had in this car, however it differs from the nominal one."""
    circuit = Circuit.parse(sample("ignition-coils").text)
    made = (Jump("E2", "body"),)
    for seed in range(8):
        car = Vehicle(circuit, circuit.faults["E2 open"], np.random.default_rng(seed), noise=False)
        assert car.answer(Measurement("works", "Y2", "engine running")) == "no"
        assert car.answer(Measurement("works", "Y2", "engine running", changes=made)) == "yes"


def test_a_motor_with_a_park_switch_is_measured_between_its_own_pins():
    circuit = Circuit.parse(sample("wiper-park").text)
    tests = [test for one in asked(circuit, "M1 open", "M1", "wiping") for test, _ in one.options]
    own = [test for test in tests if test.quantity in ("volts", "ohms")]
    assert {test.quantity for test in own} == {"volts", "ohms"}
    for test in own:
        assert {test.at.removesuffix(":part"), str(test.to).removesuffix(":part")} == {"M1.1", "M1.2"}


def test_live_data_alone_are_complaint_enough_for_a_cause_to_be_found():
    circuit = Circuit.parse(
        "battery G1\nground E1\nfuse F1 10 A\nmodule A1\n  feed 15\n  earth 31\n  supplies 40 5 V limit 60 mA\n"
        "  reads 11 as boost pulled down 100 kohm\nsensor B1 0.4 4 kohm\nconnector X9\n"
        "G1.+ -- F1 -- A1.15\nA1.31 -- E1\nG1.- -- E1\nA1.40 -- X9.1 -- B1.1\nB1.2 -- X9.2 -- A1.11\n"
        'B1.3 -- X9.3 -- A1.31\ngauge P1 volts at A1.11 within 0.03 V\nstate "on"\n'
    )
    car = sound(circuit, "X9.1 open")
    job = Diagnosis(circuit, ["meter"], draws=4)
    shown = Measurement("gauge", "P1", "on")
    job.measure("gauge", "P1", state="on", value=car.answer(shown))
    assert job.finding() is None
    for at, to in (("X9.1:in", None), ("X9.1:in", "X9.1:out")):
        job.measure("volts", at, to=to, state="on", value=car.answer(Measurement("volts", at, "on", to)))
    assert job.finding().part == "X9.1"


def test_two_faults_are_each_held_against_a_sound_part(lamps):
    job = Diagnosis(lamps)
    job.complain("M1", works="no", state="second")
    situation = job.situation()
    worn, stalled = lamps.faults["F1 worn 10 ohm"], lamps.faults["M1 stalled"]
    # The stalled motor blows the fuse, which has no ohms left then: a warning of a division is an error here.
    seen = [letter.text for letter in requirements(situation, pair(worn, stalled))]
    assert any("F1" in text for text in seen)
    assert any("M1" in text for text in seen)


def test_where_a_look_at_a_contact_has_missed_it_a_new_terminal_is_fitted_on_trial(lamps):
    """Common practice, no source: a second look by the same eyes is no new evidence, the cure is."""
    job = Diagnosis(lamps, instruments=("meter",), draws=4)
    job.complain("H1", state="first")
    contact, state = "S1.2", "first"
    fault = lamps.faults[f"{contact} open"]

    def letters() -> list[str]:
        return [letter.text for letter in requirements(job.situation(), fault)]

    assert not any("new terminal" in text for text in letters())
    job.measure("inspection", contact, state=state, value="good")
    assert any("new terminal" in text for text in letters())
    assert not any("both ways" in text for text in letters())
    (trial,) = [
        test
        for letter in requirements(job.situation(), fault)
        for test, _ in letter.options
        if Replace(contact) in test.changes
    ]
    assert lamps.solve(state, fault=fault, changes=trial.changes).works("H1") == "yes"
    assert change_words(Replace(contact), lamps) == "Fit a new terminal at S1.2."
