"""A fuse that blows: what a dead short predicts is as sharp as what a fuse gone by itself does.

Common practice, no source.
"""

from halfsplit import Circuit, Diagnosis
from halfsplit.circuit.interventions import LampFor, Replace, Unplug
from halfsplit.diagnosis.measurement import Measurement
from halfsplit.diagnosis.waiting import waiting
from halfsplit.notation.library import sample


def test_a_new_fuse_that_does_not_help_leaves_the_shorts_behind_it():
    """A milder short would leave the fuse whole: that lends no width to the volts that a dead one leaves."""
    circuit = Circuit.parse(sample("ignition-feed").text)
    job = Diagnosis(circuit)
    job.complain("H1", works="no", state="reverse")
    job.observe("F10", blown=True, state="reverse")
    job.measure("volts", "F10.1", to="F10.2", state="reverse", value=12.48)
    job.measure("volts", "K15.87", state="reverse", value=0.01)
    before = job.posterior().probability
    assert next(iter(before)) == "F10"
    job.measure("works", "H1", state="reverse", value="no", changes=[Replace("F10")])
    after = job.posterior().probability
    shorts = [name for name, share in after.items() if share > 0.1]
    assert len(shorts) >= 5
    assert all(circuit.faults[f"{name} short to body"] for name in shorts)
    assert sum(after[name] for name in shorts) > 0.8


BRANCHES = """
battery G1 at "engine bay"
fuse F1 10 A at "fuse box"
switch S1 off wash at "column"
switch S2 forward reverse at "gearbox"
connector X1 at "boot"
motor M1 3 A at "tank"
lamp H1 21 W at "rear"
ground E1 at "boot"
G1.+ -- F1 -- SP1
SP1 -- S1 -- M1 -- E1
SP1 -- S2 -- X1.1 -- H1 -- E1
G1.- -- E1
state "off"
state "wash" S1 wash
state "reverse" S2 reverse
"""


def test_a_fuse_may_have_blown_in_a_state_that_the_job_has_not_tried():
    """The washer is dead, its fuse is blown, and what blew it is behind the switch of the reversing lamp."""
    circuit = Circuit.parse(BRANCHES)
    for seen in ("look", "ohms"):
        job = Diagnosis(circuit, draws=4)
        job.complain("M1", state="wash")
        if seen == "look":
            job.observe("F1", blown=True, state="wash")
        else:
            ohms = float("inf")
            job.measure("ohms", "F1.1:part", to="F1.2:part", state="wash", value=ohms, changes=[Unplug("F1")])
        probability = job.posterior().probability
        assert probability["wire S2.2 X1.1"] > 0.02
        lamp = Measurement("lamp", "F1.1", "reverse", "F1.2", "test lamp", (Unplug("F1"),))
        assert lamp in waiting(job.situation())


def test_a_fuse_blows_in_a_state_that_has_run_not_while_ohms_are_measured_in_it():
    """Ohms are measured with the feed isolated: a short behind the reversing switch blows nothing then."""
    circuit = Circuit.parse(BRANCHES)
    asked = (("ohms", "S2.1", "S2.2", 0.05), ("volts", "S2.1", "S2.2", 0.02))
    blown = []
    for quantity, at, to, value in asked:
        job = Diagnosis(circuit, draws=4)
        job.complain("M1", works="weak", state="wash")
        job.measure(quantity, at, to=to, state="reverse", value=value)
        belief = job.posterior().belief
        short = [one.name == "wire S2.2 X1.1 short to body" for one in belief.hypotheses]
        blown.append(
            bool(belief.context.memory.blown[:, belief.columns.hypothesis == short.index(True)].any())
        )
    assert blown == [False, True]


def test_wires_that_meet_in_a_splice_are_told_apart_by_millivolts_while_a_lamp_feeds_the_short():
    """By Ohm's law: only the wires on the way to the short carry the lamp's current, and drop anything."""
    circuit = Circuit.parse(BRANCHES)
    job = Diagnosis(circuit, instruments=("meter", "21 W lamp"), draws=4)
    job.complain("M1", state="wash")
    job.observe("F1", blown=True, state="wash")
    lamp = (LampFor("F1", 21.0),)
    job.measure("lamp", "F1.1", to="F1.2", state="off", value="bright", instrument="21 W lamp", changes=lamp)
    drops = {
        (test.at, test.to) for test in waiting(job.situation()) if test.in_millivolts and test.changes == lamp
    }
    assert ("F1.2", "S1.1") in drops
    before = job.posterior().probability["wire SP1 S2.1"]
    short = circuit.faults["wire SP1 S1.1 short to body"]
    volts = circuit.solve("off", fault=short, changes=lamp).volts("S2.1", "S1.1")
    assert volts > 0.02
    job.measure("volts", "S2.1", to="S1.1", state="off", value=volts, changes=lamp)
    assert job.posterior().probability["wire SP1 S2.1"] < 0.2 * before


def test_volts_across_a_fuse_show_that_it_passes_nothing_and_a_lamp_takes_its_place():
    """Kirchhoff: the supply's volts across a fuse whose branch is switched on; no look at the fuse is needed."""
    job = Diagnosis(Circuit.parse(BRANCHES), instruments=("meter", "21 W lamp"), draws=4)
    job.complain("M1", state="wash")

    def in_its_place() -> bool:
        return any(LampFor("F1", 21.0) in test.changes for test in waiting(job.situation()))

    assert not in_its_place()
    job.measure("volts", "F1.1", to="F1.2", state="wash", value=12.5)
    assert in_its_place()
