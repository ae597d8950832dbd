"""Devices with a state of their own, each in the smallest circuit that shows it. Expected values by hand."""

import pytest

from tests.circuit.circuits import circuit


def test_a_relay_that_drops_its_own_feed_chatters():
    """Its coil is fed through its own rest contact: a buzzer."""
    chosen = circuit(
        "battery G1\nrelay K1\nground E1\nfuse F1 5 A\nlamp H1 2 W\n"
        "G1.+ -- F1 -- K1.30\nK1.87a -- K1.86\nK1.85 -- E1\nK1.87 -- H1 -- E1\nG1.- -- E1\n"
    )
    found = chosen.solve("as drawn")
    assert found.chattering == ("K1",)
    assert found.volts("K1.86") == pytest.approx(12.6, abs=0.1)


def test_what_has_not_settled_after_all_rounds_is_told_as_chattering():
    """Ninety relays, each switching the next, need more rounds than a case is given."""
    chain = "".join(f"G1.+ -- K{n}.30\nK{n}.87 -- K{n + 1}.86\nK{n}.85 -- E1\n" for n in range(1, 90))
    declared = "".join(f"relay K{n}\n" for n in range(1, 91))
    chosen = circuit(f"battery G1\nground E1\n{declared}G1.+ -- K1.86\n{chain}K90.85 -- E1\nG1.- -- E1\n")
    found = chosen.solve("as drawn")
    assert found.chattering == ("K80",)
    assert found.volts("K79.87") == pytest.approx(12.6, abs=0.5)
    assert found.volts("K81.86") == pytest.approx(0.0, abs=0.1)


def test_a_self_holding_relay_stays_released_until_it_is_started():
    chosen = circuit(
        "battery G1\nrelay K1\nground E1\nfuse F1 5 A\nswitch S1\nlamp H1 2 W\n"
        "G1.+ -- F1 -- K1.30\nK1.87 -- SP1\nSP1 -- H1 -- E1\nSP1 -- K1.86\nF1.2 -- S1 -- SP1\n"
        'K1.85 -- E1\nG1.- -- E1\nstate "rest"\nstate "started" S1 closed\n'
    )
    assert chosen.solve("rest").works("H1") == "no"
    assert chosen.solve("started").works("H1") == "yes"
    assert chosen.solve("started").amps("K1.87") != 0


def test_the_fuse_furthest_over_its_rating_opens_first():
    """One fuse in series behind another: the smaller goes, the larger stays."""
    chosen = circuit(
        "battery G1\nfuse F1 30 A\nfuse F2 5 A\nlamp H1\nground E1\n"
        "G1.+ --[10mm2]-- F1 -- F2 -- H1 -- E1\nG1.- -- E1\n"
    )
    found = chosen.solve("as drawn", fault="H1 shorted")
    assert found.blown == ("F2",)
    assert found.amps("F1") == pytest.approx(0.0, abs=1e-6)


def test_a_supply_past_its_limit_is_a_current_source():
    """Past its limit a supply is a current source of the limit: 0.1 A through 10 ohm."""
    chosen = circuit(
        "battery G1\nfuse F1 5 A\nground E1\nresistor R1 10 ohm\nmodule A1\n  feed 30\n  earth 31\n"
        "  supplies 40 5 V limit 0.1 A\nG1.+ -- F1 -- A1.30\nA1.31 -- E1\nA1.40 -- R1 -- E1\nG1.- -- E1\n"
    )
    assert chosen.solve("as drawn").amps("R1") == pytest.approx(0.1, rel=1e-3)


def test_a_latched_driver_is_off_until_the_state_that_clears_it():
    chosen = circuit(
        "battery G1\nfuse F1 30 A\nground E1\nheater E9 10 A\nmodule A1\n  feed 30\n  earth 31\n"
        '  drives 1 high limit 5 A latches off until "cleared" when always\n'
        "G1.+ -- F1 -- A1.30\nA1.31 -- E1\nA1.1 -- E9 -- E1\nG1.- -- E1\n"
        'state "on"\nstate "cleared"\n'
    )
    assert chosen.solve("on").amps("E9") == pytest.approx(0.0, abs=1e-6)
    assert chosen.solve("cleared").amps("E9") == pytest.approx(5.0, rel=1e-3)


def test_a_meter_on_a_duty_cycle_shows_the_mean():
    chosen = circuit(
        "battery G1\nfuse F1 30 A\nground E1\nheater E9 1 A\nmodule A1\n  feed 30\n  earth 31\n"
        "  drives 1 high pwm 0.3 100 Hz when always\n"
        "G1.+ -- F1 -- A1.30\nA1.31 -- E1\nA1.1 -- E9 -- E1\nG1.- -- E1\n"
    )
    assert chosen.solve("as drawn").amps("E9") == pytest.approx(0.3 * 12.6 / 12.0, rel=0.02)


SLEEPER = """
battery G1
fuse F1 5 A
ground E1
switch S1
module A1
  feed 30
  earth 31
  draws 0.5 A
  reads 7 pulled down 10 kohm
  sleeps 6 mA after 10 min
  wakes when 7 is high
G1.+ -- F1 -- A1.30
F1.2 -- S1 -- A1.7
A1.31 -- E1
G1.- -- E1
state "driving"
state "parked" lasts 30 min
state "parked, door open" lasts 30 min, S1 closed
"""


def test_a_module_sleeps_wakes_and_may_fail_to_sleep():
    """Amps by 12 V / A as a resistor at 12.6 V."""
    chosen = circuit(SLEEPER)
    awake, asleep = 0.5 * 12.6 / 12, 0.006 * 12.6 / 12
    assert chosen.solve("driving").amps("A1.30") == pytest.approx(awake, rel=0.01)
    assert chosen.solve("parked").amps("A1.30") == pytest.approx(asleep, rel=0.01)
    assert chosen.solve("parked, door open").amps("A1.30") == pytest.approx(awake, rel=0.01)
    assert chosen.solve("parked", fault="A1 does not sleep").amps("A1.30") == pytest.approx(awake, rel=0.01)


def test_an_unfed_module_is_fed_back_through_a_clamp_diode():
    """The feed is then a diode below the pin."""
    chosen = circuit(
        "battery G1\nfuse F1 5 A\nfuse F2 5 A\nground E1\nmodule A1\n  feed 30\n  earth 31\n"
        "  reads 7 pulled down 10 kohm\n  clamp 7\n"
        "G1.+ -- F1 -- A1.30\nG1.+ -- F2 -- A1.7\nA1.31 -- E1\nG1.- -- E1\n"
    )
    found = chosen.solve("as drawn", fault="F1 open")
    assert found.volts("A1.7:part") - found.volts("A1.30:part") == pytest.approx(0.7, abs=0.01)


def test_a_dead_module_and_a_module_without_ground_drive_nothing():
    chosen = circuit(
        "battery G1\nfuse F1 5 A\nground E1\nground E2\nlamp H1 5 W\nmodule A1\n  feed 30\n  earth 31\n"
        "  drives 1 high when always\n"
        "G1.+ -- F1 -- A1.30\nA1.31 -- E2\nA1.1 -- H1 -- E1\nG1.- -- E1\n"
    )
    assert chosen.solve("as drawn").works("H1") == "yes"
    for fault in ("A1 dead", "E2 open", "A1.31 open"):
        assert chosen.solve("as drawn", fault=fault).works("H1") == "no", fault


def test_a_generator_counts_only_where_it_runs():
    chosen = circuit(
        "battery G1\ngenerator G2\nlamp H1 55 W\nground E1\nG1.+ --[16mm2]-- SP1\nG2.+ --[16mm2]-- SP1\n"
        "SP1 -- H1 -- E1\nG2.- --[16mm2]-- E1\nG1.- --[16mm2]-- E1\n"
        'state "off"\nstate "running" G2 running\n'
    )
    assert chosen.solve("off").amps("G2") == 0
    assert chosen.solve("running").volts("SP1") > 12.7
    assert chosen.solve("running", fault="G2 not charging").volts("SP1") < 12.6


LINES = """
battery G1
fuse F1 5 A
module A1
  feed 1
  earth 2
  talks on CAN1 at 3 4
module A2
  feed 1
  earth 2
  talks on CAN1 at 3 4
ground E1
G1.+ -- F1 -- SP1
SP1 -- A1.1
SP1 -- A2.1
A1.2 -- E1
A2.2 -- E1
G1.- -- E1
A1.3 -- A2.3
state "on"
"""


def test_a_bus_line_that_is_drawn_breaks_at_its_wires_and_contacts_alone():
    """The same break under two names would count twice; the line that is not drawn keeps its own."""
    faults = circuit(LINES).faults
    assert {"A1.3 open", "wire A1.3 A2.3 open", "CAN1 low open at A1", "CAN1 lines shorted"} <= set(faults)
    assert "CAN1 high open at A1" not in set(faults)
