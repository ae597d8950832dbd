"""Which node is eliminated when, and what that couples: the part of the solution that no value changes.

A vehicle's network is nearly a tree. Its nodes are eliminated in order of minimum degree, so that chains fold in the
middle and the joints of many branches come last; each node's elimination couples only a few later ones. The *front* of
a node is the small matrix of the node and of those (Duff and Reid, ACM Trans. Math. Software 9, 1983).
"""

from __future__ import annotations

import heapq
from collections.abc import Callable, Sequence
from typing import NamedTuple

import numpy as np
from numba import njit
from numpy.typing import NDArray

from halfsplit.circuit.network import Ints, Network, System

Numbers = NDArray[np.int32]

BRANCH, TO_REFERENCE, ROW, COLUMN, ROW_SUM, SOURCE = range(6)
"""What an element adds to a front.

BRANCH: a conductance to a later node; TO_REFERENCE: to the reference; the others are the pieces of an element whose
current depends on volts elsewhere (a regulated supply).
"""


class Structure(NamedTuple):
    """N nodes by their place in the order, parent and children as in an elimination tree; all arrays of int32.

    place               (N + 1,) of each node; the reference's is N
    starts, coupled     later nodes that each is coupled to, ascending: ``coupled[starts[p]:starts[p + 1]]``
    squares             (N + 1,) where the square matrix of each front starts
    parent              (N,) first coupled node, -1 at a root
    child_starts, child children of each node
    within              aligned with ``coupled``: place of each in the parent's front, -1 for the parent itself
    crossing            aligned with ``squares``: where two coupled nodes are coupled to each other
    entry_starts, entry (entries, 4): element, what it adds, place in the front, sign
    fronts              (E, 4) nodes in whose fronts an element stands, then -1
    extra               (E,) 1 for an element that joins nodes which are coupled to nothing of each other
    ends                (E, 2) places of its first and second end
    """

    place: Numbers
    starts: Numbers
    coupled: Numbers
    squares: Numbers
    parent: Numbers
    child_starts: Numbers
    child: Numbers
    within: Numbers
    crossing: Numbers
    entry_starts: Numbers
    entry: Numbers
    fronts: Numbers
    extra: Numbers
    ends: Numbers


def structure_of(system: System) -> Structure:
    """The structure of a system; kept with its network, since interventions and states seldom change it."""
    network = system.network
    bridges = tuple(map(tuple, system.ends[len(network.elements) :].tolist()))
    for each in ((), bridges):
        if each not in network.structures:
            plain = network.structures.get(())
            network.structures[each] = _made(
                network, system.ends[: len(network.elements) + len(each)], plain.place if plain else None
            )
    made: Structure = network.structures[bridges]
    return made


def _made(network: Network, ends: Ints, place: Numbers | None) -> Structure:
    """``place``: of each node where it is settled already: bridges change what is coupled, not the order."""
    size = network.size
    spare = np.zeros(len(ends), dtype=bool)
    spare[: len(network.elements)] = [
        element.conductance == 0.0 and element.device < 0 for element in network.elements
    ]
    rows, columns = _couplings(ends[~spare], size)
    if place is None:
        place = np.append(_order(size, rows, columns), size).astype(np.int32)
    starts, coupled = _fill(size, place[rows], place[columns])
    parent = np.full(size, -1, dtype=np.int32)
    has = np.flatnonzero(starts[1:] > starts[:-1])
    parent[has] = coupled[starts[has]]
    child_starts, child = _lists(size, parent[has], has)
    squares = np.append(0, np.cumsum((starts[1:] - starts[:-1]).astype(np.int64) ** 2)).astype(np.int32)
    within, crossing = _places(starts, coupled, squares, parent)
    entries, fronts, extra = _entries(place[ends], starts, coupled, size)
    entry_starts, number = _lists(size, entries[:, 4], np.arange(len(entries)))
    return Structure(
        place,
        starts,
        coupled,
        squares,
        parent,
        child_starts,
        child,
        within,
        crossing,
        entry_starts,
        entries[number, :4],
        fronts,
        extra,
        place[ends[:, :2]],
    )


def _couplings(ends: Ints, size: int) -> tuple[Ints, Ints]:
    """Pairs of nodes that elements couple, both ways round, without the reference."""
    pairs = np.vstack([ends[:, [u, v]] for u in (0, 1) for v in (2, 3)] + [ends[:, :2]])
    pairs = pairs[(pairs[:, 0] != pairs[:, 1]) & (pairs < size).all(axis=1)]
    both = np.unique(np.vstack([pairs, pairs[:, ::-1]]), axis=0)
    return both[:, 0], both[:, 1]


def _order(size: int, rows: Ints, columns: Ints) -> Ints:
    """Each node's place: the least coupled first, among those the one on top of the fewest others."""
    near: list[set[int]] = [set() for _ in range(size)]
    for a, b in zip(rows.tolist(), columns.tolist(), strict=True):
        near[a].add(b)
    height = [0] * size
    waiting = [(len(near[node]), 0, node) for node in range(size)]
    heapq.heapify(waiting)
    place = np.full(size, -1, dtype=np.intp)
    count = 0
    while waiting:
        degree, high, node = heapq.heappop(waiting)
        if place[node] >= 0 or degree != len(near[node]) or high != height[node]:
            continue
        place[node] = count
        count += 1
        around = near[node]
        for other in around:
            near[other] |= around
            near[other] -= {other, node}
            height[other] = max(height[other], high + 1)
            heapq.heappush(waiting, (len(near[other]), height[other], other))
    return place


@njit(cache=True, nogil=True)
def ascending(numbers, start, end):  # type: ignore[no-untyped-def]
    """Sort a short stretch of numbers by insertion."""
    for at in range(start + 1, end):
        number, to = numbers[at], at
        while to > start and numbers[to - 1] > number:
            numbers[to] = numbers[to - 1]
            to -= 1
        numbers[to] = number


@njit(cache=True, nogil=True)
def _fill(size, rows, columns):  # type: ignore[no-untyped-def]
    """Later nodes coupled to each once those before are eliminated: starts (N + 1,) and the nodes."""
    first = np.zeros(size + 1, dtype=np.int32)
    for number in range(len(rows)):
        if columns[number] > rows[number]:
            first[rows[number] + 1] += 1
    for node in range(size):
        first[node + 1] += first[node]
    own = np.empty(first[size], dtype=np.int32)
    filled = first.copy()
    for number in range(len(rows)):
        if columns[number] > rows[number]:
            own[filled[rows[number]]] = columns[number]
            filled[rows[number]] += 1
    starts = np.zeros(size + 1, dtype=np.int32)
    coupled = np.empty(max(64, 4 * len(own)), dtype=np.int32)
    mark = np.full(size, -1, dtype=np.int32)
    head = np.full(size, -1, dtype=np.int32)  # children of each node as a linked list
    following = np.full(size, -1, dtype=np.int32)
    count = np.int64(0)  # a plain number would be compiled for its value as well
    for node in range(size):
        while count + size > len(coupled):
            coupled = np.concatenate((coupled, np.empty(len(coupled), dtype=np.int32)))
        start = count
        for at in range(first[node], first[node + 1]):
            if mark[own[at]] != node:
                mark[own[at]] = node
                coupled[count] = own[at]
                count += 1
        child = head[node]
        while child >= 0:
            for at in range(starts[child], starts[child + 1]):
                other = coupled[at]
                if other > node and mark[other] != node:
                    mark[other] = node
                    coupled[count] = other
                    count += 1
            child = following[child]
        ascending(coupled, start, count)
        starts[node + 1] = count
        if count > start:
            following[node] = head[coupled[start]]
            head[coupled[start]] = node
    return starts, coupled[:count].copy()


def _lists(size: int, owner: Numbers | Ints, values: Numbers | Ints) -> tuple[Numbers, Numbers]:
    """Values by owner: starts (size + 1,), and the values in that order."""
    order = np.argsort(owner, kind="stable")
    starts = np.append(0, np.cumsum(np.bincount(owner, minlength=size)[:size])).astype(np.int32)
    return starts, np.asarray(values)[order].astype(np.int32)


@njit(cache=True, nogil=True)
def _places(starts, coupled, squares, parent):  # type: ignore[no-untyped-def]
    """``within`` and ``crossing`` of a structure."""
    within = np.full(len(coupled), -1, dtype=np.int32)
    crossing = np.full(squares[-1], -1, dtype=np.int32)
    for node in range(len(parent)):
        start, width = starts[node], starts[node + 1] - starts[node]
        if width == 0:
            continue
        above = starts[parent[node]]
        at = above
        for k in range(1, width):
            while coupled[at] != coupled[start + k]:
                at += 1
            within[start + k] = at - above
        for i in range(width):
            at = starts[coupled[start + i]]
            for j in range(i + 1, width):
                while coupled[at] != coupled[start + j]:
                    at += 1
                crossing[squares[node] + i * width + j] = at
    return within, crossing


def _entries(ends: Numbers, starts: Numbers, coupled: Numbers, size: int) -> tuple[Numbers, Numbers, Numbers]:
    """What each element adds to which front: entries (…, 5) with the node last, fronts (E, 4), extra (E,)."""
    owner = np.repeat(np.arange(size), np.diff(starts))
    keys = owner * (size + 1) + coupled  # ascending, since the nodes and what each is coupled to are

    def slots(low: Ints, high: Ints) -> Ints:
        """Place of a later node in the front of an earlier one, -1 where it is not in it."""
        wanted = low * (size + 1) + high
        at = np.minimum(np.searchsorted(keys, wanted), max(len(keys) - 1, 0))
        known = keys[at] == wanted if len(keys) else np.zeros(len(wanted), dtype=bool)
        return np.where(known, at - starts[np.minimum(low, size - 1)], -1)

    elements = np.arange(len(ends))
    low, high = ends[:, :2].min(axis=1).astype(np.intp), ends[:, :2].max(axis=1).astype(np.intp)
    symmetric = (ends[:, :2] == ends[:, 2:]).all(axis=1)
    grounded = high == size
    slot = np.where(grounded, 0, slots(low, high))
    extra = symmetric & (low != high) & (slot < 0)
    plain = symmetric & (low != high) & ~extra
    sign = np.where(ends[:, 0] < ends[:, 1], 1, -1)
    kind = np.where(grounded, TO_REFERENCE, BRANCH)
    entries = np.column_stack([elements, kind, slot, sign, low])[plain]
    fronts = np.full((len(ends), 4), -1, dtype=np.int32)
    fronts[plain, 0] = low[plain]
    more: list[tuple[int, int, int, int, int]] = []
    for element in np.flatnonzero(~symmetric).tolist():
        mine = _asymmetric(element, ends[element].tolist(), slots, size)
        touched = sorted({each[-1] for each in mine})
        fronts[element, : len(touched)] = touched
        more += mine
    entries = np.vstack([entries, np.array(more, dtype=entries.dtype).reshape(-1, 5)]).astype(np.int32)
    return entries, fronts, extra.astype(np.int32)


def _asymmetric(
    element: int, ends: Sequence[int], slots: Callable[[Ints, Ints], Ints], size: int
) -> list[tuple[int, int, int, int, int]]:
    """A current from u0 to u1 that depends on the volts from v0 to v1."""
    u0, u1, v0, v1 = ends
    entries = []
    for row, way in ((u0, 1), (u1, -1)):
        if row == size:
            continue
        entries.append((element, SOURCE, 0, way, row))
        total = 0
        for column, sign in ((v0, way), (v1, -way)):
            if column == size:
                continue
            total += sign
            low, high = sorted((row, column))
            if low != high:
                at = int(slots(np.array([low]), np.array([high]))[0])
                entries.append((element, ROW if row == low else COLUMN, at, -sign, low))
        if total:
            entries.append((element, ROW_SUM, 0, total, row))
    return entries
