"""What each result of a test means before it is made: ranges that can be read, their chances, and the belief after.

Every particle has a chance for each result; the belief after a result is the belief before it times that chance.
"""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

from halfsplit.diagnosis.cost import places
from halfsplit.diagnosis.evidence import SLIP, ZERO_SIGMA, Forecast, Numeric, Worded, forecast, scale
from halfsplit.diagnosis.measurement import Measurement, Reading
from halfsplit.diagnosis.posterior import Posterior, _repairs
from halfsplit.diagnosis.propose import Outcome, Test
from halfsplit.diagnosis.situation import Situation
from halfsplit.diagnosis.words import reading_words

Floats = NDArray[np.float64]

COARSE = {"volts": 0.05, "amps": 0.05, "duty": 0.01, "hertz": 1.0}
"""Borders between the results of a step are rounded to this; other quantities to two digits."""
IMPOSSIBLE = 1e-4
"""A result less likely than this is no branch."""


def results(situation: Situation, test: Test) -> list[tuple[Outcome, float, Situation]]:
    """The results of a test: the outcome, its probability (they add up to 1), and what is known then."""
    outcomes = _rounded(test)
    expected = forecast(test.measurement, situation.context)
    chances = np.stack([_chance(expected, test.measurement, one) for one in outcomes])
    chances /= chances.sum(axis=0)
    weights = situation.posterior.weights
    shares = (chances * weights).sum(axis=(1, 2)) / weights.sum()
    possible = np.flatnonzero(shares >= IMPOSSIBLE)
    total = float(shares[possible].sum())
    return [
        (
            outcomes[one],
            float(shares[one]) / total,
            _after(situation, test.measurement, outcomes[one], chances[one]),
        )
        for one in possible
    ]


def _rounded(test: Test) -> list[Outcome]:
    """The outcomes with borders that can be read off an instrument."""
    if test.outcomes[0].word:
        return list(test.outcomes)
    told = []
    for one in test.outcomes:
        low, high = (legible(end, test.quantity) for end in (one.low, one.high))
        if low < high:
            told.append(replace(one, low=low, high=high, typical=min(max(one.typical, low), high)))
    return told


def legible(border: float, quantity: str) -> float:
    """A border rounded so that it can be read: 0.05 V, two digits of an ohm.

    >>> legible(12.0936, "volts"), legible(2.3797, "ohms")
    (12.1, 2.4)
    """
    if not math.isfinite(border):
        return border
    if abs(border) < COARSE.get(quantity, 0.0):
        return float(f"{border:.1g}")
    return round_reading(border, quantity)


def round_reading(value: float, quantity: str) -> float:
    """A reading as it is told: 'about 12.5 V', 'about 0 V'."""
    coarse = COARSE.get(quantity)
    if coarse is None or not math.isfinite(value):
        return float(f"{value:.2g}") + 0.0
    return round(round(value / coarse) * coarse, 9) + 0.0


def _chance(expected: Forecast, measurement: Measurement, outcome: Outcome) -> Floats:
    """The chance of an outcome under every particle (C, D)."""
    if isinstance(expected, Worded):
        return expected.likelihood(outcome.word)
    low, high = (
        scale(measurement, end) if math.isfinite(end) else end for end in (outcome.low, outcome.high)
    )
    return _between(expected, low, high)


def _between(expected: Numeric, low: float, high: float) -> Floats:
    """The integral of `Numeric.likelihood` from ``low`` to ``high``."""
    normal = ndtr((high - expected.value) / expected.sigma) - ndtr((low - expected.value) / expected.sigma)
    nothing = ndtr((high - expected.low) / ZERO_SIGMA) - ndtr((low - expected.low) / ZERO_SIGMA)
    inside = np.clip((np.array([low, high]) - expected.low) / (expected.high - expected.low), 0.0, 1.0)
    even = float(inside[1] - inside[0])
    honest = (1 - expected.ghost) * normal + expected.ghost * even
    chance = (1 - SLIP) * honest + SLIP * (0.5 * float(nothing) + 0.5 * even)
    chance[expected.unknown] = even
    return np.asarray(np.maximum(chance, 1e-12))


def _after(situation: Situation, measurement: Measurement, outcome: Outcome, chance: Floats) -> Situation:
    """What is known once the outcome has been seen."""
    value = outcome.word or outcome.typical
    reading = Reading(f"plan {len(situation.readings) + 1:03d}", measurement, value, "yes", "plan")
    remembers = measurement.quantity not in ("inspection", "ohms", "event")
    return replace(
        situation,
        posterior=_given(situation, chance),
        readings=(*situation.readings, reading),
        opened=situation.opened | set(places(measurement, situation.circuit.model)),
        state=measurement.state if remembers else situation.state,
    )


def _given(situation: Situation, chance: Floats) -> Posterior:
    """The posterior times a chance (C, D) of its particles. Hypotheses that are not worked out keep their share."""
    before = situation.posterior
    weights = before.weights * chance
    weights *= before.weights.sum() / weights.sum()
    columns = before.belief.columns.hypothesis
    shares = np.bincount(columns, weights=weights.sum(axis=1), minlength=len(before.hypotheses))
    told = zip(before.hypotheses, shares, strict=True)
    by_hypothesis = {**before.by_hypothesis, **{one.name: float(share) for one, share in told if share > 0}}
    every = situation.inference.hypotheses
    group = _repairs(every, by_hypothesis)
    by_group: dict[str, float] = {}
    for one in every:
        by_group[group[one.name]] = by_group.get(group[one.name], 0.0) + by_hypothesis[one.name]
    ordered = dict(sorted(by_group.items(), key=lambda item: -item[1]))
    return replace(before, weights=weights, probability=ordered, by_hypothesis=by_hypothesis, group_of=group)


def range_words(low: float, high: float, typical: float, measurement: Measurement) -> str:
    """'over 12.1 V (about 12.5 V)'."""
    start, end = (reading_words(measurement, one) if math.isfinite(one) else "" for one in (low, high))
    span = (
        f"{start} to {end}"
        if start and end
        else f"over {start}"
        if start
        else f"under {end}"
        if end
        else "anything"
    )
    near = round_reading(typical, measurement.quantity)
    return f"{span} (about {reading_words(measurement, near)})" if low < near < high else span
