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
from halfsplit.circuit.element import DriverDevice
from halfsplit.circuit.faults import Fault
from halfsplit.circuit.lowrank import Updates, spread
from halfsplit.circuit.network import System
from halfsplit.circuit.responses import Base
from halfsplit.circuit.settle import Evaluate, settle
from halfsplit.circuit.solve import Factor, links, scratch

PORTS_TOGETHER = 1 << 19
"""Numbers in the largest temporary array where the resistance of ports is told."""
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
        for part in self._parts(np.arange(len(cases))):
            self._settle(part)

    def base(self, number: int = -1) -> Base:
        """The healthy network in the round of this number; settled from the last round on and by default."""
        last = len(self.path) - 1
        key = min(number, last) if number >= 0 else last
        if key not in self._bases:
            self._bases[key] = Base(self.system, self.path[key])
        return self._bases[key]

    def _settle(self, waiting: Ints) -> None:
        """Settle these cases; those in which a fuse opens are settled again, from the unpowered network.

        Where no source drives (ohms are measured), every device stays at rest.
        """
        if not self.system.driven:
            self.states[:, waiting] = self.table.rest(self.cases.locks.at(waiting))
            return
        while len(waiting):
            settled = settle(self.system, self._evaluate(waiting), self.cases.locks.at(waiting))
            self.states[:, waiting] = settled.states
            self.chattering[:, waiting] = settled.chattering
            waiting = self._blow(waiting)

    def _evaluate(self, waiting: Ints) -> Evaluate:
        def evaluate(states: States, columns: Ints, number: int) -> tuple[Floats, Links]:
            cases = waiting[columns]

            def watched(now: States) -> Floats:
                return self._volts(cases, now, self.table.watch)

            return watched(states), links(self.system, states, self.cases.locks.at(cases), watched)

        return evaluate

    def _blow(self, cases: Ints) -> Ints:
        """Open the fuse that is furthest over its rating in each case; the cases in which one was."""
        network = self.system.network
        if not len(network.fuses):
            return cases[:0]
        load: Floats = np.abs(self.amps(network.fuses, cases)) / self.system.opens_at[:, None]
        worst = load.argmax(axis=0)
        over = load[worst, np.arange(len(cases))] > 1.0
        rows: Ints = cases[over]
        fuses = worst[over]
        if len(rows):
            self.blown[fuses, rows] = True
            self.cases = self.cases.opened(rows, network.fuses[fuses])
        return rows

    # What is asked of the settled cases.

    def volts(self, nodes: Ints, cases: Ints | None = None) -> Floats:
        """Volts (len(nodes), b) of settled cases: the mean over time where a driver has a duty cycle."""
        wanted = self._wanted(cases)
        phases = self._phases(self.states[:, wanted])
        total = self._volts(wanted, phases[0][1], nodes)
        if len(phases) > 1:
            total = phases[0][0] * total
            for share, states in phases[1:]:
                total += share * self._volts(wanted, states, nodes)
        return total

    def amps(self, elements: Ints, cases: Ints | None = None) -> Floats:
        """Currents of elements (len(elements), b), from first end to second."""
        wanted = self._wanted(cases)
        total = np.zeros((len(elements), len(wanted)))
        nodes = self.system.ends[elements][:, 2:].T.ravel()
        every = np.broadcast_to(elements, (len(wanted), len(elements)))
        for share, states in self._phases(self.states[:, wanted]):
            first, second = self._volts(wanted, states, nodes).reshape(2, len(elements), -1)
            conductance, emf, push = self._updates.values(self.cases, wanted, states, every)
            total += share * (conductance.T * (first - second - emf.T) - push.T)
        return total

    def source_ohms(self, nodes: Ints, cases: Ints | None = None) -> Floats:
        """Resistance (len(nodes), b) that each point shows against the reference: what an instrument meets."""
        return self.port_ohms(nodes, np.full(len(nodes), self.system.network.size), cases)

    def port_ohms(self, a: Ints, b: Ints, cases: Ints | None = None) -> Floats:
        """Resistance (len(a), b) between pairs of nodes, with the devices as they are."""
        wanted = self._wanted(cases)
        ohms = np.empty((len(a), len(wanted)))
        for base, near in self._near(self.states[:, wanted]):
            self._fill_ohms(base, wanted[near], near, (a, b), ohms)
        return ohms

    def _fill_ohms(self, base: Base, cases: Ints, near: Ints, ports: tuple[Ints, Ints], ohms: Floats) -> None:
        a, b = ports
        alone = base.respond(np.column_stack([a, b, a, b]))
        every = np.arange(len(a))
        ohms[:, near] = (alone[a, every] - alone[b, every])[:, None]
        for update in self._updates.of(base, self.cases, cases, self.states[:, cases]):
            v0, v1 = update.ends[..., 2], update.ends[..., 3]
            step = max(1, PORTS_TOGETHER // max(1, v0.size))
            for start in range(0, len(a), step):
                part = every[start : start + step]
                some = alone[:, part]
                flow = update.solver @ (-update.change[..., None] * (some[v0] - some[v1]))
                first, second = a[part][:, None, None], b[part][:, None, None]
                there = base.coarse[first, update.columns] - base.coarse[second, update.columns]
                ohms[np.ix_(part, near[update.which])] += np.einsum("pbk,bkp->pb", there, flow)

    def fed(self, cases: Ints | None = None) -> Bools:
        """Which modules work (M, b)."""
        wanted = self._wanted(cases)
        volts = self._volts(wanted, self.states[:, wanted], self.table.watch)
        return self.table.fed(
            volts, self.cases.locks.dead[:, wanted], self.system.parameters.thresholds.minimum
        )

    def links(self) -> Links:
        """(listener, speaker) → whether the one hears the other (B,), for every pair on a bus."""
        wanted = self._wanted(None)
        return links(
            self.system,
            self.states,
            self.cases.locks,
            lambda states: self._volts(wanted, states, self.table.watch),
            every=True,
        )

    # How it is found.

    def _parts(self, cases: Ints) -> list[Ints]:
        """The cases in runs whose own elements take no more than a third of a base's table of responses.

        So a large network is gone through once for each round and not once for each group of cases.
        """
        room = (
            max(1, self.base().capacity // 3)
            if self.base().capacity < len(self.system.ends)
            else len(cases) + 1
        )
        own = self.cases.elements[cases]
        fresh = np.zeros(len(cases), dtype=np.intp)
        first = np.unique(own, return_index=True)[1] // max(1, own.shape[1])
        np.add.at(fresh, first[first < len(cases)], 1)
        run = (np.cumsum(fresh) - 1) // room
        most = max(1, TOGETHER // max(1, len(self.table.devices)))
        return (
            [
                piece
                for part in np.split(cases, np.flatnonzero(np.diff(run)) + 1)
                for piece in np.array_split(part, -(-len(part) // most))
            ]
            if len(cases)
            else []
        )

    def _wanted(self, cases: Ints | None) -> Ints:
        return np.arange(len(self.cases)) if cases is None else cases

    def _phases(self, states: States) -> list[tuple[float, States]]:
        """Shares of time, and the device states in each, where drivers switch with a duty cycle."""
        shares = {
            number: device.driver.duty
            for number, device in enumerate(self.table.devices)
            if isinstance(device, DriverDevice) and device.driver.duty is not None
        }
        phases, start = [], 0.0
        for end in sorted({*shares.values(), 1.0}):
            now = states.copy() if shares else states
            for number, share in shares.items():
                if share <= start:
                    now[number] = np.where(now[number] == 3, 3, 0)
            phases.append((end - start, now))
            start = end
        return [phase for phase in phases if phase[0] > 0]

    def _near(self, states: States) -> list[tuple[Base, Ints]]:
        """For each round of the healthy network those cases whose devices (D, b) are most like it then.

        A car whose main fuse is blown is nearer to the unpowered network than to the settled one.
        """
        away = np.array([(states != healthy[:, None]).sum(axis=0) for healthy in self.path[::-1]])
        nearest = len(self.path) - 1 - away.argmin(axis=0)
        return [(self.base(int(number)), np.flatnonzero(nearest == number)) for number in np.unique(nearest)]

    def _volts(self, cases: Ints, states: States, nodes: Ints) -> Floats:
        """Volts (len(nodes), b) of cases with these device states (D, b)."""
        volts = np.empty((len(nodes), len(cases)))
        start = 0
        for part in self._parts(cases):
            columns = np.arange(start, start + len(part))
            start += len(part)
            for base, near in self._near(states[:, columns]):
                self._fill(base, cases, states, columns[near], nodes, volts)
        return volts

    def _fill(
        self, base: Base, cases: Ints, states: States, columns: Ints, nodes: Ints, volts: Floats
    ) -> None:
        untouched = np.ones(len(columns), dtype=bool)
        for update in self._updates.of(base, self.cases, cases[columns], states[:, columns]):
            which = columns[update.which]
            untouched[update.which] = False
            spread(base, update, nodes, which, volts)
            for column in which[update.lost]:
                volts[:, column] = self._alone(int(cases[column]), states[:, column])[nodes]
        volts[:, columns[untouched]] = base.volts[nodes, None]

    def _alone(self, case: int, states: States) -> Floats:
        """Volts of a case whose change was too nearly singular: factorised by itself."""
        return Factor(self.system.changed(self.cases.changes(case)), states).volts()


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
