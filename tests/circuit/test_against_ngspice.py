"""The solution against ngspice on decks that are written anew from the model (see tests/references)."""

import numpy as np
import pytest
from hypothesis import given, settings

from halfsplit.circuit.batch import Batch, Cars, Cases
from tests.circuit.circuits import random_vehicles, ready_made
from tests.references.deck import build
from tests.references.ngspice import batch as ngspice_batch
from tests.references.rounds import Reference

pytestmark = pytest.mark.requires("ngspice", "libngspice")
WHOLE = (
    "patterns/relay-load.circuit",
    "patterns/grounds.circuit",
    "patterns/tail-lamps.circuit",
    "patterns/sensors-5v.circuit",
    "demos/rear-lamps.circuit",
    "demos/heated-screen.circuit",
)


def close(ours: float, theirs: float) -> bool:
    """Within 1 mV or 0.1 %."""
    return abs(ours - theirs) <= max(1e-3, 1e-3 * abs(theirs))


def hanging_on_the_leak(chosen, state, fault, points):
    """The points that nothing but 1 Gohm ties to the rest: there ngspice's matrix loses it (see docs/solution.md)."""
    if not points:
        return set()
    system, one = chosen.network.system(state), chosen.faults[fault]
    batch = Batch(Cars([system]), Cases.of(system, [one.changes], [one.locks]))
    ohms = batch.source_ohms(np.array([chosen.network.node(point) for point in points]))[:, 0, 0]
    return {point for point, each in zip(points, ohms, strict=True) if each > 1e6}


def compare(chosen, step=1):
    reference = Reference(chosen.model)
    for state in chosen.states:
        for fault in list(chosen.faults)[::step]:
            theirs = reference.solve(state, fault)
            ours = chosen.solve(state, fault=fault)
            where = f"{fault!r} in {state!r}"
            assert bool(ours.chattering) != theirs.settled, where
            if not theirs.settled:
                continue
            assert ours.blown == theirs.blown, where
            wrong = {
                point: (ours.volts(point), theirs.volts[point])
                for point in chosen.points
                if point in theirs.volts and not close(ours.volts(point), theirs.volts[point])
            }
            assert not set(wrong) - hanging_on_the_leak(chosen, state, fault, list(wrong)), (where, wrong)
            for fuse, amps in theirs.amps.items():
                assert close(ours.amps(fuse), amps), f"{fuse}, {where}"


@pytest.mark.parametrize("name", WHOLE)
def test_ready_made_circuits(name):
    compare(ready_made(name), step=7)


@settings(max_examples=4)
@given(random_vehicles())
def test_random_vehicles(chosen):
    compare(chosen, step=41)


def test_a_process_of_its_own_says_the_same_as_the_library():
    chosen = ready_made("patterns/relay-load.circuit")
    reference = Reference(chosen.model)
    state = list(chosen.states)[-1]
    volts = reference.solve(state).volts
    deck = build(chosen.model)
    lines = list(deck.text())
    for element, value in reference.now.items():
        lines = [
            f"{line.rpartition(' ')[0]} {value:.17g}" if line.split()[0] == element else line
            for line in lines
        ]
    points = [point for point, node in deck.nodes.items() if node != "0"]
    alone = ngspice_batch(lines, [f"v({deck.nodes[point]})" for point in points])
    for point in points:
        assert alone[f"v({deck.nodes[point]})"] == pytest.approx(volts[point], abs=1e-6)
