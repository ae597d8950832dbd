"""The predictors of one circuit and one set of drawn cars, kept as long as there is room."""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np

from halfsplit.circuit.circuit import Circuit
from halfsplit.circuit.network import Parameters
from halfsplit.diagnosis.fleet import Fleet
from halfsplit.diagnosis.hypotheses import Hypothesis, columns_of
from halfsplit.diagnosis.predict import Predictor

KEPT_PREDICTORS = 12
"""Predictors that are kept."""


class Predictions:
    """Predictions for one circuit and one set of drawn cars; jobs on the same circuit can share them.

    ``spread``: how much the cars differ; 1 for typical values, near 0 where they were measured on this very vehicle.
    ``give_way`` is called before anything is solved: it may raise, where something else comes first.
    """

    give_way: Callable[[], None] | None = None

    def __init__(self, circuit: Circuit, *, draws: int, seed: int, spread: float = 1.0) -> None:
        self.circuit = circuit
        generator = np.random.default_rng(seed)
        # Which production it is is one more thing that is not known of the car: the draws take turns.
        variants = circuit.model.variants or (None,)
        self.draws: tuple[Parameters, ...] = circuit.network.draws(generator, draws, variants, spread=spread)
        nominal = tuple(circuit.network.nominal(variant or "") for variant in variants)
        self._fleets = {
            True: Fleet(circuit, nominal, self._give_way),
            False: Fleet(circuit, self.draws, self._give_way),
        }
        self._kept: dict[tuple[bool, tuple[str, ...]], Predictor] = {}

    @property
    def nbytes(self) -> int:
        """Bytes of what is solved, nearly all that a diagnosis takes."""
        return sum(each.nbytes for each in self._fleets.values())

    def of(self, hypotheses: Sequence[Hypothesis], *, coarse: bool) -> Predictor:
        """The predictor of some hypotheses; ``coarse``: named severities and nominal values only."""
        key = coarse, tuple(hypothesis.name for hypothesis in hypotheses)
        if key in self._kept:
            self._kept[key] = self._kept.pop(key)
        else:
            while len(self._kept) >= KEPT_PREDICTORS:
                self._kept.pop(next(iter(self._kept)))
            columns = columns_of(hypotheses, coarse=coarse)
            self._kept[key] = Predictor(columns, self._fleets[coarse])
        return self._kept[key]

    def _give_way(self) -> None:
        if self.give_way is not None:
            self.give_way()
