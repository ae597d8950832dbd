"""The posterior of a whole job: all hypotheses, the likely ones in full, the rest in a coarse screen.

A vehicle has thousands of hypotheses and sixteen cars are drawn for each. Those that hold 99.9 % by a screen (the named
severities, nominal values) are worked out in full; the others keep the screen's weight. Which are worked out is
a function of the evidence alone, so the posterior is one too.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import logsumexp

from halfsplit.circuit.circuit import Circuit
from halfsplit.circuit.network import Parameters
from halfsplit.diagnosis.belief import Belief, groups_of
from halfsplit.diagnosis.evidence import Context
from halfsplit.diagnosis.hypotheses import Hypothesis, columns_of, families, pairs_of
from halfsplit.diagnosis.measurement import Reading
from halfsplit.diagnosis.predict import Predictor
from halfsplit.diagnosis.priors import Priors, family_priors

Floats = NDArray[np.float64]
Ints = NDArray[np.intp]

FULL_COLUMNS = 3000
"""Up to here every hypothesis is worked out in full."""
HELD = 0.999
PAIRS = 150


@dataclass(frozen=True, eq=False)
class Posterior:
    """``hypotheses`` worked out in full and their ``weights`` (C, D), adding up to 1 - ``rest``; ``probability`` of
    each repair group of all hypotheses by name, likeliest first."""

    belief: Belief
    hypotheses: tuple[Hypothesis, ...]
    weights: Floats
    probability: Mapping[str, float]
    by_hypothesis: Mapping[str, float]
    rest: float

    @property
    def groups(self) -> tuple[list[str], Ints]:
        """Names of the groups worked out in full, and the group of each column (C,)."""
        names, of_hypothesis = groups_of(self.hypotheses)
        return names, of_hypothesis[self.belief.columns.hypothesis]


class Inference:
    """Posteriors of one circuit, with everything kept that can be used again."""

    def __init__(self, circuit: Circuit, priors: Priors, touched: Mapping[str, float], *, intermittent: bool,
                 draws: int, seed: int) -> None:
        self.circuit, self.priors, self.intermittent = circuit, priors, intermittent
        members = families(circuit.faults)
        first = [family[0] for family in members]
        weights = family_priors(first, circuit.model, priors, touched, intermittent=intermittent)
        single = [Hypothesis(family, prior) for family, prior in zip(members, weights, strict=True)]
        self.hypotheses = (*single, *pairs_of(single, PAIRS, priors.special["pairs"]))
        generator = np.random.default_rng(seed)
        self.draws: tuple[Parameters, ...] = tuple(circuit.network.draw(generator) for _ in range(draws))
        self._beliefs: dict[tuple[str, ...], Belief] = {}
        self._screen: Belief | None = None
        self.small = len(columns_of(self.hypotheses)) <= FULL_COLUMNS

    def _belief(self, hypotheses: Sequence[Hypothesis], *, coarse: bool = False) -> Belief:
        columns = columns_of(hypotheses, coarse=coarse)
        draws = (self.circuit.network.parameters,) if coarse else self.draws
        predictor = Predictor(self.circuit, columns, draws)
        return Belief(Context(predictor, self.priors, self.intermittent))

    def posterior(self, readings: Sequence[Reading]) -> Posterior:
        """The posterior given the readings that are not struck out."""
        live = sorted((reading for reading in readings if reading.struck is None), key=lambda one: one.id)
        screened = None if self.small else self._screened(live)
        chosen = self.hypotheses if screened is None else _likeliest(self.hypotheses, screened)
        belief = self._full(chosen)
        log = belief.log_weights(live)
        total = {one.name: float(value) for one, value in zip(chosen, _per_hypothesis(belief, log), strict=True)}
        if screened is not None:
            names = set(total)
            total.update({one.name: float(value) for one, value in zip(self.hypotheses, screened, strict=True)
                          if one.name not in names})
        norm = logsumexp(list(total.values()))
        weights = np.exp(log - norm)
        by_hypothesis = {name: float(np.exp(value - norm)) for name, value in total.items()}
        by_group: dict[str, float] = {}
        for one in self.hypotheses:
            by_group[one.group] = by_group.get(one.group, 0.0) + by_hypothesis[one.name]
        ordered = dict(sorted(by_group.items(), key=lambda item: -item[1]))
        return Posterior(belief, tuple(chosen), weights, ordered, by_hypothesis, max(0.0, 1.0 - float(weights.sum())))

    def _screened(self, live: Sequence[Reading]) -> Floats:
        if self._screen is None:
            self._screen = self._belief(self.hypotheses, coarse=True)
        return _per_hypothesis(self._screen, self._screen.log_weights(live))

    def _full(self, chosen: Sequence[Hypothesis]) -> Belief:
        """The belief over these hypotheses; a superset that is there already serves as well."""
        names = tuple(one.name for one in chosen)
        if names not in self._beliefs:
            if len(self._beliefs) > 3:
                self._beliefs.pop(next(iter(self._beliefs)))
            self._beliefs[names] = self._belief(chosen)
        return self._beliefs[names]


def _per_hypothesis(belief: Belief, log: Floats) -> Floats:
    columns = belief.columns
    best = np.full(len(columns.hypotheses), -np.inf)
    np.maximum.at(best, columns.hypothesis, log.max(axis=1))
    safe = np.where(np.isfinite(best), best, 0.0)
    sums = np.bincount(columns.hypothesis, weights=np.exp(log - safe[columns.hypothesis][:, None]).sum(axis=1),
                       minlength=len(best))
    with np.errstate(divide="ignore"):
        return np.asarray(np.log(sums) + safe)


def _likeliest(hypotheses: Sequence[Hypothesis], screened: Floats) -> tuple[Hypothesis, ...]:
    """The hypotheses that hold 99.9 % by the screen, in the order of the list; the special ones always."""
    shares = np.exp(screened - logsumexp(screened))
    order = np.argsort(-shares, kind="stable")
    count = int(np.searchsorted(np.cumsum(shares[order]), HELD)) + 1
    chosen = set(order[:count].tolist())
    return tuple(one for number, one in enumerate(hypotheses)
                 if number in chosen or one.first.kind in ("nothing", "unknown"))
