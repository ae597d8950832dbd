"""Reading + instrument error → log-likelihood of every column and draw.

``forecast`` tells what a measurement should show: a ``Numeric`` (value and standard deviation per column and draw) or a
``Worded`` (probability of each word). The likelihood of a reading follows; no reading takes any hypothesis to
zero: a probe slips in 2 of 100 readings (rulings 12).
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

from halfsplit.circuit.faults import NOTHING_WRONG, Fault
from halfsplit.circuit.instruments import INSTRUMENTS
from halfsplit.circuit.kinds import LOADS
from halfsplit.circuit.network import UnknownNameError
from halfsplit.diagnosis.measurement import Between, Measurement, Reading
from halfsplit.diagnosis.predict import Memory, Predictor, Scene, SceneKey
from halfsplit.diagnosis.priors import Priors

Floats = NDArray[np.float64]

SLIP = 0.02
ZERO_SIGMA = 0.02
"""Half of the slips read nothing: volts about zero."""
GHOST = 0.15
GHOST_OHMS = 2e5
"""A point behind more than this reads anything from 0 to the feed in 15 % (field.md 10)."""
CHATTER_SIGMA = 3.0
RANGES: Mapping[str, tuple[float, float]] = {
    "volts": (0.0, 15.0),
    "amps": (0.0, 30.0),
    "ohms": (-1.0, 8.0),
    "duty": (0.0, 1.0),
    "hertz": (0.0, 1000.0),
}
"""Over which a slip is spread evenly; ohms as log10."""
OHMS_OFFSET, OHMS_CEILING, OHMS_SIGMA = 0.1, 1e8, 0.03
"""Ohms are compared as log10(ohm + offset), OL as the ceiling."""
FEWEST_CARS = 4
COARSE_SHARE, COARSE_FLOOR = 0.04, 0.1
"""Spread between cars where only the nominal one was solved."""
WORDS_ERROR = 0.02
INSPECTION_FALSE_ALARM = 0.03
FUSE_SEEN = 0.95
"""Chance that a look at a fuse shows that it is blown."""
ABSENT = 0.5
"""Chance that an intermittent fault is away during a test of which nobody says whether it was there."""
EVENT_FACTOR = 10.0


@dataclass(frozen=True)
class Numeric:
    """``value`` and ``sigma`` (C, D) on the scale that readings are compared on; ``ghost`` (C, D) chance of a floating
    reading; ``low``, ``high``: range of a slip; ``unknown`` (C,) columns that predict nothing.
    """

    value: Floats
    sigma: Floats
    ghost: Floats
    low: float
    high: float
    unknown: NDArray[np.bool_]

    def likelihood(self, reading: float) -> Floats:
        """Density of a reading (C, D)."""
        nothing = np.exp(-0.5 * ((reading - self.low) / ZERO_SIGMA) ** 2) / (ZERO_SIGMA * np.sqrt(2 * np.pi))
        even = self._even(reading)
        density = self.honest(reading) + SLIP * (0.5 * nothing + 0.5 * even)
        density[self.unknown] = even
        return density

    def honest(self, reading: float) -> Floats:
        """The part of the density (C, D) that is no slip of the hand."""
        normal = np.exp(-0.5 * ((reading - self.value) / self.sigma) ** 2) / (self.sigma * np.sqrt(2 * np.pi))
        return np.asarray((1 - SLIP) * ((1 - self.ghost) * normal + self.ghost * self._even(reading)))

    def between(self, low: float, high: float) -> Floats:
        """Chance (C, D) that a reading lies in a range: the integral of ``likelihood``."""
        normal = ndtr((high - self.value) / self.sigma) - ndtr((low - self.value) / self.sigma)
        nothing = ndtr((high - self.low) / ZERO_SIGMA) - ndtr((low - self.low) / ZERO_SIGMA)
        inside = np.clip((np.array([low, high]) - self.low) / (self.high - self.low), 0.0, 1.0)
        even = float(inside[1] - inside[0])
        honest = (1 - self.ghost) * normal + self.ghost * even
        chance = np.asarray((1 - SLIP) * honest + SLIP * (0.5 * float(nothing) + 0.5 * even))
        chance[self.unknown] = even
        return chance

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

    def likelihood(self, word: str) -> Floats:
        probability = np.array(self.probability[..., self.words.index(word)], dtype=float)
        probability[self.unknown] = 1.0 / len(self.words)
        return probability


Forecast = Numeric | Worded


@dataclass(frozen=True)
class Context:
    """What a forecast needs besides the measurement. ``coarse``: one nominal car stands for all, so that the spread
    between cars is added to every reading's error.
    """

    predictor: Predictor
    priors: Priors
    intermittent: bool
    memory: Memory
    coarse: bool = False

    def scene(self, measurement: Measurement, *, isolated: bool = False) -> Scene:
        return self.predictor.scene(SceneKey(measurement.state, measurement.changes, isolated), self.memory)


def forecast(measurement: Measurement, context: Context) -> Forecast:
    """What the measurement shows under every column and draw. Raises UnknownNameError for an unknown point."""
    return FORECASTS[measurement.quantity](measurement, context)


def scale(measurement: Measurement, value: float) -> float:
    """A reading on the scale on which it is compared: ohms are logarithmic."""
    if measurement.quantity != "ohms":
        return value
    return float(np.log10(min(max(value, 0.0), OHMS_CEILING) + OHMS_OFFSET))


def unscale(measurement: Measurement, value: float) -> float:
    if measurement.quantity != "ohms":
        return value
    return float("inf") if value > np.log10(OHMS_CEILING) - 0.5 else max(0.0, 10.0**value - OHMS_OFFSET)


def log_likelihood(reading: Reading, context: Context) -> Floats:
    """Log-likelihood (C, D) of a reading, with the chance that the fault was not there."""
    expected = forecast(reading.measurement, context)
    given = _likelihood(reading, expected)
    away = {"yes": 0.0, "no": 1.0, "unknown": ABSENT if context.intermittent else 0.0}[reading.present]
    if away and reading.measurement.quantity not in ("inspection", "event", "wiggle"):
        columns = context.predictor.columns
        healthy = given[_healthy(context)]
        given = (1 - away) * given + away * np.broadcast_to(healthy, given.shape)
        given[expected.unknown] = given[expected.unknown] if away < 1 else healthy
        assert len(given) == len(columns)
    return np.asarray(np.log(np.maximum(given, 1e-300)))


def _likelihood(reading: Reading, expected: Forecast) -> Floats:
    """Density of a number, chance of a range or of a word (C, D)."""
    if isinstance(expected, Worded):
        return expected.likelihood(str(reading.value))
    if isinstance(reading.value, Between):
        ends = (reading.value.low, reading.value.high)
        return expected.between(
            *(scale(reading.measurement, end) if np.isfinite(end) else end for end in ends)
        )
    return expected.likelihood(scale(reading.measurement, reading.number))


def _healthy(context: Context) -> int:
    columns = context.predictor.columns
    return next(
        number
        for number, index in enumerate(columns.hypothesis)
        if columns.hypotheses[index].first.name == NOTHING_WRONG
    )


def _numeric(
    value: Floats, sigma: Floats, scene: Scene, quantity: str, ghost: Floats | None = None
) -> Numeric:
    """Widen by half the gap to the neighbouring severity and half the spread between draws (rulings 11)."""
    value = np.asarray(value, dtype=float)
    step = np.where(scene.columns.same_as_next[:, None], np.abs(np.diff(value, axis=0)), 0.0)
    none = np.zeros((1, value.shape[1]))
    gap = np.maximum(np.vstack([none, step]), np.vstack([step, none]))
    coarse = COARSE_SHARE * np.abs(value) + COARSE_FLOOR
    spread = value.std(axis=1, keepdims=True) if value.shape[1] >= FEWEST_CARS else coarse
    wide = np.sqrt(np.asarray(sigma, dtype=float) ** 2 + (0.5 * gap) ** 2 + (0.5 * spread) ** 2)
    wide = np.where(scene.chattering, np.maximum(wide, CHATTER_SIGMA), wide)
    low, high = RANGES[quantity]
    return Numeric(value, wide, np.zeros_like(value) if ghost is None else ghost, low, high, scene.unknown)


def _volts(measurement: Measurement, context: Context) -> Numeric:
    scene = context.scene(measurement)
    network = scene.circuit.network
    a = network.node(measurement.at)
    b = network.size if measurement.to is None else network.node(measurement.to)
    used = INSTRUMENTS[measurement.instrument or "meter"]
    value = np.asarray(scene.read(a, b, used), dtype=float)
    ghost = np.zeros_like(value)
    if b == network.size and used.ohms and used.ohms > 1e5:
        ghost = np.where(scene.source(a) > GHOST_OHMS, GHOST, 0.0)
    return _numeric(value, used.share * np.abs(value) + used.floor, scene, "volts", ghost)


def _amps(measurement: Measurement, context: Context) -> Numeric:
    scene = context.scene(measurement)
    value = np.asarray(scene.amps(scene.circuit.network.element(measurement.at)), dtype=float)
    used = INSTRUMENTS["clamp"]
    return _numeric(value, used.share * np.abs(value) + used.floor, scene, "amps")


def _ohms(measurement: Measurement, context: Context) -> Numeric:
    scene = context.scene(measurement, isolated=True)
    network = scene.circuit.network
    a = network.node(measurement.at)
    b = network.size if measurement.to is None else network.node(measurement.to)
    ohms = np.clip(np.asarray(scene.port_ohms(a, b), dtype=float), 0.0, OHMS_CEILING)
    value = np.log10(ohms + OHMS_OFFSET)
    return _numeric(value, np.full_like(value, OHMS_SIGMA), scene, "ohms")


def _soft(edge: float, width: float, value: Floats) -> Floats:
    """Chance to be judged above an edge."""
    return np.asarray(1.0 / (1.0 + np.exp(-np.clip((value - edge) / width, -40, 40))))


def _worded(
    measurement: Measurement,
    scene: Scene,
    words: tuple[str, ...],
    upper: Floats,
    lower: Floats,
    error: float = WORDS_ERROR,
) -> Worded:
    """Three words in falling order from the chances to be above two edges."""
    probability = np.stack([upper, np.maximum(lower - upper, 0.0), 1.0 - np.maximum(lower, upper)], axis=-1)
    return Worded(words, (1 - 1.5 * error) * probability + 0.5 * error, scene.unknown)


def _yes_no(yes: Floats, scene: Scene, words: tuple[str, str], error: float = WORDS_ERROR) -> Worded:
    chance = error + (1 - 2 * error) * np.asarray(yes, dtype=float)
    return Worded(words, np.stack([chance, 1.0 - chance], axis=-1), scene.unknown)


def _works(measurement: Measurement, context: Context) -> Worded:
    scene = context.scene(measurement)
    part = scene.circuit.parts.get(measurement.at)
    if part is None:
        raise UnknownNameError(f"there is no part {measurement.at!r} in this circuit")
    if part.kind in LOADS:
        share = np.asarray(scene.works(measurement.at), dtype=float)
        return _worded(
            measurement, scene, ("yes", "weak", "no"), _soft(0.88, 0.025, share), _soft(0.2, 0.03, share)
        )
    fed = np.asarray(scene.fed(part.name), dtype=float) if part.kind == "module" else np.ones(scene.shape)
    return _worded(measurement, scene, ("yes", "weak", "no"), fed, fed)


def _lamp(measurement: Measurement, context: Context) -> Worded:
    scene = context.scene(measurement)
    network = scene.circuit.network
    a = network.node(measurement.at)
    b = network.size if measurement.to is None else network.node(measurement.to)
    volts = np.abs(
        np.asarray(scene.read(a, b, INSTRUMENTS[measurement.instrument or "test lamp"]), dtype=float)
    )
    return _worded(
        measurement, scene, ("bright", "dim", "dark"), _soft(9.0, 0.6, volts), _soft(2.5, 0.4, volts)
    )


def _answers(measurement: Measurement, context: Context) -> Worded:
    scene = context.scene(measurement)
    return _yes_no(scene.answers(measurement.at).astype(float), scene, ("yes", "no"))


def _stage(measurement: Measurement, context: Context) -> Forecast:
    scene = context.scene(measurement)
    holds = scene.holds(measurement.at)
    stage = scene.circuit.model.stages[measurement.at]
    if stage.good is None or stage.bad is None:
        return _yes_no(holds.astype(float), scene, ("yes", "no"))
    value = np.where(holds, stage.good, stage.bad)
    span = abs(stage.good - stage.bad) or 1.0
    numeric = _numeric(value, np.full_like(value, 0.1 * span), scene, "volts")
    low, high = min(stage.good, stage.bad), max(stage.good, stage.bad)
    return Numeric(
        numeric.value, numeric.sigma, numeric.ghost, low - 0.2 * span, high + 0.5 * span, numeric.unknown
    )


def _duty(measurement: Measurement, context: Context) -> Numeric:
    scene = context.scene(measurement)
    duty, hertz = scene.switching(measurement.at)
    if measurement.quantity == "duty":
        return _numeric(duty, np.full(duty.shape, 0.01), scene, "duty")
    return _numeric(hertz, 0.01 * hertz + 0.5, scene, "hertz")


def _blown(measurement: Measurement, context: Context) -> Worded:
    scene = context.scene(measurement)
    blown = _is_blown(measurement.at, scene, context)
    if blown is None:
        raise UnknownNameError(f"there is no fuse {measurement.at!r} in this circuit")
    return _yes_no(blown, scene, ("yes", "no"))


def _is_blown(name: str, scene: Scene, context: Context) -> Floats | None:
    """Whether a fuse is open inside (C, D): by itself, or blown now or in a state that was used before."""
    network = scene.circuit.network
    names = [network.elements[fuse].name for fuse in network.fuses]
    if name not in names:
        return None
    row = names.index(name)
    blown = (scene.blown()[row] | context.memory.blown[row]).astype(float)
    own = [
        any(one.part == name and one.mode == "open" for one in (fault.members or (fault,)))
        for fault in _faults(scene)
    ]
    blown[np.array(own, dtype=bool)] = 1.0
    return blown


def _faults(scene: Scene) -> tuple[Fault, ...]:
    return scene.columns.faults


def _inspection(measurement: Measurement, context: Context) -> Worded:
    """A look finds what is at the place itself, and with less chance what is at the contacts of the part."""
    scene = context.scene(Measurement("inspection", measurement.at, measurement.state))
    if measurement.detail and measurement.detail[0] != "pin drag":
        # Something ticked off (coding, a latch cleared): needed for a proof, says nothing about the suspects.
        even = np.full((*scene.shape, 2), 0.5)
        return Worded(("good", "bad"), even, scene.unknown)
    bad = np.zeros(len(scene.columns))
    for number, fault in enumerate(_faults(scene)):
        for one in fault.members or (fault,):
            if one.part == measurement.at:
                bad[number] = max(bad[number], context.priors.seen(one))
            elif one.part.partition(".")[0] == measurement.at:
                bad[number] = max(bad[number], 0.7 * context.priors.seen(one))
    chance = np.maximum(bad, INSPECTION_FALSE_ALARM)[:, None] * np.ones(scene.shape)
    blown = _is_blown(measurement.at, scene, context)
    if blown is not None:
        chance = np.maximum(chance, FUSE_SEEN * blown)
    return Worded(("good", "bad"), np.stack([1 - chance, chance], axis=-1), scene.unknown)


def _wiggle(measurement: Measurement, context: Context) -> Worded:
    """A jump while a place is moved is strong evidence for it, none is weak (field.md 2)."""
    scene = context.scene(Measurement("wiggle", measurement.at, measurement.state))
    there = np.array(
        [
            any(
                measurement.at in one.touches or one.part == measurement.at
                for one in (fault.members or (fault,))
            )
            for fault in _faults(scene)
        ]
    )
    chance = np.where(there, 0.6 if context.intermittent else 0.2, WORDS_ERROR)[:, None] * np.ones(
        scene.shape
    )
    return Worded(("yes", "no"), np.stack([chance, 1 - chance], axis=-1), scene.unknown)


def _event(measurement: Measurement, context: Context) -> Worded:
    """'It came (or went) when I touched this': raises the place touched."""
    scene = context.scene(Measurement("event", measurement.at, measurement.state))
    there = np.array(
        [
            any(
                measurement.at in one.touches or one.part == measurement.at
                for one in (fault.members or (fault,))
            )
            for fault in _faults(scene)
        ]
    )
    chance = np.where(there, 0.5, 0.5 / EVENT_FACTOR)[:, None] * np.ones(scene.shape)
    return Worded(("yes", "no"), np.stack([chance, 1 - chance], axis=-1), scene.unknown)


def _code(measurement: Measurement, context: Context) -> Worded:
    """A unit sets a code by what it sees at a pin. Kinds: circuit low, high, open, range; lost communication."""
    scene = context.scene(measurement)
    kind, pin = measurement.detail[0], measurement.detail[1] if len(measurement.detail) > 1 else None
    sets = CODE_KINDS.get(kind, _out_of_range)(scene, measurement.at, pin, _healthy(context))
    chance = np.where(sets, 0.9, 0.03)
    return Worded(("set", "not set"), np.stack([chance, 1 - chance], axis=-1), scene.unknown)


def _pin_volts(scene: Scene, unit: str, pin: str | None, healthy: int) -> tuple[Floats, Floats]:
    network = scene.circuit.network
    node = network.node(f"{unit}.{pin}:part")
    volts = np.asarray(scene.volts(node, network.size), dtype=float)
    return volts, np.broadcast_to(volts[healthy], volts.shape)


def _low(scene: Scene, unit: str, pin: str | None, healthy: int) -> NDArray[np.bool_]:
    volts, normal = _pin_volts(scene, unit, pin, healthy)
    return np.asarray(volts < normal - np.maximum(0.3 * np.abs(normal), 0.5))


def _high(scene: Scene, unit: str, pin: str | None, healthy: int) -> NDArray[np.bool_]:
    volts, normal = _pin_volts(scene, unit, pin, healthy)
    return np.asarray(volts > normal + np.maximum(0.15 * np.abs(normal), 0.5))


def _out_of_range(scene: Scene, unit: str, pin: str | None, healthy: int) -> NDArray[np.bool_]:
    if pin is None:
        return np.zeros(scene.shape, dtype=bool)
    return _low(scene, unit, pin, healthy) | _high(scene, unit, pin, healthy)


def _open(scene: Scene, unit: str, pin: str | None, healthy: int) -> NDArray[np.bool_]:
    amps = np.abs(np.asarray(scene.amps(scene.circuit.network.element(f"{unit}.{pin}")), dtype=float))
    normal = np.broadcast_to(amps[healthy], amps.shape)
    return np.asarray(amps < 0.3 * normal)


def _lost(scene: Scene, unit: str, pin: str | None, healthy: int) -> NDArray[np.bool_]:
    other = pin if pin in scene.circuit.parts else unit
    return ~scene.answers(str(other))


CODE_KINDS: Mapping[str, Callable[[Scene, str, str | None, int], NDArray[np.bool_]]] = {
    "circuit low": _low,
    "circuit high": _high,
    "circuit open": _open,
    "circuit range": _out_of_range,
    "lost communication": _lost,
    "supply low": _low,
    "supply high": _high,
}

FORECASTS: Mapping[str, Callable[[Measurement, Context], Forecast]] = {
    "volts": _volts,
    "amps": _amps,
    "ohms": _ohms,
    "lamp": _lamp,
    "works": _works,
    "answers": _answers,
    "code": _code,
    "inspection": _inspection,
    "stage": _stage,
    "duty": _duty,
    "hertz": _duty,
    "wiggle": _wiggle,
    "blown": _blown,
    "event": _event,
}
