"""What is asked of many cases once they are eliminated: volts, ohms between points, ohms against the reference.

Compiled; sizes and lanes as in ``elimination.py``. Only the asked points are worked out, and those above them in the
elimination tree.
"""

from __future__ import annotations

import numpy as np
from numba import njit
from numpy.typing import NDArray

from halfsplit.circuit.devices import Ints
from halfsplit.circuit.elimination import begin
from halfsplit.circuit.structure import Numbers, Structure, ascending

VOLTS, POINTS, PORTS = 0, 1, 2
"""What can be asked of settled cells."""
Asked = tuple[Numbers, NDArray[np.bool_], Numbers]
"""Ends, which places they need, and those in a list: what ``places`` gives."""


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
def _way_up(structure, work, ends):  # type: ignore[no-untyped-def]
    """The places ``ends`` (…, 2) and all above them, ascending, in ``work.path``: how many."""
    listed, start, size = np.int64(0), np.int64(0), len(structure.parent)
    for pair in ends:
        for end in pair:
            node = end if end < size else -1
            while node >= 0 and not work.seen[node]:
                work.seen[node] = True
                work.path[listed] = node
                listed += 1
                node = structure.parent[node]
    ascending(work.path, start, listed)
    for at in range(listed):
        work.seen[work.path[at]] = False
    return listed


@njit(cache=True, nogil=True)
def _response(structure, base, work, number, block, ends, list_, count, x, down, up):  # type: ignore[no-untyped-def]
    """Volts x (N + 1, L) of the listed nodes, later ones first, for 1 A into the first end and out of the second.

    ``ends`` (L, 2): of each lane. ``down``, ``up``: the lower and the upper factor; the other way round in the
    transposed network.
    """
    size, own, lanes = len(structure.parent), work.own, x.shape[1]
    pushed, starts, coupled, marked, pivot = (
        work.pushed,
        structure.starts,
        structure.coupled,
        work.marked,
        base.pivot,
    )
    listed = _way_up(structure, work, ends)
    for lane in range(lanes):
        if ends[lane, 0] < size:
            pushed[ends[lane, 0], lane] += 1.0
        if ends[lane, 1] < size:
            pushed[ends[lane, 1], lane] -= 1.0
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
def _and_bridges(structure, work, bridges, needed, list_, count):  # type: ignore[no-untyped-def]
    """Append to the list what the bridges' ends need and is not in it, later ones first; its length."""
    listed = _way_up(structure, work, work.bridges[:bridges].reshape(-1, 2))
    for at in range(listed - 1, -1, -1):
        if not needed[work.path[at]]:
            list_[count] = work.path[at]
            count += 1
    return count


@njit(cache=True, nogil=True)
def _bypass(structure, base, work, number, block, bridges, list_, count, table, down, up):  # type: ignore[no-untyped-def]
    """Responses ``table`` to 1 A through each bridge, and what each lane's matrix of them is.

    With the conductances G of the bridges, E from them to nodes and Z the inverse of the network without them:
    I + G Eᵀ Z E (L, bridges, bridges). Where a lane has fewer, G is zero.
    """
    lanes = table.shape[2]
    matrix = np.empty((lanes, bridges, bridges))
    for m in range(bridges):
        _response(structure, base, work, number, block, work.bridges[m], list_, count, table[m], down, up)
        for k in range(bridges):
            for lane in range(lanes):
                a, b = work.bridges[k, lane]
                matrix[lane, k, m] = work.siemens[k, lane] * (table[m, a, lane] - table[m, b, lane])
        for lane in range(lanes):
            matrix[lane, m, m] += 1.0
    return matrix


@njit(inline="always")
def solve_blocks(structure, base, rows, states, changes, work, first, last, wanted, needed, list_, out):  # type: ignore[no-untyped-def]
    """Volts ``out`` (len(wanted), B, L) at the places ``wanted``.

    Of blocks ``first`` to ``last`` - 1. ``rows`` (B, L): of ``changes``; ``states`` (B, L, devices). ``list_``: the
    wanted places and all above them, later ones first, with room for all; ``needed`` (N,): whether a place is in it.
    """
    size, own, lanes = len(structure.parent), work.own, rows.shape[1]
    starts, coupled = structure.starts, structure.coupled
    upper, volts, marked, x = base.upper, base.volts, work.marked, work.x
    length = _count(needed)
    table = np.zeros((1, size + 1, lanes))
    flow = np.empty((1, lanes))
    for block in range(first, last):
        number, bridges = begin(structure, base, work, block, states[block], changes, rows[block])
        count = _and_bridges(structure, work, bridges, needed, list_, length) if bridges else length
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
                out[at, block, lane] = x[from_, lane]
        if bridges:
            if bridges > len(table):
                table, flow = np.zeros((bridges, size + 1, lanes)), np.empty((bridges, lanes))
            matrix = _bypass(
                structure, base, work, number, block, bridges, list_, count, table, base.lower, base.upper
            )
            across = np.empty(bridges)
            for lane in range(lanes):
                _invert(matrix[lane])
                for m in range(bridges):
                    a, b = work.bridges[m, lane]
                    across[m] = work.siemens[m, lane] * (x[a, lane] - x[b, lane])
                for m in range(bridges):
                    flow[m, lane] = 0.0
                    for k in range(bridges):
                        flow[m, lane] += matrix[lane, m, k] * across[k]
            for m in range(bridges):
                for at in range(len(wanted)):
                    from_ = wanted[at]
                    for lane in range(lanes):
                        out[at, block, lane] -= flow[m, lane] * table[m, from_, lane]
    marked[:] = -1
    work.changed[:] = -1


@njit(cache=True, nogil=True)
def _around(structure, base, work, number, block, bridges, needed, list_, length, table, other):  # type: ignore[no-untyped-def]
    """Responses of the network and of the transposed to the bridges, and (I + G Eᵀ Z E)⁻¹ G of each lane."""
    count = _and_bridges(structure, work, bridges, needed, list_, length)
    matrix = _bypass(
        structure, base, work, number, block, bridges, list_, count, table, base.lower, base.upper
    )
    _bypass(structure, base, work, number, block, bridges, list_, count, other, base.upper, base.lower)
    for lane in range(len(matrix)):
        _invert(matrix[lane])
        for k in range(bridges):
            for m in range(bridges):
                matrix[lane, m, k] *= work.siemens[k, lane]
    return matrix


@njit(inline="always")
def ports_of_blocks(structure, base, rows, states, changes, work, first, last, ports, needed, list_, out):  # type: ignore[no-untyped-def]
    """Ohms ``out`` (P, B, L) between places ``ports`` (P, 2): volts from the first to the second for 1 A.

    Other arguments as for ``solve_blocks``; ``list_`` holds all that the ports need.
    """
    size, lanes = len(structure.parent), rows.shape[1]
    length = _count(needed)
    table, other = np.zeros((1, size + 1, lanes)), np.zeros((1, size + 1, lanes))
    matrix = np.empty((0, 0, 0))
    below, ends = np.empty(size + 1, dtype=np.int32), np.empty((lanes, 2), dtype=np.int32)
    x = work.x
    for block in range(first, last):
        number, bridges = begin(structure, base, work, block, states[block], changes, rows[block])
        if bridges:
            if bridges > len(table):
                table, other = np.zeros((bridges, size + 1, lanes)), np.zeros((bridges, size + 1, lanes))
            matrix = _around(
                structure, base, work, number, block, bridges, needed, list_, length, table, other
            )
        for port in range(len(ports)):
            a, b = ports[port]
            ends[:, 0], ends[:, 1] = a, b
            count = _way_up(structure, work, ends)
            for at in range(count):
                below[at] = work.path[count - 1 - at]
            _response(structure, base, work, number, block, ends, below, count, x, base.lower, base.upper)
            for lane in range(lanes):
                out[port, block, lane] = x[a, lane] - x[b, lane]
                for m in range(bridges):
                    for k in range(bridges):
                        seen = (table[m, a, lane] - table[m, b, lane]) * (
                            other[k, a, lane] - other[k, b, lane]
                        )
                        out[port, block, lane] -= matrix[lane, m, k] * seen
    work.marked[:] = -1
    work.changed[:] = -1


@njit(inline="always")
def points_of_blocks(structure, base, rows, states, changes, work, first, last, wanted, needed, list_, out):  # type: ignore[no-untyped-def]
    """Ohms ``out`` (len(wanted), B, L) that places show against the reference; arguments as for ``solve_blocks``.

    All at once, by the entries of the inverse that lie where the factors have some (Takahashi, Fagan and Chin, 1973).
    """
    size, own, lanes = len(structure.parent), work.own, rows.shape[1]
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
    for block in range(first, last):
        number, bridges = begin(structure, base, work, block, states[block], changes, rows[block])
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
                out[at, block, lane] = itself[from_, lane]
        if bridges:
            itself[size] = 0.0
            if bridges > len(table):
                table, other = np.zeros((bridges, size + 1, lanes)), np.zeros((bridges, size + 1, lanes))
            matrix = _around(
                structure, base, work, number, block, bridges, needed, list_, length, table, other
            )
            for at in range(len(wanted)):
                from_ = wanted[at]
                for m in range(bridges):
                    for k in range(bridges):
                        for lane in range(lanes):
                            seen = table[m, from_, lane] * other[k, from_, lane]
                            out[at, block, lane] -= matrix[lane, m, k] * seen
    marked[:] = -1
    work.changed[:] = -1


@njit(cache=True, nogil=True)
def answer(what, structure, base, rows, states, changes, work, first, last, ends, needed, list_, out):  # type: ignore[no-untyped-def]
    """One of the three above, by its number; volts and points are those of the first ends. Compiled once for all."""
    if what == VOLTS:
        solve_blocks(
            structure, base, rows, states, changes, work, first, last, ends[:, 0], needed, list_, out
        )
    elif what == POINTS:
        points_of_blocks(
            structure, base, rows, states, changes, work, first, last, ends[:, 0], needed, list_, out
        )
    else:
        ports_of_blocks(structure, base, rows, states, changes, work, first, last, ends, needed, list_, out)


def places(
    structure: Structure, a: Ints, b: Ints | None = None
) -> tuple[Numbers, NDArray[np.bool_], Numbers]:
    """Places of nodes, or of pairs of them (…, 2); which places they need (N,), all above them included.

    And those in a list, later ones first.
    """
    ends = structure.place[np.column_stack([a, a if b is None else b])]
    needed = np.zeros(len(structure.parent) + 1, dtype=np.bool_)
    needed[ends] = True
    needed = needed[:-1]
    _need_parents(structure.parent, needed)
    above = np.flatnonzero(needed)[::-1].astype(np.int32)
    return ends, needed, np.append(above, np.zeros(len(needed) + 1 - len(above), dtype=np.int32))


@njit(cache=True, nogil=True)
def _need_parents(parent, needed):  # type: ignore[no-untyped-def]
    for node in range(len(parent)):
        if needed[node] and parent[node] >= 0:
            needed[parent[node]] = True
