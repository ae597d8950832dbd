"""What a voltmeter shows when the hand slips, as it does at a bay.

The probe does not touch (nothing), it touches the feed or the pin beside, one lead alone is where it should be, the
leads are swapped, the vehicle is in another state (ignition not on), millivolts are taken for volts. Shares are
judgement: common practice, no source.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from halfsplit.diagnosis.expected import Context, Floats, Numeric
from halfsplit.diagnosis.measurement import Measurement, Reading
from halfsplit.diagnosis.predict import Scene
from halfsplit.diagnosis.solved import Readings

NOTHING, FEED, ONE_LEAD, SWAPPED = 0.22, 0.12, 0.12, 0.12
BESIDE, STATE, UNIT, ANYTHING = 0.12, 0.12, 0.06, 0.12
ZERO_SIGMA, SIGMA = 0.03, 0.08


def slip_density(reading: Reading, context: Context, expected: Numeric) -> Floats:
    """Density (C, D) of a reading in volts, given that the hand slipped."""
    value, place = reading.number, reading.measurement
    scene = context.scene(place)
    width = expected.high - expected.low
    total = NOTHING * _normal(value, 0.0, ZERO_SIGMA) + ANYTHING / width * np.ones(scene.shape)
    shares = list(_meant(place, context, scene, expected))
    # What cannot happen at this place (no pin beside it, no other state) leaves its share to the rest.
    scale = (1.0 - NOTHING - ANYTHING) / sum(share for share, _ in shares)
    for share, shown in shares:
        total = total + scale * share * _normal(
            value, np.asarray(shown, dtype=float), SIGMA + 0.01 * abs(value)
        )
    return np.asarray(total)


def _normal(value: float, mean: Floats | float, sigma: float) -> Floats:
    return np.asarray(np.exp(-0.5 * ((value - mean) / sigma) ** 2) / (sigma * np.sqrt(2 * np.pi)))


def _meant(
    place: Measurement, context: Context, scene: Scene, expected: Numeric
) -> Iterator[tuple[float, Floats | Readings]]:
    """Each way to slip with its share, and what is shown then (C, D)."""
    network, size = scene.circuit.network, scene.circuit.network.size
    a, b = network.between(place.at, place.to)
    feed = [element.u[0] for element in network.elements if element.role in ("battery", "generator")][:1]
    beside = _beside(place.at, scene)
    asked = (a, b, *(network.index[post] for post in feed), *beside)
    scene.fill("volts", [node for node in asked if node != size])
    for post in feed:
        yield FEED, scene.volts(network.index[post], size)[context.healthy][None]
    if b != size:
        yield 0.5 * ONE_LEAD, scene.volts(a, size)
        yield 0.5 * ONE_LEAD, scene.volts(b, size)
    yield SWAPPED, -expected.value
    for node in beside:
        yield BESIDE / len(beside), scene.volts(node, b)
    rest = next(iter(scene.circuit.states))
    if rest != place.state:
        # What a healthy vehicle shows there will do: hardly a fault is seen in a state in which nothing runs.
        healthy = scene.circuit.solve(rest, changes=place.changes)
        yield STATE, np.full((1, 1), healthy.volts(place.at, place.to))
    yield 0.5 * UNIT, 1000.0 * expected.value
    yield 0.5 * UNIT, 0.001 * expected.value


def _beside(point: str, scene: Scene) -> list[int]:
    """The pins next to a point in its plug, on the same side."""
    where, colon, side = point.partition(":")
    name, _, pin = where.partition(".")
    part = scene.circuit.parts.get(name)
    if part is None or pin not in part.pins:
        return []
    pins = sorted(part.pins, key=lambda pin: (len(pin), pin))
    number = pins.index(pin)
    near = [pins[place] for place in (number - 1, number + 1) if 0 <= place < len(pins)]
    return [scene.circuit.network.node(f"{name}.{pin}{colon}{side}") for pin in near]
