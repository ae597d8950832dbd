"""Node analysis of many cases of one structure, compiled: each case is eliminated anew only where it differs.

A case changes few elements of a network that is factorised already (its *base*). Only the fronts of those elements,
and of the nodes above them in the elimination tree, take other values (partial refactorisation: Chan and Brandwajn,
IEEE Trans. Power Systems 1, 1986). A row keeps what it couples and its sum, never its diagonal, so that nothing is
subtracted where all conductances are positive (Grassmann, Taksar and Heyman, Operations Research 33, 1985): behind an
opened contact of 2 mohm the volts may hang on 1 Gohm, which is one part in 10¹² of it. An element that joins nodes
of which the structure knows nothing (a short) is a change of rank one on top (Hager, SIAM Review 31, 1989).

Cases are worked on side by side, in the *lanes* of a block: the draws of one case, or neighbouring cases of one draw.
Lanes are the last axis of all that is summed, so that a processor adds several at a time.

Sizes below: N nodes by their place, E elements, L lanes, K rounds of the healthy run, B blocks, F = len(coupled),
Q = squares[-1].
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
from numba import njit
from numpy.typing import NDArray

from halfsplit.circuit.assembly import LEAK
from halfsplit.circuit.devices import Floats, Ints, States
from halfsplit.circuit.network import ADD, OPEN, SET, System
from halfsplit.circuit.structure import (
    BRANCH,
    COLUMN,
    ROW,
    ROW_SUM,
    SOURCE,
    TO_REFERENCE,
    Structure,
    ascending,
    structure_of,
)

Numbers = NDArray[np.int32]

MOST_BRIDGES = 64
"""Bridges that one case may add: a short is one, two faults at once or the swapped cavities of a plug are a few."""


class Base(NamedTuple):
    """The networks of all lanes, factorised in the K rounds of their healthy run, and room for a few blocks.

    The last R rows are that room, one for each block that is worked on at a time.

    states (K, L, devices)    states of the devices
    given, emf, push (E, L)   values before devices switch them; present, device, mask (E,) as of the system
    owned (devices, most)     elements of each device, then -1
    conductance, source (K + R, E, L)  values as switched: siemens, and ampere into the first end
    schur (K + R, Q, L)       what each front leaves for the later nodes that it couples
    sums, current (K + R, F, L)  their row sums (siemens) and currents (ampere) from it
    upper, lower (K + R, F, L)   the node's row and column by its pivot
    pivot, volts (K + R, N, L)   inverse pivots (ohm), and volts that its own current makes
    """

    states: States
    given: Floats
    emf: Floats
    push: Floats
    present: NDArray[np.bool_]
    device: Numbers
    mask: Numbers
    owned: Numbers
    conductance: Floats
    source: Floats
    schur: Floats
    sums: Floats
    current: Floats
    upper: Floats
    lower: Floats
    pivot: Floats
    volts: Floats


class Changes(NamedTuple):
    """Elements (C, most) that each case changes, then -1; operations and values as in ``network.operate``."""

    elements: Numbers
    operations: Numbers
    values: Floats

    def some(self, which: Ints) -> Changes:
        """Those of some cases."""
        return Changes(self.elements[which], self.operations[which], self.values[which])


class Work(NamedTuple):
    """Room to work on one block after the other, in row ``own`` of the base.

    ``marked`` (N,), ``changed`` (E,): number of the last block in which a front, an element was another than the
    base's. ``nodes``, ``path`` (N + 1,), ``elements`` (E + 1,): lists. ``seen`` (N + 1,): on a way, reset at once.
    ``x``, ``pushed`` (N + 1, L): volts, and currents, which are zero between uses. ``lane`` (4, L). Of what each lane
    adds that no front knows of: ``bridges`` (most, L, 2) from place to place, ``siemens`` (most, L), ``bridged`` (L,).
    """

    marked: Numbers
    changed: Numbers
    nodes: Numbers
    path: Numbers
    elements: Numbers
    seen: NDArray[np.bool_]
    x: Floats
    pushed: Floats
    lane: Floats
    bridges: Numbers
    siemens: Floats
    bridged: Numbers
    own: int


def bases(systems: Sequence[System], rounds: States, owned: Numbers, room: int) -> Base:
    """Factorise the networks of the lanes in each round of device states (K, L, devices); ``room``: for blocks."""
    system = systems[0]
    structure = structure_of(system)
    given, emf, push = (
        np.stack([getattr(system, name) for system in systems], axis=1)
        for name in ("conductance", "emf", "push")
    )
    active = np.array(
        [[system.active(states) for system, states in zip(systems, each, strict=True)] for each in rounds]
    )
    active = active.transpose(0, 2, 1)
    conductance = np.where(active, given, 0.0)
    source = conductance * emf + np.where(active, push, 0.0)
    size, coupled, squares = len(structure.parent), len(structure.coupled), int(structure.squares[-1])
    count, lanes = len(rounds), len(systems)
    base = Base(
        np.ascontiguousarray(rounds),
        given,
        emf,
        push,
        system.present,
        system.device.astype(np.int32),
        system.mask.astype(np.int32),
        owned,
        *(np.concatenate([each, *[each[:1]] * room]) for each in (conductance, source)),
        *(
            np.empty((count + room, each, lanes))
            for each in (squares, coupled, coupled, coupled, coupled, size, size)
        ),
    )
    _eliminate_all(structure, base, working(structure, lanes, count))
    return base


def working(structure: Structure, lanes: int, own: int) -> Work:
    """Room to work on the blocks of a structure in this row of its base."""
    size, elements = len(structure.parent), len(structure.extra)
    return Work(
        np.full(size, -1, dtype=np.int32),
        np.full(elements, -1, dtype=np.int32),
        np.empty(size + 1, dtype=np.int32),
        np.empty(size + 1, dtype=np.int32),
        np.empty(elements + 1, dtype=np.int32),
        np.zeros(size + 1, dtype=np.bool_),
        np.zeros((size + 1, lanes)),
        np.zeros((size + 1, lanes)),
        np.zeros((4, lanes)),
        np.empty((MOST_BRIDGES, lanes, 2), dtype=np.int32),
        np.empty((MOST_BRIDGES, lanes)),
        np.zeros(lanes, dtype=np.int32),
        own,
    )


@njit(cache=True, nogil=True)
def _eliminate_all(structure, base, work):  # type: ignore[no-untyped-def]
    """Eliminate all fronts of all networks but the last row."""
    nodes = np.arange(len(structure.parent)).astype(np.int32)
    for number in range(np.int64(len(base.states))):
        _eliminate(structure, base, work, nodes, len(nodes), number, number, np.int64(-2))


@njit(cache=True, nogil=True)
def _eliminate(structure, base, work, nodes, count, number, own, block):  # type: ignore[no-untyped-def]
    """Eliminate the listed nodes into row ``own``, from the fronts there of children that are marked, and of others.

    Those, and the elements that are not changed in this block, are those of row ``number``.
    """
    starts, squares, within = structure.starts, structure.squares, structure.within
    entry_starts, entry = structure.entry_starts, structure.entry
    child_starts, children = structure.child_starts, structure.child
    conductance, source, schur, sums, current = (
        base.conductance,
        base.source,
        base.schur,
        base.sums,
        base.current,
    )
    upper, lower, pivots, volts = base.upper, base.lower, base.pivot, base.volts
    marked, changed = work.marked, work.changed
    lanes = work.lane.shape[1]
    row_sum, injected, inverse, leaving = work.lane[0], work.lane[1], work.lane[2], work.lane[3]
    for which in range(count):
        node = nodes[which]
        start = starts[node]
        width = starts[node + 1] - start
        square = squares[node]
        for at in range(start, start + width):
            for lane in range(lanes):
                sums[own, at, lane] = 0.0
                current[own, at, lane] = 0.0
                upper[own, at, lane] = 0.0
                lower[own, at, lane] = 0.0
        for at in range(square, square + width * width):
            for lane in range(lanes):
                schur[own, at, lane] = 0.0
        for lane in range(lanes):
            row_sum[lane] = LEAK
            injected[lane] = 0.0
        for at in range(entry_starts[node], entry_starts[node + 1]):
            element, kind, place, sign = entry[at, 0], entry[at, 1], start + entry[at, 2], entry[at, 3]
            row = own if changed[element] == block else number
            if kind == BRANCH:
                for lane in range(lanes):
                    upper[own, place, lane] += conductance[row, element, lane]
                for lane in range(lanes):
                    lower[own, place, lane] += conductance[row, element, lane]
                for lane in range(lanes):
                    current[own, place, lane] -= sign * source[row, element, lane]
            elif kind == TO_REFERENCE:
                for lane in range(lanes):
                    row_sum[lane] += conductance[row, element, lane]
            elif kind == ROW:
                for lane in range(lanes):
                    upper[own, place, lane] += sign * conductance[row, element, lane]
            elif kind == COLUMN:
                for lane in range(lanes):
                    lower[own, place, lane] += sign * conductance[row, element, lane]
            elif kind == ROW_SUM:
                for lane in range(lanes):
                    row_sum[lane] += sign * conductance[row, element, lane]
            if kind in (BRANCH, TO_REFERENCE, SOURCE):
                for lane in range(lanes):
                    injected[lane] += sign * source[row, element, lane]
        for at in range(child_starts[node], child_starts[node + 1]):
            child = children[at]
            row = own if marked[child] == block else number
            first, square_of = starts[child], squares[child]
            many = starts[child + 1] - first
            for lane in range(lanes):
                row_sum[lane] += sums[row, first, lane]
            for lane in range(lanes):
                injected[lane] += current[row, first, lane]
            for i in range(1, many):
                to = within[first + i]
                for lane in range(lanes):
                    sums[own, start + to, lane] += sums[row, first + i, lane]
                for lane in range(lanes):
                    current[own, start + to, lane] += current[row, first + i, lane]
                for lane in range(lanes):
                    upper[own, start + to, lane] += schur[row, square_of + i, lane]
                for lane in range(lanes):
                    lower[own, start + to, lane] += schur[row, square_of + i * many, lane]
                for j in range(1, many):
                    if i != j:
                        into, out = square + to * width + within[first + j], square_of + i * many + j
                        for lane in range(lanes):
                            schur[own, into, lane] += schur[row, out, lane]
        for lane in range(lanes):
            inverse[lane] = row_sum[lane]
        for at in range(start, start + width):
            for lane in range(lanes):
                inverse[lane] += upper[own, at, lane]
        for lane in range(lanes):
            inverse[lane] = 1.0 / inverse[lane]
        for lane in range(lanes):
            pivots[own, node, lane] = inverse[lane]
        for lane in range(lanes):
            volts[own, node, lane] = injected[lane] * inverse[lane]
        for at in range(start, start + width):
            for lane in range(lanes):
                upper[own, at, lane] *= inverse[lane]
        for i in range(width):
            for lane in range(lanes):
                leaving[lane] = lower[own, start + i, lane]
            for j in range(width):
                if i != j:
                    into = square + i * width + j
                    for lane in range(lanes):
                        schur[own, into, lane] += leaving[lane] * upper[own, start + j, lane]
            for lane in range(lanes):
                leaving[lane] *= inverse[lane]
            for lane in range(lanes):
                lower[own, start + i, lane] = leaving[lane]
            for lane in range(lanes):
                sums[own, start + i, lane] += leaving[lane] * row_sum[lane]
            for lane in range(lanes):
                current[own, start + i, lane] += leaving[lane] * injected[lane]


@njit(cache=True, nogil=True)
def _put(base, work, number, element, states, changes, rows, block, count):  # type: ignore[no-untyped-def]
    """Note an element's values in this block, in its own row, if they are not the base's; the number noted so far."""
    if work.changed[element] == block:
        return count
    own, device = work.own, base.device[element]
    differs = False
    for lane in range(len(rows)):
        g, emf, push = base.given[element, lane], base.emf[element, lane], base.push[element, lane]
        for at in range(changes.elements.shape[1]):
            if changes.elements[rows[lane], at] == element:
                operation, value = changes.operations[rows[lane], at], changes.values[rows[lane], at]
                if operation == OPEN:
                    g = 0.0
                elif operation == ADD:
                    g = g / (1.0 + g * value)
                elif operation == SET:
                    g = 1.0 / value
                else:
                    emf = value
        if not base.present[element] or (
            device >= 0 and (base.mask[element] >> states[lane, device]) & 1 == 0
        ):
            g, push = 0.0, 0.0
        j = g * emf + push
        base.conductance[own, element, lane] = g
        base.source[own, element, lane] = j
        if g != base.conductance[number, element, lane] or j != base.source[number, element, lane]:
            differs = True
    if differs:
        work.changed[element] = block
        work.elements[count] = element
        return count + 1
    return count


@njit(cache=True, nogil=True)
def _bridge(structure, base, work, element):  # type: ignore[no-untyped-def]
    """Note an element that no front knows of in the lanes that have it."""
    for lane in range(len(work.bridged)):
        siemens = base.conductance[work.own, element, lane]
        if siemens != 0.0:
            place = work.bridged[lane]
            work.bridges[place, lane, 0] = structure.ends[element, 0]
            work.bridges[place, lane, 1] = structure.ends[element, 1]
            work.siemens[place, lane] = siemens
            work.bridged[lane] += 1


@njit(cache=True, nogil=True)
def begin(structure, base, work, block, states, changes, rows):  # type: ignore[no-untyped-def]
    """Eliminate a block: the base that it starts from, and how many bridges that no front knows of a lane has at most.

    It starts from the round of the healthy run whose devices differ least, the last of equals.
    """
    # Plain numbers would be compiled for each of their values.
    number, least = np.int64(0), 1 << 30
    for other in range(len(base.states) - 1, -1, -1):
        differing = 0
        for lane in range(len(rows)):
            for device in range(states.shape[1]):
                differing += base.states[other, lane, device] != states[lane, device]
        if differing < least:
            number, least = np.int64(other), differing
    count = np.int64(0)
    for lane in range(len(rows)):
        if lane == 0 or rows[lane] != rows[lane - 1]:
            for at in range(changes.elements.shape[1]):
                element = changes.elements[rows[lane], at]
                if element >= 0:
                    count = _put(base, work, number, element, states, changes, rows, block, count)
    if least:
        for device in range(states.shape[1]):
            differing = 0
            for lane in range(len(rows)):
                differing += base.states[number, lane, device] != states[lane, device]
            if differing:
                for at in range(base.owned.shape[1]):
                    element = base.owned[device, at]
                    if element >= 0:
                        count = _put(base, work, number, element, states, changes, rows, block, count)
    listed, own = np.int64(0), work.own
    work.bridged[:] = 0
    for at in range(count):
        element = work.elements[at]
        if structure.extra[element] == 1:
            _bridge(structure, base, work, element)
        for k in range(structure.fronts.shape[1]):
            node = structure.fronts[element, k]
            while node >= 0 and work.marked[node] != block:
                work.marked[node] = block
                work.nodes[listed] = node
                listed += 1
                node = structure.parent[node]
    if listed:
        ascending(work.nodes, np.int64(0), listed)
        _eliminate(structure, base, work, work.nodes, listed, number, own, block)
    most = work.bridged.max()
    for lane in range(len(rows)):
        for other in range(work.bridged[lane], most):
            work.bridges[other, lane, 0] = work.bridges[other, lane, 1] = len(structure.parent)
            work.siemens[other, lane] = 0.0
    return number, most
