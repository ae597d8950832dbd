"""Worked examples and published values, each with its source."""

import csv

import pytest

from halfsplit.circuit.assembly import LEAK
from halfsplit.circuit.network import ADD, Change
from halfsplit.circuit.solve import solve
from halfsplit.circuit.wiring import COPPER, gauge_mm2
from tests.circuit.circuits import READY_MADE, circuit, power_left_over, ready_made

# A supply of 12.6 V with almost no resistance, a joint and a load: everything else is negligible.
JOINT = """
battery G1  12.6 V 0.1 mohm
connector X1
{load}
ground E1
G1.+ --[50mm2 0.01m]-- X1.1 --[50mm2 0.01m]-- {name} --[50mm2 0.01m]-- E1
G1.- --[50mm2 0.01m]-- E1
"""


@pytest.mark.parametrize(("watts", "volts"), [(5.0, 11.8), (55.0, 7.1), (120.0, 4.7)])
def test_a_lamp_across_a_joint_of_2_ohm(watts, volts):
    """Calculated: 5 W lamp 11.8 V, 55 W about 7 V, a 10 A load 4.7 V."""
    chosen = circuit(JOINT.format(load=f"resistor R1 {144 / watts} ohm", name="R1"))
    joint = Change(chosen.network.element("X1.1"), ADD, 2.0)
    result = solve(chosen.network.system("as drawn"), (joint,))
    node, other = chosen.network.node("R1.1"), chosen.network.node("R1.2")
    assert result.volts[node] - result.volts[other] == pytest.approx(volts, abs=0.06)


def test_damp_of_1_megohm_shows_11_5_volts_on_a_meter():
    """Calculated: 12.6 V through 1 Mohm into a meter of 10 Mohm."""
    chosen = circuit(
        "battery G1\nresistor R1 1 Mohm\nsplice SP1\nground E1\nswitch S1\n"
        "G1.+ -- R1 -- SP1\nSP1 -- S1 -- E1\nG1.- -- E1\n"
    )
    shown = chosen.solve("as drawn").volts("SP1", instrument="meter")
    assert shown == pytest.approx(11.45, abs=0.08)


def test_a_metre_of_2_5_mm2_drops_32_mv_at_4_6_a():
    """Calculated: 32 mV a metre at 4.6 A."""
    assert pytest.approx(0.032, abs=0.0005) == COPPER / 2.5 * 4.6
    chosen = circuit(
        "battery G1\nheater E9 4.6 A\nground E1\nfuse F1 10 A\n"
        "G1.+ -- F1 --[2.5mm2 1m]-- E9 --[2.5mm2 1m]-- E1\nG1.- --[16mm2 0.5m]-- E1\n"
    )
    found = chosen.solve("as drawn")
    per_amp = (found.volts("F1.2") - found.volts("E9.1")) / found.amps("E9")
    assert per_amp * 4.6 == pytest.approx(0.032, abs=0.0005)


def test_copper_by_gauge(outside_data):
    """ASTM B258 sizes at IEC 60028 resistivity: the handbook table among the outside data, mohm a metre."""
    with (outside_data("handbook") / "copper_awg_resistance_computed.csv").open() as stream:
        rows = [row for row in csv.DictReader(stream) if row["awg"].isdigit()]
    assert len(rows) > 5
    for row in rows:
        milliohms = COPPER / gauge_mm2(int(row["awg"])) * 1e3
        assert milliohms == pytest.approx(float(row["mohm_per_m_20C_solid_100pct_IACS"]), rel=5e-4), row[
            "awg"
        ]


def test_a_point_cut_off_on_both_sides_is_at_0_volts():
    """By the leak of 1 Gohm at every node."""
    chosen = circuit(
        "battery G1\nswitch S1\nrelay K1\nlamp H1\nground E1\nfuse F1 10 A\n"
        "G1.+ -- F1 -- S1 -- K1.30\nK1.87 -- H1 -- E1\nF1.2 -- K1.86\nK1.85 -- E1\nG1.- -- E1\n"
    )
    assert abs(chosen.solve("as drawn", fault="K1 contact open").volts("K1.30")) < 1e-6


@pytest.mark.parametrize("name", READY_MADE)
def test_kirchhoff_and_tellegen(name):
    """Kirchhoff's current law at every node, and the power of all elements sums to nothing (Tellegen 1952)."""
    chosen = ready_made(name)
    for state in chosen.states:
        for fault in list(chosen.faults)[::37]:
            found = chosen.solve(state, fault=fault)
            assert found.residual < 1e-9, (state, fault)
            if not any(
                one.behaviour and any(driver.duty for driver in one.behaviour.drivers)
                for one in chosen.parts.values()
            ):  # the power of means is not the mean of powers
                assert abs(power_left_over(found)) < 1e-6, (state, fault)
    assert LEAK == 1e-9
