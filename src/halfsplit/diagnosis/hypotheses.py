"""Hypotheses: families of faults that differ in severity only, and the columns that stand for them in arrays.

A bad joint has any resistance: its severity is continuous and is integrated over a grid of columns (rulings 11). A
column is one (hypothesis, severity); with the draws of parameters it makes the particles that carry weight.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
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
HALF_DECADE = 3.5
"""Ratio of severities; a little more than half, so that the named ones have neighbours."""
BATTERY_VOLTS = np.linspace(9.5, 12.0, 6)


@dataclass(frozen=True)
class Hypothesis:
    """One family. ``faults``: its members by name, mildest first; ``prior``: probability before any evidence."""

    faults: tuple[Fault, ...]
    prior: float

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
        return self.first.name if len(self.faults) == 1 else f"{self.part} {self.mode}"

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

    @cached_property
    def faults(self) -> tuple[Fault, ...]:
        """A representative fault of each column (C,)."""
        return tuple(self.hypotheses[number].first for number in self.hypothesis)

    @cached_property
    def same_as_next(self) -> NDArray[np.bool_]:
        """Whether a column and the next are severities of one hypothesis (C - 1,)."""
        return np.asarray(self.hypothesis[:-1] == self.hypothesis[1:])

    @cached_property
    def decades(self) -> tuple[Ints, Ints, Ints]:
        """What a pair stands for: pair's column, and the member's own columns at less and at more severity (M,), each.

        A pair has its members at their middle severities only, which stand for about a decade each.
        """
        own: dict[tuple[str, str], list[int]] = {}
        for column, fault in enumerate(self.faults):
            if np.isfinite(self.severity[column]):
                own.setdefault(fault.family, []).append(column)
        found = []
        for column, both in enumerate(self.faults):
            for member in both.members:
                if member.severity is not None and member.family in own:
                    mine = own[member.family]
                    ends = (member.severity / HALF_DECADE, member.severity * HALF_DECADE)
                    found.append((column, *(self._nearest(mine, severity) for severity in ends)))
        pairs, less, more = np.array(found, dtype=np.intp).reshape(-1, 3).T
        return pairs, less, more

    def _nearest(self, columns: list[int], severity: float) -> int:
        return min(columns, key=lambda column: abs(np.log(self.severity[column] / severity)))


def families(faults: Mapping[str, Fault]) -> list[tuple[Fault, ...]]:
    """Faults in families, in the order of the list."""
    grouped: dict[tuple[str, str], list[Fault]] = {}
    for fault in faults.values():
        grouped.setdefault(fault.family, []).append(fault)
    return [tuple(members) for members in grouped.values()]


def columns_of(hypotheses: Sequence[Hypothesis], *, coarse: bool = False) -> Columns:
    """The columns of some hypotheses; ``coarse``: the named severities only."""
    index: list[int] = []
    shares: list[float] = []
    severities: list[float] = []
    changes: list[tuple[Change, ...]] = []
    locks: list[tuple[Lock, ...]] = []
    for number, hypothesis in enumerate(hypotheses):
        for share, severity, made in _grid(hypothesis, coarse=coarse):
            index.append(number)
            shares.append(share)
            severities.append(severity)
            changes.append(made)
            locks.append(hypothesis.first.locks)
    return Columns(
        tuple(hypotheses),
        np.array(index, dtype=np.intp),
        np.array(shares),
        np.array(severities),
        tuple(changes),
        tuple(locks),
    )


def _grid(hypothesis: Hypothesis, *, coarse: bool) -> list[tuple[float, float, tuple[Change, ...]]]:
    first = hypothesis.first
    if first.members:
        return _pair_grid(first)
    if len(hypothesis.faults) == 1 or coarse:
        share = 1.0 / len(hypothesis.faults)
        return [
            (share, np.nan if fault.severity is None else fault.severity, fault.changes)
            for fault in hypothesis.faults
        ]
    operation, element = first.changes[0].operation, first.changes[0].element
    if first.mode == "drifted":
        low, high = hypothesis.faults[0].severity or 1.0, hypothesis.faults[-1].severity or 1.0
        return [
            (1 / DRIFTED_STEPS, float(ohms), (Change(element, SET, float(ohms)),))
            for ohms in np.geomspace(low, high, DRIFTED_STEPS)
        ]
    grid, weights = {
        ADD: (JOINT_OHMS, np.ones(len(JOINT_OHMS))),
        SET: (SHORT_GRID, SHORT_SHARES),
        EMF: (BATTERY_VOLTS * _nets(first), np.ones(len(BATTERY_VOLTS))),
    }[operation]
    weights = weights / weights.sum()
    return [
        (float(share), float(severity), (Change(element, operation, float(severity)),))
        for share, severity in zip(weights, grid, strict=True)
    ]


def _nets(low: Fault) -> float:
    """How many 12 V nets a low battery's volts are those of."""
    return 2.0 if low.severity is not None and low.severity > HIGHEST_12_V else 1.0


def _pair_grid(both: Fault) -> list[tuple[float, float, tuple[Change, ...]]]:
    return [(1.0, np.nan, both.changes)]


def pairs_of(hypotheses: Sequence[Hypothesis], bound: int, share: float) -> list[Hypothesis]:
    """The likeliest pairs of single faults (of different parts), at most ``bound``, with ``share`` among them all.

    A member with several severities stands with its middle one.
    """
    single = [
        one for one in hypotheses if one.first.name not in (NOTHING_WRONG, NOT_IN_MODEL) and one.prior > 0
    ]
    single.sort(key=lambda one: -one.prior)
    best: list[tuple[float, Hypothesis, Hypothesis]] = []
    for first, a in enumerate(single):
        for b in single[first + 1 :]:
            if first and len(best) >= bound and a.prior * b.prior < best[bound - 1][0]:
                break
            if a.part != b.part:
                best.append((a.prior * b.prior, a, b))
        best.sort(key=lambda item: -item[0])
        best = best[:bound]
    total = sum(weight for weight, *_ in best) or 1.0
    return [Hypothesis((pair(_middle(a), _middle(b)),), share * weight / total) for weight, a, b in best]


def _middle(hypothesis: Hypothesis) -> Fault:
    return hypothesis.faults[len(hypothesis.faults) // 2]
