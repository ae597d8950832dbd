"""Drawn cars of one circuit in the scenes in which they are tested, and what is solved of them.

What a scene does to a column does not depend on what else is asked: each is solved once, whichever hypotheses are
looked at together with it.
"""

from __future__ import annotations

from collections.abc import Callable, Hashable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from halfsplit.circuit.batch import Cars
from halfsplit.circuit.cases import Cases
from halfsplit.circuit.circuit import Circuit
from halfsplit.circuit.interventions import Intervention, apply
from halfsplit.circuit.network import Change, Lock, Parameters, System
from halfsplit.diagnosis.solved import Solved

SCENE_BYTES, FEWEST_SCENES = 160_000_000, 4
"""Memory for scenes that are kept, and how many are kept whatever they take."""
MOST_CELLS, MOSTLY_OTHERS = 60_000, 3
"""Columns × cars of a scene from which it is solved anew, where it holds so many times more than is asked for: what
earlier readings or unlikely results brought in."""
KEYS_KEPT = 512

Ints = NDArray[np.int64]


@dataclass(frozen=True)
class SceneKey:
    """What a scene is: state, interventions in the order made, and whether the feed is isolated (for ohms)."""

    state: str
    changes: tuple[Intervention, ...] = ()
    isolated: bool = False


class Fleet:
    """Cars with the values of each draw. Scenes that are electrically the same are solved as one.

    ``give_way`` is called before anything is solved: it may raise, where something else comes first.
    """

    def __init__(self, circuit: Circuit, draws: Sequence[Parameters], give_way: Callable[[], None]) -> None:
        self.circuit, self.draws, self.give_way = circuit, tuple(draws), give_way
        self._solved: dict[Hashable, Solved] = {}
        self._electrically: dict[SceneKey, Hashable] = {}
        self._numbers: dict[tuple[tuple[Change, ...], tuple[Lock, ...]], int] = {}
        self._cases: list[tuple[tuple[Change, ...], tuple[Lock, ...]]] = []
        self._first = circuit.network.system(next(iter(circuit.states)))

    @property
    def nbytes(self) -> int:
        """Bytes of what is solved, and of the cars that it is solved for."""
        return sum(each.nbytes for each in self._solved.values())

    def numbers(self, changes: Sequence[tuple[Change, ...]], locks: Sequence[tuple[Lock, ...]]) -> Ints:
        """A number (C,) for what each column changes and locks, the same for the same."""
        numbers = []
        for case in zip(changes, locks, strict=True):
            number = self._numbers.setdefault(case, len(self._cases))
            if number == len(self._cases):
                self._cases.append(case)
            numbers.append(number)
        return np.array(numbers, dtype=np.int64)

    def cases(self, numbers: Ints) -> Cases:
        """The cases with these numbers."""
        some = [self._cases[number] for number in numbers.tolist()]
        return Cases.of(self._first, [changes for changes, _ in some], [locks for _, locks in some])

    def solved(self, key: SceneKey, wanted: int | None = None) -> Solved:
        """What is solved of a scene; the oldest are let go where all take too much memory.

        ``wanted``: how many columns are about to be asked for, where they were not yet.
        """
        self.give_way()
        if key not in self._electrically:
            while len(self._electrically) >= KEYS_KEPT:
                self._electrically.pop(next(iter(self._electrically)))
            # Two scenes that are equal in this have the same volts.
            self._electrically[key] = self._system(key, None).electrically()
        what = self._electrically[key]
        known = self._solved.pop(what, None)
        if known is not None and wanted is not None:
            cells = known.regime.size
            if cells > MOST_CELLS and cells > MOSTLY_OTHERS * wanted * len(self.draws):
                known.let_go()
                known = Solved(known.cars)
        if known is None:
            while len(self._solved) >= FEWEST_SCENES and self.nbytes > SCENE_BYTES:
                self._solved.pop(next(iter(self._solved))).let_go()
            known = Solved(Cars([self._system(key, parameters) for parameters in self.draws]))
        self._solved[what] = known
        return known

    def _system(self, key: SceneKey, parameters: Parameters | None) -> System:
        system = apply(self.circuit.network.system(key.state, parameters), key.changes)
        return system.isolated() if key.isolated else system
