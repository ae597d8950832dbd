"""Fault codes as evidence: what a unit sees at its pin, and whether it sets a code for it."""

from __future__ import annotations

from collections.abc import Callable, Mapping

import numpy as np
from numpy.typing import NDArray

from halfsplit.circuit.circuit import Circuit
from halfsplit.diagnosis.expected import Context, Floats, Worded, expect_first
from halfsplit.diagnosis.measurement import Measurement
from halfsplit.diagnosis.predict import Scene
from halfsplit.errors import InputError, NotFoundError


def code_set(measurement: Measurement, context: Context) -> Worded:
    """A unit sets a code by what it sees at a pin. Kinds: circuit low, high, open, range; lost communication."""
    scene = context.scene(measurement)
    kind, pin = measurement.detail[0], measurement.detail[1] if len(measurement.detail) > 1 else None
    sets = CODE_KINDS.get(kind, _out_of_range)(scene, measurement.at, pin, context.healthy)
    return expect_first(np.where(sets, 0.9, 0.03), scene, ("set", "not set"))


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
    amps = np.abs(scene.get("amps", scene.circuit.network.element(f"{unit}.{pin}")).astype(float))
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


LOST = "lost communication"


def check_code(circuit: Circuit, unit: str, kind: str, pin: str | None) -> None:
    """Raise where a code names a kind, unit or pin that there is not: it could never be worked out.

    Raises:
        InputError: no such kind, or a kind that needs a pin has none. NotFoundError: no such unit or pin.
    """
    if kind not in CODE_KINDS:
        raise InputError(f"there is no kind of code {kind!r}", remedy=f"use one of {', '.join(CODE_KINDS)}")
    units = [part.name for part in circuit.parts.values() if part.behaviour is not None]
    missed = kind == LOST and pin in circuit.parts
    for name in (unit, pin) if missed else (unit,):
        if name not in units:
            raise NotFoundError(
                f"there is no control unit {name!r} in this circuit; there are {', '.join(units)}"
            )
    if kind in (LOST, "circuit range") and pin is None:
        return
    if kind != LOST and pin is None:
        raise InputError(f"which pin of {unit} is it?", remedy="give the pin with a code of this kind")
    pins = circuit.parts[unit].pins
    if not missed and pin not in pins:
        raise NotFoundError(f"{unit} has no pin {pin!r}; it has {', '.join(pins)}")
