"""What many cases change in one system: faults and pairs of faults."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from halfsplit.circuit.devices import Floats, Ints, Locks
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
        shape = len(changes), max(map(len, changes), default=0)
        made = Changes(np.full(shape, -1, dtype=np.int32), np.zeros(shape, dtype=np.int32), np.zeros(shape))
        for row, each in enumerate(changes):
            for column, change in enumerate(each):
                made.elements[row, column] = change.element
                made.operations[row, column] = change.operation
                made.values[row, column] = change.value
        return Cases(made, locks_for(system, locks))

    def some(self, which: Ints) -> Cases:
        """These cases of them."""
        return Cases(self.changes.some(which), self.locks.at(which))

    def __len__(self) -> int:
        return len(self.changes.elements)


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
