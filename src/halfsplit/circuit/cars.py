"""One state of a network in several cars: what all cases that are solved in it have in common."""

from __future__ import annotations

from collections.abc import Sequence
from functools import cached_property
from typing import NamedTuple

import numpy as np

from halfsplit.circuit.cases import Cases
from halfsplit.circuit.devices import Floats, Ints, States, Thresholds
from halfsplit.circuit.elimination import Base, Work, bases, working
from halfsplit.circuit.network import System
from halfsplit.circuit.settle import settle
from halfsplit.circuit.solve import COUNTER
from halfsplit.circuit.structure import Numbers, Structure, structure_of
from halfsplit.circuit.substitution import VOLTS, answer, places
from halfsplit.threads import THREADS


class Healthy(NamedTuple):
    """The healthy networks of all lanes, factorised in each round of their run, and room for each thread."""

    base: Base
    works: list[Work]


class Cars:
    """The same network in the same state, with the values of each of D cars (``systems``).

    Its healthy networks are factorised once for all that is asked of it; one thing is asked at a time.
    """

    def __init__(self, systems: Sequence[System]) -> None:
        self.systems = tuple(systems)
        self.system = self.systems[0]
        self.thresholds = Thresholds.beside([each.parameters.thresholds for each in self.systems])
        self.opens_at: Floats = np.stack([each.opens_at for each in self.systems], axis=1)
        self._healthy: dict[int, Healthy] = {}

    def __len__(self) -> int:
        return len(self.systems)

    @property
    def nbytes(self) -> int:
        """Bytes that the healthy networks take."""
        return sum(each.nbytes for healthy in self._healthy.values() for each in healthy.base)

    @cached_property
    def structure(self) -> Structure:
        return structure_of(self.system)

    def healthy(self, beside: int) -> Healthy:
        """The healthy networks with so many cases of each car side by side."""
        if beside not in self._healthy:
            base = self._factorised(beside)
            lanes = beside * len(self)
            free = range(len(base.states), len(base.conductance))
            self._healthy[beside] = Healthy(base, [working(self.structure, lanes, own) for own in free])
        return self._healthy[beside]

    def _factorised(self, beside: int) -> Base:
        """In all rounds of their run, which is found from the first round alone."""
        table, lanes = self.system.network.devices, beside * len(self)
        systems = self.systems * beside
        rest = table.rest(table.free(lanes)).T[None]
        first = bases(systems, rest, self._owned, THREADS)
        COUNTER.factorisations += len(self)
        if not self.system.driven:
            return first
        nothing = Cases.of(self.system, [()], [()])
        locks = nothing.locks.at(np.zeros(lanes, dtype=np.intp))
        work = working(self.structure, lanes, len(first.states))
        rows, changes = np.zeros((1, lanes), dtype=np.intp), nothing.changes

        def watched(states: States, columns: Ints) -> Floats:
            every = np.zeros((len(states), lanes), dtype=np.int8)
            every[:, columns] = states
            volts = np.empty((len(table.watch), 1, lanes))
            wanted, given = places(self.structure, table.watch), every.T[None].copy()
            answer(VOLTS, self.structure, first, rows, given, changes, work, 0, 1, *wanted, volts)
            return np.asarray(volts[:, 0, columns])

        settled = settle(self.system, watched, locks, self.thresholds.at(np.arange(lanes) % len(self)))
        COUNTER.factorisations += len(self) * len(settled.history)
        rounds = np.stack([states.T for states in settled.history])
        return bases(systems, rounds, self._owned, THREADS)

    @cached_property
    def _owned(self) -> Numbers:
        """Elements (devices, most) of each device, then -1."""
        lists = self.system.network.devices.elements_of
        table = np.full((len(lists), max(map(len, lists), default=0)), -1, dtype=np.int32)
        for row, each in enumerate(lists):
            table[row, : len(each)] = each
        return table
