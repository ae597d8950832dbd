"""Prior → posterior over all columns and draws, in log space.

The posterior is a function of the set of readings: it is summed anew from the likelihoods kept for each, in the
order of their names, so that striking one out gives exactly what there would be without it, and order does not
matter.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from halfsplit.diagnosis.evidence import anything_at, forecast, fuse_seen, log_likelihood, scale
from halfsplit.diagnosis.expected import SLIP, WORDS_ERROR, Context, Forecast, strange_share
from halfsplit.diagnosis.fleet import SceneKey
from halfsplit.diagnosis.hypotheses import Columns, Hypothesis
from halfsplit.diagnosis.measurement import Between, Measurement, Reading, answers_for

Floats = NDArray[np.float64]

NOT_STEADY = ("inspection", "event", "wiggle")
"""What depends on the eyes and the hand: made again it may well show another thing."""
FEED_OFF = "ohms"
"""What is measured with the feed isolated: no fuse blows meanwhile."""
UNSTEADY = 0.2
"""Share of what is not drawn that shows something else each time."""
AGAIN_FLOOR, AGAIN_SHARE = 0.05, 0.02
"""By how much a number that is read again differs."""
SLIPPED = 0.1
"""Density of a reading that a slip of the hand has spoilt, on the scale on which it is compared."""
FORECASTS_KEPT, STRANGE_KEPT, MEMORIES_KEPT = 4, 64, 4
"""Forecasts of measurements that are kept, likelihoods of what is not drawn, and vehicles with other fuses blown."""
FRESH_LOOK = 0.11
"""Weight of what is seen anew against each earlier look: the second look repeats the first in nine of ten."""


class Belief:
    """Weights of all particles given some readings. Likelihoods are kept by reading."""

    def __init__(self, context: Context, hypotheses: tuple[Hypothesis, ...]) -> None:
        self.hypotheses = hypotheses
        self._prior = np.array([hypothesis.prior for hypothesis in hypotheses])
        self._heard = Heard(context)
        self._after = {context.memory.token: self._heard}
        self._latest: tuple[tuple[Reading, ...], list[Floats]] = ((), [])

    @property
    def context(self) -> Context:
        return self._heard.context

    @property
    def columns(self) -> Columns:
        return self.context.predictor.columns

    @property
    def prior(self) -> Floats:
        """Prior probability of each column (C,); predictors are shared between jobs whose priors differ."""
        return np.maximum(self._prior[self.columns.hypothesis] * self.columns.share, 1e-300)

    def likelihoods(self, readings: Sequence[Reading]) -> list[Floats]:
        """Log-likelihood (C, D) of each reading."""
        if self._latest[0] != tuple(readings):
            self._latest = tuple(readings), self._worked_out(readings)
        return self._latest[1]

    def _worked_out(self, readings: Sequence[Reading]) -> list[Floats]:
        powered = [reading.measurement for reading in readings if reading.measurement.quantity != FEED_OFF]
        used = {SceneKey(each.state, each.changes) for each in powered}
        circuit = self.context.predictor.circuit
        if any(fuse_seen(reading, circuit) == "yes" for reading in readings):
            # It may have blown in any state in which the vehicle was used before it came in.
            used |= {SceneKey(state) for state in circuit.states}
        memory = self.context.predictor.memory(used)
        if memory.token != self.context.memory.token:
            if memory.token not in self._after:
                while len(self._after) >= MEMORIES_KEPT:
                    self._after.pop(next(iter(self._after)))
                self._after[memory.token] = Heard(replace(self.context, memory=memory))
            self._heard = self._after[memory.token]
        logs = correlated(readings, [self._heard.log(reading) for reading in readings])
        return self._made_again(readings, logs)

    def _made_again(self, readings: Sequence[Reading], logs: list[Floats]) -> list[Floats]:
        """The likelihoods where what is not drawn touches a measurement, not each reading of it.

        In the columns of 'not in this model' a reading that is made again shows the same again.
        """
        unknown = np.flatnonzero(self.columns.unknown)
        if not len(unknown):
            return logs
        share, logs_then = strange_share(np.ones(len(unknown), dtype=bool)), list(logs)
        before: dict[Measurement, tuple[list[Reading], Floats, Floats | float]] = {}
        for number, reading in enumerate(readings):
            if not self._heard.repeats(reading):
                continue
            same, sound, was = before.get(reading.measurement, ([], np.zeros(1), 0.0))
            sound = sound + self._heard.log(reading)[self.context.healthy]
            now = np.logaddexp(
                np.log(1 - share) + sound, np.log(share) + self._heard.anything([*same, reading])
            )
            if same:
                logs_then[number] = logs_then[number].copy()
                logs_then[number][unknown] = now - was
            before[reading.measurement] = [*same, reading], sound, now
        return logs_then

    def strangeness(self, readings: Sequence[Reading], share: float) -> Floats:
        """Log-likelihood (C, D) of all readings where this share of measurements has to do with what is not drawn."""
        groups: dict[object, list[tuple[Reading, Floats]]] = {}
        for reading, log in zip(readings, self.likelihoods(readings), strict=True):
            key = reading.measurement if self._heard.repeats(reading) else reading
            groups.setdefault(key, []).append((reading, log))
        total = np.zeros((len(self.columns), len(self.context.predictor.draws)))
        for some in groups.values():
            total += self._heard.strange(some, share)
        return total

    def log_weights(self, readings: Sequence[Reading]) -> Floats:
        """Log of prior times likelihoods of each particle (C, D), not normalised; readings in the order given."""
        draws = len(self.context.predictor.draws)
        log = np.repeat((np.log(self.prior) - np.log(draws))[:, None], draws, axis=1)
        for likelihood in self.likelihoods(readings):
            log = log + likelihood
        return np.asarray(log)


class WiderBelief(Belief):
    """A belief and more hypotheses behind its own; what is known of its own is not worked out again.

    ``more``: their belief. Its first hypothesis is the healthy vehicle, which ``base`` has as well.
    """

    def __init__(self, base: Belief, more: Belief) -> None:
        self._parts = base, more
        predictor = base.context.predictor.and_more(more.context.predictor)
        super().__init__(
            replace(base.context, predictor=predictor, memory=predictor.whole),
            (*base.hypotheses, *more.hypotheses[1:]),
        )
        self._context = self._heard.context

    @property
    def context(self) -> Context:
        return self._context

    def _worked_out(self, readings: Sequence[Reading]) -> list[Floats]:
        base, more = (each.likelihoods(readings) for each in self._parts)
        own, other = (each.context.memory.blown for each in self._parts)
        memory = self._context.predictor.remembering(np.concatenate([own, other[:, 1:]], axis=1))
        self._context = replace(self._context, memory=memory)
        return [np.concatenate([log, other[1:]]) for log, other in zip(base, more, strict=True)]

    def strangeness(self, readings: Sequence[Reading], share: float) -> Floats:
        base, more = (each.strangeness(readings, share) for each in self._parts)
        return np.concatenate([base, more[1:]])


class Heard:
    """What readings mean to a vehicle that has blown the same fuses: likelihoods, kept by reading."""

    def __init__(self, context: Context) -> None:
        self.context = context
        self._logs: dict[Reading, Floats] = {}
        self._forecasts: dict[Measurement, Forecast] = {}
        self._strange: dict[tuple[float, tuple[Reading, ...]], Floats] = {}
        self._anything: dict[Reading, float] = {}
        self._series: dict[Measurement, Series] = {}

    def log(self, reading: Reading) -> Floats:
        """Log-likelihood (C, D) of a reading by itself."""
        if reading not in self._logs:
            self._logs[reading] = log_likelihood(reading, self._forecast(reading.measurement), self.context)
        return self._logs[reading]

    def _forecast(self, measurement: Measurement) -> Forecast:
        """The forecast of a measurement, which may have several results; those of the latest few are kept."""
        if measurement not in self._forecasts:
            while len(self._forecasts) >= FORECASTS_KEPT:
                self._forecasts.pop(next(iter(self._forecasts)))
            self._forecasts[measurement] = forecast(measurement, self.context)
        return self._forecasts[measurement]

    def strange(self, some: Sequence[tuple[Reading, Floats]], share: float) -> Floats:
        """Log-likelihood (C, D) of readings of one measurement that this share of the undrawn has to do with."""
        if some[0][0].measurement.quantity in NOT_STEADY:  # a look depends on the looks before it
            return self._strange_or_sound(some, share)
        key = share, tuple(reading for reading, _ in some)
        if key not in self._strange:
            while len(self._strange) >= STRANGE_KEPT:
                self._strange.pop(next(iter(self._strange)))
            self._strange[key] = self._strange_or_sound(some, share)
        return self._strange[key]

    def _strange_or_sound(self, some: Sequence[tuple[Reading, Floats]], share: float) -> Floats:
        if some[0][0].present == "no":
            return some[0][1]
        sound = np.sum([log for _, log in some], axis=0)
        anything = self.anything([reading for reading, _ in some])
        return np.asarray(np.logaddexp(np.log(1 - share) + sound, np.log(share) + anything))

    def repeats(self, reading: Reading) -> bool:
        """Whether this reading made again would show the same again, whatever the fault."""
        steady = reading.present == "yes" or (reading.present != "no" and not self.context.intermittent)
        return steady and reading.measurement.quantity not in NOT_STEADY

    def anything(self, readings: Sequence[Reading]) -> float:
        """Log-likelihood of readings of one measurement that a fault outside the drawing touches.

        Any one of them is anything, the others are that again: each takes its turn. Now and then it shows something
        else each time. What is known of the first few is gone on from, since a record is asked for reading by reading.
        """
        known = self._series.get(readings[0].measurement)
        if known is None or known.readings[: len(readings)] != list(readings[: len(known.readings)]):
            known = self._series[readings[0].measurement] = Series()
        for reading in readings[len(known.readings) :]:
            if reading not in self._anything:
                self._anything[reading] = anything_at(reading, self._forecast(reading.measurement))
            known.add(reading, self._anything[reading])
        return known.logs[len(readings) - 1]


@dataclass
class Series:
    """Readings of one measurement in their order, and the log-likelihood of the first, the first two and so on.

    ``first``: log-likelihood of each if it is anything; ``others``: of all others where it shows what is there.
    """

    readings: list[Reading] = field(default_factory=list)
    first: list[float] = field(default_factory=list)
    others: list[float] = field(default_factory=list)
    logs: list[float] = field(default_factory=list)

    def add(self, reading: Reading, first: float) -> None:
        """Take one more reading, compared once with each that is there."""
        for number, other in enumerate(self.readings):
            self.others[number] += again(reading, other)
        self.others.append(sum(again(other, reading) for other in self.readings))
        self.readings.append(reading)
        self.first.append(first)
        turns = [own + others for own, others in zip(self.first, self.others, strict=True)]
        highest = max(turns)  # hundreds of times a reading: arrays would take longer
        steady = highest + math.log(sum(math.exp(turn - highest) for turn in turns) / len(turns))
        unsteady = sum(self.first)
        most, least = sorted((math.log(1 - UNSTEADY) + steady, math.log(UNSTEADY) + unsteady), reverse=True)
        self.logs.append(most + math.log1p(math.exp(least - most)))


def again(reading: Reading, other: Reading) -> float:
    """Log-likelihood of a reading where another of the same measurement shows what is there."""
    if isinstance(reading.value, Between) or isinstance(other.value, Between):
        return 0.0
    if isinstance(reading.value, str) or isinstance(other.value, str):
        agrees, words = reading.value == other.value, len(answers_for(reading.measurement))
        return math.log(1 - WORDS_ERROR if agrees else WORDS_ERROR / max(words - 1, 1))
    value, shown = (scale(each.measurement, each.number) for each in (reading, other))
    sigma = AGAIN_FLOOR + AGAIN_SHARE * abs(shown)
    normal = math.exp(-0.5 * ((value - shown) / sigma) ** 2) / (sigma * math.sqrt(2 * math.pi))
    return math.log((1 - SLIP) * normal + SLIP * SLIPPED)


def correlated(readings: Sequence[Reading], logs: Sequence[Floats]) -> list[Floats]:
    """The likelihoods with each further look at a place depending on the looks before.

    Who looks again sees mostly the same: a Pólya urn (Blackwell and MacQueen, Annals of Statistics 1, 1973), in which
    the order of looks does not matter.
    """
    independent, seen = [], dict[tuple[object, ...], list[float | str]]()
    for reading, log in zip(readings, logs, strict=True):
        place = reading.measurement
        if place.quantity != "inspection" or reading.present == "no":
            independent.append(log)
            continue
        before = seen.setdefault((place.at, place.detail), [])
        same = sum(value == reading.value for value in before)
        independent.append(
            np.log((FRESH_LOOK * np.exp(log) + same) / (FRESH_LOOK + len(before))) if before else log
        )
        before.append(reading.value)
    return independent
