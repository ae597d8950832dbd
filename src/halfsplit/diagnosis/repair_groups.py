"""Which hypotheses ask for the same repair: they are believed, shown and proven together."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from halfsplit.diagnosis.hypotheses import Hypothesis

Floats = NDArray[np.float64]
Ints = NDArray[np.intp]

SPEAKS_FOR_TWO = 5.0
"""How many times better than its likelier fault alone a pair explains the evidence where something speaks for two."""
LEAST = 1e-300
"""Keeps quotients by a prior finite."""


@dataclass(frozen=True, eq=False)
class RepairGroups:
    """``names`` of G repair groups in order of appearance, the group ``of`` each of H hypotheses.

    ``own`` (H,): whether the group is the hypothesis's own, not that of one of two faults.
    """

    names: tuple[str, ...]
    of: Ints
    own: NDArray[np.bool_]

    @staticmethod
    def of_single(hypotheses: Sequence[Hypothesis]) -> RepairGroups:
        """Those of hypotheses of one fault each."""
        named = [hypothesis.group for hypothesis in hypotheses]
        number = {name: place for place, name in enumerate(dict.fromkeys(named))}
        of = np.array([number[name] for name in named], dtype=np.intp)
        return RepairGroups(tuple(number), of, np.ones(len(of), dtype=bool))

    def with_more(self, known: Sequence[Hypothesis], shares: Floats) -> RepairGroups:
        """These and the groups of further hypotheses at the end of all that are ``known``; ``shares`` (H,) of all.

        A pair goes with the one of its two faults that explains the evidence as well alone: nothing speaks for the
        second, and the repair to make first is the same.
        """
        number = {name: place for place, name in enumerate(self.names)}
        as_well = shares / np.maximum([hypothesis.prior for hypothesis in known], LEAST)
        best = np.zeros(len(self.names))
        np.maximum.at(best, self.of, as_well[: len(self.of)])
        explains = dict(zip(self.names, best.tolist(), strict=True))
        added = list(zip(known[len(self.of) :], as_well[len(self.of) :].tolist(), strict=True))
        for hypothesis, quotient in added:
            if not hypothesis.members:
                explains[hypothesis.group] = max(explains.get(hypothesis.group, 0.0), quotient)
        named = []
        for hypothesis, quotient in added:
            groups = [member.group for member in hypothesis.members]
            alone = max(groups, key=lambda name: explains.get(name, 0.0), default="")
            goes_along = bool(alone) and SPEAKS_FOR_TWO * explains.get(alone, 0.0) >= quotient
            named.append(alone if goes_along else hypothesis.group)
        for name in named:
            number.setdefault(name, len(number))
        of = np.append(self.of, np.array([number[name] for name in named], dtype=np.intp))
        own = np.append(
            self.own, [name == hypothesis.group for name, (hypothesis, _) in zip(named, added, strict=True)]
        )
        return RepairGroups(tuple(number), of, own)

    def shares(self, shares: Floats) -> dict[str, float]:
        """Probability of each group, the likeliest first, from those of the hypotheses (H,)."""
        total = np.bincount(self.of, weights=shares, minlength=len(self.names))
        return {self.names[number]: float(total[number]) for number in np.argsort(-total, kind="stable")}

    def leaders(self, known: Sequence[Hypothesis], shares: Floats) -> dict[str, Hypothesis]:
        """The likeliest hypothesis of each group; one fault rather than a pair that goes with it."""
        order = np.lexsort((-shares, ~self.own))
        groups, first = np.unique(self.of[order], return_index=True)
        return {
            self.names[group]: known[place]
            for group, place in zip(groups.tolist(), order[first].tolist(), strict=True)
        }
