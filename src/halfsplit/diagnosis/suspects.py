"""Suspects by repair: probability, what speaks for and against, what each predicts; the reading that fits worst."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from halfsplit.circuit.faults import NOTHING_WRONG, Fault
from halfsplit.diagnosis.doubt import unexplained
from halfsplit.diagnosis.evidence import forecast_number, scale
from halfsplit.diagnosis.hypotheses import Hypothesis, fitted
from halfsplit.diagnosis.measurement import NUMERIC, Measurement, Reading
from halfsplit.diagnosis.situation import Situation

Floats = NDArray[np.float64]

SPEAKS = 0.7
"""Natural log of the likelihood ratio from which a reading speaks for or against (about 2 to 1)."""
NEARLY_CERTAIN, ONE_OF_SEVERAL = 0.95, 0.3
"""A reading is decisive that lifts a cause from under the second share to over the first."""
NO_PART = 1e-9
"""Share of the likeliest particle below which a column has no part in whether a reading fits."""
FITS = 1 / 3
"""A reading is odd where the chance that it was no slip is less."""


@dataclass(frozen=True, slots=True)
class Speaking:
    """A reading and the decibans-like weight that it has: log10 of its likelihood ratio."""

    reading: Reading
    weight: float


@dataclass(frozen=True, slots=True)
class Suspect:
    """One repair. ``mode``, ``cause``: of its likeliest fault. ``for_``, ``against``: readings, strongest first."""

    part: str
    mode: str
    probability: float
    repair: str
    cause: str
    severity: float | None
    for_: tuple[Speaking, ...]
    against: tuple[Speaking, ...]


@dataclass(frozen=True, slots=True)
class Replacement:
    """Fitting a part on suspicion: ``chance`` that it cures, ``cost`` of the try, ``cost_per_cure``."""

    part: str
    chance: float
    cost: float
    cost_per_cure: float


@dataclass(frozen=True, slots=True)
class Expected:
    """What a point reads under one assumption, in volts with its standard deviation."""

    assumption: str
    volts: float
    sigma: float


def suspects(situation: Situation) -> tuple[Suspect, ...]:
    """All repair groups, most probable first; what speaks for and against for those that lead."""
    posterior = situation.posterior
    speaking = _speaking(situation)
    suspects = []
    for group, share in posterior.probability.items():
        leader = posterior.leaders[group]
        severity = _mean_severity(situation, leader)
        fault = leader.nearest(severity) if severity is not None else leader.first
        voices, repair = speaking.get(group, []), leader.first.repair
        speaks_for = tuple(voice for voice in voices if voice.weight > 0)
        against = tuple(sorted((each for each in voices if each.weight < 0), key=lambda each: each.weight))
        suspects.append(Suspect(group, leader.mode, share, repair, fault.name, severity, speaks_for, against))
    return tuple(suspects)


def _mean_severity(situation: Situation, hypothesis: Hypothesis) -> float | None:
    """Geometric mean of the severity under the posterior; None where it has none or was not worked out in full."""
    return situation.posterior.severities.get(hypothesis.name, hypothesis.first.severity)


def fitted_fault(situation: Situation, group: str) -> Fault:
    """The likeliest fault of a repair group with the severity that the evidence fits.

    A joint of 3 ohm is not judged as one of 1 ohm.
    """
    posterior, hypothesis = situation.posterior, situation.posterior.leaders[group]
    columns, weights = posterior.belief.columns, posterior.weights.sum(axis=1)
    mine = np.flatnonzero(columns.named(hypothesis.name))
    if not len(mine):
        return hypothesis.first
    best = int(mine[np.argmax(weights[mine])])
    severity = _mean_severity(situation, hypothesis)
    if severity is not None and np.isfinite(columns.severity[mine]).all():
        best = int(mine[np.argmin(np.abs(np.log(columns.severity[mine] / severity)))])
    return fitted(hypothesis, severity, columns.changes[best])


def _speaking(situation: Situation) -> dict[str, list[Speaking]]:
    """For each group the readings that tell it from the rest, strongest first."""
    posterior = situation.posterior
    names, group = posterior.groups
    prior = posterior.belief.prior
    share = np.bincount(group, weights=prior, minlength=len(names))
    speaking: dict[str, list[Speaking]] = {name: [] for name in names}
    for reading, log in situation.heard:
        mean = np.exp(log).mean(axis=1)
        inside = np.bincount(group, weights=prior * mean, minlength=len(names)) / np.maximum(share, 1e-300)
        others = (float(prior @ mean) - inside * share) / np.maximum(prior.sum() - share, 1e-300)
        ratio = np.log(np.maximum(inside, 1e-300)) - np.log(np.maximum(others, 1e-300))
        for number in np.flatnonzero(np.abs(ratio) > SPEAKS):
            speaking[names[number]].append(Speaking(reading, float(ratio[number] / np.log(10))))
    return {name: sorted(voices, key=lambda voice: -voice.weight) for name, voices in speaking.items()}


def odd_reading(situation: Situation) -> Reading | None:
    """The reading to be made once more before anything else, if it was made only once.

    The one that fits worst where it fits nothing that is believed without it; what contradicts a cause that would be
    found but for it; and the one that alone makes a cause nearly certain.
    """
    return _fits_nothing(situation) or _contradicting(situation) or decisive_reading(situation)


def _contradicting(situation: Situation) -> Reading | None:
    """A symptom that the leading cause does not explain."""
    name, share = situation.posterior.leading
    if share < NEARLY_CERTAIN or name not in situation.posterior.groups[0]:
        return None
    made = _made(situation)
    asked = ((reading, reading.measurement) for reading in unexplained(situation, name))
    once = (reading for reading, test in asked if made[test] == 1 and test not in situation.refused)
    return next(once, None)


def decisive_reading(situation: Situation) -> Reading | None:
    """The reading without which the leading cause would be one of several."""
    name, share = situation.posterior.leading
    if share < NEARLY_CERTAIN:
        return None
    for reading in hanging(situation, name, ONE_OF_SEVERAL):
        if reading.measurement.quantity in (*NUMERIC, "lamp") or reading.measurement.changes:
            return reading
    return None


def hanging(situation: Situation, name: str, least: float) -> list[Reading]:
    """The readings, each made once, without any one of which a repair would hold less than this share."""
    posterior = situation.posterior
    if name not in posterior.groups[0]:
        return []
    mine, made = posterior.of_group(name), _made(situation)
    hangs = []
    for reading, log in situation.heard:
        if reading.source == "reading" and made[reading.measurement] == 1:
            without = posterior.weights * np.exp(-np.maximum(log, -40.0))
            if without[mine].sum() < least * without.sum():
                hangs.append(reading)
    return hangs


def _made(situation: Situation) -> Counter[Measurement]:
    """How often each measurement was made."""
    return Counter(reading.measurement for reading in situation.live)


def _fits_nothing(situation: Situation) -> Reading | None:
    """The reading that a slip of the hand explains better than any suspect."""
    if len(situation.live) < 3 or not any(map(_by_hand, situation.live)):
        return None
    made = _made(situation)
    fits = {
        reading: _fit(situation, reading, log)
        for reading, log in situation.heard
        if _by_hand(reading) and made[reading.measurement] == 1 and reading.present != "no"
    }
    worst = min(fits, key=lambda reading: fits[reading], default=None)
    return worst if worst is not None and fits[worst] < FITS else None


def slipped(situation: Situation) -> tuple[Reading, ...]:
    """The readings that a slip of the hand explains better than what is believed without them."""
    return tuple(
        reading
        for reading, log in situation.heard
        if _by_hand(reading) and reading.present != "no" and _fit(situation, reading, log) < FITS
    )


def _by_hand(reading: Reading) -> bool:
    """A number read off an instrument at the vehicle."""
    return reading.source == "reading" and reading.measurement.quantity in NUMERIC


def _fit(situation: Situation, reading: Reading, log: Floats) -> float:
    """Chance that the reading was no slip, by what is believed without it."""
    without = situation.posterior.weights * np.exp(-np.maximum(log, -40.0))
    # Nearly all columns have no part in it: what they would read need not be known.
    held = np.flatnonzero(without.max(axis=1) > NO_PART * without.max())
    context, place = situation.context.part(held)
    expected = forecast_number(reading.measurement, context)
    without, log = without[held], log[held]
    without[expected.unknown[place]] = 0.0
    honest = np.minimum(expected.honest(scale(reading.measurement, reading.number))[place], np.exp(log))
    total = float((without * np.exp(log)).sum())
    return float((without * honest).sum()) / total if total > 0 else 1.0


def replacement(situation: Situation, part: str, price: float, minutes: float, hourly: float) -> Replacement:
    """The chance that a part cures, and what a try costs in money: price and time."""
    chance = situation.posterior.probability.get(part, 0)
    cost = price + hourly * minutes / 60.0
    return Replacement(part, chance, cost, cost / chance if chance > 0 else float("inf"))


def expected_at(situation: Situation, point: str, state: str) -> tuple[Expected, ...]:
    """Volts at a point, healthy and under each leading suspect."""
    measurement = Measurement("volts", point, state, instrument="meter")
    numeric = forecast_number(measurement, situation.context)
    expected = []
    for name in [NOTHING_WRONG, *situation.likeliest(0.01, 8)]:
        mine = situation.posterior.of_group(name)
        if not mine.any():
            continue
        weights = situation.posterior.weights[mine] + 1e-12
        weights = weights / weights.sum()
        mean = float((weights * numeric.value[mine]).sum())
        spread = float(np.sqrt((weights * (numeric.value[mine] - mean) ** 2).sum()))
        expected.append(Expected("healthy" if name == NOTHING_WRONG else name, mean, spread))
    return tuple(expected)
