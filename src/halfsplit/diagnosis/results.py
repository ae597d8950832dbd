"""What each result of a test means before it is made: ranges that can be read, their chances, and what is known then.

A result is a reading of which only the range is known; its probability is that of all readings with it over that of
those without it.
"""

from __future__ import annotations

import math
from dataclasses import replace

from halfsplit.diagnosis.measurement import Between, Measurement, Reading
from halfsplit.diagnosis.propose import Outcome, Test
from halfsplit.diagnosis.situation import Situation
from halfsplit.diagnosis.words import reading_words
from halfsplit.quantities import QUANTITIES

COARSE = {name: record.border for name, record in QUANTITIES.items() if record.border and name != "ohms"}
"""Borders between the results of a step are rounded to this; ohms and gauges to two digits."""
IMPOSSIBLE = 1e-4
"""A result less likely than this is no branch."""


def results(situation: Situation, test: Test) -> list[tuple[Outcome, float, Situation]]:
    """The results of a test: the outcome, its probability (they add up to 1), and what is known then."""
    distribution, bay = [], situation.bay.after(test.measurement)
    for outcome in filter(None, (_rounded(test.quantity, each) for each in test.outcomes)):
        value = outcome.word or Between(outcome.typical, outcome.low, outcome.high)
        words = outcome.word or f"{outcome.low:g} to {outcome.high:g}"
        name = f"plan {len(situation.readings) + 1:03d} {words}"
        readings = (*situation.readings, Reading(name, test.measurement, value, "yes", "plan"))
        posterior = situation.inference.posterior(readings)
        share = math.exp(posterior.evidence - situation.posterior.evidence)
        if share >= IMPOSSIBLE:
            after = replace(situation, posterior=posterior, readings=readings, bay=bay)
            distribution.append((outcome, share, after))
    total = math.fsum(share for _, share, _ in distribution)
    return [(outcome, share / total, after) for outcome, share, after in distribution]


def _rounded(quantity: str, outcome: Outcome) -> Outcome | None:
    """The outcome with borders that can be read off an instrument; None where nothing lies between them."""
    if outcome.word:
        return outcome
    low, high = (legible(end, quantity) for end in (outcome.low, outcome.high))
    typical = min(max(outcome.typical, low), high)
    return replace(outcome, low=low, high=high, typical=typical) if low < high else None


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


def range_words(low: float, high: float, typical: float, measurement: Measurement) -> str:
    """'over 12.1 V (about 12.5 V)'."""
    start, end = (reading_words(measurement, each) if math.isfinite(each) else "" for each in (low, high))
    limit = f"over {start}" if start else f"under {end}" if end else "anything"
    span = f"{start} to {end}" if start and end else limit
    near = round_reading(typical, measurement.quantity)
    return f"{span} (about {reading_words(measurement, near)})" if low < near < high else span
