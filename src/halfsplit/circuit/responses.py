"""A factorised network, and what 1 A between two points does to every volt of it.

The answers that matter are small differences: behind an opened contact of 2 mohm the volts hang on what flows
around it, perhaps over 1 Gohm, which is one part in 10¹² of what flows through it. So every answer comes in two
parts, a *coarse* one in double precision and a *fine* one that holds the digits after it, from the current that
Kirchhoff's law leaves over (iterative refinement; Wilkinson, Rounding Errors in Algebraic Processes, 1963).
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from halfsplit.circuit.assembly import LEAK
from halfsplit.circuit.devices import Floats, Ints, States
from halfsplit.circuit.network import System
from halfsplit.circuit.solve import Factor
from halfsplit.circuit.substitution import Substitution

Singles = NDArray[np.float32]

BUDGET = 8_000_000
"""Numbers that the table of responses may hold (coarse and fine together: 100 MB)."""
LEAST_COLUMNS = 600
BLOCK = 1 << 17
"""Numbers in a block of right sides: small enough for the cache of a processor."""
CORRECTIONS = 5
SIGNIFICANT = 1e-15
FIRST_COLUMNS = 64


class Base:
    """One round of the healthy network: volts, and responses to currents between the ends of its elements.

    ``volts``, ``rest`` (N + 1,): coarse and fine, the reference last. ``coarse``, ``fine`` (N + 1, capacity): the
    responses, a column for each element. They are solved for when they are first asked for, and kept while the
    budget lasts.
    """

    def __init__(self, system: System, states: States) -> None:
        self.system, self.states = system, states
        self.factor = Factor(system, states)
        self.volts, self.rest = self.factor.volts_in_two()
        self._substitution = Substitution(self.factor.lu)
        active = np.flatnonzero(self.factor.conductance)
        ends = system.ends[active]
        self._conductance = self.factor.conductance[active][:, None]
        self._active = np.full(len(system.ends) + 1, -1, dtype=np.intp)
        self._active[active] = np.arange(len(active))
        self._across = system.network.incidence(ends[:, 2:]).T.tocsr()
        self._into = system.network.incidence(ends[:, :2])
        self._place: Ints = np.full(len(system.ends), -1, dtype=np.intp)
        width = system.network.size + 1
        self.capacity = min(len(system.ends), max(LEAST_COLUMNS, BUDGET // width))
        first = min(self.capacity, FIRST_COLUMNS)
        self.coarse: Floats = np.empty((width, first))
        self.fine: Singles = np.empty((width, first), dtype=np.float32)
        self._used = 0

    def columns(self, elements: Ints) -> Ints:
        """Columns of ``coarse`` and ``fine`` that hold the responses to these elements, of any shape.

        At most ``capacity`` different ones. Columns told earlier may no longer hold after this.
        """
        missing = np.unique(elements[self._place[elements] < 0])
        if self._used + len(missing) > self.capacity:
            self._place[:] = -1
            self._used = 0
            missing = np.unique(elements)
        if len(missing):
            self._grow(self._used + len(missing))
            new = slice(self._used, self._used + len(missing))
            self._respond(
                self.system.ends[missing], self._active[missing], self.coarse[:, new], self.fine[:, new]
            )
            self._place[missing] = np.arange(new.start, new.stop)
            self._used = new.stop
        return self._place[elements]

    def _grow(self, columns: int) -> None:
        """Room for so many columns.

        It grows by doubling: a table for every element costs more to lay out than the few responses of a job's
        suspects cost to solve.
        """
        width, room = self.coarse.shape
        if columns > room:
            larger = min(self.capacity, max(2 * room, columns))
            coarse, fine = np.empty((width, larger)), np.empty((width, larger), dtype=np.float32)
            coarse[:, : self._used], fine[:, : self._used] = (
                self.coarse[:, : self._used],
                self.fine[:, : self._used],
            )
            self.coarse, self.fine = coarse, fine

    def respond(self, ends: Ints) -> Floats:
        """Volts of all nodes (N + 1, m) for 1 A into each first point (u0) and out of each second (u1).

        ``ends`` (m, 4) as those of a system.
        """
        coarse = np.empty((len(self.volts), len(ends)))
        self._respond(ends, np.full(len(ends), -1), coarse, np.empty(coarse.shape, dtype=np.float32))
        return coarse

    def _respond(self, ends: Ints, own: Ints, coarse: Floats, fine: Singles) -> None:
        step = max(1, BLOCK // len(self.volts))
        for start in range(0, len(ends), step):
            part = slice(start, start + step)
            coarse[:, part], fine[:, part] = self._block(ends[part], own[part])

    def _block(self, ends: Ints, own: Ints) -> tuple[Floats, Singles]:
        volts, every = np.zeros((len(self.volts), len(ends))), np.arange(len(ends))
        volts[ends[:, 0], every] += 1.0
        volts[ends[:, 1], every] -= 1.0
        volts[:-1] = self._substitution.solve(volts[:-1])
        volts[-1] = 0.0
        fine = np.zeros(volts.shape, dtype=np.float32)
        for _ in range(CORRECTIONS):
            now = volts[:, every]
            correction = self._substitution.solve(self._left_over(now, ends[every], own[every])[:-1])
            large = np.abs(correction).max(axis=0) > SIGNIFICANT * np.abs(now).max(axis=0)
            fine[:-1, every] = np.where(large, 0.0, correction)
            volts[:-1, every[large]] += correction[:, large]
            every = every[large]
            if not len(every):
                break
        return volts, fine

    def _left_over(self, volts: Floats, ends: Ints, own: Ints) -> Floats:
        """Current left over at each node (N + 1, m) of 1 A injected at u0 and taken at u1.

        What flows straight back through the element itself is nearly all of it: the difference is taken exactly,
        so that the little that flows around is not lost in it.
        """
        flow = self._across @ volts
        column = np.flatnonzero(own >= 0)
        product, error = exact_product(self._conductance[own[column], 0], flow[own[column], column])
        flow *= self._conductance
        flow[own[column], column] = 0.0
        left: Floats = -LEAK * volts - self._into @ flow
        around = np.ones(len(ends))
        around[column] = (1.0 - product) - error
        every = np.arange(len(ends))
        left[ends[:, 0], every] += around
        left[ends[:, 1], every] -= around
        left[-1] = 0.0
        return left


def exact_product(a: Floats, b: Floats) -> tuple[Floats, Floats]:
    """a·b rounded, and the rounding error: together they are the product exactly (Dekker 1971, Veltkamp's split)."""
    product = a * b
    a1, a2 = _halves(a)
    b1, b2 = _halves(b)
    return product, ((a1 * b1 - product) + a1 * b2 + a2 * b1) + a2 * b2


def _halves(a: Floats) -> tuple[Floats, Floats]:
    large = 134217729.0 * a
    high = large - (large - a)
    return high, a - high
