"""One cause for many: what each leading repair explains of all that was seen, and what it contradicts.

The order is the posterior's. How many symptoms a cause explains does not rank it: a feed that explains six complaints
and contradicts a lamp that works is no better for the six.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from halfsplit.diagnosis.measurement import NUMERIC, Reading
from halfsplit.diagnosis.situation import TELLS_OF_A_FAULT, Situation

Floats = NDArray[np.float64]

LIKELY = 0.5
"""A cause explains what it makes likelier than not."""
LOOKS_BAD = {("lamp", "dim"), ("lamp", "dark"), ("inspection", "bad")}
"""Told as symptoms beside what tells of a fault by itself, though a lamp may rightly be dark."""


@dataclass(frozen=True, slots=True)
class Account:
    """How one repair accounts for what was seen in words, readings of instruments apart.

    ``explains``: symptoms that it makes likely; ``leaves``: symptoms that it does not; ``contradicts``: what works,
    answers or sets no code although it should not with this cause.
    """

    part: str
    cause: str
    repair: str
    probability: float
    explains: tuple[Reading, ...]
    leaves: tuple[Reading, ...]
    contradicts: tuple[Reading, ...]


def accounts(situation: Situation, most: int = 6, least: float = 0.005) -> tuple[Account, ...]:
    """The leading repairs with their accounts, most probable first; at most ``most`` of at least ``least``."""
    posterior = situation.posterior
    seen = [
        reading
        for reading in situation.live
        if reading.measurement.quantity not in NUMERIC and reading.source != "event"
    ]
    likelihoods = [np.exp(log) for log in posterior.belief.likelihoods(seen)]
    explained = []
    for name in situation.likeliest(least, most):
        if name not in posterior.groups[0]:
            continue
        weights = weights_of(situation, name)
        judged: dict[tuple[bool, bool], list[Reading]] = {}
        for reading, likelihood in zip(seen, likelihoods, strict=True):
            likely = float((weights * likelihood).sum()) >= LIKELY
            judged.setdefault((is_symptom(situation, reading), likely), []).append(reading)
        explains, leaves, contradicts = (
            tuple(judged.get(case, ())) for case in ((True, True), (True, False), (False, False))
        )
        first, share = posterior.leaders[name].first, posterior.probability[name]
        explained.append(Account(name, first.name, first.repair, share, explains, leaves, contradicts))
    return tuple(explained)


def weights_of(situation: Situation, name: str) -> Floats:
    """Weights (C, D) of one repair's own particles, adding up to 1; by the prior where the evidence leaves nothing.

    Pairs that the repair is the first half of are left out: what they explain, their second fault may explain.
    """
    posterior = situation.posterior
    own = np.array([hypothesis.group == name for hypothesis in posterior.hypotheses])
    mine = posterior.of_group(name) & own[posterior.belief.columns.hypothesis]
    weights = np.where(mine[:, None], posterior.weights, 0.0)
    if weights.sum() <= 0:
        weights = np.where(mine, posterior.belief.prior, 0.0)[:, None] * np.ones_like(posterior.weights)
    return np.asarray(weights / weights.sum())


def is_symptom(situation: Situation, reading: Reading) -> bool:
    """Whether a reading in words says that something is wrong."""
    place, value = reading.measurement, reading.value
    if place.quantity == "works":
        return value != situation.circuit.healthy_word(place.at, place.state)
    return (place.quantity, value) in TELLS_OF_A_FAULT | LOOKS_BAD
