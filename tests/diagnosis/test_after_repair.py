"""What must be seen after the repair, and within which range it is right."""

from __future__ import annotations

import pytest

from halfsplit import Circuit, Diagnosis
from halfsplit.diagnosis.after_repair import allowed_words, is_right, verify_words

LAMPS = """
battery G1
fuse F1 10A
switch S1
lamp H1 21W "fog lamp, left"
ground E1
G1.+ -- F1 -- S1.1
S1.2 --[1mm2 GN]-- H1.1
H1.2 --[1mm2 BN]-- E1
ground E2
G1.- --[16mm2 0.6m]-- E2
state "off"
state "on" S1 closed
"""


@pytest.mark.parametrize(
    ("value", "healthy", "right"),
    [
        (0.09, 0.004, True),  # a proof asks: each earth within 0.1 V
        (0.3, 0.004, False),
        (12.1, 12.4, True),  # a proof asks: each feed within 0.5 V
        (11.8, 12.4, False),
        ("yes", "yes", True),
        ("weak", "yes", False),
    ],
)
def test_a_reading_after_the_repair_is_right_or_not(value, healthy, right):
    assert is_right(value, healthy) is right


def test_the_range_is_told_as_it_is_judged():
    assert allowed_words(0.004) == "under 0.1 V"
    assert allowed_words(12.44) == "11.9 to 12.9 V"


def test_what_was_wrong_is_to_be_seen_again():
    circuit = Circuit.parse(LAMPS)
    job = Diagnosis(circuit)
    job.complain("H1", works="no", state="on")
    job.complain("H1", works="weak", state="off")
    bad = circuit.solve("on", fault=circuit.faults["E1 high resistance 10 ohm"])
    job.measure("volts", at="H1.2", state="on", value=round(bad.volts("H1.2"), 2))
    job.measure("volts", at="E1", to="body", state="on", value=round(bad.volts("E1", "body"), 2))
    job.measure("volts", at="H1.1", state="on", value=12.3)
    told = [(test.at, wanted) for test, wanted in job.verify()]
    assert told[:2] == [("H1", "yes"), ("H1", "no")]
    assert [(at, abs(volts) < 0.1) for at, volts in told[2:]] == [("H1.2", True), ("E1", True)]
    words = [verify_words(test.measurement, wanted, circuit) for test, wanted in job.verify()]
    assert words == [
        "fog lamp, left (H1) is bright in state “on”",
        "fog lamp, left (H1) stays dark in state “off”",
        "under 0.1 V from fog lamp, left, pin 2 (H1.2) to battery negative post in state “on”",
        "under 0.1 V from ground E1 to bare metal of the body in state “on”",
    ]
