"""Arrays → arrays: node analysis from scratch, and what comes out of it.

The nodes' volts follow from Kirchhoff's current law: ``A x = b`` with a conductance to the reference at every node
(1 Gohm), so that ``A`` is never singular. A solution tells its residual; it is refined until the current
that is left over at any node is at rounding level.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np

from halfsplit.circuit.assembly import LEAK
from halfsplit.circuit.devices import Floats, Locks, States, duty_phases
from halfsplit.circuit.network import OPEN, Change, Lock, System
from halfsplit.circuit.settle import locks_for, settle

if TYPE_CHECKING:
    from scipy.sparse import csc_matrix

REFINEMENTS = 6
ROUNDING = 4e-15
"""Volts: a correction below this is under the last digit of 12 V."""


@dataclass
class Counter:
    """Counts the work, so that a test can hold it."""

    factorisations: int = 0


COUNTER = Counter()


class Factor:
    """A factorised network in one set of device states."""

    def __init__(self, system: System, states: States) -> None:
        from scipy.sparse.linalg import splu  # slow to import, and not every command solves a circuit

        self.system, self.states = system, states
        active = system.active(states)
        self.conductance: Floats = np.where(active, system.conductance, 0.0)
        self.push: Floats = np.where(active, system.push, 0.0)
        self.lu = splu(
            _matrix(system, self.conductance),
            permc_spec="MMD_AT_PLUS_A",
            options={"SymmetricMode": True, "DiagPivotThresh": 0.0},
        )
        COUNTER.factorisations += 1

    @cached_property
    def volts(self) -> Floats:
        """Volts of all nodes and of the reference (N + 1,), refined until nothing moves any more."""
        volts = np.zeros(self.system.network.size + 1)
        for _ in range(REFINEMENTS):
            correction = self.lu.solve(left_over(self.system, volts, self.currents(volts))[:-1])
            if np.abs(correction).max(initial=0.0) < ROUNDING:
                break
            volts[:-1] += correction
        return volts

    def currents(self, volts: Floats) -> Floats:
        """Current of each element from its first end to its second (E,)."""
        ends, emf = self.system.ends, self.system.emf
        return np.asarray(self.conductance * (volts[ends[:, 2]] - volts[ends[:, 3]] - emf) - self.push)


def left_over(system: System, volts: Floats, flow: Floats) -> Floats:
    """Current that Kirchhoff's law leaves over at each node (N + 1,), by the current of each element (E,).

    Summed element by element from differences of volts: what flows along a chain of low resistances cancels
    exactly, which a product with the assembled matrix would not give.
    """
    left = -LEAK * volts
    np.subtract.at(left, system.ends[:, 0], flow)
    np.add.at(left, system.ends[:, 1], flow)
    left[-1] = 0.0
    return left


class Factors:
    """A network in every set of device states that is asked for, each factorised once."""

    def __init__(self, system: System) -> None:
        self.system = system
        self._by_states: dict[bytes, Factor] = {}

    def at(self, states: States) -> Factor:
        """The network in these device states (D,)."""
        key = states.tobytes()
        if key not in self._by_states:
            self._by_states[key] = Factor(self.system, states)
        return self._by_states[key]

    def watched(self, states: States) -> Floats:
        """Volts (W, B) of the nodes that devices watch, in device states (D, B)."""
        watch = self.system.network.devices.watch
        return np.column_stack([self.at(column).volts[watch] for column in states.T])


def _matrix(system: System, conductance: Floats) -> csc_matrix:
    from scipy.sparse import coo_matrix

    size = system.network.size
    used = np.flatnonzero(conductance)
    u0, u1, v0, v1 = system.ends[used].T
    g = conductance[used]
    rows = np.concatenate([u0, u0, u1, u1, np.arange(size)])
    columns = np.concatenate([v0, v1, v0, v1, np.arange(size)])
    values = np.concatenate([g, -g, -g, g, np.full(size, LEAK)])
    inside = (rows < size) & (columns < size)
    return coo_matrix((values[inside], (rows[inside], columns[inside])), shape=(size, size)).tocsc()


@dataclass(frozen=True)
class Result:
    """One settled case: volts (N + 1,), element currents (E,), device states (D,), and what it tells beside them."""

    system: System
    volts: Floats
    currents: Floats
    states: States
    blown: tuple[str, ...]
    chattering: tuple[str, ...]
    residual: float
    locks: Locks = field(repr=False)


def solve(
    system: System, changes: tuple[Change, ...] = (), locks: tuple[Lock, ...] = (), *, blow: bool = True
) -> Result:
    """Solve one case from scratch: devices, then fuses (the one furthest over its rating first), again and again."""
    network = system.network
    current = system.changed(changes)
    held = locks_for(system, [locks])
    blown: list[str] = []
    while True:
        result = _settled(current, held, tuple(blown))
        load = np.abs(result.currents[network.fuses]) / current.opens_at
        if not blow or load.max(initial=0.0) <= 1.0:
            return result
        worst = int(network.fuses[load.argmax()])
        blown.append(network.elements[worst].name)
        current = current.changed([Change(worst, OPEN)])


def _settled(system: System, locks: Locks, blown: tuple[str, ...]) -> Result:
    """With these fuses open, whatever the others carry."""
    factors = Factors(system)
    settled = settle(system, lambda states, _: factors.watched(states), locks)
    states, size = settled.states[:, 0], system.network.size
    volts, flow, left = np.zeros(size + 1), np.zeros(len(system.conductance)), 0.0
    table = system.network.devices
    # Drivers that are on now: where none switches, the volts are those of one phase to the last digit.
    duties = {number: share for number, share in table.duties.items() if states[number] in (1, 2)}
    for share, phase in duty_phases(duties, states):
        now = factors.at(phase).volts
        currents = factors.at(phase).currents(now)
        volts += share * now
        flow += share * currents
        left = max(left, float(np.abs(left_over(system, now, currents)).max()))
    chattering = tuple(table.names[number] for number in np.flatnonzero(settled.chattering[:, 0]))
    return Result(system, volts, flow, states, blown, chattering, left, locks)
