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


class Base(NamedTuple):
    """The networks of all lanes, factorised in the K rounds of their healthy run, and room for one block (row K).

    states (K, L, devices)    states of the devices
    given, emf, push (E, L)   values before devices switch them; present, device, mask (E,) as of the system
    owned (devices, most)     elements of each device, then -1
    conductance, source (K + 1, E, L)  values as switched: siemens, and ampere into the first end
    schur (K + 1, Q, L)       what each front leaves for the later nodes that it couples
    sums, current (K + 1, F, L)  their row sums (siemens) and currents (ampere) from it
    upper, lower (K + 1, F, L)   the node's row and column by its pivot
    pivot, volts (K + 1, N, L)   inverse pivots (ohm), and volts that its own current makes
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
    """Room to work on one block after the other.

    ``marked`` (N,), ``changed`` (E,): number of the last block in which a front, an element was another than the
    base's. ``nodes``, ``path`` (N + 1,), ``elements``, ``extra`` (E + 1,): lists. ``seen`` (N + 1,): nodes on a way,
    reset at once. ``x``, ``pushed`` (N + 1, L): volts, and currents, which are zero between uses. ``lane`` (4, L).
    """

    marked: Numbers
    changed: Numbers
    nodes: Numbers
    path: Numbers
    elements: Numbers
    extra: Numbers
    seen: NDArray[np.bool_]
    x: Floats
    pushed: Floats
    lane: Floats


def bases(systems: Sequence[System], rounds: States, owned: Numbers) -> Base:
    """Factorise the networks of the lanes in each round of device states (K, L, devices)."""
    system = systems[0]
    structure = structure_of(system)
    given, emf, push = (
        np.stack([getattr(one, name) for one in systems], axis=1) for name in ("conductance", "emf", "push")
    )
    active = np.array(
        [[one.active(states) for one, states in zip(systems, each, strict=True)] for each in rounds]
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
        *(np.concatenate([each, each[:1]]) for each in (conductance, source)),
        *(
            np.empty((count + 1, each, lanes))
            for each in (squares, coupled, coupled, coupled, coupled, size, size)
        ),
    )
    _eliminate_all(structure, base, working(structure, lanes))
    return base


def working(structure: Structure, lanes: int) -> Work:
    """Room to work on the blocks of a structure."""
    size, elements = len(structure.parent), len(structure.extra)
    return Work(
        np.full(size, -1, dtype=np.int32),
        np.full(elements, -1, dtype=np.int32),
        np.empty(size + 1, dtype=np.int32),
        np.empty(size + 1, dtype=np.int32),
        np.empty(elements + 1, dtype=np.int32),
        np.empty(elements + 1, dtype=np.int32),
        np.zeros(size + 1, dtype=np.bool_),
        np.zeros((size + 1, lanes)),
        np.zeros((size + 1, lanes)),
        np.zeros((4, lanes)),
    )


@njit(cache=True, nogil=True)
def _eliminate_all(structure, base, work):  # type: ignore[no-untyped-def]
    """Eliminate all fronts of all networks but the last row."""
    nodes = np.arange(len(structure.parent)).astype(np.int32)
    for number in range(len(base.states)):
        _eliminate(structure, base, work, nodes, len(nodes), number, number, -2)


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
    """Note an element's values in this block, in the last row, if they are not the base's; the number noted so far."""
    if work.changed[element] == block:
        return count
    own, device = len(base.states), base.device[element]
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
def _begin(structure, base, work, block, states, changes, rows):  # type: ignore[no-untyped-def]
    """Eliminate a block: the base that it starts from, and how many elements are changed that no front knows of.

    It starts from the round of the healthy run whose devices differ least, the last of equals.
    """
    number, least = 0, 1 << 30
    for other in range(len(base.states) - 1, -1, -1):
        differing = 0
        for lane in range(len(rows)):
            for device in range(states.shape[1]):
                differing += base.states[other, lane, device] != states[lane, device]
        if differing < least:
            number, least = other, differing
    count = 0
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
    extras, listed, own = 0, 0, len(base.states)
    for at in range(count):
        element = work.elements[at]
        if structure.extra[element] == 1:
            work.extra[extras] = element
            extras += 1
        for k in range(structure.fronts.shape[1]):
            node = structure.fronts[element, k]
            while node >= 0 and work.marked[node] != block:
                work.marked[node] = block
                work.nodes[listed] = node
                listed += 1
                node = structure.parent[node]
    if listed:
        ascending(work.nodes, 0, listed)
        _eliminate(structure, base, work, work.nodes, listed, number, own, block)
    return number, extras


@njit(cache=True, nogil=True)
def _count(chosen):  # type: ignore[no-untyped-def]
    count = 0
    for each in chosen:
        count += each
    return count


@njit(cache=True, nogil=True)
def _invert(matrix):  # type: ignore[no-untyped-def]
    """Put the inverse of a small matrix in its place, by Gauss and Jordan; the largest diagonal left comes first."""
    size = len(matrix)
    used = np.zeros(size, dtype=np.bool_)
    for _ in range(size):
        pivot = -1
        for k in range(size):
            if not used[k] and (pivot < 0 or abs(matrix[k, k]) > abs(matrix[pivot, pivot])):
                pivot = k
        used[pivot] = True
        scale = 1.0 / matrix[pivot, pivot]
        matrix[pivot, pivot] = 1.0
        for j in range(size):
            matrix[pivot, j] *= scale
        for i in range(size):
            if i != pivot:
                factor = matrix[i, pivot]
                matrix[i, pivot] = 0.0
                for j in range(size):
                    matrix[i, j] -= factor * matrix[pivot, j]


@njit(cache=True, nogil=True)
def _way_up(structure, work, nodes):  # type: ignore[no-untyped-def]
    """The places of some nodes and all above them, ascending, in ``work.path``: how many."""
    listed, size = 0, len(structure.parent)
    for k in range(len(nodes)):
        node = nodes[k] if nodes[k] < size else -1
        while node >= 0 and not work.seen[node]:
            work.seen[node] = True
            work.path[listed] = node
            listed += 1
            node = structure.parent[node]
    ascending(work.path, 0, listed)
    for at in range(listed):
        work.seen[work.path[at]] = False
    return listed


@njit(cache=True, nogil=True)
def _response(structure, base, work, number, block, ends, list_, count, x, adjoint):  # type: ignore[no-untyped-def]
    """Volts x (N + 1, L) of the listed nodes, later ones first, for 1 A into the first end and out of the second.

    ``adjoint``: in the transposed network.
    """
    size, own, lanes = len(structure.parent), len(base.states), x.shape[1]
    down, up = (base.upper, base.lower) if adjoint else (base.lower, base.upper)
    pushed, starts, coupled, marked, pivot = (
        work.pushed,
        structure.starts,
        structure.coupled,
        work.marked,
        base.pivot,
    )
    listed = _way_up(structure, work, ends)
    if ends[0] < size:
        pushed[ends[0]] += 1.0
    if ends[1] < size:
        pushed[ends[1]] -= 1.0
    for at in range(listed):
        node = work.path[at]
        row = own if marked[node] == block else number
        for k in range(starts[node], starts[node + 1]):
            to = coupled[k]
            for lane in range(lanes):
                pushed[to, lane] += down[row, k, lane] * pushed[node, lane]
    for at in range(count):
        node = list_[at]
        row = own if marked[node] == block else number
        for lane in range(lanes):
            x[node, lane] = pushed[node, lane] * pivot[row, node, lane]
        for k in range(starts[node], starts[node + 1]):
            to = coupled[k]
            for lane in range(lanes):
                x[node, lane] += up[row, k, lane] * x[to, lane]
    for at in range(listed):
        pushed[work.path[at]] = 0.0


@njit(cache=True, nogil=True)
def _and_extras(structure, work, extras, needed, list_, count):  # type: ignore[no-untyped-def]
    """Append to the list what the ends of the extra elements need and is not in it, later ones first; its length."""
    ends = np.empty(2 * extras, dtype=np.int32)
    for m in range(extras):
        ends[2 * m] = structure.ends[work.extra[m], 0]
        ends[2 * m + 1] = structure.ends[work.extra[m], 1]
    for at in range(_way_up(structure, work, ends) - 1, -1, -1):
        if not needed[work.path[at]]:
            list_[count] = work.path[at]
            count += 1
    return count


@njit(cache=True, nogil=True)
def _bypass(structure, base, work, number, block, extras, list_, count, table, adjoint):  # type: ignore[no-untyped-def]
    """Responses ``table`` to 1 A through each extra element, and what each lane's matrix of them is.

    With the conductances G of the extra elements, E from them to nodes and Z the inverse of the network without them:
    I + G Eᵀ Z E (L, extras, extras). A lane in which an element is not there has a zero in G.
    """
    own, lanes = len(base.states), table.shape[2]
    matrix = np.empty((lanes, extras, extras))
    for m in range(extras):
        ends = structure.ends[work.extra[m]]
        _response(structure, base, work, number, block, ends, list_, count, table[m], adjoint)
        for k in range(extras):
            a, b = structure.ends[work.extra[k]]
            for lane in range(lanes):
                g = base.conductance[own, work.extra[k], lane]
                matrix[lane, k, m] = g * (table[m, a, lane] - table[m, b, lane])
        for lane in range(lanes):
            matrix[lane, m, m] += 1.0
    return matrix


@njit(cache=True, nogil=True)
def solve_blocks(structure, base, rows, states, changes, work, wanted, needed, list_, out):  # type: ignore[no-untyped-def]
    """Volts ``out`` (B, len(wanted), L) at the places ``wanted``.

    ``rows`` (B, L): of ``changes``; ``states`` (B, L, devices). ``list_``: the wanted places and all above them, later
    ones first, with room for all; ``needed`` (N,): whether a place is in it.
    """
    size, own, lanes = len(structure.parent), len(base.states), rows.shape[1]
    starts, coupled = structure.starts, structure.coupled
    upper, volts, marked, x = base.upper, base.volts, work.marked, work.x
    length = _count(needed)
    table = np.zeros((1, size + 1, lanes))
    flow = np.empty((1, lanes))
    for block in range(len(rows)):
        number, extras = _begin(structure, base, work, block, states[block], changes, rows[block])
        count = _and_extras(structure, work, extras, needed, list_, length) if extras else length
        for at in range(count):
            node = list_[at]
            row = own if marked[node] == block else number
            for lane in range(lanes):
                x[node, lane] = volts[row, node, lane]
            for k in range(starts[node], starts[node + 1]):
                to = coupled[k]
                for lane in range(lanes):
                    x[node, lane] += upper[row, k, lane] * x[to, lane]
        for at in range(len(wanted)):
            from_ = wanted[at]
            for lane in range(lanes):
                out[block, at, lane] = x[from_, lane]
        if extras:
            if extras > len(table):
                table, flow = np.zeros((extras, size + 1, lanes)), np.empty((extras, lanes))
            matrix = _bypass(structure, base, work, number, block, extras, list_, count, table, False)
            across = np.empty(extras)
            for lane in range(lanes):
                _invert(matrix[lane])
                for m in range(extras):
                    a, b = structure.ends[work.extra[m]]
                    across[m] = base.conductance[own, work.extra[m], lane] * (x[a, lane] - x[b, lane])
                for m in range(extras):
                    flow[m, lane] = 0.0
                    for k in range(extras):
                        flow[m, lane] += matrix[lane, m, k] * across[k]
            for m in range(extras):
                for at in range(len(wanted)):
                    from_ = wanted[at]
                    for lane in range(lanes):
                        out[block, at, lane] -= flow[m, lane] * table[m, from_, lane]
    marked[:] = -1
    work.changed[:] = -1


@njit(cache=True, nogil=True)
def _around(structure, base, work, number, block, extras, needed, list_, length, table, other):  # type: ignore[no-untyped-def]
    """Responses of the network and of the transposed to the extra elements, and (I + G Eᵀ Z E)⁻¹ G of each lane."""
    own = len(base.states)
    count = _and_extras(structure, work, extras, needed, list_, length)
    matrix = _bypass(structure, base, work, number, block, extras, list_, count, table, False)
    _bypass(structure, base, work, number, block, extras, list_, count, other, True)
    for lane in range(len(matrix)):
        _invert(matrix[lane])
        for k in range(extras):
            for m in range(extras):
                matrix[lane, m, k] *= base.conductance[own, work.extra[k], lane]
    return matrix


@njit(cache=True, nogil=True)
def ports_of_blocks(structure, base, rows, states, changes, work, ports, needed, list_, out):  # type: ignore[no-untyped-def]
    """Ohms ``out`` (B, P, L) between places ``ports`` (P, 2): volts from the first to the second for 1 A.

    Other arguments as for ``solve_blocks``; ``list_`` holds all that the ports need.
    """
    size, lanes = len(structure.parent), rows.shape[1]
    length = _count(needed)
    table, other = np.zeros((1, size + 1, lanes)), np.zeros((1, size + 1, lanes))
    matrix = np.empty((0, 0, 0))
    below = np.empty(size + 1, dtype=np.int32)
    x = work.x
    for block in range(len(rows)):
        number, extras = _begin(structure, base, work, block, states[block], changes, rows[block])
        if extras:
            if extras > len(table):
                table, other = np.zeros((extras, size + 1, lanes)), np.zeros((extras, size + 1, lanes))
            matrix = _around(
                structure, base, work, number, block, extras, needed, list_, length, table, other
            )
        for port in range(len(ports)):
            a, b = ports[port]
            count = _way_up(structure, work, ports[port])
            for at in range(count):
                below[at] = work.path[count - 1 - at]
            _response(structure, base, work, number, block, ports[port], below, count, x, False)
            for lane in range(lanes):
                out[block, port, lane] = x[a, lane] - x[b, lane]
                for m in range(extras):
                    for k in range(extras):
                        seen = (table[m, a, lane] - table[m, b, lane]) * (
                            other[k, a, lane] - other[k, b, lane]
                        )
                        out[block, port, lane] -= matrix[lane, m, k] * seen
    work.marked[:] = -1
    work.changed[:] = -1


@njit(cache=True, nogil=True)
def points_of_blocks(structure, base, rows, states, changes, work, wanted, needed, list_, out):  # type: ignore[no-untyped-def]
    """Ohms ``out`` (B, len(wanted), L) that places show against the reference; arguments as for ``solve_blocks``.

    All at once, by the entries of the inverse that lie where the factors have some (Takahashi, Fagan and Chin, 1973).
    """
    size, own, lanes = len(structure.parent), len(base.states), rows.shape[1]
    starts, coupled, crossing, squares = (
        structure.starts,
        structure.coupled,
        structure.crossing,
        structure.squares,
    )
    upper, lower, pivot, marked, itself = base.upper, base.lower, base.pivot, work.marked, work.x
    length = _count(needed)
    table, other = np.zeros((1, size + 1, lanes)), np.zeros((1, size + 1, lanes))
    ahead, back = np.empty((len(coupled), lanes)), np.empty((len(coupled), lanes))
    for block in range(len(rows)):
        number, extras = _begin(structure, base, work, block, states[block], changes, rows[block])
        for at in range(length):
            node = list_[at]
            row = own if marked[node] == block else number
            start, square = starts[node], squares[node]
            width = starts[node + 1] - start
            for lane in range(lanes):
                itself[node, lane] = pivot[row, node, lane]
            for j in range(width):
                to = coupled[start + j]
                for lane in range(lanes):
                    ahead[start + j, lane] = upper[row, start + j, lane] * itself[to, lane]
                    back[start + j, lane] = lower[row, start + j, lane] * itself[to, lane]
                for i in range(width):
                    if i < j:
                        slot = crossing[square + i * width + j]
                        for lane in range(lanes):
                            ahead[start + j, lane] += upper[row, start + i, lane] * ahead[slot, lane]
                            back[start + j, lane] += lower[row, start + i, lane] * back[slot, lane]
                    elif i > j:
                        slot = crossing[square + j * width + i]
                        for lane in range(lanes):
                            ahead[start + j, lane] += upper[row, start + i, lane] * back[slot, lane]
                            back[start + j, lane] += lower[row, start + i, lane] * ahead[slot, lane]
                for lane in range(lanes):
                    itself[node, lane] += upper[row, start + j, lane] * back[start + j, lane]
        for at in range(len(wanted)):
            from_ = wanted[at]
            for lane in range(lanes):
                out[block, at, lane] = itself[from_, lane]
        if extras:
            itself[size] = 0.0
            if extras > len(table):
                table, other = np.zeros((extras, size + 1, lanes)), np.zeros((extras, size + 1, lanes))
            matrix = _around(
                structure, base, work, number, block, extras, needed, list_, length, table, other
            )
            for at in range(len(wanted)):
                from_ = wanted[at]
                for m in range(extras):
                    for k in range(extras):
                        for lane in range(lanes):
                            seen = table[m, from_, lane] * other[k, from_, lane]
                            out[block, at, lane] -= matrix[lane, m, k] * seen
    marked[:] = -1
    work.changed[:] = -1


def places(structure: Structure, nodes: Ints) -> tuple[Numbers, NDArray[np.bool_], Numbers]:
    """Places of nodes; which places they need (N,), all above them included; those, later ones first."""
    wanted = structure.place[nodes]
    needed = np.zeros(len(structure.parent) + 1, dtype=np.bool_)
    needed[wanted] = True
    needed = needed[:-1]
    _need_parents(structure.parent, needed)
    above = np.flatnonzero(needed)[::-1].astype(np.int32)
    return wanted, needed, np.append(above, np.zeros(len(needed) + 1 - len(above), dtype=np.int32))


@njit(cache=True, nogil=True)
def _need_parents(parent, needed):  # type: ignore[no-untyped-def]
    for node in range(len(parent)):
        if needed[node] and parent[node] >= 0:
            needed[parent[node]] = True
