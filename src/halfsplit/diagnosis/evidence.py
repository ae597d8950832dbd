"""Reading + instrument error → log-likelihood of every column and draw.

``forecast`` tells what a measurement should show: a ``Numeric`` (value and standard deviation per column and draw) or a
``Worded`` (probability of each word). The likelihood of a reading follows; no reading takes any hypothesis to
zero: a probe slips in 2 of 100 readings.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import replace

import numpy as np

from halfsplit.circuit.circuit import Circuit
from halfsplit.circuit.instruments import INSTRUMENTS, METER_MOST_OHMS, over_range
from halfsplit.circuit.kinds import LOADS
from halfsplit.circuit.network import UnknownNameError
from halfsplit.diagnosis.codes import code_set
from halfsplit.diagnosis.expected import (
    WORDS_ERROR,
    Context,
    Floats,
    Forecast,
    Numeric,
    Worded,
    chance_above,
    expect_first,
    expect_number,
    expect_words,
    expect_yes_no,
)
from halfsplit.diagnosis.gauges import forecast_gauge
from halfsplit.diagnosis.measurement import ENDS, PIN_DRAG, TRIED_AGAIN, Between, Measurement, Reading
from halfsplit.diagnosis.predict import Scene
from halfsplit.diagnosis.slips import slip_density

SHORT_ANYWHERE = 0.4
"""Share of the drop along a shorted wire that is in doubt, since nobody knows how far along it the short is."""
GHOST = 0.15
GHOST_OHMS = 2e5
"""A point behind more than this reads anything from 0 to the feed in 15 %."""
LEAKS_OHMS = 5e7
"""Behind more than this a point is held by leaks alone, which nobody knows to better than half."""
OHMS_OFFSET, OHMS_CEILING, OHMS_SIGMA = 0.1, METER_MOST_OHMS, 0.03
"""Ohms are compared as log10(ohm + offset), OL as the end of the meter's range."""
DAMP = 0.1
"""An open circuit is not quite open so often: damp, dirt, a hand at the probes."""
LEAD_OHMS = 0.1
"""Leads and probes that nobody zeroed add this much, more or less; common practice, no source."""
INSPECTION_FALSE_ALARM = 0.03
ENDS_SEEN = 0.9
"""Chance that who looks at both ends of a wire sees that one is not in its place; common practice, no source."""
BLOWN_OHMS = 1e4
"""Ohms of a fuse from which it is blown."""
FUSE_SEEN = 0.95
"""Chance that a look at a fuse shows that it is blown."""
ABSENT = 0.5
"""Chance that an intermittent fault is away during a test of which nobody says whether it was there."""
EVENT_FACTOR = 10.0


def forecast(measurement: Measurement, context: Context) -> Forecast:
    """What the measurement shows under every column and draw. Raises UnknownNameError for an unknown point."""
    return FORECASTS[measurement.quantity](measurement, context)


def forecast_number(measurement: Measurement, context: Context) -> Numeric:
    """The forecast of a measurement that is told by a number. Raises TypeError for one that is told in words."""
    expected = forecast(measurement, context)
    if not isinstance(expected, Numeric):
        raise TypeError(f"{measurement.quantity} is told in words")
    return expected


def forecast_words(measurement: Measurement, context: Context) -> Worded:
    """The forecast of a measurement that is told in words. Raises TypeError for one that is told by a number."""
    expected = forecast(measurement, context)
    if not isinstance(expected, Worded):
        raise TypeError(f"{measurement.quantity} is told by a number")
    return expected


def scale(measurement: Measurement, value: float) -> float:
    """A reading on the scale on which it is compared: ohms are logarithmic."""
    if measurement.quantity != "ohms":
        return value
    return float(np.log10(min(max(value, 0.0), OHMS_CEILING) + OHMS_OFFSET))


def unscale(measurement: Measurement, value: float) -> float:
    """Back from the scale of comparison to SI; an ohmmeter's ceiling is OL."""
    if measurement.quantity != "ohms":
        return value
    return float("inf") if value > np.log10(OHMS_CEILING) - 0.05 else max(0.0, 10.0**value - OHMS_OFFSET)


def log_likelihood(reading: Reading, expected: Forecast, context: Context) -> Floats:
    """Log-likelihood (C, D) of a reading by its forecast, with the chance that the fault was not there.

    Of a number its density, of a range or a word its chance.
    """
    measurement, value = reading.measurement, reading.value
    if isinstance(expected, Worded):
        given = expected.likelihood(str(value))
    elif isinstance(value, Between):
        ends = (value.low, value.high)
        given = expected.between(*(scale(measurement, end) if np.isfinite(end) else end for end in ends))
    else:
        slipped = slip_density(reading, context, expected) if measurement.quantity == "volts" else None
        given = expected.likelihood(scale(measurement, reading.number), slipped)
    away = {"yes": 0.0, "no": 1.0, "unknown": ABSENT if context.intermittent else 0.0}[reading.present]
    if away and measurement.quantity not in ("inspection", "event", "wiggle"):
        healthy = given[context.healthy]
        given = (1 - away) * given + away * np.broadcast_to(healthy, given.shape)
    return np.asarray(np.log(np.maximum(given, 1e-300)))


def anything_at(reading: Reading, expected: Forecast) -> float:
    """Log-likelihood of a reading that a fault outside the drawing has touched."""
    if isinstance(expected, Worded):
        return float(np.log(expected.anything(str(reading.value))))
    if isinstance(reading.value, Between):
        return 0.0
    return float(np.log(max(expected.anything(scale(reading.measurement, reading.number)), 1e-300)))


def _volts(measurement: Measurement, context: Context) -> Numeric:
    scene = context.scene(measurement)
    a, b = scene.circuit.network.between(measurement.at, measurement.to)
    used = INSTRUMENTS[measurement.instrument or "meter"]
    value = np.asarray(scene.read(a, b, used), dtype=float)
    ghost, error = np.zeros_like(value), used.share * np.abs(value) + measurement.floor
    if measurement.in_millivolts:
        # A short is anywhere along its wire, and drawn at the end of it.
        shorted = scene.columns.where(
            lambda fault: fault.kind.startswith("wire") and fault.mode.startswith("short")
        )
        error = error + SHORT_ANYWHERE * np.abs(value) * shorted[:, None]
    if used.ohms and used.ohms > 1e5:
        apart = scene.apart(a, b)
        ghost = np.where(apart > GHOST_OHMS, GHOST, 0.0)
        error = error + np.where(apart > LEAKS_OHMS, 0.5 * np.abs(value), 0.0)
    return expect_number(value, error, scene, "volts", ghost)


def _amps(measurement: Measurement, context: Context) -> Numeric:
    scene = context.scene(measurement)
    value = scene.get("amps", scene.circuit.network.element(measurement.at)).astype(float)
    used = INSTRUMENTS["clamp"]
    return expect_number(value, used.share * np.abs(value) + used.floor, scene, "amps")


def _ohms(measurement: Measurement, context: Context) -> Numeric:
    scene = context.scene(measurement, isolated=True)
    network = scene.circuit.network
    ends = network.between(measurement.at, measurement.to)
    ohms = np.maximum(scene.get("port_ohms", ends).astype(float), 0.0)
    open_circuit = over_range(ohms, network.size)
    ohms = np.where(open_circuit, OHMS_CEILING, ohms)
    value = np.log10(ohms + OHMS_OFFSET)
    leads = LEAD_OHMS / ((ohms + OHMS_OFFSET) * np.log(10.0))
    ghost = np.asarray(DAMP * open_circuit, dtype=float)
    return expect_number(value, np.hypot(OHMS_SIGMA, leads), scene, "ohms", ghost)


def _works(measurement: Measurement, context: Context) -> Worded:
    scene = context.scene(measurement)
    part = scene.circuit.parts.get(measurement.at)
    if part is None:
        raise UnknownNameError(f"there is no part {measurement.at!r} in this circuit")
    words = ("yes", "weak", "no")
    if part.kind in LOADS:
        plain = context.scene(Measurement("works", measurement.at, measurement.state))
        share = np.asarray(scene.works(measurement.at, plain), dtype=float)
        return expect_words(scene, words, chance_above(0.88, 0.025, share), chance_above(0.2, 0.03, share))
    fed = np.asarray(scene.fed(part.name), dtype=float) if part.kind == "module" else np.ones(scene.shape)
    return expect_words(scene, words, fed, fed)


def _lamp(measurement: Measurement, context: Context) -> Worded:
    scene = context.scene(measurement)
    used = INSTRUMENTS[measurement.instrument or "test lamp"]
    ends = scene.circuit.network.between(measurement.at, measurement.to)
    volts = np.abs(np.asarray(scene.read(*ends, used), dtype=float))
    words = ("bright", "dim", "dark")
    return expect_words(scene, words, chance_above(9.0, 0.6, volts), chance_above(2.5, 0.4, volts))


def _answers(measurement: Measurement, context: Context) -> Worded:
    scene = context.scene(measurement)
    return expect_yes_no(scene.answers(measurement.at).astype(float), scene)


def _stage(measurement: Measurement, context: Context) -> Forecast:
    scene = context.scene(measurement)
    holds = scene.holds(measurement.at)
    stage = scene.circuit.model.stages[measurement.at]
    if stage.good is None or stage.bad is None:
        return expect_yes_no(holds.astype(float), scene)
    value = np.where(holds, stage.good, stage.bad)
    span = abs(stage.good - stage.bad) or 1.0
    numeric = expect_number(value, np.full_like(value, 0.1 * span), scene, "volts")
    low, high = min(stage.good, stage.bad), max(stage.good, stage.bad)
    return replace(numeric, low=low - 0.2 * span, high=high + 0.5 * span)


def _duty(measurement: Measurement, context: Context) -> Numeric:
    scene = context.scene(measurement)
    duty, hertz = scene.switching(measurement.at)
    if measurement.quantity == "duty":
        return expect_number(duty, np.full(duty.shape, 0.01), scene, "duty")
    return expect_number(hertz, 0.01 * hertz + 0.5, scene, "hertz")


def _blown(measurement: Measurement, context: Context) -> Worded:
    scene = context.scene(measurement)
    blown = is_blown(measurement.at, scene, context)
    if blown is None:
        raise UnknownNameError(f"there is no fuse {measurement.at!r} in this circuit")
    return expect_yes_no(blown, scene)


def fuse_seen(reading: Reading, circuit: Circuit) -> str:
    """Whether a reading shows a fuse to be blown: 'yes', 'no', or empty where it is about something else.

    By a look, or by the ohms of the fuse itself.
    """
    test = reading.measurement
    if test.quantity == "blown":
        return str(reading.value)
    part = circuit.parts.get(test.at.partition(".")[0])
    own_pins = all(end is not None and end.endswith(":part") for end in (test.at, test.to))
    if test.quantity != "ohms" or part is None or part.kind != "fuse" or not own_pins:
        return ""
    return "yes" if reading.number > BLOWN_OHMS else "no"


def is_blown(name: str, scene: Scene, context: Context) -> Floats | None:
    """Whether a fuse is open inside (C, D): by itself, or blown now or in a state that was used before."""
    network = scene.circuit.network
    names = [network.elements[fuse].name for fuse in network.fuses]
    if name not in names:
        return None
    row = names.index(name)
    blown = np.asarray(scene.blown(row) | context.memory.blown[row], dtype=float)
    blown[scene.columns.having(name, ("open",))] = 1.0
    return blown


def _inspection(measurement: Measurement, context: Context) -> Worded:
    """A look finds what is at the place itself, and with less chance what is at the contacts of the part."""
    scene = context.scene(Measurement("inspection", measurement.at, measurement.state))
    if measurement.detail == (TRIED_AGAIN,):
        own = scene.columns.having(measurement.at)
        return expect_yes_no(np.repeat(own[:, None], scene.shape[1], axis=1), scene, ("good", "bad"))
    if measurement.detail == (ENDS,):
        return _ends_as_drawn(measurement, scene)
    if measurement.detail and measurement.detail != (PIN_DRAG,):
        # Something ticked off, such as the coding: needed for a proof, says nothing about the suspects.
        return _expect_bad(np.full(scene.shape, 0.5), scene)
    bad = np.zeros(len(scene.columns.hypotheses))
    for number, hypothesis in enumerate(scene.columns.hypotheses):
        for fault in hypothesis.single:
            if measurement.at in (fault.part, fault.part.partition(".")[0]):
                share = 1.0 if fault.part == measurement.at else 0.7
                bad[number] = max(bad[number], share * context.priors.seen(fault))
    seen = np.maximum(bad, INSPECTION_FALSE_ALARM)[scene.columns.hypothesis]
    chance = seen[:, None] * np.ones(scene.shape)
    blown = is_blown(measurement.at, scene, context)
    if blown is not None:
        chance = np.maximum(chance, FUSE_SEEN * blown)
    return _expect_bad(chance, scene)


def _expect_bad(chance: Floats, scene: Scene) -> Worded:
    """What a look says, from the chance (C, D) that it finds something."""
    return Worded(("good", "bad"), np.stack([1 - chance, chance], axis=-1), scene.columns.unknown)


def _ends_as_drawn(measurement: Measurement, scene: Scene) -> Worded:
    """Whether both ends of a wire are where they are drawn: not where wires are in each other's places there."""
    ends = {end.partition(":")[0] for end in measurement.at.split()[1:3]}
    moved = scene.columns.where(
        lambda fault: (
            fault.kind == "undrawn" and fault.mode != "bridged" and not ends.isdisjoint(fault.touches)
        )
    )
    bad = np.where(moved, ENDS_SEEN, INSPECTION_FALSE_ALARM)[:, None] * np.ones(scene.shape)
    return _expect_bad(bad, scene)


def _moved(measurement: Measurement, context: Context) -> Worded:
    """A jump while a place is moved is strong evidence for it, none is weak.

    'It came (or went) when I touched this' raises the place touched.
    """
    scene, place = context.scene(Measurement("wiggle", measurement.at, measurement.state)), measurement.at
    # The fault is at this place, or goes away when it is taken apart.
    there = scene.columns.where(lambda fault: place in fault.touches or fault.part == place)
    moved = (0.6 if context.intermittent else 0.2), WORDS_ERROR
    likely, stray = (0.5, 0.5 / EVENT_FACTOR) if measurement.quantity == "event" else moved
    chance = np.where(there, likely, stray)[:, None] * np.ones(scene.shape)
    return expect_first(chance, scene, ("yes", "no"))


FORECASTS: Mapping[str, Callable[[Measurement, Context], Forecast]] = {
    "volts": _volts,
    "amps": _amps,
    "ohms": _ohms,
    "lamp": _lamp,
    "works": _works,
    "answers": _answers,
    "code": code_set,
    "inspection": _inspection,
    "stage": _stage,
    "duty": _duty,
    "hertz": _duty,
    "wiggle": _moved,
    "blown": _blown,
    "event": _moved,
    "gauge": forecast_gauge,
}
