"""What many cases change in one system: faults and pairs of faults."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components

from halfsplit.circuit.devices import FREE, Floats, Ints, Locks
from halfsplit.circuit.elimination import Changes
from halfsplit.circuit.network import ADD, EMF, OPEN, SET, Change, Lock, System
from halfsplit.circuit.settle import locks_for


@dataclass(frozen=True)
class Cases:
    """What each of C cases changes, and which devices, modules and inputs it locks."""

    changes: Changes
    locks: Locks

    @staticmethod
    def of(system: System, changes: Sequence[tuple[Change, ...]], locks: Sequence[tuple[Lock, ...]]) -> Cases:
        """Cases from the changes and the locks of each."""
        made = _nothing(len(changes), max(map(len, changes), default=0))
        for row, each in enumerate(changes):
            for column, change in enumerate(each):
                made.elements[row, column] = change.element
                made.operations[row, column] = change.operation
                made.values[row, column] = change.value
        return Cases(made, locks_for(system, locks))

    def some(self, which: Ints) -> Cases:
        """These cases of them."""
        return Cases(self.changes.some(which), self.locks.at(which))

    def and_more(self, more: Cases) -> Cases:
        """These cases, and others of the same system behind them."""
        own, others = self.locks, more.locks
        device = np.concatenate([own.device, others.device], axis=1)
        dead, unread = np.hstack([own.dead, others.dead]), np.hstack([own.unread, others.unread])
        return Cases(beside(self.changes, more.changes), Locks(device, dead, unread))

    def __len__(self) -> int:
        return len(self.changes.elements)


def wider(changes: Changes, most: int) -> Changes:
    """A copy of the changes with room for so many in each case."""
    count, width = changes.elements.shape
    wide = _nothing(count, most)
    wide.elements[:, :width], wide.operations[:, :width] = changes.elements, changes.operations
    wide.values[:, :width] = changes.values
    return wide


def _nothing(count: int, most: int) -> Changes:
    """Room for so many changes in each of so many cases."""
    elements = np.full((count, most), -1, dtype=np.int32)
    return Changes(elements, np.zeros((count, most), dtype=np.int32), np.zeros((count, most)))


def beside(changes: Changes, more: Changes) -> Changes:
    """The changes of some cases, and those of others behind them."""
    most = max(changes.elements.shape[1], more.elements.shape[1])
    own, others = wider(changes, most), wider(more, most)
    return Changes(
        np.vstack([own.elements, others.elements]),
        np.vstack([own.operations, others.operations]),
        np.vstack([own.values, others.values]),
    )


def operated(operation: Ints, number: Floats, conductance: Floats, emf: Floats) -> tuple[Floats, Floats]:
    """``network.operate`` on arrays."""
    ohms = np.where(operation == SET, number, 1.0)
    series = conductance / (1.0 + conductance * np.where(operation == ADD, number, 0.0))
    changed = np.select(
        [operation == OPEN, operation == ADD, operation == SET],
        [np.zeros_like(conductance), series, 1.0 / ohms],
        conductance,
    )
    return changed, np.where(operation == EMF, number, emf)


def alike(system: System, cases: Cases) -> Ints:
    """For each case the first (C,) that leaves every device and fuse as this one does, itself where there is none.

    Where in a chain of wires and contacts a path is broken, or has so many ohms more, is all the same to what stands
    outside the chain, as long as nothing within it is watched.
    """
    changes, locks, every = cases.changes, cases.locks, np.arange(len(cases))
    if not changes.elements.shape[1]:
        return every
    element, operation = changes.elements[:, 0], changes.operations[:, 0]
    free = (locks.device == FREE).all(axis=0) & ~locks.dead.any(axis=0) & ~locks.unread.any(axis=0)
    single = (element >= 0) & (changes.elements[:, 1:] < 0).all(axis=1) & free
    in_chain = single & np.isin(operation, (OPEN, ADD))
    keys = np.column_stack([_chains(system)[element], operation, changes.values[:, 0]])
    keys[~in_chain] = np.column_stack([-1 - every, every, every])[~in_chain]
    _, first, which = np.unique(keys, axis=0, return_index=True, return_inverse=True)
    return np.asarray(first[which.ravel()])


def _chains(system: System) -> Ints:
    """The chain (E,) in which each element stands: from one to the next by a node that joins these two alone."""
    there = (system.conductance != 0.0) | (system.device >= 0)
    known, key = system.network.chains, system.ends.tobytes() + there.tobytes()
    if key not in known:
        known[key] = _in_chains(system, there)
    return known[key]


def _in_chains(system: System, there: NDArray[np.bool_]) -> Ints:
    ends, count, size = system.ends, len(system.ends), system.network.size
    plain = (ends[:, :2] == ends[:, 2:]).all(axis=1)
    element, node = np.repeat(np.flatnonzero(there), 4), ends[there].ravel()
    element, node = np.unique(np.column_stack([element, node]), axis=0).T
    inner = np.bincount(node, minlength=size + 1) == 2
    inner[[size, *system.network.devices.watch]] = False
    inner[node[~plain[element]]] = False
    at = inner[node]
    order = np.argsort(node[at], kind="stable")
    pairs = element[at][order].reshape(-1, 2)
    graph = coo_array((np.ones(len(pairs)), pairs.T), shape=(count, count))
    return np.asarray(connected_components(graph, directed=False)[1])
