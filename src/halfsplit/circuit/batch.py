"""Many faults of one state from few factorisations: low-rank changes of the healthy network.

With ``A x = b`` solved for the healthy network, a case that changes few elements has ``A' = A + U diag(dg) Vᵀ`` and
``b' = b + U dj`` (U, V: the ends of the changed elements). Its element volts ``v`` and its volts ``x'`` follow from

    (I + Q diag(dg)) v = Vᵀ x + Q dj,      x' = x + A⁻¹ U (dj - dg v),      Q = Vᵀ A⁻¹ U

(Sherman, Morrison and Woodbury; Hager, SIAM Review 31, 1989), batched over cases of equal rank. Devices that a case
flips are further changed elements; their fixed point is looked for round by round beside the healthy network's own
rounds (one factorisation for each), so that it is the one that a solution from scratch reaches. Where cancellation
costs too many digits, the case is refined with its own residual.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from halfsplit.circuit.devices import DriverDevice, Floats, Links, Locks, States
from halfsplit.circuit.elements import LEAK
from halfsplit.circuit.faults import Fault
from halfsplit.circuit.network import ADD, EMF, OPEN, SET, Change, Lock, System
from halfsplit.circuit.settle import locks_for, settle
from halfsplit.circuit.solve import OVERLOAD, Factor, links, scratch

Ints = NDArray[np.intp]
Bools = NDArray[np.bool_]

TOLERANCE = 1e-11
"""Volts of estimated rounding error above which a case is refined."""
REFINEMENTS = 4
RANKS = (1, 2, 4, 8, 16, 32, 64, 128, 256, 512, 1024, 4096)
CHUNK = 1 << 22
"""Numbers held at once in the largest temporary arrays."""


class Base:
    """The healthy network in one round: its factorisation, volts and inverse, reference row and column zero."""

    def __init__(self, system: System, states: States) -> None:
        self.factor = Factor(system, states)
        self.states = states
        self.volts = self.factor.volts()
        self.inverse = self._solved(np.eye(system.network.size + 1))

    def _solved(self, injected: Floats) -> Floats:
        solved = np.zeros_like(injected)
        solved[:-1, :-1] = self.factor.solve(injected[:-1, :-1])
        return solved

    def sharpen(self) -> None:
        """Correct the inverse by what Kirchhoff's law leaves over: its entries behind high resistances have lost
        digits in the assembled matrix, which shows once large flows are multiplied by them."""
        left = np.eye(len(self.inverse)) + self.left_over(self.inverse)
        self.inverse += self._solved(left)

    def response(self, elements: Ints) -> Floats:
        """A⁻¹U (N + 1, m) for these elements, each solved for by itself and corrected once."""
        ends = self.factor.system.ends[elements]
        incidence = np.zeros((len(self.inverse), len(elements)))
        column = np.arange(len(elements))
        np.add.at(incidence, (ends[:, 0], column), 1.0)
        np.subtract.at(incidence, (ends[:, 1], column), 1.0)
        incidence[-1] = 0.0
        response = np.zeros_like(incidence)
        response[:-1] = self.factor.solve(incidence[:-1])
        response[:-1] += self.factor.solve((incidence + self.left_over(response))[:-1])
        return response

    def left_over(self, volts: Floats) -> Floats:
        """Minus A times volts (N + 1, m), summed from the currents of the elements."""
        ends = self.factor.system.ends
        flow = self.factor.conductance[:, None] * (volts[ends[:, 2]] - volts[ends[:, 3]])
        return _left_over(self.factor.system, flow, volts)


@dataclass(frozen=True)
class Cases:
    """What each of B cases changes: elements (B, K), -1 where there are fewer; operations and values alike."""

    elements: Ints
    operations: Ints
    values: Floats
    locks: Locks

    @staticmethod
    def of(system: System, changes: Sequence[tuple[Change, ...]], locks: Sequence[tuple[Lock, ...]]) -> Cases:
        width = max((len(each) for each in changes), default=0)
        elements = np.full((len(changes), width), -1, dtype=np.intp)
        operations = np.zeros_like(elements)
        values = np.zeros(elements.shape)
        for row, each in enumerate(changes):
            for column, change in enumerate(each):
                elements[row, column] = change.element
                operations[row, column] = change.operation
                values[row, column] = change.value
        triples = [tuple((lock.table, lock.index, lock.value) for lock in each) for each in locks]
        return Cases(elements, operations, values, locks_for(system, triples))

    def __len__(self) -> int:
        return len(self.elements)

    def with_change(self, rows: Ints, elements: Ints) -> Cases:
        """These cases with one more open element each in the rows given (a blown fuse)."""
        extra = np.full((len(self), 1), -1, dtype=np.intp)
        extra[rows, 0] = elements
        pad = np.zeros((len(self), 1))
        return Cases(np.hstack([self.elements, extra]), np.hstack([self.operations, pad.astype(np.intp)]),
                     np.hstack([self.values, pad]), self.locks)


@dataclass(frozen=True)
class _Update:
    """Changed elements of cases (B, K), -1 padded; ``change`` and ``push`` in siemens and ampere; ``flow`` (B, K) is
    the current that each adds; ``error`` (B,) an estimate of the rounding error in volts; ``solver`` (B, K, K)."""

    elements: Ints
    change: Floats
    push: Floats
    flow: Floats
    error: Floats
    solver: Floats


class Batch:
    """All cases of one system, settled."""

    def __init__(self, system: System, cases: Cases) -> None:
        self.system, self.cases = system, cases
        network = system.network
        self.table = network.devices
        self._owned = _padded(self.table.elements_of)
        start = self.table.free(1)
        self.path = settle(system, scratch(system, start), start).path
        self._bases: dict[int, Base] = {}
        self.states: States = np.zeros((len(self.table.devices), len(cases)), dtype=np.int8)
        self.chattering: Bools = np.zeros(self.states.shape, dtype=bool)
        self.blown: Bools = np.zeros((len(network.fuses), len(cases)), dtype=bool)
        self._settle_all()

    def base(self, number: int) -> Base:
        """The healthy network in the round of this number; the last one from there on."""
        last = len(self.path) - 1
        key = min(number, last) if number >= 0 else last
        if key not in self._bases:
            self._bases[key] = Base(self.system, self.path[key])
        return self._bases[key]

    def _settle_all(self) -> None:
        waiting: Ints = np.arange(len(self.cases))
        while len(waiting):
            settled = settle(self.system, self._evaluate(waiting), self.cases.locks.at(waiting))
            self.states[:, waiting] = settled.states
            self.chattering[:, waiting] = settled.chattering
            waiting = self._blow(waiting)
        self._bases = {len(self.path) - 1: self.base(-1)}

    def _evaluate(self, waiting: Ints):  # type: ignore[no-untyped-def]
        def evaluate(states: States, columns: Ints, number: int) -> tuple[Floats, Links]:
            cases = waiting[columns]
            base = self.base(number)

            def volts(now: States) -> Floats:
                return self._volts(base, cases, now, self.table.watch)

            return volts(states), links(self.system, states, self.cases.locks.at(cases), volts)

        return evaluate

    def _blow(self, cases: Ints) -> Ints:
        """Open the fuse that is furthest over its rating in each case; the cases in which one was."""
        network = self.system.network
        if not len(network.fuses):
            return cases[:0]
        load = np.abs(self.amps(network.fuses, cases)) / network.ratings[:, None]
        worst = load.argmax(axis=0)
        over = load[worst, np.arange(len(cases))] > OVERLOAD
        rows, fuses = cases[over], worst[over]
        if len(rows):
            self.blown[fuses, rows] = True
            self.cases = self.cases.with_change(rows, network.fuses[fuses])
        return rows

    # What is asked of the settled cases.

    def volts(self, nodes: Ints, cases: Ints | None = None, *, refine: bool = True) -> Floats:
        """Volts (len(nodes), B) of the settled cases; the mean over time where a driver has a duty cycle."""
        wanted = np.arange(len(self.cases)) if cases is None else cases
        base = self.base(-1)
        total = np.zeros((len(nodes), len(wanted)))
        for share, states in self._phases(self.states[:, wanted]):
            total += share * self._volts(base, wanted, states, nodes, refine=refine)
        return total

    def amps(self, elements: Ints, cases: Ints | None = None) -> Floats:
        """Currents of elements (len(elements), B), from first end to second."""
        wanted = np.arange(len(self.cases)) if cases is None else cases
        ends = self.system.ends[elements]
        volts = self.volts(ends[:, 2:].ravel(), wanted, refine=False).reshape(len(elements), 2, len(wanted))
        shape = elements[:, None], np.broadcast_to(wanted, (len(elements), len(wanted)))
        conductance, source = self._values(*np.broadcast_arrays(*shape), self.states[:, wanted])
        return np.asarray(conductance * (volts[:, 0] - volts[:, 1]) - source)

    def source_ohms(self, nodes: Ints, cases: Ints | None = None) -> Floats:
        """Resistance (len(nodes), B) that each point shows against the reference: what an instrument's load meets."""
        wanted = np.arange(len(self.cases)) if cases is None else cases
        base = self.base(-1)
        ohms = np.repeat(np.diagonal(base.inverse)[nodes][:, None], len(wanted), axis=1)
        for rows, update in self._updates(base, wanted, self.states[:, wanted]):
            there, back = self._responses(base, update.elements, nodes)
            weight = update.solver @ back[..., None]
            ohms[:, rows] -= np.einsum("pbk,pbk->pb", there, update.change * weight[..., 0])
        return ohms

    def port_ohms(self, a: Ints, b: Ints, cases: Ints | None = None) -> Floats:
        """Resistance (len(a), B) between pairs of nodes."""
        wanted = np.arange(len(self.cases)) if cases is None else cases
        base = self.base(-1)
        inverse = base.inverse
        ohms = np.repeat((inverse[a, a] - inverse[a, b] - inverse[b, a] + inverse[b, b])[:, None], len(wanted), axis=1)
        for rows, update in self._updates(base, wanted, self.states[:, wanted]):
            there_a, back_a = self._responses(base, update.elements, a)
            there_b, back_b = self._responses(base, update.elements, b)
            weight = update.solver @ (back_a - back_b)[..., None]
            ohms[:, rows] -= np.einsum("pbk,pbk->pb", there_a - there_b, update.change * weight[..., 0])
        return ohms

    def fed(self, cases: Ints | None = None) -> Bools:
        """Which modules work (M, B)."""
        wanted = np.arange(len(self.cases)) if cases is None else cases
        volts = self.volts(self.table.watch, wanted, refine=False)
        return self.table.fed(volts, self.cases.locks.dead[:, wanted], self.system.parameters.minimum)

    def links(self) -> Links:
        """(listener, speaker) → whether the one hears the other (B,), for every pair on a bus."""
        wanted, base = np.arange(len(self.cases)), self.base(-1)
        return links(self.system, self.states, self.cases.locks,
                     lambda states: self._volts(base, wanted, states, self.table.watch), every=True)

    # How it is found.

    def _phases(self, states: States) -> list[tuple[float, States]]:
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

    def _volts(self, base: Base, cases: Ints, states: States, nodes: Ints, *, refine: bool = False) -> Floats:
        volts = np.repeat(base.volts[nodes][:, None], len(cases), axis=1)
        for rows, update in self._updates(base, cases, states):
            step = max(1, CHUNK // max(len(nodes), 1))
            for start in range(0, len(rows), step):
                part = slice(start, start + step)
                self._add_flow(base, update, part, nodes, volts, rows)
            if refine:
                bad = np.flatnonzero(update.error > TOLERANCE)
                for chosen in np.array_split(bad, max(1, -(-len(bad) // 256))):
                    if len(chosen):
                        volts[:, rows[chosen]] = self._refined(base, cases[rows[chosen]], states[:, rows[chosen]],
                                                               _rows(update, chosen))[nodes]
        return volts

    def _add_flow(self, base: Base, update: _Update, part: slice, nodes: Ints, volts: Floats, rows: Ints) -> None:
        ends = self.system.ends[update.elements[part]]
        for k in range(ends.shape[1]):
            columns = base.inverse[nodes[:, None], ends[:, k, 0]] - base.inverse[nodes[:, None], ends[:, k, 1]]
            columns *= update.flow[part, k]
            volts[:, rows[part]] += columns

    def _updates(self, base: Base, cases: Ints, states: States):  # type: ignore[no-untyped-def]
        """Groups of cases of like rank: (rows into ``cases``, update)."""
        elements = self._changed(base, cases, states)
        width = (elements >= 0).sum(axis=1)
        done = 0
        for rank in RANKS:
            rows = np.flatnonzero((width > done) & (width <= rank))
            done = rank
            step = max(1, CHUNK // rank**2)
            for start in range(0, len(rows), step):
                chosen = rows[start : start + step]
                yield chosen, self._update(base, cases[chosen], states[:, chosen], elements[chosen, :rank])

    def _changed(self, base: Base, cases: Ints, states: States) -> Ints:
        """Elements (B, K) in which each case differs from the base: its own, then those of devices that flipped."""
        own = self.cases.elements[cases]
        flipped = states != base.states[:, None]
        column, device = np.nonzero(flipped.T)
        if not len(column):
            return _packed(own)
        counts = flipped.sum(axis=0)
        place = np.arange(len(column)) - np.repeat(np.cumsum(counts) - counts, counts)
        more = np.full((len(cases), int(counts.max()), self._owned.shape[1]), -1, dtype=np.intp)
        more[column, place] = self._owned[device]
        return _packed(np.hstack([own, more.reshape(len(cases), -1)]))

    def _values(self, elements: Ints, cases: Ints, states: States) -> tuple[Floats, Floats]:
        """Conductance and source current of elements in cases (arrays of one shape; the last axis of ``states``
        runs along the cases' axis: the second of ``elements`` if that is (E, B), else given by the caller)."""
        system = self.system
        conductance, emf = system.conductance[elements], system.emf[elements]
        for slot in range(self.cases.elements.shape[1]):
            hit = self.cases.elements[cases, slot] == elements
            if not hit.any():
                continue
            where = np.nonzero(hit)
            which = cases[where]
            conductance[where], emf[where] = _operated(
                self.cases.operations[which, slot], self.cases.values[which, slot], conductance[where], emf[where])
        device = system.device[elements]
        column = np.broadcast_to(np.arange(states.shape[1]), elements.shape)
        state = states[np.maximum(device, 0), column] if len(states) else np.zeros(elements.shape, dtype=np.int8)
        on = system.present[elements] & ((device < 0) | ((system.mask[elements] >> state) & 1 != 0))
        conductance = np.where(on, conductance, 0.0)
        return conductance, conductance * emf + np.where(on, system.push[elements], 0.0)

    def _update(self, base: Base, cases: Ints, states: States, elements: Ints) -> _Update:
        used = elements >= 0
        safe = np.where(used, elements, 0)
        across = np.broadcast_to(cases[:, None], safe.shape)
        conductance, source = (array.T for array in self._values(safe.T, across.T, states))
        change = np.where(used, conductance - base.factor.conductance[safe], 0.0)
        push = np.where(used, source - base.factor.source[safe], 0.0)
        u0, u1, v0, v1 = np.moveaxis(self.system.ends[safe], -1, 0)
        inverse = base.inverse
        q = (inverse[v0[:, :, None], u0[:, None, :]] - inverse[v0[:, :, None], u1[:, None, :]]
             - inverse[v1[:, :, None], u0[:, None, :]] + inverse[v1[:, :, None], u1[:, None, :]])
        healthy = base.volts[v0] - base.volts[v1]
        matrix = q * change[:, None, :]
        rank = safe.shape[1]
        matrix[:, np.arange(rank), np.arange(rank)] += 1.0
        solver = 1.0 / matrix if rank == 1 else np.linalg.inv(matrix)
        volts = (solver @ (healthy + (q @ push[..., None])[..., 0])[..., None])[..., 0]
        scale = np.maximum(np.abs(inverse[v0, u0]), np.abs(inverse[v1, u1])) * np.abs(change)
        norm = np.abs(solver).sum(axis=2).max(axis=1)
        error = np.finfo(float).eps * norm * (12.0 + (scale * np.abs(volts)).max(axis=1))
        return _Update(safe, change, push, push - change * volts, error, solver)

    def _responses(self, base: Base, elements: Ints, nodes: Ints) -> tuple[Floats, Floats]:
        """A⁻¹U at the nodes and VᵀA⁻¹ from the nodes: (P, B, K) each."""
        u0, u1, v0, v1 = np.moveaxis(self.system.ends[elements], -1, 0)
        rows = nodes[:, None, None]
        there = base.inverse[rows, u0[None]] - base.inverse[rows, u1[None]]
        back = base.inverse[v0[None], rows] - base.inverse[v1[None], rows]
        return there, back

    def _refined(self, base: Base, cases: Ints, states: States, update: _Update) -> Floats:
        """Volts of all nodes (N + 1, B), corrected by the current that each case's own network leaves over.

        The responses to the changed elements are solved for anew: taken as differences of columns of the inverse they
        lose the digits that matter where a part of the circuit hangs on the 1 Gohm leak alone.
        """
        system, size = self.system, self.system.network.size
        changed, place = np.unique(update.elements, return_inverse=True)
        place = place.reshape(update.elements.shape)
        response = base.response(changed)
        ends = system.ends[update.elements]
        q = response[ends[..., 2][:, :, None], place[:, None, :]] - response[ends[..., 3][:, :, None], place[:, None, :]]
        matrix = q * update.change[:, None, :]
        matrix[:, np.arange(ends.shape[1]), np.arange(ends.shape[1])] += 1.0
        column = np.arange(len(cases))[:, None]

        def spread(volts: Floats, push: Floats) -> Floats:
            across = volts[ends[..., 2], column] - volts[ends[..., 3], column]
            own = np.linalg.solve(matrix, (across + (q @ push[..., None])[..., 0])[..., None])[..., 0]
            flow = push - update.change * own
            return volts + sum(response[:, place[:, k]] * flow[:, k] for k in range(ends.shape[1]))

        volts = spread(np.repeat(base.volts[:, None], len(cases), axis=1), update.push)
        every = np.broadcast_to(np.arange(len(system.conductance))[:, None], (len(system.conductance), len(cases)))
        conductance, source = self._values(every, np.broadcast_to(cases, every.shape), states)
        for _ in range(REFINEMENTS):
            flow = conductance * (volts[system.ends[:, 2]] - volts[system.ends[:, 3]]) - source
            left = _left_over(system, flow, volts)
            correction = np.zeros_like(volts)
            correction[:size] = base.factor.solve(left[:size])
            correction = spread(correction, np.zeros_like(update.push))
            volts += correction
            if np.abs(correction).max(initial=0.0) < 1e-10:
                break
        return volts


def _left_over(system: System, flow: Floats, volts: Floats) -> Floats:
    """Current left over at each node (N + 1, B)."""
    left = -LEAK * volts
    incidence = system.network.incidence(system.ends)
    left -= incidence @ flow
    left[-1] = 0.0
    return left


def _rows(update: _Update, chosen: Ints) -> _Update:
    return _Update(update.elements[chosen], update.change[chosen], update.push[chosen], update.flow[chosen],
                   update.error[chosen], update.solver[chosen])


def _operated(operation: Ints, value: Floats, conductance: Floats, emf: Floats) -> tuple[Floats, Floats]:
    """``network.operate`` on arrays."""
    safe = np.where(operation == SET, np.where(value > 0, value, 1.0), 1.0)
    series = conductance / (1.0 + conductance * np.where(operation == ADD, value, 0.0))
    changed = np.select([operation == OPEN, operation == ADD, operation == SET],
                        [np.zeros_like(conductance), series, 1.0 / safe], conductance)
    return changed, np.where(operation == EMF, value, emf)


def _padded(lists: Sequence[Sequence[int]]) -> Ints:
    width = max((len(each) for each in lists), default=0)
    table = np.full((len(lists), width), -1, dtype=np.intp)
    for row, each in enumerate(lists):
        table[row, : len(each)] = each
    return table


def _packed(elements: Ints) -> Ints:
    """Each row's elements once, to the left, the rest -1."""
    ordered = np.sort(elements, axis=1)[:, ::-1]
    repeat = np.zeros(ordered.shape, dtype=bool)
    repeat[:, 1:] = ordered[:, 1:] == ordered[:, :-1]
    ordered = np.sort(np.where(repeat, -1, ordered), axis=1)[:, ::-1]
    return np.ascontiguousarray(ordered[:, : max(1, int((ordered >= 0).sum(axis=1).max(initial=0)))])


@dataclass(frozen=True)
class Expectation:
    """``volts`` (points, cases); the settled batch for what else is asked."""

    volts: Floats
    batch: Batch


def expect(system: System, faults: Sequence[Fault], nodes: Ints) -> Expectation:
    """Volts at nodes under each fault."""
    cases = Cases.of(system, [fault.changes for fault in faults], [fault.locks for fault in faults])
    batch = Batch(system, cases)
    batch.base(-1).sharpen()
    return Expectation(batch.volts(nodes), batch)
