"""What a measurement should show: a number with its error, or the chance of each word, per column and draw."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

from halfsplit.diagnosis.fleet import SceneKey
from halfsplit.diagnosis.hypotheses import STRANGE
from halfsplit.diagnosis.measurement import Measurement
from halfsplit.diagnosis.predict import Memory, Predictor, Scene
from halfsplit.diagnosis.priors import Priors
from halfsplit.quantities import QUANTITIES

Floats = NDArray[np.float64]
Ints = NDArray[np.intp]

SLIP = 0.02
ZERO_SIGMA = 0.02
"""Half of the slips read nothing: volts about zero."""
RESTLESS = 0.5
"""Chance that a reading is anything where a device finds no rest; else it has let go, and stays so."""
WORDS_ERROR = 0.02
NOTHING_SHARE = 0.35
"""What is touched by a fault that no drawing shows reads nothing so often, else the supply's volts or anything."""


def strange_share(unknown: NDArray[np.bool_]) -> Floats:
    """Chance (U, 1) that a reading has to do with what is not drawn, in each column of 'not in this model'.

    Such a fault touches a few points and leaves the rest as in a healthy vehicle. How large the share is, the readings
    of the job tell: there is a column for each.
    """
    return np.asarray(STRANGE)[: int(unknown.sum()), None]


@dataclass(frozen=True)
class NumericAt:
    """A number that is expected at N particles: ``value`` and ``sigma`` (N,), and the range of a slip."""

    value: Floats
    sigma: Floats
    low: float
    high: float


@dataclass(frozen=True)
class WordedAt:
    """``chance`` (N, K) of each of the words at N particles."""

    words: tuple[str, ...]
    chance: Floats


@dataclass(frozen=True)
class Numeric:
    """A number that is expected.

    ``value`` and ``sigma`` (C, D) on the scale that readings are compared on; ``ghost`` (C, D) chance of a floating
    reading; ``slip``: chance of a slip, and ``low``, ``high`` its range; ``unknown`` (C,) columns of what the drawing
    does not show: they predict what a healthy vehicle does, or anything.
    """

    value: Floats
    sigma: Floats
    ghost: Floats
    low: float
    high: float
    unknown: NDArray[np.bool_]
    slip: float = SLIP

    def at(self, chosen: Ints) -> NumericAt:
        """At some particles: what the drawing does not show may read anything."""
        value, sigma = self.value.ravel()[chosen], self.sigma.ravel()[chosen]
        strange = self.unknown[chosen // self.value.shape[1]]
        value[strange], sigma[strange] = 0.5 * (self.low + self.high), 0.29 * (self.high - self.low)
        return NumericAt(value, sigma, self.low, self.high)

    def likelihood(self, reading: float, slipped: Floats | float | None = None) -> Floats:
        """Density of a reading (C, D). ``slipped``: that of a slip, where more is known than that it is anything."""
        if slipped is None:
            slipped = 0.5 * self._nothing(reading) + 0.5 * self._even(reading)
        density = self.honest(reading) + self.slip * slipped
        return self._with_unknown(density, self.anything(reading))

    def anything(self, reading: float) -> float:
        """Density of a reading that a fault outside the drawing has touched."""
        return NOTHING_SHARE * self._nothing(reading, 0.05) + (1 - NOTHING_SHARE) * self._even(reading)

    def _with_unknown(self, density: Floats, anything: float) -> Floats:
        share = strange_share(self.unknown)
        density[self.unknown] = (1 - share) * density[self.unknown] + share * anything
        return np.asarray(density)

    def _nothing(self, reading: float, sigma: float = ZERO_SIGMA) -> float:
        return float(np.exp(-0.5 * ((reading - self.low) / sigma) ** 2) / (sigma * np.sqrt(2 * np.pi)))

    def honest(self, reading: float) -> Floats:
        """The part of the density (C, D) that is no slip of the hand."""
        normal = np.exp(-0.5 * ((reading - self.value) / self.sigma) ** 2) / (self.sigma * np.sqrt(2 * np.pi))
        return np.asarray((1 - self.slip) * ((1 - self.ghost) * normal + self.ghost * self._even(reading)))

    def between(self, low: float, high: float) -> Floats:
        """Chance (C, D) that a reading lies in a range: the integral of ``likelihood``."""
        normal = ndtr((high - self.value) / self.sigma) - ndtr((low - self.value) / self.sigma)
        nothing = float(ndtr((high - self.low) / ZERO_SIGMA) - ndtr((low - self.low) / ZERO_SIGMA))
        inside = np.clip((np.array([low, high]) - self.low) / (self.high - self.low), 0.0, 1.0)
        even = float(inside[1] - inside[0])
        honest = (1 - self.ghost) * normal + self.ghost * even
        chance = np.asarray((1 - self.slip) * honest + self.slip * (0.5 * nothing + 0.5 * even))
        return self._with_unknown(chance, NOTHING_SHARE * nothing + (1 - NOTHING_SHARE) * even)

    def _even(self, reading: float) -> float:
        width = self.high - self.low
        inside = self.low - 0.02 * width <= reading <= self.high + 0.02 * width
        return 1.0 / width if inside else 1e-3 / width


@dataclass(frozen=True)
class Worded:
    """``probability`` (C, D, K) of each of the words."""

    words: tuple[str, ...]
    probability: Floats
    unknown: NDArray[np.bool_]

    def at(self, chosen: Ints) -> WordedAt:
        """At some particles."""
        columns = chosen // self.probability.shape[1]
        chance = self.probability.reshape(-1, len(self.words))[chosen]
        strange = self.unknown[columns]
        share = np.asarray(STRANGE)[(np.cumsum(self.unknown) - 1)[columns[strange]], None]
        chance[strange] = (1 - share) * chance[strange] + share / len(self.words)
        return WordedAt(self.words, chance)

    def likelihood(self, word: str) -> Floats:
        probability = np.array(self.probability[..., self.words.index(word)], dtype=float)
        share = strange_share(self.unknown)
        probability[self.unknown] = (1 - share) * probability[self.unknown] + share * self.anything(word)
        return probability

    def anything(self, word: str) -> float:
        """Chance of a word that a fault outside the drawing has touched: any of them."""
        return 1.0 / len(self.words)


Forecast = Numeric | Worded


@dataclass(frozen=True)
class Context:
    """What a forecast needs besides the measurement."""

    predictor: Predictor
    priors: Priors
    intermittent: bool
    memory: Memory

    def scene(self, measurement: Measurement, *, isolated: bool = False) -> Scene:
        return self.predictor.scene(SceneKey(measurement.state, measurement.changes, isolated), self.memory)

    @property
    def healthy(self) -> int:
        """The column of the vehicle that has nothing wrong."""
        return self.predictor.columns.healthy

    def part(self, columns: Ints) -> tuple[Context, Ints]:
        """The same for a part that has at least these columns, and where they are in it (columns,).

        What it forecasts for them is what the whole would: the healthy vehicle, what is not drawn and the neighbouring
        severities are among its columns.
        """
        every = self.predictor.columns
        always = np.append(np.flatnonzero(every.unknown), every.healthy)
        held = every.with_next_severities(np.union1d(columns, always))
        predictor, place = self.predictor.part(held)
        memory = self.memory.at(predictor.own_columns)
        return replace(self, predictor=predictor, memory=memory), place[np.searchsorted(held, columns)]


def expect_number(
    value: Floats, sigma: Floats, scene: Scene, quantity: str, ghost: Floats | None = None
) -> Numeric:
    """Widen by half the gap to the neighbouring severity and half the spread between draws.

    Not across a fuse that blows or a unit that drops out: what leaves it whole lends no width to what does not. Where a
    device finds no rest, it may have let go for good or the reading may be anything.
    """
    from halfsplit.diagnosis.widths import widen  # compiled code comes in when it is asked for

    value = np.ascontiguousarray(value, dtype=float)
    wide = np.empty_like(value)
    error = np.ascontiguousarray(np.broadcast_to(np.asarray(sigma, dtype=float), value.shape))
    widen(value, error, scene.as_next, scene.regime, wide)
    floats = np.maximum(np.zeros_like(value) if ghost is None else ghost, RESTLESS * scene.restless)
    # Ohms as log10; each gauge has a range of its own.
    low, high = QUANTITIES[quantity].plausible or (0.0, 1.0)
    return Numeric(value, wide, floats, low, high, scene.columns.unknown)


def chance_above(edge: float, width: float, value: Floats) -> Floats:
    """Chance to be judged above an edge."""
    return np.asarray(1.0 / (1.0 + np.exp(-np.clip((value - edge) / width, -40, 40))))


def expect_words(
    scene: Scene,
    words: tuple[str, ...],
    upper: Floats,
    lower: Floats,
    error: float = WORDS_ERROR,
) -> Worded:
    """Three words in falling order from the chances to be above two edges."""
    probability = np.stack([upper, np.maximum(lower - upper, 0.0), 1.0 - np.maximum(lower, upper)], axis=-1)
    return Worded(words, (1 - 1.5 * error) * probability + 0.5 * error, scene.columns.unknown)


def expect_first(chance: Floats, scene: Scene, words: tuple[str, str]) -> Worded:
    """Two words from the chance (C, D) that the first is told."""
    return Worded(words, np.stack([chance, 1 - chance], axis=-1), scene.columns.unknown)


def expect_yes_no(
    yes: Floats, scene: Scene, words: tuple[str, str] = ("yes", "no"), error: float = WORDS_ERROR
) -> Worded:
    """Two words from the chance that the first is right, told wrongly now and then."""
    return expect_first(error + (1 - 2 * error) * np.asarray(yes, dtype=float), scene, words)
