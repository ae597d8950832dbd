"""Prior → posterior over all columns and draws, in log space.

The posterior is a function of the set of readings: it is summed anew from the likelihoods kept for each, in the
order of their names, so that striking one out gives exactly what there would be without it, and order does not
matter.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from halfsplit.diagnosis.evidence import anything_at, log_likelihood
from halfsplit.diagnosis.expected import Context
from halfsplit.diagnosis.hypotheses import Columns, Hypothesis
from halfsplit.diagnosis.measurement import Reading
from halfsplit.diagnosis.predict import SceneKey

Floats = NDArray[np.float64]

FRESH_LOOK = 0.11
"""Weight of what is seen anew against each earlier look: the second look repeats the first in nine of ten."""


class Belief:
    """Weights of all particles given some readings. Likelihoods are kept by reading."""

    def __init__(self, context: Context, hypotheses: tuple[Hypothesis, ...]) -> None:
        self.context = context
        self.hypotheses = hypotheses
        self._prior = np.array([one.prior for one in hypotheses])
        self._kept: dict[Reading, Floats] = {}
        self._anything: dict[Reading, float] = {}

    @property
    def columns(self) -> Columns:
        return self.context.predictor.columns

    @property
    def prior(self) -> Floats:
        """Prior probability of each column (C,); predictors are shared between jobs whose priors differ."""
        return np.maximum(self._prior[self.columns.hypothesis] * self.columns.share, 1e-300)

    def likelihoods(self, readings: Sequence[Reading]) -> list[Floats]:
        """Log-likelihood (C, D) of each reading."""
        used = {SceneKey(reading.measurement.state, reading.measurement.changes) for reading in readings}
        memory = self.context.predictor.memory(used)
        if memory.token != self.context.memory.token:
            self.context = replace(self.context, memory=memory)
            self._kept.clear()
            self._anything.clear()
        for reading in readings:
            if reading not in self._kept:
                self._kept[reading] = log_likelihood(reading, self.context)
        return correlated(readings, [self._kept[reading] for reading in readings])

    def strangeness(self, readings: Sequence[Reading], share: float) -> Floats:
        """Log-likelihood (C, D) of all readings where each has, with this share, to do with what is not drawn."""
        total = np.zeros((len(self.columns), len(self.context.predictor.draws)))
        for reading, log in zip(readings, self.likelihoods(readings), strict=True):
            if reading not in self._anything:
                self._anything[reading] = anything_at(reading, self.context)
            total += np.logaddexp(np.log(1 - share) + log, np.log(share) + self._anything[reading])
        return total

    def log_weights(self, readings: Sequence[Reading]) -> Floats:
        """Log of prior times likelihoods of each particle (C, D), not normalised; readings in the order given."""
        draws = len(self.context.predictor.draws)
        log = np.repeat((np.log(self.prior) - np.log(draws))[:, None], draws, axis=1)
        for likelihood in self.likelihoods(readings):
            log = log + likelihood
        return np.asarray(log)


def correlated(readings: Sequence[Reading], logs: Sequence[Floats]) -> list[Floats]:
    """The likelihoods with each further look at a place depending on the looks before.

    Who looks again sees mostly the same: a Pólya urn (Blackwell and MacQueen, Annals of Statistics 1, 1973), in which
    the order of looks does not matter.
    """
    told, seen = [], dict[tuple[object, ...], list[float | str]]()
    for reading, log in zip(readings, logs, strict=True):
        place = reading.measurement
        if place.quantity != "inspection" or reading.present == "no":
            told.append(log)
            continue
        before = seen.setdefault((place.at, place.detail), [])
        same = sum(value == reading.value for value in before)
        told.append(np.log((FRESH_LOOK * np.exp(log) + same) / (FRESH_LOOK + len(before))) if before else log)
        before.append(reading.value)
    return told
