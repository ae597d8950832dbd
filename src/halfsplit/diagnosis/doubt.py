"""Whether the leading cause fits what was seen: what it leaves unexplained, and a check by its own predictions.

The check: readings are drawn from what the cause predicts, again and again, and told as often as the real ones
(a posterior predictive check with a realised discrepancy; Gelman, Meng and Stern, Statistica Sinica 6, 1996). A cause
under which such readings hardly ever fit as badly as the real ones is not the cause, however far it leads.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from halfsplit.circuit.faults import NOT_IN_MODEL, NOTHING_WRONG
from halfsplit.circuit.strays import nets_of
from halfsplit.circuit.wiring import place
from halfsplit.diagnosis.evidence import forecast
from halfsplit.diagnosis.expected import Forecast, Numeric
from halfsplit.diagnosis.explaining import is_symptom, weights_of
from halfsplit.diagnosis.measurement import Between, Measurement, Reading
from halfsplit.diagnosis.situation import Situation
from halfsplit.diagnosis.words import evidence_words

Floats = NDArray[np.float64]

UNLIKELY = 0.25
"""What a cause makes less likely than this it leaves unexplained."""
MISFIT = 0.01
"""Share of a cause's own readings that fit as badly as the real ones, below which it is not the cause."""
DRAWN = 400
SURPRISE = -4.0
"""Natural log of how much less likely a reading is than the likeliest there, from which it is named as not fitting."""
OUTSIDE = 0.5
"""Share of what the drawing does not show from which the tool says so."""
MADE_AGAIN = 2
"""Observations made again before it is left to the drawing."""
WORTH_A_LOOK = 0.1
"""Share from which the likeliest place of what is not drawn is looked at before the job ends."""
CHECKED_FROM = 0.5
SEED = 7
AGREE_FLOOR, AGREE_SHARE = 0.1, 0.05


@dataclass(frozen=True, slots=True)
class Doubt:
    """Why no cause is told although one may lead.

    ``nothing_drawn``: nothing that the drawing shows explains the evidence. ``share``: of all that the drawing does not
    show. ``leader``: the repair that leads among what it shows. ``quarrel``: what that leaves unexplained, worst first.
    ``region``: parts near those readings. ``test``: what decides between a second fault, a wrong reading and a wrong
    drawing. ``words``: all of it as sentences.
    """

    nothing_drawn: bool
    share: float
    leader: str
    quarrel: tuple[Reading, ...]
    region: tuple[str, ...]
    test: Measurement | None
    words: tuple[str, ...]


def doubt(situation: Situation, found_at: float) -> Doubt | None:
    """What does not fit, or None where nothing quarrels with what leads."""
    if not situation.seen_wrong:
        return None
    probability = situation.posterior.probability
    outside = outside_share(situation)
    drawn = (name for name in probability if not _is_outside(situation, name) and name != NOTHING_WRONG)
    leader, named = next(drawn, ""), situation.posterior.leading[0]
    half = probability.get(leader, 0.0) >= CHECKED_FROM * (1.0 - outside)
    leads = half and leader in situation.posterior.groups[0]
    outright = named != NOT_IN_MODEL and _is_outside(situation, named)
    against = named if outright else leader if leads else NOTHING_WRONG
    quarrel = quarrelling(situation, against) if leads or outside >= OUTSIDE else ()
    misfit = leads and fits(situation, leader) < MISFIT
    nothing_drawn = outside >= OUTSIDE or (misfit and len(quarrel) > 1)
    left = leads and probability[leader] >= found_at and unexplained(situation, leader)
    if not nothing_drawn and not misfit and not left:
        return None
    undrawn = (name for name in probability if name != NOT_IN_MODEL and _is_outside(situation, name))
    region = _region(situation, quarrel, next(undrawn, leader) if nothing_drawn else leader)
    test, words = _deciding(situation, quarrel), _words(situation, nothing_drawn, against, quarrel, region)
    return Doubt(nothing_drawn, outside, leader, quarrel, region, test, words)


def beyond_the_drawing(situation: Situation, found_at: float) -> tuple[Measurement, ...] | None:
    """What still settles a fault that no drawing shows, and that nothing on the list of such faults explains either.

    None while other tests tell more. The observation that fits worst once more, then a look at the likeliest place;
    after that it is for the hand to follow the wires.
    """
    if not situation.seen_wrong or outside_share(situation) < found_at:
        return None
    probability, named = situation.posterior.probability, situation.posterior.leading[0]
    if named != NOT_IN_MODEL and not quarrels(situation, named):
        return None
    again = {reading.measurement for reading in situation.live if _times(situation, reading.measurement) > 1}
    if len(again) < MADE_AGAIN:
        test = _deciding(situation, quarrelling(situation, NOTHING_WRONG if named == NOT_IN_MODEL else named))
        if test is not None:
            return (test,)
    outside = (name for name in probability if name != NOT_IN_MODEL and _is_outside(situation, name))
    likeliest, told_of = next(outside, ""), situation.wrong or situation.live
    look = Measurement("inspection", likeliest, told_of[0].measurement.state)
    if probability.get(likeliest, 0.0) < WORTH_A_LOOK or look in situation.refused or _times(situation, look):
        return ()
    return (look,)


def _times(situation: Situation, test: Measurement) -> int:
    return sum(
        reading.measurement.quantity == test.quantity
        and reading.measurement == replace(test, state=reading.measurement.state)
        if test.quantity == "inspection"
        else reading.measurement == test
        for reading in situation.live
    )


def _is_outside(situation: Situation, group: str) -> bool:
    leader = situation.posterior.leaders.get(group)
    return group == NOT_IN_MODEL or (leader is not None and leader.first.kind == "undrawn")


def outside_share(situation: Situation) -> float:
    """Probability of all that the drawing does not show."""
    posterior = situation.posterior
    return sum(share for name, share in posterior.probability.items() if _is_outside(situation, name))


def quarrels(situation: Situation, group: str) -> bool:
    """Whether evidence contradicts a repair group so that it can be neither found nor proven."""
    if group not in situation.posterior.groups[0]:
        return False
    return bool(unexplained(situation, group)) or fits(situation, group) < MISFIT


def unexplained(situation: Situation, group: str) -> tuple[Reading, ...]:
    """Symptoms that a repair does not explain, and that no second look has taken back."""
    symptoms = [each for each in situation.live if is_symptom(situation, each) and stands(situation, each)]
    return tuple(each for each, chance in _chances(situation, group, symptoms) if chance < UNLIKELY)


def explained(situation: Situation, group: str) -> tuple[Reading, ...]:
    """Symptoms, told or read, that a repair explains."""
    symptoms = [each for each in situation.live if is_symptom(situation, each)]
    return tuple(each for each, chance in _chances(situation, group, symptoms) if chance >= UNLIKELY)


def stands(situation: Situation, reading: Reading) -> bool:
    """Whether an observation is not taken back by as many others of the same thing."""
    same = [
        other.value
        for other in situation.live
        if other.measurement == reading.measurement and other.present != "no"
    ]
    return 2 * sum(agree(value, reading.value) for value in same) > len(same)


def agree(value: float | str, other: float | str) -> bool:
    """The same word, or numbers within what two readings of one point differ by."""
    if isinstance(value, str) or isinstance(other, str):
        return value == other
    return value == other or abs(value - other) <= AGREE_FLOOR + AGREE_SHARE * abs(other)


def _chances(situation: Situation, group: str, seen: Sequence[Reading]) -> list[tuple[Reading, float]]:
    """Observations, and the chance of each under a repair."""
    weights = weights_of(situation, group)
    logs = situation.posterior.belief.likelihoods(seen)
    return [(each, float((weights * np.exp(log)).sum())) for each, log in zip(seen, logs, strict=True)]


def quarrelling(situation: Situation, group: str) -> tuple[Reading, ...]:
    """Readings of all kinds that a repair explains badly, worst first."""
    live = [
        reading
        for reading in situation.live
        if reading.source != "event" and not isinstance(reading.value, Between)
    ]
    weights = weights_of(situation, group)
    quarrels = []
    for reading, log in zip(live, situation.posterior.belief.likelihoods(live), strict=True):
        expected = forecast(reading.measurement, situation.context)
        # Log of the density, or of the chance of a word, at the likeliest value (C, D).
        if isinstance(expected, Numeric):
            usual = -np.log(expected.sigma * np.sqrt(2 * np.pi))
        else:
            usual = np.log(expected.probability.max(axis=-1))
        surprise = float((weights * (log - usual)).sum())
        if surprise < SURPRISE and stands(situation, reading):
            quarrels.append((surprise, reading))
    return tuple(reading for _, reading in sorted(quarrels, key=lambda item: item[0]))


def fits(situation: Situation, group: str) -> float:
    """Share of readings drawn from a repair's own predictions that fit it as badly as the real ones, or worse."""
    live = [
        reading
        for reading in situation.live
        if reading.present == "yes" and reading.source != "event" and not isinstance(reading.value, Between)
    ]
    if not live:
        return 1.0
    dice = np.random.default_rng(SEED)
    weights = weights_of(situation, group)
    chosen = dice.choice(weights.size, DRAWN, p=weights.ravel())
    real, drawn = np.zeros(DRAWN), np.zeros(DRAWN)
    for reading, log in zip(live, situation.posterior.belief.likelihoods(live), strict=True):
        expected = forecast(reading.measurement, situation.context)
        real += log.ravel()[chosen]
        drawn += _drawn(expected, chosen, dice)
    return float(np.mean(drawn <= real + 1e-9))


def _drawn(expected: Forecast, chosen: NDArray[np.intp], dice: np.random.Generator) -> Floats:
    """Log-likelihood (N,) of a reading drawn from the prediction of each chosen particle."""
    if isinstance(expected, Numeric):
        sigma, ghost = expected.sigma.ravel()[chosen], expected.ghost.ravel()[chosen]
        deviate = dice.standard_normal(len(chosen))
        honest = (
            -0.5 * deviate**2
            - np.log(sigma * np.sqrt(2 * np.pi))
            + np.log((1 - expected.slip) * (1 - ghost) + 1e-9)
        )
        slipped = np.log(expected.slip / (expected.high - expected.low))
        floats = np.log((ghost + 1e-9) / (expected.high - expected.low))
        odd = np.where(dice.random(len(chosen)) < ghost, floats, honest)
        return np.asarray(
            np.where(dice.random(len(chosen)) < expected.slip, np.minimum(slipped, honest), odd)
        )
    table = expected.probability.reshape(-1, len(expected.words))[chosen]
    word = (table.cumsum(axis=1) < dice.random(len(chosen))[:, None] * table.sum(axis=1, keepdims=True)).sum(
        axis=1
    )
    return np.asarray(np.log(table[np.arange(len(chosen)), np.minimum(word, len(expected.words) - 1)]))


def _region(situation: Situation, quarrel: Sequence[Reading], leader: str) -> tuple[str, ...]:
    """Parts where what does not fit was seen, and what its wires join."""
    model = situation.circuit.model
    ends = [end for reading in quarrel for end in (reading.measurement.at, reading.measurement.to) if end]
    named = [word for word in leader.split() if word.partition(".")[0] in model.parts]
    own = [*named, *map(place, ends or (reading.measurement.at for reading in situation.wrong))]
    nets = nets_of(model)
    near = {net for end, net in nets.items() if place(end) in own}
    own += [place(end) for end, net in nets.items() if net in near]
    return tuple(dict.fromkeys(part.partition(".")[0] for part in own if not part.startswith("wire ")))


def _deciding(situation: Situation, quarrel: Sequence[Reading]) -> Measurement | None:
    """The worst of what does not fit, made once more: it stands or falls with that."""
    for reading in quarrel:
        if _times(situation, reading.measurement) < 2 and reading.measurement not in situation.refused:
            return reading.measurement
    return None


def _words(
    situation: Situation, nothing_drawn: bool, leader: str, quarrel: Sequence[Reading], region: Sequence[str]
) -> tuple[str, ...]:
    words = dict.fromkeys(
        evidence_words(reading.measurement, reading.value, situation.circuit) for reading in quarrel[:4]
    )
    lines = [
        "Nothing drawn explains this."
        if nothing_drawn
        else f"{leader} leads, but does not explain all that was seen."
    ]
    known = situation.posterior.leaders.get(leader)
    if nothing_drawn and known is not None and known.first.kind == "undrawn":
        share = situation.posterior.probability[leader]
        lines.append(f"Likeliest of what is not drawn: {known.first.name} ({100 * share:.0f} %).")
    if words:
        said = "Not as in a sound vehicle" if leader == NOTHING_WRONG else f"Does not fit {leader}"
        lines.append(f"{said}: {'; '.join(words)}.")
    if nothing_drawn:
        lines.append(
            f"Look around {', '.join(region[:6])}: wires in each other's places, nets that touch, a joint or consumer "
            "that the drawing does not show."
        )
    else:
        lines.append("A second fault, a wrong reading, or a wrong drawing: the next test decides.")
    return tuple(lines)
