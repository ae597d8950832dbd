"""Which of a vehicle's thousands of tests are worth a closer look.

Nearly all points of a vehicle read the same whatever is wrong with one load. A test is kept where its reading differs
between what is believed by more than the instrument's error; of those, the best by spread and minutes.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from halfsplit.circuit.instruments import INSTRUMENTS
from halfsplit.circuit.kinds import LOADS
from halfsplit.diagnosis.cost import own_minutes
from halfsplit.diagnosis.evidence import is_blown
from halfsplit.diagnosis.expected import Context
from halfsplit.diagnosis.measurement import Measurement
from halfsplit.diagnosis.predict import Scene
from halfsplit.diagnosis.situation import Situation

Floats = NDArray[np.float64]
Ints = NDArray[np.intp]
Bools = NDArray[np.bool_]

PROBED, SEEN = ("volts", "lamp", "amps"), ("works", "blown")
SPREAD = 0.3
"""Spread of what is believed, in standard deviations of the instrument, from which a test may tell something."""
AS_BRIGHT = 0.01
"""Difference in the share of its volts that a load has below which nobody sees any."""
SURPRISE = 0.001
"""Probability of a surprise below which a look tells nothing that is worth asking for: 0.011 bits at most."""
MOST, HEAVIEST = 120, 1200
"""Probes worth a forecast, and particles by which they are picked."""
BLOCK = 64
"""Tests whose spread is worked out at once: their arrays stay in the processor's cache."""


def shortlist(
    situation: Situation, wanted: Sequence[Measurement], chosen: Ints, weights: Floats
) -> list[Measurement]:
    """The tests worth a forecast, in the order given.

    What is neither a probe nor a load or fuse as it stands (a swap, say) is kept as it is.
    """
    scenes: dict[tuple[str, tuple[object, ...]], list[int]] = {}
    looks: dict[str, list[int]] = {}
    for number, test in enumerate(wanted):
        # What a lamp across an empty socket shows depends on the current through it: it is no probe.
        if test.quantity in PROBED and not (test.quantity == "lamp" and test.to is not None):
            scenes.setdefault((test.state, test.changes), []).append(number)
        elif test.quantity in SEEN and not test.changes:
            looks.setdefault(test.state, []).append(number)
    worth = np.full(len(wanted), np.inf)
    for numbers in looks.values():
        differs = _differs(situation.choosing, [wanted[number] for number in numbers], chosen, weights)
        worth[numbers] = np.where(differs, np.inf, 0.0)
    # The particles come heaviest first: these show where a probe may tell something.
    chosen, weights = chosen[:HEAVIEST], weights[:HEAVIEST] / weights[:HEAVIEST].sum()
    draws = len(situation.choosing.predictor.draws)
    columns, which = np.unique(chosen // draws, return_inverse=True)
    heaviest, place = situation.choosing.part(columns)
    chosen = place[which.ravel()] * draws + chosen % draws
    for numbers in scenes.values():
        tests = [wanted[number] for number in numbers]
        worth[numbers] = _spread(heaviest.scene(tests[0]), tests, chosen, weights)
    minutes = np.array([own_minutes(test, situation.circuit.model, situation.state) for test in wanted])
    value = np.where(worth < SPREAD, -1.0, np.log1p(worth) / minutes)
    probes = np.flatnonzero(np.isfinite(worth) & (value > 0))
    best = probes[np.argsort(-value[probes], kind="stable")[:MOST]]
    kept = sorted({*best.tolist(), *np.flatnonzero(np.isinf(worth)).tolist()})
    short = [wanted[number] for number in kept]
    solve_scenes(situation, short)
    return short


def _spread(scene: Scene, tests: Sequence[Measurement], chosen: Ints, weights: Floats) -> Floats:
    """Standard deviation of each test's reading over the particles, by the instrument's error (T,)."""
    network, size = scene.circuit.network, scene.circuit.network.size
    ends = [
        (network.element(test.at), size) if test.quantity == "amps" else network.between(test.at, test.to)
        for test in tests
    ]
    amps = np.array([test.quantity == "amps" for test in tests])
    floor = np.array([test.floor for test in tests])
    share = np.array([INSTRUMENTS[test.instrument or "meter"].share for test in tests])
    mean, spread = np.empty(len(tests)), np.empty(len(tests))
    for what, rows in (("volts", ~amps), ("amps", amps)):
        numbers = np.flatnonzero(rows)
        points, place = np.unique(
            np.array([ends[number] for number in numbers]).reshape(-1, 2), return_inverse=True
        )
        scene.fill(what, points[points != size].tolist())
        spread_of = np.zeros((len(points), len(chosen)), dtype=np.float32)
        for row in np.flatnonzero(points != size):
            spread_of[row] = scene.get(what, int(points[row])).ravel()[chosen]
        for start in range(0, len(numbers), BLOCK):
            some = numbers[start : start + BLOCK]
            a, b = place.reshape(-1, 2)[start : start + BLOCK].T
            values = spread_of[a] - spread_of[b]
            mean[some] = values @ weights
            spread[some] = (values - mean[some, None].astype(np.float32)) ** 2 @ weights
    return np.asarray(np.sqrt(np.maximum(spread, 0.0)) / (floor + share * np.abs(mean)))


def _differs(context: Context, tests: Sequence[Measurement], chosen: Ints, weights: Floats) -> Bools:
    """Whether a load works or a fuse is blown in some of what is believed and in some not (T,)."""
    scene, network = context.scene(tests[0]), context.predictor.circuit.network
    columns = scene.columns
    believed = np.unique(columns.hypothesis[chosen // scene.shape[1]])
    own = {fault.part for number in believed for fault in columns.hypotheses[number].single}
    loads = [
        test.at for test in tests if test.quantity == "works" and network.model.parts[test.at].kind in LOADS
    ]
    scene.fill("volts", [node for load in loads for node in network.ends_of(load)])
    differs = np.ones(len(tests), dtype=bool)
    for number, test in enumerate(tests):
        if test.at in own:
            continue
        if test.quantity == "blown" and (blown := is_blown(test.at, scene, context)) is not None:
            differs[number] = SURPRISE < weights @ blown.ravel()[chosen] < 1.0 - SURPRISE
        elif test.at in loads:
            share = scene.works(test.at).ravel()[chosen]
            differs[number] = weights @ (np.abs(share - share[0]) > AS_BRIGHT) > SURPRISE
    return differs


def solve_scenes(situation: Situation, tests: Sequence[Measurement]) -> None:
    """The volts across loads, and what an instrument's load meets, found at once: many together are much cheaper."""
    network, parts = situation.circuit.network, situation.circuit.parts
    for state, changes in dict.fromkeys((test.state, test.changes) for test in tests):
        here = [test for test in tests if (test.state, test.changes) == (state, changes)]
        points = [
            network.node(end)
            for test in here
            if test.quantity == "volts" or (test.quantity == "lamp" and test.to is None)
            for end in (test.at, test.to)
            if end is not None
        ]
        loads = [test.at for test in here if test.quantity == "works" and parts[test.at].kind in LOADS]
        across = [node for load in loads for node in network.ends_of(load)]
        if points or across:
            scene = situation.choosing.scene(Measurement("volts", "", state, changes=changes))
            scene.fill("source_ohms", [node for node in points if node != network.size])
            scene.fill("volts", [node for node in (*points, *across) if node != network.size])
