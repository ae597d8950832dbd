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
        self._batch = batch
        self.shape = batch.shape
        self._kept: dict[str, dict[int, Readings]] = {"volts": {}, "amps": {}, "source_ohms": {}}

    def fill(self, what: str, wanted: Sequence[int]) -> None:
        """Solve for ``volts`` of nodes, ``source_ohms`` of nodes or ``amps`` of elements: many together are cheap."""
        kept = self._kept[what]
        missing = np.array(sorted({each for each in wanted if each not in kept}), dtype=np.intp)
        for start in range(0, len(missing), AT_ONCE):
            some = missing[start : start + AT_ONCE]
            values = np.asarray(getattr(self._batch, what)(some)).astype(np.float32)
            kept.update(zip(some.tolist(), values, strict=True))

    def get(self, what: str, which: int) -> Readings:
        """One of these (C, D)."""
        self.fill(what, [which])
        return self._kept[what][which]

    @property
    def nbytes(self) -> int:
        """Bytes of what is kept."""
        return self._batch.nbytes + sum(each.nbytes for kept in self._kept.values() for each in kept.values())

    def port_ohms(self, a: int, b: int) -> Floats:
        """Resistance between two nodes (C, D)."""
        return np.asarray(self._batch.port_ohms(np.array([a]), np.array([b]))[0])

    @cached_property
    def fed(self) -> Bools:
        return self._batch.fed()

    @cached_property
    def links(self) -> Links:
        return self._batch.links()

    @cached_property
    def states(self) -> States:
        return self._batch.states

    @cached_property
    def chattering(self) -> Bools:
        return self._batch.chattering

    @cached_property
    def blown(self) -> Bools:
        return self._batch.blown


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

    def port_ohms(self, a: int, b: int) -> Floats:
        return self._joined(self._whole.port_ohms(a, b), super().port_ohms(a, b))

    @cached_property
    def fed(self) -> Bools:
        return self._joined(self._whole.fed, self._batch.fed())

    @cached_property
    def links(self) -> Links:
        own = self._batch.links()
        return {pair: self._joined(heard, own[pair]) for pair, heard in self._whole.links.items()}

    @cached_property
    def states(self) -> States:
        return self._joined(self._whole.states, self._batch.states)

    @cached_property
    def chattering(self) -> Bools:
        return self._joined(self._whole.chattering, self._batch.chattering)

    @cached_property
    def blown(self) -> Bools:
        return self._joined(self._whole.blown, self._batch.blown)
