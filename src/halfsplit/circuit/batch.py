"""Many cases of one state in many draws of its values, settled together: each an elimination where it differs.

A *cell* is one case in one draw. The devices of all cells are settled round by round from the unpowered network, by the
same rules as a solution from scratch (``settle.py``); the volts of a round come from ``elimination.py``, which starts
from the healthy network of that draw in whichever of its own rounds is most like the cell.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from functools import cached_property

import numpy as np

from halfsplit.circuit.cars import Cars, Healthy
from halfsplit.circuit.cases import Cases, alike, beside, operated, wider
from halfsplit.circuit.devices import Bools, Floats, Ints, Links, States, duty_phases
from halfsplit.circuit.elimination import MOST_BRIDGES, Work
from halfsplit.circuit.faults import Fault
from halfsplit.circuit.network import OPEN, Change, System
from halfsplit.circuit.settle import links, settle
from halfsplit.circuit.solve import Result, left_over
from halfsplit.circuit.substitution import POINTS, PORTS, VOLTS, Asked, answer, places
from halfsplit.threads import share_out

TOGETHER = 1 << 20
"""Device states that are settled together, cells × devices: they and what the rules make of them fit a cache."""
FEWEST_BLOCKS, FEWEST_NODES = 32, 1 << 15
"""Blocks, and blocks × nodes, from which a second thread is worth its start."""
FEWEST_LANES = 8
"""Cells that are worked on side by side at least: a processor adds four or eight numbers at a time."""


class Batch:
    """C cases in D draws, settled. ``states``, ``chattering`` (devices, C, D); ``blown`` (fuses, C, D).

    ``cars``: the same network in the same state, with the values of each draw. ``before`` (fuses, C, D): fuses that
    have opened already and are not told in ``blown``.
    """

    def __init__(self, cars: Cars, cases: Cases, before: Bools | None = None) -> None:
        self.cars, self.cases, self.system = cars, cases, cars.system
        if (self._bridges > MOST_BRIDGES).any():
            raise ValueError(f"a case adds more than {MOST_BRIDGES} bridges")
        self.network = self.system.network
        self.table = self.network.devices
        self.shape = len(cases), len(self.cars)
        self._every = np.arange(int(np.prod(self.shape)))
        self._row = np.repeat(np.arange(len(cases)), len(self.cars))
        self._changes = cases.changes
        self._states: States = np.zeros((len(self.table.devices), len(self._every)), dtype=np.int8)
        self._chattering: Bools = np.zeros(self._states.shape, dtype=bool)
        self._blown: Bools = np.zeros((len(self.network.fuses), len(self._every)), dtype=bool)
        self._like = np.arange(len(cases))
        sound = self._like if before is None else np.flatnonzero(~before.any(axis=(0, 2)))
        self._like[sound] = sound[alike(self.system, cases.some(sound))]
        if before is not None:
            self._open_all(before.reshape(self._blown.shape), self._every)
        own = self._like[self._case(self._every)] == self._case(self._every)
        lanes = self._cells
        step = max(1, TOGETHER // max(1, len(self.table.devices) * lanes.shape[1]))
        for start in range(0, len(lanes), step):
            cells = np.unique(lanes[start : start + step])
            self._settle(cells[own[cells]])
        self._copy(np.flatnonzero(~own))

    def add(self, more: Batch) -> None:
        """Take in the cases of another batch of the same cars, behind its own; nothing is settled again."""
        rows, own = len(self._changes.elements), len(self.cases)
        self._row = np.append(self._row, more._row + rows)
        self._like = np.append(self._like, more._like + own)
        self._changes = beside(self._changes, more._changes)
        for name in ("_states", "_chattering", "_blown"):
            setattr(self, name, np.concatenate([getattr(self, name), getattr(more, name)], axis=1))
        self.cases = self.cases.and_more(more.cases)
        self.shape = len(self.cases), len(self.cars)
        self._every = np.arange(int(np.prod(self.shape)))
        for name in ("_bridges", "_cells", "_places"):
            self.__dict__.pop(name, None)

    @property
    def states(self) -> States:
        return self._states.reshape(-1, *self.shape)

    @property
    def chattering(self) -> Bools:
        return self._chattering.reshape(-1, *self.shape)

    @property
    def blown(self) -> Bools:
        return self._blown.reshape(-1, *self.shape)

    @property
    def nbytes(self) -> int:
        """Bytes that its own arrays take, about: the states of all cells; the cars' are theirs."""
        return sum(each.nbytes for each in (self._states, self._chattering, self._blown, *self._changes))

    # What is asked of the settled cells.

    def volts(self, nodes: Ints, cases: Ints | None = None) -> Floats:
        """Volts (nodes, C, D), of all cases or of some: the mean over time where a driver has a duty cycle."""
        cells = self._of(cases)
        return self._told(self._mean(cells, lambda states: self._volts(cells, states, nodes)))

    def amps(self, elements: Ints, cases: Ints | None = None) -> Floats:
        """Currents of elements (elements, C, D), from first end to second."""
        cells = self._of(cases)
        return self._told(self._mean(cells, lambda states: self._amps(cells, states, elements)))

    def source_ohms(self, nodes: Ints, cases: Ints | None = None) -> Floats:
        """Resistance (nodes, C, D) that each point shows against the reference: what an instrument meets."""
        cells, asked = self._of(cases), places(self.cars.structure, nodes)
        return self._told(self._ask(POINTS, cells, self._states[:, cells], asked))

    def port_ohms(self, a: Ints, b: Ints, cases: Ints | None = None) -> Floats:
        """Resistance (ports, C, D) between pairs of nodes, with the devices as they are."""
        cells, asked = self._of(cases), places(self.cars.structure, a, b)
        return self._told(self._ask(PORTS, cells, self._states[:, cells], asked))

    def fed(self, cases: Ints | None = None) -> Bools:
        """Which modules work (modules, C, D)."""
        cells = self._of(cases)
        volts = self._volts(cells, self._states[:, cells], self.table.watch)
        minimum = self.cars.thresholds.minimum[:, self._draw(cells)]
        dead = self.cases.locks.dead[:, self._case(cells)]
        fed = self.table.fed(volts, dead, minimum)
        return fed.reshape(len(fed), -1, len(self.cars))

    def links(self, cases: Ints | None = None) -> Links:
        """(listener, speaker) → whether the one hears the other (C, D), for every pair on a bus."""
        cells = self._of(cases)

        def watched(states: States) -> Floats:
            return self._volts(cells, states, self.table.watch)

        states = self._states[:, cells]
        heard = links(self.system, states, watched(states), watched, every=True)
        return {pair: each.reshape(-1, len(self.cars)) for pair, each in heard.items()}

    def _of(self, cases: Ints | None) -> Ints:
        """The cells of some cases, or all."""
        draws = len(self.cars)
        return self._every if cases is None else (cases[:, None] * draws + np.arange(draws)).ravel()

    def _told(self, values: Floats) -> Floats:
        return values.reshape(len(values), -1, len(self.cars))

    # How it is settled.

    def _case(self, cells: Ints) -> Ints:
        return np.asarray(cells // len(self.cars))

    def _draw(self, cells: Ints) -> Ints:
        return np.asarray(cells % len(self.cars))

    @cached_property
    def _bridges(self) -> Ints:
        """How many elements each case (C,) adds of which no front knows."""
        elements = self.cases.changes.elements
        return np.asarray(((self.cars.structure.extra[elements] == 1) & (elements >= 0)).sum(axis=1))

    @cached_property
    def _cells(self) -> Ints:
        """The cells (blocks, lanes) that are worked on side by side.

        Where there are few draws, those of neighbouring cases, which mostly change the same fronts; cases that add
        bridges of which no front knows, and those that are settled by themselves, apart from the others.
        """
        beside = -(-FEWEST_LANES // len(self.cars))
        every = np.arange(len(self.cases))
        if beside > 1 and len(every):
            kind = 2 * self._bridges + (self._like == every)
            groups = [np.flatnonzero(kind == each) for each in np.unique(kind)]
            filled = [np.append(each, np.full(-len(each) % beside, each[-1])) for each in groups]
            every = np.concatenate(filled)
        return (every[:, None] * len(self.cars) + np.arange(len(self.cars))).reshape(
            -1, beside * len(self.cars)
        )

    @cached_property
    def _places(self) -> tuple[Ints, Ints]:
        """Block and lane of each cell."""
        lanes = self._cells.shape[1]
        place = np.empty(len(self._every), dtype=np.intp)
        place[self._cells.ravel()] = np.arange(self._cells.size)
        return place // lanes, place % lanes

    @cached_property
    def _healthy(self) -> Healthy:
        return self.cars.healthy(self._cells.shape[1] // len(self.cars))

    def _settle(self, cells: Ints) -> None:
        """Settle these cells; those in which a fuse opens are settled again, from the unpowered network.

        Where no source drives (ohms are measured), every device stays at rest.
        """
        if not len(cells):
            return
        locks, thresholds = self.cases.locks.at(self._case(cells)), self.cars.thresholds.at(self._draw(cells))
        if not self.system.driven:
            self._states[:, cells] = self.table.rest(locks)
            return

        def watched(states: States, columns: Ints) -> Floats:
            return self._volts(cells[columns], states, self.table.watch)

        settled = settle(self.system, watched, locks, thresholds)
        self._states[:, cells] = settled.states
        self._chattering[:, cells] = settled.chattering
        self._settle(self._blow(cells))

    def _blow(self, cells: Ints) -> Ints:
        """Open the fuse that is furthest over its rating in each cell; the cells in which one was."""
        if not len(self.network.fuses):
            return cells[:0]
        amps = self._mean(cells, lambda states: self._amps(cells, states, self.network.fuses))
        load: Floats = np.abs(amps) / self.cars.opens_at[:, self._draw(cells)]
        worst = load.argmax(axis=0)
        over = load[worst, np.arange(len(cells))] > 1.0
        rows: Ints = cells[over]
        if len(rows):
            self._blown[worst[over], rows] = True
            self._open(rows, worst[over])
        return rows

    def _copy(self, cells: Ints) -> None:
        """Give these cells the devices and fuses of the cells that they are like."""
        first = self._like[self._case(cells)] * len(self.cars) + self._draw(cells)
        for each in (self._states, self._chattering, self._blown):
            each[:, cells] = each[:, first]
        self._open_all(self._blown[:, cells], cells)

    def _open_all(self, gone: Bools, cells: Ints) -> None:
        """Add the open fuses (fuses, b) to these cells."""
        for fuse in np.flatnonzero(gone.any(axis=1)):
            rows = cells[gone[fuse]]
            self._open(rows, np.full(len(rows), fuse))

    def _open(self, cells: Ints, fuses: Ints) -> None:
        """Add an open fuse to each of these cells: one new row of changes for all that come from the same row."""
        pairs, which = np.unique(np.column_stack([self._row[cells], fuses]), axis=0, return_inverse=True)
        changes, rows = self._changes, pairs[:, 0]
        self._row[cells] = len(changes.elements) + which.ravel()
        room = int((changes.elements[rows] >= 0).all(axis=1).any() or not changes.elements.shape[1])
        more = wider(changes.some(rows), changes.elements.shape[1] + room)
        last = np.arange(len(rows)), (more.elements >= 0).sum(axis=1)
        more.elements[last], more.operations[last] = self.network.fuses[pairs[:, 1]], OPEN
        self._changes = beside(changes, more)

    # How it is solved.

    def _ask(self, what: int, cells: Ints, states: States, asked: Asked) -> Floats:
        """What ``substitution.answer`` gives (count, b) for cells with these device states (devices, b)."""
        blocks, lanes = self._places[0][cells], self._places[1][cells]
        asked_in = np.zeros(len(self._cells), dtype=bool)
        asked_in[blocks] = True
        every, row_of = self._cells[asked_in], (np.cumsum(asked_in) - 1)[blocks]
        number = np.full(len(self._every), -1)
        number[cells] = np.arange(len(cells))
        asked_for = number[every]  # a case that fills up a block stands in it more than once
        now = self._states[:, every]
        now[:, asked_for >= 0] = states[:, asked_for[asked_for >= 0]]
        given = np.ascontiguousarray(now.transpose(1, 2, 0))
        out = np.empty((len(asked[0]), *every.shape))
        base, rows = self._healthy.base, self._row[every]

        known = self.cars.structure, base, rows, given, self._changes

        def work_on(work: Work, start: int, end: int) -> None:
            ends, needed, above = asked
            # What a block needs besides is written behind the list.
            answer(what, *known, work, start, end, ends, needed, above.copy(), out)

        fewest = max(FEWEST_BLOCKS, FEWEST_NODES // max(1, self.network.size))
        share_out(work_on, self._healthy.works, len(every), fewest)
        if np.array_equal(every.ravel(), cells):
            return out.reshape(len(out), every.size)
        return out[:, row_of, lanes]

    def _volts(self, cells: Ints, states: States, nodes: Ints) -> Floats:
        """Volts (nodes, b) of cells with these device states (devices, b)."""
        return self._ask(VOLTS, cells, states, places(self.cars.structure, nodes))

    def _amps(self, cells: Ints, states: States, elements: Ints) -> Floats:
        nodes = self.system.ends[elements][:, 2:].T.ravel()
        first, second = self._volts(cells, states, nodes).reshape(2, len(elements), -1)
        conductance, emf, push = self._values(cells, states, elements)
        return np.asarray(conductance * (first - second - emf) - push)

    def _values(self, cells: Ints, states: States, elements: Ints) -> tuple[Floats, Floats, Floats]:
        """Conductance, emf and push (elements, b) in cells with these device states."""
        values, system, draw = self._healthy.base, self.system, self._draw(cells)
        conductance, emf, push = (each[elements][:, draw] for each in (values.given, values.emf, values.push))
        changes, rows = self._changes, self._row[cells]
        for slot in range(changes.elements.shape[1]):
            hit = np.nonzero(elements[:, None] == changes.elements[rows, slot])
            if len(hit[0]):
                case = rows[hit[1]]
                conductance[hit], emf[hit] = operated(
                    changes.operations[case, slot], changes.values[case, slot], conductance[hit], emf[hit]
                )
        on = np.repeat(system.present[elements][:, None], len(cells), axis=1)
        for row in np.flatnonzero(system.device[elements] >= 0):
            element = elements[row]
            on[row] &= (system.mask[element] >> states[system.device[element]]) & 1 != 0
        return np.where(on, conductance, 0.0), emf, np.where(on, push, 0.0)

    def _mean(self, cells: Ints, ask: Callable[[States], Floats]) -> Floats:
        """What is asked, as the mean over the time in which drivers with a duty cycle are on and off."""
        phases = duty_phases(self.table.duties, self._states[:, cells])
        total = ask(phases[0][1])
        if len(phases) > 1:
            total = phases[0][0] * total
            for share, now in phases[1:]:
                total += share * ask(now)
        return total


def of_faults(system: System, faults: Sequence[Fault]) -> Batch:
    """Each fault a case, in one car."""
    cases = Cases.of(system, [fault.changes for fault in faults], [fault.locks for fault in faults])
    return Batch(Cars([system]), cases)


def settled(system: System, faults: Sequence[Fault]) -> list[Result]:
    """What ``solve.solve`` gives for each fault; fuses that open stand in the order of the network."""
    network, elements = system.network, np.arange(len(system.ends))
    batch = of_faults(system, faults)
    volts = np.vstack([batch.volts(np.arange(network.size))[..., 0], np.zeros(len(faults))])
    amps, fuses, devices = batch.amps(elements)[..., 0], network.fuses, network.devices.names
    results = []
    for number, fault in enumerate(faults):
        opened = fuses[batch.blown[:, number, 0]].tolist()
        results.append(
            Result(
                system.changed((*fault.changes, *(Change(fuse, OPEN) for fuse in opened))),
                volts[:, number],
                amps[:, number],
                batch.states[:, number, 0],
                tuple(network.elements[fuse].name for fuse in opened),
                tuple(devices[device] for device in np.flatnonzero(batch.chattering[:, number, 0])),
                float(np.abs(left_over(system, volts[:, number], amps[:, number])).max()),
                batch.cases.locks.at(np.array([number])),
            )
        )
    return results
