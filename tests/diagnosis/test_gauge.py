"""Instruments fixed in the circuit: written down, read, and found out when they lie. The circuit is invented."""

from __future__ import annotations

import numpy as np
import pytest

from halfsplit import Circuit, CircuitError, Diagnosis, UnknownNameError
from halfsplit.diagnosis.measurement import Measurement
from halfsplit.diagnosis.words import reading_words, sentence
from halfsplit.job.entering import read_entry
from halfsplit.notation.reading import parse, write
from halfsplit.practice.vehicle import Vehicle

TEXT = """
battery G1
ground  E1
fuse    F1 10 A
relay   K1
switch  S1
motor   M1 4 A  "blower"
  drifts
G1.+  -- F1 -- K1.30
F1.2  -- S1 -- K1.86
K1.85 -- E1
K1.87 -- M1 -- E1
G1.-  -- E1
stage air  6 m/s else 0 m/s
  needs M1
gauge P1 volts  at K1.87  x0.5  within 0.05 V  "behind a divider"
gauge P2 amps   at M1     within 0.05 A
gauge P3 closed at K1
gauge P4 stage  at air    within 0.3 m/s
state "off"
state "on" S1 closed
"""


@pytest.fixture(scope="module")
def circuit():
    return Circuit.parse(TEXT)


def _shown(circuit, fault, name, seed=0, noise=False):
    vehicle = Vehicle(circuit, circuit.faults[fault], np.random.default_rng(seed), noise=noise)
    return vehicle.answer(Measurement("gauge", name, "on"))


def _job(circuit, readings):
    job = Diagnosis(circuit)
    for name, value in readings.items():
        job.measure("gauge", name, state="on", value=value)
    return job


def test_what_is_written_is_read_again(circuit):
    assert parse(write(circuit.model))[0] == circuit.model


@pytest.mark.parametrize(
    ("line", "text"),
    [
        ("gauge P9 volts at K9.30", 'there is no point "K9.30"'),
        ("gauge P9 amps at K1", 'there is no two-pin part or pin "K1"'),
        ("gauge P9 closed at M1", 'there is no relay, fuse or breaker "M1"'),
        ("gauge P9 stage at water", 'there is no stage "water"'),
        ("gauge P1 volts at K1.87", "P1 is declared twice, first in line 16"),
        ("gauge M1 volts at K1.87", "M1 is declared twice"),
        ("gauge P9 volts at K1.87 within 1 A", "1 A does not tell how near a gauge reads"),
        ("gauge P9 ohms at K1.87", '"ohms" was not expected here'),
    ],
)
def test_a_gauge_that_makes_no_sense_is_an_error(line, text):
    with pytest.raises(CircuitError) as raised:
        parse(f"{TEXT}{line}\n")
    assert text in str(raised.value)


def test_a_sound_gauge_shows_the_circuit(circuit):
    solution = circuit.solve("on")
    vehicle = Vehicle(circuit, circuit.faults["nothing wrong"], np.random.default_rng(0), noise=False)
    shown = {name: vehicle.answer(Measurement("gauge", name, "on")) for name in circuit.model.gauges}
    assert shown["P1"] == pytest.approx(0.5 * solution.volts("K1.87"), rel=0.05)
    assert shown["P2"] == pytest.approx(solution.amps("M1"), rel=0.2)
    assert (shown["P3"], shown["P4"]) == (1.0, 6.0)
    off = {name: vehicle.answer(Measurement("gauge", name, "off")) for name in circuit.model.gauges}
    assert (off["P3"], off["P4"]) == (0.0, 0.0)


@pytest.mark.parametrize("name", ["P1", "P2", "P4"])
@pytest.mark.parametrize("mode", ["offset", "stuck"])
def test_one_gauge_that_disagrees_with_the_others_is_the_first_suspect(circuit, name, mode):
    vehicle = Vehicle(circuit, circuit.faults[f"{name} {mode}"], np.random.default_rng(5))
    readings = {one: vehicle.answer(Measurement("gauge", one, "on")) for one in circuit.model.gauges}
    leader = _job(circuit, readings).suspects()[0]
    assert leader.part == name


def test_gauges_that_agree_accuse_the_circuit(circuit):
    readings = {name: _shown(circuit, "K1 contact open", name) for name in circuit.model.gauges}
    assert readings["P3"] == 0.0
    shares = {one.part: one.probability for one in _job(circuit, readings).suspects()}
    assert sum(shares[name] for name in circuit.model.gauges) < 0.05
    assert shares["K1"] > 0.08


def test_a_load_that_drifted_is_told_from_its_ammeter(circuit):
    """Less current and less air: the motor. Less current alone: its gauge."""
    sound = {name: _shown(circuit, "nothing wrong", name) for name in circuit.model.gauges}
    worn = {**sound, "P2": 0.6 * sound["P2"], "P4": 3.0}
    assert _job(circuit, worn).suspects()[0].cause.startswith("M1 drifted")
    assert _job(circuit, {**sound, "P2": 0.6 * sound["P2"]}).suspects()[0].part in ("P2", "M1")


def test_only_loads_that_say_so_drift(circuit):
    assert "M1 drifted to 6 ohm" in circuit.faults
    assert not [name for name in Circuit.parse(TEXT.replace("  drifts\n", "")).faults if "drifted" in name]


def test_reading_a_gauge_is_proposed_and_asked_in_words(circuit):
    job = Diagnosis(circuit)
    job.complain("M1", state="on")
    assert [test for test in job.next_tests(12) if test.quantity == "gauge"]
    asked = sentence(Measurement("gauge", "P1", "on"), circuit)
    assert asked == "State “on”: what does P1 behind a divider show?"


def test_a_gauge_that_is_not_there(circuit):
    with pytest.raises(UnknownNameError, match="there is no gauge 'P9' in this circuit"):
        Diagnosis(circuit).measure("gauge", "P9", state="on", value=1.0)


def test_a_reading_in_a_unit_of_the_file():
    """Whatever unit a stage or gauge has; one that is known may be typed in another."""
    assert read_entry("stage", "3.8", unit="bar") == pytest.approx(3.8)
    assert read_entry("stage", "380 kPa", unit="bar") == pytest.approx(3.8)
    assert read_entry("gauge", "900 rpm", unit="rpm") == 900.0
    assert read_entry("gauge", "1", unit="1") == 1.0
    assert reading_words(Measurement("stage", "air", "on"), 5.9) == "5.9"
