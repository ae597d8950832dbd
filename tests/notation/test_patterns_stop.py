"""What must stop a load of a pattern stops it: its fuse, its ground, the wires at its own pins; a short blows its fuse.

`FED` was read off the circuits' wires by hand: which fuse each load hangs on, and which ground it ends at. The faults
and the circuit's solution come from the engine.
"""

import pytest

from halfsplit.circuit.circuit import WORKS_FROM, Circuit
from halfsplit.circuit.kinds import LOADS
from halfsplit.notation.library import samples
from halfsplit.notation.reading import parse

FED = {
    "blower-electronic": "M1 F1 E2",
    "blower-steps": "M1 F1 E2, R1 F1 E2, R2 F1 E2",
    "can-bus": "H1 F3 E3",
    "charging": "H1 F2 GND1, E10 F3 E2",
    "cranks-but-does-not-run": "M2 F1 E3, Y1 F2 E2, Y11 F2 E2",
    "does-not-crank": "M1 F1 GND3",
    "door-lock": "M1 F1 E2, M2 F1 E2",
    "driver-duty-cycle": "Y1 F1 E2",
    "driver-high-side": "H1 F1 E3",
    "driver-low-side": "Y1 F1 E2",
    "fuel-pump": "M1 F1 E3",
    "glow-plugs": "R1 F1 GND1, R2 F1 GND2, R3 F1 GND3, R4 F1 GND4",
    "grounds": "H1 F1 E2",
    "head-lamps": "H1 F1 E2, H2 F2 E3, H3 F3 E2, H4 F4 E3",
    "heated-screen": "E10 F1 E2, H1 F2 E3",
    "ignition-coils": "Y1 F1 E2, Y2 F1 E2, Y3 F1 E2, Y4 F1 E2",
    "ignition-feed": "H1 F14 E3",
    "injectors": "Y11 F1 E2, Y12 F1 E2, Y13 F1 E2, Y14 F1 E2",
    "lin-chain": "H1 F1 E2",
    "no-air-conditioning": "Y1 F1 E3, M1 F3 E4",
    "overheats": "M1 F1 E3",
    "power-socket": "R1 F1 E2, R2 F1 E3",
    "radiator-fans": "M1 F1 E2, M2 F2 E2",
    "relay-load": "M1 F1 E2",
    "sensors-5v": "R1 F1 E2, R2 F1 E2",
    "starter": "M1 F1 GND3",
    "tail-lamps": "H1 F1 E2, H2 F2 E2, H3 F3 E2, H4 F4 E2, H5 F2 E3",
    "trailer-socket": "H1 F2 E2, H2 F2 E2, H3 F2 E2, H4 F1 E2, H5 F2 E2, H6 F1 E2",
    "window": "M1 F1 E2",
    "wiper-park": "M1 F1 E2",
}
UNFUSED = {("grounds", "M1")}
"""A starter's own cable has no fuse."""
TABLE = [(name, *entry.split()) for name, entries in FED.items() for entry in entries.split(", ")]
PATTERNS = {one.name: one for one in samples()}


@pytest.fixture(scope="module")
def circuits() -> dict[str, Circuit]:
    return {name: Circuit(*parse(one.text)) for name, one in PATTERNS.items()}


def working(circuit: Circuit, load: str) -> list[str]:
    """The states in which the load has its full volts when nothing is wrong (in others it may be fed another way)."""
    full = WORKS_FROM * circuit.healthy_volts[load]
    return [state for state in circuit.states if circuit.healthy_across(state)[load] >= full]


def test_the_table_has_every_load_of_every_pattern(circuits):
    found = {
        (name, part.name)
        for name, one in circuits.items()
        for part in one.parts.values()
        if part.kind in LOADS
    }
    assert {(name, load) for name, load, _, _ in TABLE} | UNFUSED == found


@pytest.mark.parametrize(("name", "load", "fuse", "ground"), TABLE, ids=lambda one: one)
def test_a_blown_fuse_and_an_open_ground_stop_the_load_in_every_state(circuits, name, load, fuse, ground):
    circuit = circuits[name]
    states = working(circuit, load)
    assert states
    for state in states:
        for part in (fuse, ground):
            assert circuit.solve(state, fault=f"{part} open").works(load) != "yes", (state, part)


@pytest.mark.parametrize("name", PATTERNS)
def test_an_open_wire_at_a_pin_that_has_no_other_stops_the_load(circuits, name):
    circuit, looked = circuits[name], 0
    for part in circuit.parts.values():
        for pin in ("1", "2") if part.kind in LOADS else ():
            ends = [one for one in circuit.model.wires if f"{part.name}.{pin}" in (one.a, one.b)]
            if len(ends) == 1 and f"{ends[0].name} open" in circuit.faults:
                looked += 1
                for state in working(circuit, part.name):
                    assert circuit.solve(state, fault=f"{ends[0].name} open").works(part.name) == "no", ends[
                        0
                    ].name
    assert looked or not any(part.kind in LOADS for part in circuit.parts.values())


@pytest.mark.parametrize(("name", "load", "fuse", "ground"), TABLE, ids=lambda one: one)
def test_a_wire_after_the_fuse_that_touches_the_body_blows_it(circuits, name, load, fuse, ground):
    circuit = circuits[name]
    after = [one.name for one in circuit.model.wires if f"{fuse}.2" in (one.a, one.b)]
    shorts = [f"{one} short to body" for one in after if f"{one} short to body" in circuit.faults]
    assert after
    for short in shorts:
        state = working(circuit, load)[0]
        solution = circuit.solve(state, fault=short)
        assert fuse in solution.blown
        assert solution.works(load) == "no"
