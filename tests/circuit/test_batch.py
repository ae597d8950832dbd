"""Many cases together come to the same states and volts as a solution of each from scratch."""

import mpmath
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from halfsplit.circuit import batch as batch_of
from halfsplit.circuit import cars as cars_of
from halfsplit.circuit.batch import Batch, Cars, Cases
from halfsplit.circuit.faults import pair
from halfsplit.circuit.interventions import Jump, LampFor, Unplug, apply
from halfsplit.circuit.network import OPEN, Change
from halfsplit.circuit.solve import COUNTER, solve
from halfsplit.circuit.substitution import answer
from tests.circuit.circuits import READY_MADE, circuit, random_vehicles, ready_made

RELATIVE = 1e-9
SCALE = 12.0


def compare(chosen, state, faults, interventions=()):
    """Largest difference in volts; states, blown fuses and currents must agree, and Kirchhoff's law hold."""
    system = apply(chosen.network.system(state), interventions)
    worst = 0.0
    for fault, together in zip(faults, batch_of.settled(system, faults), strict=True):
        alone = solve(system, fault.changes, fault.locks)
        assert (alone.states == together.states).all(), fault.name
        assert set(together.blown) == set(alone.blown), fault.name
        assert set(together.chattering) == set(alone.chattering), fault.name
        assert np.allclose(together.currents, alone.currents, rtol=1e-6, atol=1e-6), fault.name
        assert together.residual < 1e-6, fault.name
        worst = max(worst, float(np.abs(together.volts - alone.volts).max()))
    return worst


@pytest.mark.parametrize(
    "name",
    [
        "patterns/relay-load.circuit",
        "patterns/wiper-park.circuit",
        "patterns/grounds.circuit",
        "patterns/starter.circuit",
    ],
)
def test_every_single_fault_in_every_state(name):
    chosen = ready_made(name)
    for state in chosen.states:
        assert compare(chosen, state, list(chosen.faults.values())) < RELATIVE * SCALE


@pytest.mark.parametrize("name", READY_MADE)
def test_a_sample_of_every_ready_made_circuit(name):
    chosen = ready_made(name)
    sample = list(chosen.faults.values())[::23]
    for state in chosen.states:
        assert (
            compare(chosen, state, sample) < 1e-6
        )  # pieces cut off, on the leak alone: see docs/solution.md


@settings(max_examples=8)
@given(random_vehicles(), st.integers(0, 10_000))
def test_random_vehicles_with_pairs_of_faults_and_interventions(chosen, seed):
    generator = np.random.default_rng(seed)
    every = list(chosen.faults.values())
    some = [every[number] for number in generator.integers(len(every), size=24)]
    pairs = [pair(a, b) for a, b in zip(some[::2], some[1::2], strict=True) if a.part != b.part]
    fuse = next(part.name for part in chosen.parts.values() if part.kind == "fuse" and part.name != "F0")
    made = ((), (Unplug("X101"),), (Jump("G1.+", f"{fuse}.2"),), (LampFor(fuse),))[seed % 4]
    for state in chosen.states:
        assert compare(chosen, state, some + pairs, made) < 1e-6


def test_the_factorisations_do_not_grow_with_the_number_of_faults():
    """Each lane's healthy network is factorised once in each of its rounds; a fault costs none."""
    chosen = ready_made("patterns/relay-load.circuit")
    faults = list(chosen.faults.values())
    for state in chosen.states:
        system = chosen.network.system(state)
        made = []
        for some in (faults[:1], faults):
            before = COUNTER.factorisations
            batch = Batch(
                Cars([system]), Cases.of(system, [one.changes for one in some], [one.locks for one in some])
            )
            batch.volts(np.arange(chosen.network.size))
            made.append(COUNTER.factorisations - before)
        assert made[0] == made[1]


def test_cars_are_factorised_once_for_all_that_is_solved_in_them():
    chosen = ready_made("patterns/relay-load.circuit")
    cars = Cars([chosen.network.system(list(chosen.states)[-1])])
    faults = list(chosen.faults.values())
    made = []
    for some in (faults[:9], faults):
        before = COUNTER.factorisations
        Batch(cars, Cases.of(cars.system, [one.changes for one in some], [one.locks for one in some])).volts(
            np.arange(chosen.network.size)
        )
        made.append(COUNTER.factorisations - before)
    assert made[0] > 0
    assert made[1] == 0


def test_the_resistance_of_a_port_is_that_of_a_solution_with_a_load():
    """The open and the loaded volts of a point give its source resistance (Thévenin)."""
    chosen = circuit(
        "battery G1\nfuse F1 10 A\nlamp H1 21 W\nlamp H2 5 W\nground E1\n"
        "G1.+ -- F1 -- H1 -- H2 -- E1\nG1.- -- E1\n"
    )
    faults = [chosen.faults[name] for name in ("nothing wrong", "H2 open", "F1.2 high resistance 10 ohm")]
    system = chosen.network.system("as drawn")
    batch = Batch(
        Cars([system]), Cases.of(system, [one.changes for one in faults], [one.locks for one in faults])
    )
    node, load = chosen.network.node("H1.2"), 50.0
    ohms = batch.source_ohms(np.array([node]))[0, :, 0]
    for column, fault in enumerate(faults):
        free = solve(system, fault.changes).volts[node]
        loaded = solve(system.bridged([(node, chosen.network.size, load)]), fault.changes).volts[node]
        assert ohms[column] == pytest.approx(load * (free - loaded) / loaded, rel=1e-6)


def test_the_resistance_of_every_point_against_forty_digits():
    """mpmath (arbitrary precision) inverts the same network: contacts opened, shorts, units and their drivers."""
    chosen = circuit(
        "battery G1\nfuse F1 10 A\nswitch S1\nlamp H1 21 W\nground E1\n"
        "module A1\n  feed 1\n  earth 31\n  reads 2 pulled down 10 kohm\n  drives 3 high when 2 is high\n"
        "  supplies 4 5 V\n"
        "sensor B1\nG1.+ -- F1 -- SP1 -- A1.1\nSP1 -- S1 -- A1.2\nA1.3 -- H1 -- E1\nA1.4 -- B1 -- E1\n"
        'A1.31 -- E1\nG1.- -- E1\nstate "off"\nstate "on" S1 closed\n'
    )
    network = chosen.network
    system = network.system("on")
    faults = [fault for fault in chosen.faults.values() if not fault.members][::5]
    batch = Batch(
        Cars([system]), Cases.of(system, [one.changes for one in faults], [one.locks for one in faults])
    )
    ours = batch.source_ohms(np.arange(network.size))[..., 0]
    with mpmath.workdps(40):
        for column in range(0, len(faults), 7):
            blown = [
                Change(int(network.fuses[row]), OPEN) for row in np.flatnonzero(batch.blown[:, column, 0])
            ]
            case = system.changed([*faults[column].changes, *blown])
            exact = inverse_in_full(case, batch.states[:, column, 0])
            worst = max(
                abs(ours[node, column] / float(exact[node, node]) - 1.0) for node in range(network.size)
            )
            assert worst < 1e-9, faults[column].name


def inverse_in_full(system, states):
    """The inverse of the matrix of node analysis with the digits that mpmath works with."""
    size = system.network.size
    matrix = mpmath.eye(size) * mpmath.mpf("1e-9")
    for number in np.flatnonzero(system.active(states)):
        u0, u1, v0, v1 = system.ends[number]
        for row, way in ((u0, 1), (u1, -1)):
            for node, sign in ((v0, way), (v1, -way)):
                if row < size and node < size:
                    matrix[int(row), int(node)] += sign * mpmath.mpf(float(system.conductance[number]))
    return matrix**-1


def test_threads_share_nothing_that_they_write(monkeypatch):
    chosen = ready_made("patterns/tail-lamps.circuit")
    system = chosen.network.system(list(chosen.states)[-1])
    faults = list(chosen.faults.values())
    cases = Cases.of(system, [fault.changes for fault in faults], [fault.locks for fault in faults])
    nodes = np.arange(chosen.network.size)
    alone = Batch(Cars([system]), cases).volts(nodes)
    seen = []

    def noted(*arguments):
        seen.append((arguments[6], arguments[-2]))
        answer(*arguments)

    monkeypatch.setattr(batch_of, "answer", noted)
    monkeypatch.setattr(cars_of, "THREADS", 2)
    monkeypatch.setattr(batch_of, "FEWEST_BLOCKS", 1)
    monkeypatch.setattr(batch_of, "FEWEST_NODES", 1)
    together = Batch(Cars([system]), cases)
    seen.clear()
    assert np.array_equal(together.volts(nodes), alone)
    assert len(seen) == 2
    (first, above), (second, beside) = seen
    assert first.own != second.own
    assert not np.shares_memory(above, beside)
    assert not np.shares_memory(first.x, second.x)
