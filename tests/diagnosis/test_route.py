"""The route to the proof: what a visit costs, what is not asked, and how the rest of a route is played through."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from bench.routes import jobs
from halfsplit import Circuit, Diagnosis
from halfsplit.circuit.interventions import Jump, LampFor, Replace, Unplug
from halfsplit.diagnosis.candidates import candidates, lamps
from halfsplit.diagnosis.choose import _order
from halfsplit.diagnosis.cost import FITTING_MINUTES, Bay, Minutes, ways
from halfsplit.diagnosis.lookahead import ProofsAhead
from halfsplit.diagnosis.measurement import ENDS, PIN_DRAG, Measurement
from halfsplit.diagnosis.propose import _to_be_made_again
from halfsplit.diagnosis.rollout import played
from halfsplit.diagnosis.unplugging import lamp_tests, ohms_behind
from halfsplit.diagnosis.waiting import CLOSE_SHARE, CLOSING_IN, _costs_a_fuse, waiting
from halfsplit.diagnosis.words import SAID, sentence
from halfsplit.notation.library import sample

TAIL = """
battery G1 at "engine bay"
fuse F1 10 A at "boot fuse box"
switch S1 off on at "dashboard"
relay K1 at "boot fuse box"
relay K2 "washer relay" at "boot fuse box"
connector X1 at "left corner"
lamp H1 21 W at "left corner"
lamp H2 21 W at "right corner"
motor M1 6 A at "tank"
motor M2 3 A at "left corner"
ground E1 at "left corner"
G1.+ -- F1 -- SP1
SP1 -- S1 -- X1.1 -- H1 -- X1.2 -- E1
S1.2 -- H2 -- E1
SP1 -- K1.30
K1.87 -- M1 -- E1
S1.2 -- K1.86
K1.85 -- E1
SP1 -- K2.30
K2.87 -- M2 -- E1
S1.2 -- K2.86
K2.85 -- E1
G1.- -- E1
state "off"
state "on" S1 on, takes 1 min
reach X1 4 min "lamp unit out"
reach H1 4 min "lamp unit out"
reach H2 4 min "lamp unit out"
"""


@pytest.fixture(scope="module")
def tail() -> Circuit:
    return Circuit.parse(TAIL)


def volts(at: str, state: str = "on", to: str | None = None) -> Measurement:
    return Measurement("volts", at, state, to, "meter")


def test_a_visit_to_a_place_is_paid_once(tail: Circuit) -> None:
    """The first reading 1.5 minutes, further ones there half a minute; the lamp unit comes out once for all in it."""
    bay = Bay(tail.model, state="on")
    assert bay.minutes(volts("X1.1:in")) == pytest.approx(4 + 1.5)
    bay = bay.after(volts("X1.1:in"))
    assert bay.minutes(volts("X1.2:in")) == pytest.approx(0.5)
    assert bay.minutes(volts("H1.1")) == pytest.approx(0.5)
    assert bay.minutes(volts("H1.1", to="G1.-")) == pytest.approx(0.5)
    # The other side's unit is another unit, whatever its words; and who has walked away comes back for a first reading.
    assert bay.minutes(volts("H2.1")) == pytest.approx(4 + 1.5)
    assert bay.after(volts("H2.1")).minutes(volts("H1.1")) == pytest.approx(1.5)
    assert bay.minutes(volts("X1.2:in", "off")) == pytest.approx(0.5 + 0.5)


def test_what_is_unplugged_stays_so_while_the_next_test_wants_it(tail: Circuit) -> None:
    off = (Unplug("H1"),)
    ohms = Measurement("ohms", "H1.1:part", "on", "H1.2:part", "meter", off)
    bay = Bay(tail.model, state="on").after(volts("H1.1"))
    assert bay.minutes(ohms) == pytest.approx(1.0 + 0.5)
    assert bay.after(ohms).minutes(ohms) == pytest.approx(0.5)
    assert bay.after(ohms).after(volts("H1.1")).minutes(ohms) == pytest.approx(1.0 + 0.5)


def test_a_fuse_box_has_a_lid_wherever_it_is_and_a_tank_pump_is_no_swap(tail: Circuit) -> None:
    assert ways(tail.model)["boot fuse box"] == 3.0
    bay = Bay(tail.model, state="on")
    relay, pump = (
        bay.minutes(Measurement("works", "H1", "on", changes=(Replace(name),))) for name in ("K1", "M1")
    )
    assert relay == pytest.approx(3 + 2 + 0.3)
    assert pump > FITTING_MINUTES


def test_bare_metal_is_at_hand_wherever_one_stands_and_eyes_are_no_leads(tail: Circuit) -> None:
    body = volts("body")
    bay = Bay(tail.model, state="on")
    assert bay.minutes(body) == pytest.approx(1.5)
    assert bay.after(volts("G1.+")).minutes(body) == pytest.approx(0.5)
    assert bay.after(body).minutes(volts("G1.+")) == pytest.approx(0.5)
    seen = bay.after(Measurement("blown", "F1", "on"))
    assert seen.minutes(volts("F1.1")) == pytest.approx(1.5)
    job = Diagnosis(tail, draws=4)
    job.complain("H1", state="on")
    assert body in waiting(job.situation())


def test_the_contacts_of_a_plug_are_looked_at_in_one_visit(tail: Circuit) -> None:
    """Unplugged and under one's eyes, the next pin and its fit take a minute. Common practice, no source."""
    bay = Bay(tail.model, state="on")
    look = Measurement("inspection", "X1.1", "on")
    assert bay.minutes(look) == pytest.approx(4 + 2.5)
    bay = bay.after(look)
    assert bay.minutes(Measurement("inspection", "X1.2", "on")) == pytest.approx(1.0)
    assert bay.minutes(Measurement("inspection", "X1.1", "on", detail=(PIN_DRAG,))) == pytest.approx(1.0)
    assert bay.minutes(Measurement("inspection", "H1.1", "on")) == pytest.approx(2.5)
    ends = Measurement("inspection", "wire S1.2 K1.86", "on", detail=(ENDS,))
    assert Bay(tail.model).opens(ends) == ("dashboard", "boot fuse box")


def test_wires_in_each_others_places_are_sought_by_their_ends(tail: Circuit) -> None:
    """Colours at the ends of a wire take a minute, a contact two and a half; common practice, no source."""
    sought = candidates(tail, (), ["on"], ["K1.30 and K1.86"], [], intermittent=False)
    looked_at = {test.at for test in sought if test.detail == (ENDS,)}
    assert looked_at == {"wire SP1 K1.30", "wire S1.2 K1.86"}


def test_minutes_of_many_tests_are_those_of_each(tail: Circuit) -> None:
    tests = [
        volts("X1.1:in"), volts("H1.1"), volts("H2.1", "off"), volts("K1.30"), volts("F1.1", to="X1.1:in"),
        Measurement("works", "H1", "on"), Measurement("blown", "F1", "off"), Measurement("inspection", "H1", "on"),
        Measurement("works", "M1", "on", changes=(Replace("K1"),)),
        Measurement("lamp", "F1.1", "on", "F1.2", "21 W lamp", (LampFor("F1"),)),
        Measurement("inspection", "X1.1", "on"), Measurement("inspection", "X1.2", "on"), volts("body"),
    ]  # fmt: skip
    bay = Bay(tail.model, state="off").after(volts("K1.30", "off"))
    table = Minutes(bay, tests)
    assert table.now == pytest.approx([bay.minutes(one) for one in tests])
    for number, one in enumerate(tests):
        after = bay.after(one)
        assert table.after(number) == pytest.approx([after.minutes(other) for other in tests])


def test_what_cannot_be_reached_is_a_place_until_it_is_taken_back(tail: Circuit) -> None:
    job = Diagnosis(tail, draws=4)
    job.complain("H1", state="on")

    def at_the_plug() -> list[Measurement]:
        return [
            one for one in waiting(job.situation()) if one.at.startswith("X1") or one.at.startswith("H1.")
        ]

    assert at_the_plug()
    test = job.rank(volts("X1.1:in"))
    job.cannot(test, "the lamp unit does not come out")
    assert not at_the_plug()
    assert any(one.at.startswith("H2") for one in waiting(job.situation()))
    job.can(test)
    assert at_the_plug()
    job.cannot(test, "the lamp unit does not come out")
    job.measure("volts", "X1.2:in", state="on", value=0.1)
    assert at_the_plug()


def test_nothing_is_asked_twice_and_everything_is_at_hand(tail: Circuit) -> None:
    job = Diagnosis(tail, ("meter", "clamp"), draws=4)
    job.complain("H1", state="on")
    job.measure("volts", "K1.30", state="on", value=12.5)
    asked = waiting(job.situation(), everywhere=True)
    assert volts("K1.30") not in asked
    assert {one.instrument for one in asked} == {None, "meter", "clamp"}
    assert all(one.quantity == "amps" for one in asked if one.instrument == "clamp")
    assert lamps(("meter", "clamp", "test lamp")) == ["test lamp"]
    # Probes go to the state in which it fails; what is seen from the seat is asked for in all.
    assert {one.state for one in waiting(job.situation()) if one.instrument} == {"on"}


def test_a_lamp_takes_the_place_of_a_blown_fuse_in_every_state_before_a_new_fuse_does(tail: Circuit) -> None:
    job = Diagnosis(tail, ("meter", "test lamp", "21 W lamp"), draws=4)
    job.complain("H1", state="on")
    job.complain("H2", state="on")
    job.observe("F1", blown=True)
    asked = waiting(job.situation())
    assert set(lamp_tests(tail, ["off", "on"], "F1", job.instruments)) <= set(asked)
    assert not any(Replace("F1") in one.changes for one in asked)
    # What is behind it as a whole is told by an ohmmeter as well, with nothing but the fuse out.
    assert set(ohms_behind(tail, "on", "F1")) <= set(asked)
    (lamp,) = lamp_tests(tail, ["on"], "F1", ("meter", "test lamp"))
    assert (lamp.instrument, lamp.changes) == ("test lamp", (Unplug("F1"),))


def test_limits_are_numbers_that_are_said(tail: Circuit) -> None:
    job = Diagnosis(tail, draws=8)
    job.complain("H1", state="on")
    job.complain("H2", works="yes", state="on")
    tests = [one for one in job.next_tests(12) if one.quantity == "volts"]
    ends = [
        abs(end)
        for one in tests
        for told in one.outcomes
        for end in (told.low, told.high)
        if np.isfinite(end)
    ]
    assert ends
    assert all(
        min(abs(end - said) for said in (*SAID, round(2 * end) / 2, round(20 * end) / 20)) < 1e-6
        for end in ends
    )


def test_a_relay_is_swapped_with_its_twin_whose_load_then_tells(tail: Circuit) -> None:
    told = sentence(Measurement("works", "M1", "on", changes=(Replace("K1"),)), tail)
    assert "washer relay (K2)" in told


def no_proofs(tests: int, groups: int, places: int = 0) -> ProofsAhead:
    return ProofsAhead(
        np.zeros(groups),
        np.zeros(0),
        np.zeros(0, dtype=int),
        np.zeros((tests, 0)),
        np.zeros(places),
        np.zeros((places, groups)),
        np.zeros((tests, places)),
    )


def test_a_route_that_halves_four_equal_suspects_takes_two_tests() -> None:
    """log2 4 = 2 readings of a minute; the test that tells one from three needs 9 / 4 of them on average."""
    halves = np.array([[1, 1, 0, 0], [1, 0, 1, 0], [1, 0, 0, 0], [0, 1, 0, 0], [0, 0, 1, 0]], dtype=float)
    likelihood = np.stack([halves, 1.0 - halves], axis=-1)
    minutes = np.ones(5)
    after = np.where(np.eye(5, dtype=bool), np.inf, 1.0)
    told = played(
        likelihood, np.full(4, 0.25), np.arange(4), minutes, after, np.arange(5.0), 0.95, no_proofs(5, 4)
    )
    assert told[:2] == pytest.approx(2.0)
    assert told[2:] == pytest.approx(2.25)


def test_a_look_for_nothing_comes_before_the_dear_place_where_the_proof_may_have_to_be_made() -> None:
    """A place of 10 minutes is wanted for the proof of one of two suspects (0.6); a look of 0.3 tells them apart."""
    look, there = np.array([1.0, 0.0]), np.array([1.0, 0.0])
    likelihood = np.stack([np.stack([one, 1.0 - one], axis=-1) for one in (look, there)])
    ahead = ProofsAhead(
        np.array([12.0, 5.0]),
        np.array([2.0, 5.0]),
        np.arange(2),
        np.zeros((2, 2)),
        np.array([10.0]),
        np.array([[1.0, 0.0]]),
        np.array([[0.0], [1.0]]),
    )
    minutes = np.array([0.3, 11.5])
    after = np.array([[np.inf, 11.5], [0.3, np.inf]])
    told = played(likelihood, np.array([0.6, 0.4]), np.arange(2), minutes, after, np.zeros(2), 0.95, ahead)
    assert told[0] == pytest.approx(0.3 + 0.6 * 12 + 0.4 * 5)
    assert told[1] == pytest.approx(11.5 + 0.6 * 2 + 0.4 * 5)


def test_what_two_tests_do_of_one_letter_of_a_proof_counts_once() -> None:
    """A letter of 2 minutes of a proof of 3: either test does it, and both together leave the other minute."""
    ahead = ProofsAhead(
        np.array([3.0]),
        np.array([2.0]),
        np.zeros(1, dtype=int),
        np.array([[2.0], [2.0]]),
        np.zeros(0),
        np.zeros((0, 1)),
        np.zeros((2, 0)),
    )
    assert ahead.after_one()[:, 0] == pytest.approx([1.0, 1.0])
    assert ahead.after_two()[0, 1] == pytest.approx([1.0])


def test_of_estimates_as_good_as_each_other_the_test_that_tells_most_leads_if_it_costs_no_more() -> None:
    bits, minutes = np.array([0.4, 0.9, 1.0, 0.9]), np.array([0.5, 0.5, 4.0, 0.5])
    expected = np.array([30.0, 30.4, 30.1, 40.0])
    assert _order(bits, minutes, expected, rough=True).tolist() == [1, 0, 2, 3]
    assert _order(bits, minutes, expected, rough=False).tolist() == [0, 2, 1, 3]


def test_a_reading_that_the_drop_of_the_proof_makes_anew_is_not_asked_for_twice(tail: Circuit) -> None:
    job = Diagnosis(tail, draws=4)
    job.complain("H1", state="on")
    job.measure("volts", "X1.1:in", state="on", value=12.5)
    job.measure("volts", "X1.1:out", state="on", value=0.0)
    situation, odd = job.situation(), job.odd_reading()
    assert _to_be_made_again(situation, odd, []) == volts("X1.1:in")
    assert _to_be_made_again(situation, odd, [job.rank(volts("H2.1"))]) == volts("X1.1:in")
    assert _to_be_made_again(situation, odd, [job.rank(volts("X1.1:in", to="X1.1:out"))]) is None


def test_no_new_fuse_is_sacrificed_before_the_old_one_is_looked_at(tail: Circuit) -> None:
    job = Diagnosis(tail, draws=4)
    for load in ("H1", "H2", "M2"):
        job.complain(load, state="on")
    job.measure("volts", "F1.1", to="F1.2", state="on", value=12.5)
    situation = job.situation()
    assert Measurement("blown", "F1", "on") in waiting(situation)
    assert not any(Replace("F1") in test.changes for test in waiting(situation))
    over = Measurement("works", "H1", "on", changes=(Jump("F1.1", "F1.2"),))
    assert _costs_a_fuse(situation, over)
    job.observe("F1", blown=False, state="on")
    assert not _costs_a_fuse(job.situation(), over)


def test_what_comes_back_with_a_lead_is_seen_while_the_lead_is_there(tail: Circuit) -> None:
    """The second complaint costs a glance now, and the lead laid once more later."""
    job = Diagnosis(tail, draws=4)
    for load in ("H1", "H2"):
        job.complain(load, state="on")
    lead = (Jump("S1.1", "S1.2"),)
    job.measure("works", "H1", state="on", value="yes", changes=lead)
    assert job.finding() is None
    first = job.next_tests(1)[0]
    assert (first.at, first.changes, first.purpose) == ("H2", lead, "prove")


ENGINE = """
battery G1 at "engine bay"
mass engine 1 mohm "engine"
heater R1 1 ohm at "engine, rear"
ground GND1 on engine at "engine, rear"
G1.+ -- R1 -- GND1
G1.- -- engine
state "on"
"""


def test_the_metal_of_an_engine_is_at_hand_where_one_stands_at_a_ground_on_it() -> None:
    circuit = Circuit.parse(ENGINE)
    bay = Bay(circuit.model, state="on").after(volts("GND1"))
    assert bay.minutes(volts("GND1", to="engine")) == pytest.approx(0.5)


def test_what_may_be_moved_is_offered_from_the_start_where_the_fault_comes_and_goes(tail: Circuit) -> None:
    job = Diagnosis(tail, ["meter"], intermittent=True, draws=4)
    job.complain("H1", state="on")
    assert sum(list(job.posterior().probability.values())[:CLOSING_IN]) < CLOSE_SHARE
    moved = {test.at for test in waiting(job.situation()) if test.quantity == "wiggle"}
    assert {"H1", "S1", "X1"} <= moved


def test_no_test_goes_first_that_is_a_hundred_times_slower_than_another() -> None:
    apart = Path(__file__).parents[2] / "bench" / "routes_apart"
    job = next(one for one in jobs(apart) if one.fault.name == "wire SP1 X2.1 short to body").diagnosis(None)
    for at, value in (("X9.1:in", -0.0122), ("A1.40", 0.0093)):
        job.measure("volts", at, state="ignition on", value=value)
    rates = [test.bits / test.minutes for test in job.next_tests(20) if test.purpose == "tell"]
    assert rates[0] >= 0.01 * max(rates)


def test_what_a_surprise_would_mean_is_told_by_rivals_that_are_hardly_left() -> None:
    job = Diagnosis(Circuit.parse(sample("relay-load").text))
    job.complain("M1", state="on")
    job.measure("volts", "K1.85", state="on", value=0.02)
    for drop in (12.6, 12.55):
        job.measure("volts", "F1.2", to="K1.30", state="on", value=drop)
    *_, group, names = job.situation().particles()
    assert {"wire F1.2 K1.30", "M1", "E2", "F1"} <= {names[number] for number in group}
