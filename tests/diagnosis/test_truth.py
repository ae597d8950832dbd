"""What the tool says when the drawing is wrong, a reading is wrong, or the fault is of a kind that nobody drew."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from halfsplit import Circuit, Diagnosis
from halfsplit.circuit.interventions import Unplug
from halfsplit.circuit.moving import crossing_wires, moves_with
from halfsplit.circuit.network import ADD, Change
from halfsplit.circuit.solve import solve
from halfsplit.diagnosis.belief import correlated
from halfsplit.diagnosis.doubt import fits, unexplained
from halfsplit.diagnosis.evidence import forecast_number, forecast_words, unscale
from halfsplit.diagnosis.gauge_course import course_of
from halfsplit.diagnosis.measurement import OVER_RANGE, Measurement, Reading
from halfsplit.errors import InputError, NotFoundError
from halfsplit.practice.vehicle import vehicle

LAMPS = """
battery G1
fuse F1 10 A
fuse F2 10 A
switch S1
switch S2
lamp H1 21 W
lamp H2 21 W
ground E1
connector X1
G1.+ -- SP1
SP1 -- F1 -- S1 -- X1.1 -- H1 -- X1.3 -- E1
SP1 -- F2 -- S2 -- X1.2 -- H2 -- E1
G1.- -- E1
state "off"
state "one" S1 closed
state "two" S2 closed
"""


@pytest.fixture(scope="module")
def lamps():
    return Circuit.parse(LAMPS)


@pytest.fixture(scope="module")
def swapped():
    """The same vehicle with the lamps' wires in each other's cavities; what stands in the drawing is not so."""
    return Circuit.parse(
        LAMPS.replace("X1.1 -- H1", "X1.1 -- H2")
        .replace("X1.2 -- H2 -- E1", "X1.2 -- H1 -- X1.3 -- E1")
        .replace("X1.1 -- H2 -- X1.3 -- E1", "X1.1 -- H2 -- E1")
    )


def test_two_wires_in_each_others_cavities_are_named(lamps, swapped):
    job = Diagnosis(lamps, draws=4)
    job.complain("H1", works="no", state="one")
    job.complain("H2", works="yes", state="one")
    job.complain("H1", works="yes", state="two")
    for point, state in (("X1.1:in", "one"), ("H2.1", "one"), ("H1.1", "one")):
        job.measure("volts", point, state=state, value=swapped.solve(state).volts(point))
    first = job.suspects()[0]
    assert first.part == "X1.1 and X1.2"
    assert "swapped" in first.mode
    finding = job.finding()
    assert finding is None or finding.part == "X1.1 and X1.2"


def test_a_second_feed_that_nobody_drew_is_not_put_on_a_drawn_part(lamps):
    """A lamp glows with all off: a bridge from the other fuse feeds it."""
    network = lamps.network
    bridge = (network.node("H1.1"), network.node("F2.2"), 0.25)
    result = {state: solve(network.system(state).bridged([bridge])) for state in lamps.states}
    job = Diagnosis(lamps, draws=4)
    job.complain("H1", works="yes", state="off")
    for point, state in (
        ("H1.1", "off"),
        ("X1.1:in", "off"),
        ("S1.2", "off"),
        ("F2.2", "off"),
        ("F2.2", "one"),
    ):
        job.measure("volts", point, state=state, value=float(result[state].volts[network.node(point)]))
    job.measure("ohms", "S1.1:part", state="off", to="S1.2:part", value=OVER_RANGE, changes=(Unplug("S1"),))
    finding = job.finding()
    assert finding is None or " and " in finding.part
    names = [one.part for one in job.suspects()[:2]]
    assert any(" and " in name or name == "not in this model" for name in names)


def test_what_fits_nothing_is_not_in_this_model_and_says_so(lamps):
    job = Diagnosis(lamps, draws=4)
    job.complain("H1", state="one")
    for point, volts in (
        ("F2.1", 12.5),
        ("F2.2", 9.0),
        ("X1.2", 7.5),
        ("H2.2", 5.0),
        ("F2.2", 9.1),
        ("H2.2", 5.0),
    ):
        job.measure("volts", point, state="one", value=volts)
    assert job.finding() is None
    doubt = job.doubt()
    assert doubt is not None
    assert doubt.nothing_drawn
    assert doubt.words[0] == "Nothing drawn explains this."
    assert "F2" in doubt.region


def test_a_cause_is_not_found_while_a_complaint_quarrels_with_it(lamps):
    job = Diagnosis(lamps, draws=4)
    sick = lamps.solve("one", fault="X1.3 open")
    job.complain("H1", state="one")
    for point in ("H1.1", "H1.2", "X1.3:in", "X1.3:out"):
        job.measure("volts", point, state="one", value=sick.volts(point))
    assert job.finding().part == "X1.3"
    job.observe("H2", works="no", state="two", present="yes")
    finding = job.finding()
    assert finding is None or finding.part != "X1.3"
    assert unexplained(job.situation(), "X1.3")
    assert fits(job.situation(), "X1.3") < 1.0


def test_a_finding_explains_every_symptom_by_the_severity_that_fits(lamps):
    """A joint of 34 ohm, between the named 10 and 100 ohm."""
    network = lamps.network
    joint = Change(network.element("E1"), ADD, 34.0)
    job = Diagnosis(lamps, draws=4)
    for load, state in (("H1", "one"), ("H2", "two")):
        job.complain(load, works="no", state=state)
    for point in ("E1", "H1.2", "G1.+"):
        result = solve(network.system("one"), (joint,))
        job.measure("volts", point, state="one", value=float(result.volts[network.node(point)]))
    if (finding := job.finding()) is not None:
        assert len(finding.explains) == 2
        assert not finding.unexplained


SLIPS = {"the supply's volts": 12.4, "leads swapped": -11.9, "nothing touched": 0.0, "millivolts": 0.0119}


@pytest.mark.parametrize("slip", SLIPS.values(), ids=SLIPS)
def test_one_wrong_reading_is_asked_for_again_and_then_does_not_matter(lamps, slip):
    """The drop of a bad joint, read wrongly once and rightly twice."""
    sick = lamps.solve("one", fault="X1.3 open")
    right = sick.volts("H1.2", "E1")
    job = Diagnosis(lamps, draws=4)
    job.complain("H1", state="one")
    job.measure("volts", "H1.1", state="one", value=sick.volts("H1.1"))
    job.measure("volts", "H1.2", to="E1", state="one", value=slip, sure=True)
    job.measure("volts", "H1.2", to="E1", state="one", value=right)
    job.measure("volts", "X1.3:in", to="X1.3:out", state="one", value=sick.volts("X1.3:in", "X1.3:out"))
    assert job.suspects()[0].part == "X1.3"


def test_worn_contacts_are_joints_and_a_weld_is_one_contact():
    circuit = Circuit.parse(
        "battery G1\nfuse F1 10 A\nrelay K1\nswitch S1\nlamp H1 55 W\nground E1\nG1.+ -- F1 -- K1.30\n"
        "K1.87 -- H1 -- E1\n"
        'G1.+ -- S1 -- K1.86\nK1.85 -- E1\nG1.- -- E1\nstate "off"\nstate "on" S1 closed\n'
    )
    for name in ("K1 contact worn 10 ohm", "S1 worn 1 ohm", "F1 worn 1 ohm"):
        assert circuit.faults[name].severity
    welded, healthy = circuit.solve("on", fault="K1 contact welded"), circuit.solve("on")
    assert welded.volts("K1.87:part", "K1.30:part") == pytest.approx(
        healthy.volts("K1.87:part", "K1.30:part"), rel=0.01
    )
    job = Diagnosis(circuit, draws=4)
    worn = solve(circuit.network.system("on"), (Change(circuit.network.element("K1 contact"), ADD, 5.0),))
    job.complain("H1", works="weak", state="on")
    for point in ("K1.30", "K1.87"):
        job.measure("volts", point, state="on", value=float(worn.volts[circuit.network.node(point)]))
    shares = {one.part: one.probability for one in job.suspects()}
    assert shares["K1"] > shares["K1.30"]
    assert shares["K1"] > shares["K1.87"]


def test_looking_again_is_hardly_new_evidence_and_the_order_does_not_matter():
    looks = [
        Reading(str(number), Measurement("inspection", "X1.1", "one"), value)
        for number, value in enumerate(("bad", "bad", "good"))
    ]
    chance = np.array([[0.85]])
    logs = [np.log(chance if one.value == "bad" else 1 - chance) for one in looks]
    both = correlated(looks[:2], logs[:2])
    assert both[0] == pytest.approx(np.log(0.85))
    assert float(np.exp(both[1][0, 0])) > 0.95
    turned = correlated([looks[2], looks[0], looks[1]], [logs[2], logs[0], logs[1]])
    assert sum(correlated(looks, logs)) == pytest.approx(sum(turned))


def test_two_faults_are_named_together_where_each_explains_its_own(lamps):
    job = Diagnosis(lamps, draws=4)
    both = (*lamps.faults["X1.3 open"].changes, *lamps.faults["F2 open"].changes)
    volts = {state: solve(lamps.network.system(state), both).volts for state in ("one", "two")}
    job.complain("H1", state="one")
    job.complain("H2", state="two")
    for point, state in (("X1.3:in", "one"), ("X1.3:out", "one"), ("F2.1", "two"), ("F2.2", "two")):
        job.measure("volts", point, state=state, value=float(volts[state][lamps.network.node(point)]))
    job.observe("F2", blown="yes", state="two", present="yes")
    assert set(job.suspects()[0].part.split(" + ")) == {"X1.3", "F2"}


def test_what_is_slow_in_the_slow_state_works():
    circuit = Circuit.parse(
        "battery G1\nfuse F1 20 A\nswitch S1 off slow fast\n  joins slow 30 L\n  joins fast 30 H\nresistor R1 1 ohm\n"
        "motor M1 8 A\nground E1\nG1.+ -- F1 -- S1.30\nS1.L -- R1 -- SP1\nS1.H -- SP1\nSP1 -- M1 -- E1\nG1.- -- E1\n"
        'state "off"\nstate "slow" S1 slow\nstate "fast" S1 fast\n'
    )
    assert circuit.healthy_across("slow")["M1"] < 0.75 * circuit.healthy_volts["M1"]
    assert circuit.healthy_word("M1", "slow") == "yes"
    assert circuit.healthy_word("M1", "off") == "no"
    job = Diagnosis(circuit, draws=4)
    asked = job.rank(Measurement("works", "M1", "slow")).sentence
    assert asked.endswith("as it should in this state?")
    off = job.rank(Measurement("works", "M1", "off")).sentence
    assert off.endswith("work, though it should not in this state?")


def test_an_open_circuit_reads_over_range_however_large_the_vehicle(lamps):
    """The leak that the solution gives each node is no reading of a meter."""
    job = Diagnosis(lamps, draws=4)
    job.complain("H1", state="one")
    opened = Measurement("ohms", "H1.1", "off", "H1.2", "meter", (Unplug("X1"), Unplug("H1")))
    test = job.rank(opened)
    likeliest = max(test.outcomes, key=lambda one: one.probability)
    assert likeliest.typical == OVER_RANGE
    assert unscale(opened, 7.31) == OVER_RANGE


PLACES = {
    "tailgate": "tailgate",
    "left front door": "door",
    "door pillar, right": "",
    "boot fuse box": "",
    "tailgate gaiter, body side": "",
    "gaiter connector, body side": "",
    "gaiter, door side": "door",
    "engine bay": "",
    "gaiter": None,
}


@pytest.mark.parametrize(("place", "panel"), PLACES.items())
def test_what_moves_is_told_by_the_place(lamps, place, panel):
    assert moves_with(replace(lamps.parts["H1"], place=place)) == panel


def test_the_wire_through_the_gaiter_bends_not_the_one_to_it():
    circuit = Circuit.parse(
        'battery G1 at "engine bay"\nfuse F1 10 A at "cabin fuse box"\nconnector X1 "gaiter connector, body side"\n'
        'lamp H1 at "tailgate"\nground E1 at "boot floor"\nG1.+ -- F1 -- X1.1 -- H1 -- E1\nG1.- -- E1\n'
    )
    assert crossing_wires(circuit.model) == {"wire X1.1 H1.1": True, "wire H1.2 E1": True}
    job = Diagnosis(circuit, draws=4)
    prior = job.posterior().by_hypothesis
    assert prior["wire X1.1 H1.1 open"] / prior["wire F1.2 X1.1 open"] == pytest.approx(5.0)


def test_yes_and_no_are_taken_as_they_are_typed(lamps):
    job = Diagnosis(lamps, draws=4)
    assert job.observe("F1", blown="no")[0].value == "no"
    assert job.observe("F1", blown=False)[0].value == "no"
    assert job.measure("works", "H1", state="one", value="y", present="n").present == "no"
    with pytest.raises(InputError, match="does not say whether the fault was there"):
        job.measure("works", "H1", state="one", value="no", present="maybe")
    with pytest.raises(InputError, match="is no answer"):
        job.observe("F1", blown="perhaps")


def test_the_battery_minus_is_one_place(lamps):
    job = Diagnosis(lamps, draws=4)
    reading = job.measure("volts", "G1.+", to="G1.-:part", state="off", value=12.6)
    assert reading.measurement.to is None


SINCE = 60.0
TIMES = np.arange(0.0, 200.0)
LATER = TIMES >= SINCE
COURSES = {
    "stuck": lambda sound: np.where(LATER, 10.1, sound),
    "drift": lambda sound: sound + np.where(LATER, 0.01 * (TIMES - SINCE), 0.0),
    "offset": lambda sound: sound + np.where(LATER, 0.7, 0.0),
    "intermittent offset": lambda sound: sound + np.where(LATER & (TIMES // 10 % 2 == 0), 0.7, 0.0),
}


@pytest.mark.parametrize("course", COURSES)
def test_the_course_of_a_gauge_tells_how_it_lies(course):
    right = 0
    for seed in range(20):
        sound = 10.0 + 0.1 * np.random.default_rng(seed).standard_normal(len(TIMES))
        right += next(iter(course_of(TIMES, COURSES[course](sound), SINCE))) == course
    assert right >= 19


def test_the_samples_of_a_gauge_name_the_mode_of_the_suspect():
    circuit = Circuit.parse(LAMPS + "gauge P1 volts at F1.2 within 0.05 V\n")
    job = Diagnosis(circuit, draws=4)
    sound = 12.4 + 0.05 * np.random.default_rng(3).standard_normal(len(TIMES))
    assert next(iter(job.course("P1", TIMES, COURSES["drift"](sound), SINCE))) == "drift"
    job.measure("gauge", "P1", state="one", value=9.0)
    assert {one.part: one.mode for one in job.suspects()}["P1"] == "drift"
    with pytest.raises(NotFoundError):
        job.course("F1", TIMES, TIMES, SINCE)


def test_a_few_samples_tell_no_course():
    with pytest.raises(InputError, match="at least 12"):
        course_of(np.arange(15.0), np.ones(15), 10.0)


def test_a_meter_between_a_feed_and_a_wire_cut_off_reads_what_its_own_load_leaves():
    """A voltage divider of the meter and the leak: next to nothing, and 12 V as soon as a lamp holds the far end."""
    circuit = Circuit.parse(LAMPS)
    job = Diagnosis(circuit, draws=4)
    job.complain("H1", state="one")
    for changes, cut_off in (((Unplug("F1"), Unplug("X1")), True), ((Unplug("F1"),), False)):
        asked = Measurement("volts", "F1.1", "one", "F1.2", "meter", changes)
        expected = forecast_number(asked, job.situation().context)
        healthy = job.situation().context.healthy
        read = float(vehicle(circuit, circuit.faults["nothing wrong"], 1).answer(asked))
        assert (read < 1.0) == cut_off
        assert expected.value[healthy] == pytest.approx(read, abs=0.5)
        assert (expected.ghost[healthy] > 0).all() == cut_off


def test_a_look_at_a_cavity_or_a_wire_finds_what_is_at_that_very_place():
    job = Diagnosis(Circuit.parse(LAMPS), draws=4)
    job.complain("H1", state="one")
    for place in ("X1.1", "wire S1.2 X1.1"):
        context = job.situation().context
        bad = forecast_words(Measurement("inspection", place, "one"), context).likelihood("bad").mean(axis=1)
        assert bad[context.predictor.columns.having(place)].min() > 2 * bad[context.healthy]


def test_what_speaks_for_a_second_fault_is_told_as_two(lamps):
    """The first fault alone holds more than any one pair; together the pairs hold more, and are not counted as its."""
    job = Diagnosis(lamps, draws=4)
    both = (*lamps.faults["F1 open"].changes, *lamps.faults["X1.2 open"].changes)
    volts = {state: solve(lamps.network.system(state), both).volts for state in ("one", "two")}
    job.complain("H1", state="one")
    job.complain("H2", state="two")
    for point in ("F1.1", "F1.2"):
        job.measure("volts", point, state="one", value=float(volts["one"][lamps.network.node(point)]))
    job.observe("F1", blown="yes", state="one", present="yes")
    job.observe("H2", works="no", state="two", present="yes")
    probability = job.posterior().probability
    assert probability.get("F1", 0.0) < 0.5
    assert sum(share for name, share in probability.items() if " + " in name and "F1" in name) > 0.5
    assert job.next_tests(1)


def test_what_is_not_drawn_shows_the_same_when_it_is_read_again(lamps):
    """The second reading of a measurement says nothing new of a fault that touches the measurement."""
    job = Diagnosis(lamps, draws=4)
    job.complain("H1", state="one")
    for point, volts in (("F2.2", 9.0), ("X1.2", 7.5), ("H2.2", 5.0)):
        job.measure("volts", point, state="one", value=volts)
    before = job.posterior().probability["not in this model"]
    again = job.measure("volts", "F2.2", state="one", value=9.02)
    assert job.posterior().probability["not in this model"] > 0.99 * before
    belief, live = job.posterior().belief, job.situation().live
    unknown = belief.columns.having("not in this model")
    told = belief.likelihoods(live)[live.index(again)][unknown]
    assert (
        float(np.exp(told).max()) > 1.0
    )  # of a single reading it is at most that of any value: under 0.1 a volt
    assert np.isfinite(belief.strangeness(live, 0.25)).all()
