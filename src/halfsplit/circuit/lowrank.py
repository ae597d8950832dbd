"""Low-rank changes of a factorised network, many cases at once.

With ``A x = b`` solved for the base, a case that changes few elements has ``A' = A + U diag(dg) Vᵀ`` (U, V: the ends
of the changed elements, dg: their conductances new less old). Let each changed element push an extra current f from
its first end into its second, so that the base with these currents has the volts of the case. With the responses
``D = A⁻¹ U`` and ``Q = Vᵀ D``::

    (I + diag(dg) Q) f = i(old) - i(new)  at the volts of the base,      x' = x + D f

This is the update of Sherman, Morrison and Woodbury (Hager, SIAM Review 31, 1989) with the currents as unknowns, which
keeps its digits where an element is opened. Where a case cuts a piece of the circuit off, the matrix is nearly
singular: it is made of an exact part and a small rest, and solved with refinement.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from halfsplit.circuit.cases import Cases
from halfsplit.circuit.devices import Bools, Floats, Ints, States
from halfsplit.circuit.network import System
from halfsplit.circuit.responses import Base, exact_product

FLIPS = (-1, 0, 1, 2, 4, 8, 16, 32, 64, 128, 256, 1 << 30)
RANKS = (0, 1, 2, 3, 4, 6, 8, 12, 16, 24, 32, 48, 64, 96, 128, 192, 256, 384, 512, 1 << 30)
"""Cases are worked on together whose counts lie between two neighbours of these."""
CHUNK = 1 << 20
"""Numbers in the largest temporary array."""
BLOCK = 1 << 16
WELL_CONDITIONED = 1e3
REFINEMENTS = 8
SETTLED = 1e-13
LOST = 1e-9


@dataclass(frozen=True)
class Update:
    """Cases that differ from the base in at most K elements.

    ``which`` (B,) counts them within those asked for; ``columns`` (B, K) of the base's responses; ``ends`` (B, K, 4);
    ``change`` (B, K) siemens; ``flow`` (B, K) ampere; ``solver`` (B, K, K), the inverse of the matrix; ``lost`` (B,):
    too nearly singular to be trusted.
    """

    which: Ints
    columns: Ints
    ends: Ints
    change: Floats
    flow: Floats
    solver: Floats
    lost: Bools


class Updates:
    """The changes that cases make to the networks of one system."""

    def __init__(self, system: System) -> None:
        self.system = system
        self._owned = padded(system.network.devices.elements_of)

    def of(self, base: Base, cases: Cases, which: Ints, states: States) -> Iterator[Update]:
        """The updates of the cases ``which`` (b,) with the device states (D, b), group by group.

        Those that differ from the base in nothing are in no group.
        """
        flips = (states != base.states[:, None]).sum(axis=0)
        for least, most in pairwise(FLIPS):
            rows = np.flatnonzero((flips > least) & (flips <= most))
            if len(rows):
                elements = self._changed(base, cases, which[rows], states[:, rows])
                yield from self._grouped(base, cases, which, states, rows, elements)

    def _grouped(
        self, base: Base, cases: Cases, which: Ints, states: States, rows: Ints, elements: Ints
    ) -> Iterator[Update]:
        width = (elements >= 0).sum(axis=1)
        for least, most in pairwise(RANKS):
            group = np.flatnonzero((width > least) & (width <= most))
            if not len(group):
                continue
            rank = int(width[group].max())
            step = max(1, CHUNK // rank**2)
            if base.capacity < len(self.system.ends):
                step = max(1, min(step, base.capacity // rank - 1))
            for start in range(0, len(group), step):
                part = group[start : start + step]
                yield self._update(
                    base, cases, rows[part], which[rows[part]], states[:, rows[part]], elements[part, :rank]
                )

    def _changed(self, base: Base, cases: Cases, which: Ints, states: States) -> Ints:
        """Elements (b, K) in which each case differs from the base, its own and its devices', then -1."""
        own = cases.elements[which]
        column, device = np.nonzero((states != base.states[:, None]).T)
        if not len(column):
            return packed(own)
        elements = self._owned[device]
        mask = self.system.mask[elements]
        switched = (mask >> base.states[device][:, None]) ^ (mask >> states[device, column][:, None])
        elements = np.where(
            (switched & 1 != 0) & self.system.present[elements] & (elements >= 0), elements, -1
        )
        counts = np.bincount(column, minlength=len(which))
        place = np.arange(len(column)) - np.repeat(np.cumsum(counts) - counts, counts)
        more = np.full((len(which), int(counts.max()), elements.shape[1]), -1, dtype=np.intp)
        more[column, place] = elements
        return packed(np.hstack([own, more.reshape(len(which), -1)]))

    def values(
        self, cases: Cases, which: Ints, states: States, elements: Ints
    ) -> tuple[Floats, Floats, Floats]:
        """Conductance, emf and push (b, K) that elements (b, K) have in cases ``which`` (b,), states (D, b)."""
        system = self.system
        conductance, emf = cases.values(which, elements, system.conductance[elements], system.emf[elements])
        device = system.device[elements]
        on = system.present[elements]
        if len(states):
            state = states[np.maximum(device, 0), np.arange(len(which))[:, None]]
            on &= (device < 0) | ((system.mask[elements] >> state) & 1 != 0)
        return np.where(on, conductance, 0.0), emf, np.where(on, system.push[elements], 0.0)

    def _update(
        self, base: Base, cases: Cases, place: Ints, which: Ints, states: States, elements: Ints
    ) -> Update:
        used = elements >= 0
        safe = np.where(used, elements, elements[:, :1])
        new, emf, push = self.values(cases, which, states, safe)
        new = np.where(used, new, 0.0)
        old, old_emf = np.where(used, base.factor.conductance[safe], 0.0), self.system.emf[safe]
        columns, ends = base.columns(safe), self.system.ends[safe]
        v0, v1 = ends[..., 2], ends[..., 3]
        across = (base.volts[v0] - base.volts[v1] - old_emf) + (base.rest[v0] - base.rest[v1])
        more_push = np.where(used, push - base.factor.push[safe], 0.0)
        current = (old - new) * across + new * (emf - old_emf) + more_push
        flow, solver, lost = solved(Matrix.of(old, new, *crossed(base, columns, v0, v1)), current)
        return Update(place, columns, ends, new - old, flow, solver, lost)


def crossed(base: Base, columns: Ints, v0: Ints, v1: Ints) -> tuple[Floats, Floats]:
    """Q (B, K, K), coarse and fine: volts across the i-th element for 1 A at the j-th."""
    column, first, second = columns[:, None, :], v0[:, :, None], v1[:, :, None]
    fine = base.fine[first, column] - base.fine[second, column]
    return base.coarse[first, column] - base.coarse[second, column], fine.astype(np.float64)


@dataclass(frozen=True)
class Matrix:
    """I + diag(dg) Q (B, K, K) as a sum of two, of which ``rest`` holds the digits after those of ``main``."""

    main: Floats
    rest: Floats

    @staticmethod
    def of(old: Floats, new: Floats, coarse: Floats, fine: Floats) -> Matrix:
        """From the old and new conductances (B, K), and Q, coarse and fine."""
        product, error = exact_product(old[..., None], coarse)
        one = np.eye(old.shape[1])
        around = one - product
        lost = (one - around) - product
        more, more_error = exact_product(new[..., None], coarse)
        main = around + more
        shift = main - around
        rest = (around - (main - shift)) + (more - shift) + lost - error + more_error
        return Matrix(main, rest + (new - old)[..., None] * fine)


def solved(matrix: Matrix, current: Floats) -> tuple[Floats, Floats, Bools]:
    """Solve ``matrix f = current``: f (B, K), the matrix's inverse (B, K, K), and where it failed (B,)."""
    cases, rank = current.shape
    together = matrix.main + matrix.rest
    if rank == 1:
        return current / together[..., 0], 1.0 / together, np.zeros(cases, dtype=bool)
    solver = inverse(together)
    flow = (solver @ current[..., None])[..., 0]
    lost = np.zeros(cases, dtype=bool)
    largest = 1.0 + np.abs(together).max(axis=(1, 2))
    hard = np.flatnonzero(np.abs(solver).max(axis=(1, 2)) * largest > WELL_CONDITIONED)
    if len(hard):
        chosen = Matrix(matrix.main[hard], matrix.rest[hard])
        flow[hard], lost[hard] = refined(chosen, current[hard], solver[hard], flow[hard])
    return flow, solver, lost


def inverse(matrix: Floats) -> Floats:
    """Inverses (B, K, K); a matrix that is singular in double precision is moved off by its rounding error."""
    try:
        return np.asarray(np.linalg.inv(matrix))
    except np.linalg.LinAlgError:
        nudge = np.finfo(float).eps * np.random.default_rng(0).uniform(0.5, 1.0, matrix.shape)
        return np.asarray(np.linalg.inv(matrix + nudge * np.abs(matrix).max(axis=(1, 2), keepdims=True)))


def refined(matrix: Matrix, current: Floats, solver: Floats, flow: Floats) -> tuple[Floats, Bools]:
    """The flows corrected by what the matrix leaves over, and where that did not come to rest."""
    exact = matrix.main.astype(np.longdouble) + matrix.rest
    total = flow.astype(np.longdouble)
    moved = np.full(len(flow), np.inf)
    for _ in range(REFINEMENTS):
        left = (current - (exact * total[:, None, :]).sum(axis=2)).astype(np.float64)
        correction = (solver @ left[..., None])[..., 0]
        total += correction
        moved = np.abs(correction).max(axis=1) / (np.abs(total).max(axis=1) + np.finfo(float).tiny).astype(
            np.float64
        )
        if (moved < SETTLED).all():
            break
    return total.astype(np.float64), np.asarray(~(moved < LOST))


def spread(base: Base, update: Update, nodes: Ints, which: Ints, out: Floats) -> None:
    """Put the volts of the nodes (P,) for the update's cases into the columns ``which`` of ``out`` (P, B)."""
    cases, rank = update.columns.shape
    step = max(1, BLOCK // cases)
    for start in range(0, len(nodes), step):
        part = slice(start, start + step)
        total = _picked(base.coarse, nodes[part], update.columns[:, 0])
        total *= update.flow[:, 0]
        for k in range(1, rank):
            more = _picked(base.coarse, nodes[part], update.columns[:, k])
            more *= update.flow[:, k]
            total += more
        total += base.volts[nodes[part], None]
        out[part, which] = total


def _picked(table: Floats, rows: Ints, columns: Ints) -> Floats:
    """Rows and columns of a table; neighbouring rows, and few rows for many columns, are taken faster."""
    if rows[-1] - rows[0] == len(rows) - 1 and (np.diff(rows) == 1).all():
        return table[rows[0] : rows[-1] + 1].take(columns, axis=1)
    if len(columns) > table.shape[1] // 8:
        return table[rows].take(columns, axis=1)
    return table[rows[:, None], columns]


def padded(lists: Sequence[Sequence[int]]) -> Ints:
    """Lists of element numbers as the rows of one table, filled up with -1."""
    table = np.full((len(lists), max(map(len, lists), default=0)), -1, dtype=np.intp)
    for row, each in enumerate(lists):
        table[row, : len(each)] = each
    return table


def packed(elements: Ints) -> Ints:
    """Each row's elements once, to the left, the rest -1."""
    if elements.shape[1] < 2:
        return elements
    ordered = np.sort(elements, axis=1)[:, ::-1]
    repeat = ordered[:, 1:] == ordered[:, :-1]
    if (repeat & (ordered[:, 1:] >= 0)).any():
        ordered[:, 1:][repeat] = -1
        ordered = np.sort(ordered, axis=1)[:, ::-1]
    return ordered[:, : max(1, int((ordered >= 0).sum(axis=1).max(initial=0)))]
