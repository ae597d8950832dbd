"""What many cases change in one system: faults, pairs of faults, blown fuses."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from halfsplit.circuit.devices import Floats, Ints, Locks
from halfsplit.circuit.network import ADD, EMF, OPEN, SET, Change, Lock, System
from halfsplit.circuit.settle import locks_for


@dataclass(frozen=True)
class Cases:
    """What each of B cases changes: elements (B, K), -1 where there are fewer; operations and numbers alike."""

    elements: Ints
    operations: Ints
    numbers: Floats
    locks: Locks

    @staticmethod
    def of(system: System, changes: Sequence[tuple[Change, ...]], locks: Sequence[tuple[Lock, ...]]) -> Cases:
        """Cases from the changes and the locks of each."""
        shape = len(changes), max(map(len, changes), default=0)
        elements, operations = np.full(shape, -1, dtype=np.intp), np.zeros(shape, dtype=np.intp)
        numbers = np.zeros(shape)
        for row, each in enumerate(changes):
            for column, change in enumerate(each):
                elements[row, column] = change.element
                operations[row, column] = change.operation
                numbers[row, column] = change.value
        return Cases(elements, operations, numbers, locks_for(system, locks))

    def __len__(self) -> int:
        return len(self.elements)

    def opened(self, rows: Ints, elements: Ints) -> Cases:
        """These cases with one more open element in each of the rows (a blown fuse)."""
        extra = np.full((len(self), 1), -1, dtype=np.intp)
        extra[rows, 0] = elements
        nothing = np.zeros((len(self), 1))
        return replace(
            self,
            elements=np.hstack([self.elements, extra]),
            operations=np.hstack([self.operations, np.full(extra.shape, OPEN, dtype=np.intp)]),
            numbers=np.hstack([self.numbers, nothing]),
        )

    def values(self, which: Ints, elements: Ints, conductance: Floats, emf: Floats) -> tuple[Floats, Floats]:
        """Conductance and emf of elements (b, K) in the cases ``which`` (b,), from those in the healthy network."""
        for slot in range(self.elements.shape[1]):
            row, column = np.nonzero(self.elements[which, slot][:, None] == elements)
            if len(row):
                case, hit = which[row], (row, column)
                conductance[hit], emf[hit] = operated(
                    self.operations[case, slot], self.numbers[case, slot], conductance[hit], emf[hit]
                )
        return conductance, emf

    def changes(self, case: int) -> list[Change]:
        """The changes of one case."""
        used = np.flatnonzero(self.elements[case] >= 0)
        return [
            Change(
                int(self.elements[case, slot]),
                int(self.operations[case, slot]),
                float(self.numbers[case, slot]),
            )
            for slot in used
        ]


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
