"""Hypotheses: families of faults that differ in severity only, and the columns that stand for them in arrays.

A bad joint has any resistance: its severity is continuous and is integrated over a grid of columns. A
column is one (hypothesis, severity); with the draws of parameters it makes the particles that carry weight.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from halfsplit.circuit.faults import HIGHEST_12_V, NOT_IN_MODEL, NOTHING_WRONG, Fault, pair
from halfsplit.circuit.network import ADD, EMF, SET, Change, Lock

Floats = NDArray[np.float64]
Ints = NDArray[np.intp]

JOINT_OHMS = np.geomspace(0.06, 160.0, 24)
"""Severities of a bad joint, log-uniform."""
SHORT_GRID = np.concatenate([[0.05], np.geomspace(0.2, 1500.0, 11)])
SHORT_SHARES = np.concatenate([[0.5], np.full(11, 0.5 / 11)])
"""A short is dead metal to metal in half the cases; the rest is spread log-uniform up to what water does."""
DRIFTED_STEPS = 100
PAIR_OHMS = (0.2, 1.0, 5.0, 25.0, 120.0)
"""Severities of a bad joint that is one of two faults."""
BRIDGE_OHMS = np.geomspace(0.05, 25.0, 7)
STRANGE = (0.1, 0.25, 0.5)
"""Shares of the readings that a fault outside the drawing touches; one column each of 'not in this model'."""
BATTERY_VOLTS = np.linspace(9.5, 12.0, 6)


@dataclass(frozen=True)
class Hypothesis:
    """One family. ``faults``: its members by name, mildest first; ``prior``: probability before any evidence.

    ``members``: the two families of a pair.
    """

    faults: tuple[Fault, ...]
    prior: float
    members: tuple[Hypothesis, ...] = ()

    @property
    def first(self) -> Fault:
        return self.faults[0]

    @property
    def part(self) -> str:
        return self.first.part

    @property
    def mode(self) -> str:
        return self.first.mode

    @property
    def group(self) -> str:
        return self.first.group

    @cached_property
    def name(self) -> str:  # asked for hundreds of thousands of times in a job
        if self.members:
            return " + ".join(member.name for member in self.members)
        return self.first.name if len(self.faults) == 1 else f"{self.part} {self.mode}"

    @property
    def single(self) -> tuple[Fault, ...]:
        """The fault; both of a pair."""
        return self.first.members or (self.first,)

    def nearest(self, severity: float) -> Fault:
        """The named member closest to a severity, by ratio."""
        given = [fault for fault in self.faults if fault.severity]
        if not given or not np.isfinite(severity) or severity <= 0:
            return self.first
        return min(
            given, key=lambda fault: abs(np.log(fault.severity / severity)) if fault.severity else np.inf
        )


@dataclass(frozen=True, eq=False)
class Columns:
    """C columns, those of one hypothesis together in order of severity.

    ``hypothesis`` (C,) index; ``share`` (C,) of the hypothesis's prior; ``severity`` (C,) in ohm or V, NaN where there
    is none.
    """

    hypotheses: tuple[Hypothesis, ...]
    hypothesis: Ints
    share: Floats
    severity: Floats
    changes: tuple[tuple[Change, ...], ...]
    locks: tuple[tuple[Lock, ...], ...]

    def __len__(self) -> int:
        return len(self.hypothesis)

    def some(self, which: Ints) -> Columns:
        """These columns of them."""
        changes, locks = ([each[number] for number in which] for each in (self.changes, self.locks))
        known = self.hypothesis[which], self.share[which], self.severity[which]
        return Columns(self.hypotheses, *known, tuple(changes), tuple(locks))

    def and_more(self, more: Columns) -> Columns:
        """These columns and those of more hypotheses behind them, but for the first of these: the healthy vehicle."""
        return Columns(
            (*self.hypotheses, *more.hypotheses[1:]),
            np.append(self.hypothesis, more.hypothesis[1:] + len(self.hypotheses) - 1),
            np.append(self.share, more.share[1:]),
            np.append(self.severity, more.severity[1:]),
            (*self.changes, *more.changes[1:]),
            (*self.locks, *more.locks[1:]),
        )

    def with_next_severities(self, which: Ints) -> Ints:
        """These columns and those of the neighbouring severities, which a reading's width rests on, ascending."""
        held = np.zeros(len(self), dtype=bool)
        held[which] = True
        beside = held.copy()
        beside[1:] |= held[:-1] & self.same_as_next
        beside[:-1] |= held[1:] & self.same_as_next
        return np.flatnonzero(beside)

    @cached_property
    def faults(self) -> tuple[Fault, ...]:
        """A representative fault of each column (C,)."""
        return tuple(self.hypotheses[number].first for number in self.hypothesis)

    @cached_property
    def _of_part(self) -> Mapping[str, list[tuple[str, int]]]:
        """Modes and hypotheses of the faults of each part, of pairs both."""
        of_part: dict[str, list[tuple[str, int]]] = {}
        for number, hypothesis in enumerate(self.hypotheses):
            for fault in hypothesis.single:
                of_part.setdefault(fault.part, []).append((fault.mode, number))
        return of_part

    def having(self, part: str, modes: Collection[str] = ()) -> NDArray[np.bool_]:
        """Whether a column's fault is one of a part (C,), of any mode or of some."""
        has = np.zeros(len(self.hypotheses), dtype=bool)
        has[[number for mode, number in self._of_part.get(part, ()) if not modes or mode in modes]] = True
        return np.asarray(has[self.hypothesis])

    def highest(self, values: Floats) -> Floats:
        """The highest value of each hypothesis's columns (H,), from that of each column (C,)."""
        highest = np.full(len(self.hypotheses), -np.inf)
        np.maximum.at(highest, self.hypothesis, values)
        return highest

    def named(self, name: str) -> NDArray[np.bool_]:
        """Whether a column is one of the hypothesis of this name (C,)."""
        return np.asarray(np.array([each.name == name for each in self.hypotheses])[self.hypothesis])

    def where(self, holds: Callable[[Fault], bool]) -> NDArray[np.bool_]:
        """Whether something holds for a column's fault, of a pair for either (C,)."""
        each = [any(holds(fault) for fault in hypothesis.single) for hypothesis in self.hypotheses]
        return np.asarray(np.array(each, dtype=bool)[self.hypothesis])

    @cached_property
    def healthy(self) -> int:
        """The column of the vehicle that has nothing wrong."""
        return int(np.flatnonzero(self.having(NOTHING_WRONG))[0])

    @cached_property
    def unknown(self) -> NDArray[np.bool_]:
        """The columns (C,) of 'not in this model', which no reading can rule out."""
        return self.having(NOT_IN_MODEL)

    @cached_property
    def same_as_next(self) -> NDArray[np.bool_]:
        """Whether a column and the next are severities of one hypothesis (C - 1,)."""
        return np.asarray(self.hypothesis[:-1] == self.hypothesis[1:])


def families(faults: Mapping[str, Fault]) -> list[tuple[Fault, ...]]:
    """Faults in families, in the order of the list."""
    grouped: dict[tuple[str, str], list[Fault]] = {}
    for fault in faults.values():
        grouped.setdefault(fault.family, []).append(fault)
    return [tuple(members) for members in grouped.values()]


def columns_of(hypotheses: Sequence[Hypothesis], *, coarse: bool = False) -> Columns:
    """The columns of some hypotheses; ``coarse``: the named severities only."""
    cells = [
        (number, hypothesis.first.locks, *cell)
        for number, hypothesis in enumerate(hypotheses)
        for cell in _grid(hypothesis, coarse=coarse)
    ]
    index, locks, shares, severities, changes = zip(*cells, strict=True)
    numbers = np.array(index, dtype=np.intp)
    return Columns(tuple(hypotheses), numbers, np.array(shares), np.array(severities), changes, locks)


def column_counts(hypotheses: Sequence[Hypothesis]) -> Ints:
    """How many columns (H,) each of some single faults has."""
    counts = np.ones(len(hypotheses), dtype=np.intp)
    for number, hypothesis in enumerate(hypotheses):
        if hypothesis.first.name == NOT_IN_MODEL:
            counts[number] = len(STRANGE)
        elif len(hypothesis.faults) > 1:
            drifted = hypothesis.mode == "drifted"
            counts[number] = DRIFTED_STEPS if drifted else len(_severities(hypothesis.first)[0])
    return counts


def _grid(hypothesis: Hypothesis, *, coarse: bool) -> list[tuple[float, float, tuple[Change, ...]]]:
    first = hypothesis.first
    if hypothesis.members:
        # Both members at a few severities each, one step of one member from column to column.
        one, two = (_few(member.first, len(member.faults)) for member in hypothesis.members)
        both = [
            fault + other for number, fault in enumerate(one) for other in (two[::-1] if number % 2 else two)
        ]
        return [(1.0 / len(both), np.nan, changes) for changes in both]
    if first.name == NOT_IN_MODEL:
        return [(1.0 / len(STRANGE), np.nan, ()) for _ in STRANGE]
    if len(hypothesis.faults) == 1 or coarse:
        share = 1.0 / len(hypothesis.faults)
        given = [(fault.severity, fault.changes) for fault in hypothesis.faults]
        return [(share, np.nan if severity is None else severity, changes) for severity, changes in given]
    if first.mode == "drifted":
        low, high = hypothesis.faults[0].severity or 1.0, hypothesis.faults[-1].severity or 1.0
        grid, weights = np.geomspace(low, high, DRIFTED_STEPS), np.full(DRIFTED_STEPS, 1 / DRIFTED_STEPS)
    else:
        grid, weights = _severities(first)
        weights = weights / weights.sum()
    steps = zip(weights.tolist(), grid.tolist(), strict=True)
    return [(share, severity, _with_severity(first.changes, severity)) for share, severity in steps]


def _severities(first: Fault) -> tuple[Floats, Floats]:
    """Severities of a family and the weight of each."""
    if first.kind == "undrawn":
        return BRIDGE_OHMS, np.ones(len(BRIDGE_OHMS))
    # How many 12 V nets a low battery's volts are those of.
    nets = 2.0 if first.severity is not None and first.severity > HIGHEST_12_V else 1.0
    return {
        ADD: (JOINT_OHMS, np.ones(len(JOINT_OHMS))),
        SET: (SHORT_GRID, SHORT_SHARES),
        EMF: (BATTERY_VOLTS * nets, np.ones(len(BATTERY_VOLTS))),
    }[first.changes[0].operation]


def _with_severity(changes: tuple[Change, ...], severity: float) -> tuple[Change, ...]:
    """A fault's changes with another severity: the joins of a worn switch are worn alike."""
    kind = changes[0].operation
    return tuple(
        [Change(change.element, kind, severity) if change.operation == kind else change for change in changes]
    )


def fitted(hypothesis: Hypothesis, severity: float | None, changes: tuple[Change, ...]) -> Fault:
    """The fault as the evidence fits it: named by its nearest severity, with the changes of the fitted one."""
    if hypothesis.members:
        a, b = hypothesis.members
        half = len(a.first.changes)
        return pair(_member(a, changes[:half]), _member(b, changes[half:]))
    return replace(hypothesis.nearest(np.nan if severity is None else severity), changes=changes)


def _member(hypothesis: Hypothesis, changes: tuple[Change, ...]) -> Fault:
    severity = changes[0].value if changes and len(hypothesis.faults) > 1 else np.nan
    return replace(hypothesis.nearest(severity), changes=changes)


def _few(first: Fault, severities: int) -> list[tuple[Change, ...]]:
    """What one of two faults changes, at a few severities."""
    if severities == 1 or first.mode == "drifted" or first.changes[0].operation == EMF:
        return [first.changes]
    ohms = PAIR_OHMS if first.changes[0].operation == ADD else (0.05, 2.0)
    return [_with_severity(first.changes, ohm) for ohm in ohms]


def joined(a: Hypothesis, b: Hypothesis, share: float) -> Hypothesis:
    """Both at once; ``share``: probability that there are two faults."""
    a, b = sorted((a, b), key=lambda hypothesis: hypothesis.name)
    return Hypothesis((pair(_middle(a), _middle(b)),), share * 2.0 * a.prior * b.prior, (a, b))


def undrawn_families(faults: Mapping[str, Fault], share: float) -> list[Hypothesis]:
    """What the drawing does not show: half of it misplaced wires, half nets that touch."""
    members = families(faults)
    bridged = [family for family in members if family[0].mode == "bridged"]
    moved = [family for family in members if family[0].mode != "bridged"]
    return [Hypothesis(family, 0.5 * share / len(some)) for some in (moved, bridged) for family in some]


def _middle(hypothesis: Hypothesis) -> Fault:
    return hypothesis.faults[len(hypothesis.faults) // 2]
