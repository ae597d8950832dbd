"""The predictors of one circuit and one set of drawn cars, kept as long as there is room."""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np

from halfsplit.circuit.circuit import Circuit
from halfsplit.circuit.network import Parameters
from halfsplit.diagnosis.fleet import Fleet
from halfsplit.diagnosis.hypotheses import Hypothesis, columns_of
from halfsplit.diagnosis.predict import Predictor, held_bytes

KEPT_PREDICTORS, KEPT_BYTES = 12, 200_000_000
"""Predictors that are kept, and what they may take; the latest is kept however large it is."""
MOSTLY, DEEPEST = 0.7, 4
"""Share of hypotheses in common from which a predictor takes what another has solved, and how many may do so in turn:
each keeps the one before it."""


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
        self._fleets = {True: Fleet(circuit, nominal), False: Fleet(circuit, self.draws)}
        self._kept: dict[tuple[bool, tuple[str, ...]], Predictor] = {}

    @property
    def nbytes(self) -> int:
        """Bytes of what is solved, nearly all that a diagnosis takes."""
        return held_bytes(self._kept.values())

    def of(self, hypotheses: Sequence[Hypothesis], *, coarse: bool) -> Predictor:
        """The predictor of some hypotheses; ``coarse``: named severities and nominal values only."""
        key = coarse, tuple(one.name for one in hypotheses)
        if key in self._kept:
            self._kept[key] = self._kept.pop(key)
        else:
            while len(self._kept) > 1 and (len(self._kept) >= KEPT_PREDICTORS or self.nbytes > KEPT_BYTES):
                self._kept.pop(next(iter(self._kept)))
            columns = columns_of(hypotheses, coarse=coarse)
            self._kept[key] = Predictor(columns, self._fleets[coarse], self._near(key), self._give_way)
        return self._kept[key]

    def _give_way(self) -> None:
        if self.give_way is not None:
            self.give_way()

    def _near(self, key: tuple[bool, tuple[str, ...]]) -> Predictor | None:
        """The latest predictor that has most of these hypotheses and few others."""
        coarse, names = key
        for other in reversed(self._kept):
            shared = len({*names}.intersection(other[1]))
            alike = other[0] == coarse and shared > MOSTLY * max(len(names), len(other[1]))
            if alike and self._kept[other].depth < DEEPEST:
                return self._kept[other]
        return None
