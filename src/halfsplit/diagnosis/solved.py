"""What is solved of a scene and kept: volts, currents and ohms by point, for all columns and draws at once."""

from __future__ import annotations

from collections.abc import Sequence
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray

from halfsplit.circuit.batch import Batch
from halfsplit.circuit.devices import Links, States

Floats = NDArray[np.float64]
Readings = NDArray[np.float32]
Ints = NDArray[np.intp]
Bools = NDArray[np.bool_]

AT_ONCE = 256
"""Points that are solved together: many are cheaper than few, and too many take too much memory."""


class Solved:
    """What the circuit does in all columns and draws: asked for by node or element, solved once, kept as float32."""

    def __init__(self, batch: Batch) -> None:
        self.batch = batch
        self.shape = batch.shape
        self._kept: dict[str, dict[int, Readings]] = {"volts": {}, "amps": {}, "source_ohms": {}}

    def fill(self, what: str, wanted: Sequence[int]) -> None:
        """Solve for ``volts`` of nodes, ``source_ohms`` of nodes or ``amps`` of elements: many together are cheap."""
        kept = self._kept[what]
        missing = sorted({each for each in wanted if each not in kept})
        for start in range(0, len(missing), AT_ONCE):
            some = missing[start : start + AT_ONCE]
            kept.update(zip(some, self._solve(what, some), strict=True))

    def _solve(self, what: str, wanted: Sequence[int], columns: Ints | None = None) -> Readings:
        """These (…, C, D), in all columns or in some."""
        return np.asarray(getattr(self.batch, what)(np.array(wanted, dtype=np.intp), columns), np.float32)

    def some(self, what: str, wanted: Sequence[int], columns: Ints) -> Readings:
        """These (…, columns, D) in some columns; solved for these alone where nothing is kept."""
        kept = self._kept[what]
        missing = [each for each in wanted if each not in kept]
        solved = dict(zip(missing, self._solve(what, missing, columns), strict=True)) if missing else {}
        return np.array([solved[each] if each in solved else kept[each][columns] for each in wanted])

    def get(self, what: str, which: int) -> Readings:
        """One of these (C, D)."""
        self.fill(what, [which])
        return self._kept[what][which]

    @property
    def nbytes(self) -> int:
        """Bytes of what is kept, but for the cars, which others share."""
        return self.batch.nbytes + self._kept_bytes

    @property
    def _kept_bytes(self) -> int:
        return sum(each.nbytes for kept in self._kept.values() for each in kept.values())

    def port_ohms(self, a: int, b: int, columns: Ints | None = None) -> Floats:
        """Resistance between two nodes (C, D), in all columns or in some."""
        return np.asarray(self.batch.port_ohms(np.array([a]), np.array([b]), columns)[0])

    @cached_property
    def fed(self) -> Bools:
        return self.batch.fed()

    @cached_property
    def links(self) -> Links:
        return self.batch.links()

    @cached_property
    def states(self) -> States:
        return self.batch.states

    @cached_property
    def chattering(self) -> Bools:
        return self.batch.chattering

    @cached_property
    def blown(self) -> Bools:
        return self.batch.blown


class Amended(Solved):
    """Columns taken from another solution, but for a few that are solved anew.

    Fuses have opened there before, or they are not among the other's. ``taken`` (C,): the other's column for each;
    ``columns``: those that are solved anew.
    """

    def __init__(self, whole: Solved, taken: Ints, columns: Ints, batch: Batch) -> None:
        super().__init__(batch)
        self.shape, self._whole, self._columns = (len(taken), whole.shape[1]), whole, columns
        self._taken = taken
        self._together: dict[tuple[str, int], Readings] = {}

    def _joined(self, whole: NDArray[Any], own: NDArray[Any]) -> NDArray[Any]:
        joined = whole[..., self._taken, :]
        joined[..., self._columns, :] = own
        return joined

    def fill(self, what: str, wanted: Sequence[int]) -> None:
        self._whole.fill(what, wanted)
        super().fill(what, wanted)

    def get(self, what: str, which: int) -> Readings:
        if (what, which) not in self._together:
            if len(self._together) >= AT_ONCE:
                self._together.clear()
            both = self._joined(self._whole.get(what, which), super().get(what, which))
            self._together[what, which] = both
        return self._together[what, which]

    def some(self, what: str, wanted: Sequence[int], columns: Ints) -> Readings:
        values, own = self._whole.some(what, wanted, self._taken[columns]), self._anew(columns)
        if (own >= 0).any():
            values[:, own >= 0] = super().some(what, wanted, own[own >= 0])
        return values

    def port_ohms(self, a: int, b: int, columns: Ints | None = None) -> Floats:
        if columns is None:
            return self._joined(self._whole.port_ohms(a, b), super().port_ohms(a, b))
        ohms, own = self._whole.port_ohms(a, b, self._taken[columns]), self._anew(columns)
        if (own >= 0).any():
            ohms[own >= 0] = super().port_ohms(a, b, own[own >= 0])
        return ohms

    def _anew(self, columns: Ints) -> Ints:
        """Where these columns are among those that are solved anew, -1 for the others."""
        own = np.full(len(self._taken), -1)
        own[self._columns] = np.arange(len(self._columns))
        return own[columns]

    @cached_property
    def fed(self) -> Bools:
        return self._joined(self._whole.fed, self.batch.fed())

    @cached_property
    def links(self) -> Links:
        own = self.batch.links()
        return {pair: self._joined(heard, own[pair]) for pair, heard in self._whole.links.items()}

    @cached_property
    def states(self) -> States:
        return self._joined(self._whole.states, self.batch.states)

    @cached_property
    def chattering(self) -> Bools:
        return self._joined(self._whole.chattering, self.batch.chattering)

    @cached_property
    def blown(self) -> Bools:
        return self._joined(self._whole.blown, self.batch.blown)


class Part(Solved):
    """Some columns of another solution; what is asked of them is solved for them alone."""

    def __init__(self, whole: Solved, columns: Ints) -> None:
        super().__init__(whole.batch)
        self.shape, self._whole, self._columns = (len(columns), whole.shape[1]), whole, columns

    @property
    def nbytes(self) -> int:
        return self._kept_bytes

    def _solve(self, what: str, wanted: Sequence[int], columns: Ints | None = None) -> Readings:
        return self._whole.some(what, wanted, self._columns if columns is None else self._columns[columns])

    def port_ohms(self, a: int, b: int, columns: Ints | None = None) -> Floats:
        return self._whole.port_ohms(a, b, self._columns if columns is None else self._columns[columns])

    @cached_property
    def fed(self) -> Bools:
        return self._whole.fed[:, self._columns]

    @cached_property
    def links(self) -> Links:
        return {pair: heard[self._columns] for pair, heard in self._whole.links.items()}

    @cached_property
    def states(self) -> States:
        return self._whole.states[:, self._columns]

    @cached_property
    def chattering(self) -> Bools:
        return self._whole.chattering[:, self._columns]

    @cached_property
    def blown(self) -> Bools:
        return self._whole.blown[:, self._columns]
