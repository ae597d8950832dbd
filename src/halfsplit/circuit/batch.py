"""Many cases of one state from few factorisations: each is a low-rank change of the healthy network.

The devices of every case are settled round by round beside the healthy network's own rounds (one factorisation for
each), so that a case comes to the fixed point that a solution from scratch reaches; what its devices do otherwise than
the healthy network's is part of its change (``lowrank.py``).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from halfsplit.circuit.cases import Cases
from halfsplit.circuit.devices import Bools, Floats, Ints, Links, States
from halfsplit.circuit.elements import DriverDevice
from halfsplit.circuit.faults import Fault
from halfsplit.circuit.lowrank import Update, Updates, spread
from halfsplit.circuit.network import System
from halfsplit.circuit.responses import Base
from halfsplit.circuit.settle import Evaluate, settle
from halfsplit.circuit.solve import OVERLOAD, Factor, links, scratch

TOGETHER = 20_000_000
"""Device states that are settled together: cases × devices."""


class Batch:
    """All cases of one system, settled. ``states``, ``chattering`` (D, B); ``blown`` (fuses, B)."""

    def __init__(self, system: System, cases: Cases) -> None:
        self.system, self.cases = system, cases
        network = system.network
        self.table = network.devices
        self._updates = Updates(system)
        start = self.table.free(1)
        self.path = settle(system, scratch(system, start), start).path
        self._bases: dict[int, Base] = {}
        self.states: States = np.zeros((len(self.table.devices), len(cases)), dtype=np.int8)
        self.chattering: Bools = np.zeros(self.states.shape, dtype=bool)
        self.blown: Bools = np.zeros((len(network.fuses), len(cases)), dtype=bool)
        step = max(1, TOGETHER // max(1, len(self.table.devices)))
        for first in range(0, len(cases), step):
            self._settle(np.arange(first, min(first + step, len(cases))))
        self._bases = {len(self.path) - 1: self.base()}

    def base(self, number: int = -1) -> Base:
        """The healthy network in the round of this number; settled from the last round on and by default."""
        last = len(self.path) - 1
        key = min(number, last) if number >= 0 else last
        if key not in self._bases:
            self._bases[key] = Base(self.system, self.path[key])
        return self._bases[key]

    def _settle(self, waiting: Ints) -> None:
        """Settle these cases; those in which a fuse opens are settled again, from the unpowered network."""
        while len(waiting):
            settled = settle(self.system, self._evaluate(waiting), self.cases.locks.at(waiting))
            self.states[:, waiting] = settled.states
            self.chattering[:, waiting] = settled.chattering
            waiting = self._blow(waiting)

    def _evaluate(self, waiting: Ints) -> Evaluate:
        def evaluate(states: States, columns: Ints, number: int) -> tuple[Floats, Links]:
            cases, base = waiting[columns], self.base(number)

            def watched(now: States) -> Floats:
                return self._volts(base, cases, now, self.table.watch)

            return watched(states), links(self.system, states, self.cases.locks.at(cases), watched)

        return evaluate

    def _blow(self, cases: Ints) -> Ints:
        """Open the fuse that is furthest over its rating in each case; the cases in which one was."""
        network = self.system.network
        if not len(network.fuses):
            return cases[:0]
        load: Floats = np.abs(self.amps(network.fuses, cases)) / network.ratings[:, None]
        worst = load.argmax(axis=0)
        over = load[worst, np.arange(len(cases))] > OVERLOAD
        rows: Ints = cases[over]
        fuses = worst[over]
        if len(rows):
            self.blown[fuses, rows] = True
            self.cases = self.cases.opened(rows, network.fuses[fuses])
        return rows

    # What is asked of the settled cases.

    def volts(self, nodes: Ints, cases: Ints | None = None) -> Floats:
        """Volts (len(nodes), b) of settled cases, all by default; the mean over time where a driver has a duty
        cycle."""
        wanted = self._wanted(cases)
        phases = self._phases(self.states[:, wanted])
        total = self._volts(self.base(), wanted, phases[0][1], nodes)
        if len(phases) > 1:
            total = phases[0][0] * total
            for share, states in phases[1:]:
                total += share * self._volts(self.base(), wanted, states, nodes)
        return total

    def amps(self, elements: Ints, cases: Ints | None = None) -> Floats:
        """Currents of elements (len(elements), b), from first end to second."""
        wanted = self._wanted(cases)
        total = np.zeros((len(elements), len(wanted)))
        nodes = self.system.ends[elements][:, 2:].T.ravel()
        every = np.broadcast_to(elements, (len(wanted), len(elements)))
        for share, states in self._phases(self.states[:, wanted]):
            first, second = self._volts(self.base(), wanted, states, nodes).reshape(2, len(elements), -1)
            conductance, emf, push = self._updates.values(self.cases, wanted, states, every)
            total += share * (conductance.T * (first - second - emf.T) - push.T)
        return total

    def source_ohms(self, nodes: Ints, cases: Ints | None = None) -> Floats:
        """Resistance (len(nodes), b) that each point shows against the reference: what an instrument's load meets."""
        return self.port_ohms(nodes, np.full(len(nodes), self.system.network.size), cases)

    def port_ohms(self, a: Ints, b: Ints, cases: Ints | None = None) -> Floats:
        """Resistance (len(a), b) between pairs of nodes, with the devices as they are."""
        wanted, base = self._wanted(cases), self.base()
        alone = base.respond(np.column_stack([a, b, a, b]))
        port = np.arange(len(a))
        ohms = np.repeat((alone[a, port] - alone[b, port])[:, None], len(wanted), axis=1)
        for update in self._updates.of(base, self.cases, wanted, self.states[:, wanted]):
            v0, v1 = update.ends[..., 2], update.ends[..., 3]
            for number in port:
                current = -update.change * (alone[v0, number] - alone[v1, number])
                flow = (update.solver @ current[..., None])[..., 0]
                there = base.coarse[a[number], update.columns] - base.coarse[b[number], update.columns]
                ohms[number, update.which] += (there * flow).sum(axis=1)
        return ohms

    def fed(self, cases: Ints | None = None) -> Bools:
        """Which modules work (M, b)."""
        wanted = self._wanted(cases)
        volts = self._volts(self.base(), wanted, self.states[:, wanted], self.table.watch)
        return self.table.fed(volts, self.cases.locks.dead[:, wanted], self.system.parameters.thresholds.minimum)

    def links(self) -> Links:
        """(listener, speaker) → whether the one hears the other (B,), for every pair on a bus."""
        wanted, base = self._wanted(None), self.base()
        return links(self.system, self.states, self.cases.locks,
                     lambda states: self._volts(base, wanted, states, self.table.watch), every=True)

    # How it is found.

    def _wanted(self, cases: Ints | None) -> Ints:
        return np.arange(len(self.cases)) if cases is None else cases

    def _phases(self, states: States) -> list[tuple[float, States]]:
        """Shares of time, and the device states in each, where drivers switch with a duty cycle."""
        shares = {number: device.driver.duty for number, device in enumerate(self.table.devices)
                  if isinstance(device, DriverDevice) and device.driver.duty is not None}
        phases, start = [], 0.0
        for end in sorted({*shares.values(), 1.0}):
            now = states.copy() if shares else states
            for number, share in shares.items():
                if share <= start:
                    now[number] = np.where(now[number] == 3, 3, 0)
            phases.append((end - start, now))
            start = end
        return [phase for phase in phases if phase[0] > 0]

    def _volts(self, base: Base, cases: Ints, states: States, nodes: Ints) -> Floats:
        """Volts (len(nodes), b) of cases with these device states (D, b)."""
        volts = np.empty((len(nodes), len(cases)))
        untouched = np.ones(len(cases), dtype=bool)
        for update in self._updates.of(base, self.cases, cases, states):
            untouched[update.which] = False
            spread(base, update, nodes, volts)
            self._solve_lost(update, cases, states, nodes, volts)
        volts[:, untouched] = base.volts[nodes, None]
        return volts

    def _solve_lost(self, update: Update, cases: Ints, states: States, nodes: Ints, volts: Floats) -> None:
        """Cases whose change was too nearly singular are factorised by themselves."""
        for row in update.which[update.lost]:
            system = self.system.changed(self.cases.changes(int(cases[row])))
            volts[:, row] = Factor(system, states[:, row]).volts()[nodes]


@dataclass(frozen=True)
class Expectation:
    """``volts`` (points, cases); the settled batch for what else is asked."""

    volts: Floats
    batch: Batch


def expect(system: System, faults: Sequence[Fault], nodes: Ints) -> Expectation:
    """Volts at nodes under each fault."""
    cases = Cases.of(system, [fault.changes for fault in faults], [fault.locks for fault in faults])
    batch = Batch(system, cases)
    return Expectation(batch.volts(nodes), batch)


__all__ = ["Batch", "Cases", "Expectation", "expect"]
