"""What there is in a circuit to be measured, and what can be done to it: checks before anything is kept."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import replace

from halfsplit.circuit.circuit import Circuit
from halfsplit.circuit.interventions import Intervention, Jump, LampFor, Replace, StandInFor, Unplug
from halfsplit.circuit.model import Part
from halfsplit.circuit.network import UnknownNameError
from halfsplit.diagnosis.measurement import Measurement
from halfsplit.errors import InputError
from halfsplit.quantities import QUANTITIES


def check_measurement(circuit: Circuit, measurement: Measurement) -> None:
    """Raise UnknownNameError where state, point or part do not exist, or InputError for an unknown quantity."""
    circuit.network.state(measurement.state)
    if measurement.quantity not in FINDERS:
        raise InputError(f"there is no quantity {measurement.quantity!r}")
    FINDERS[measurement.quantity](circuit, measurement.at)
    if measurement.to is not None:
        circuit.network.node(measurement.to)
    for change in measurement.changes:
        check_change(circuit, change)


def plain_place(measurement: Measurement, circuit: Circuit) -> Measurement:
    """The measurement with the battery's negative post told in one way only: as no second point."""
    quantity = QUANTITIES.get(measurement.quantity)
    if measurement.to is None or quantity is None or not quantity.leads:
        return measurement
    posts = {f"{part.name}.-:part" for part in circuit.model.of_kind("battery")}
    return replace(measurement, to=None) if measurement.to in posts else measurement


def check_change(circuit: Circuit, change: Intervention) -> None:
    """Raise where the parts and points of an intervention are not there."""
    match change:
        case Replace(name) if name not in circuit.parts:
            check_element(circuit, name)
        case Unplug(name) | Replace(name):
            check_part(circuit, name)
        case LampFor(name):
            if not check_part(circuit, name).is_fuse:
                raise UnknownNameError(f"{name!r} is no fuse: a lamp takes the place of a fuse")
        case Jump(a, b):
            check_point(circuit, a)
            check_point(circuit, b)
        case StandInFor(name):
            check_stage(circuit, name)


def check_part(circuit: Circuit, name: str) -> Part:
    """The part of this name, or UnknownNameError."""
    if name in circuit.parts:
        return circuit.parts[name]
    raise UnknownNameError(f"there is no part {name!r} in this circuit")


def check_point(circuit: Circuit, name: str) -> None:
    """A point that a lead can be put on."""
    circuit.network.node(name)


def check_element(circuit: Circuit, name: str) -> None:
    """What a current flows through: a wire, a contact, a part."""
    circuit.network.element(name)


def check_place(circuit: Circuit, name: str) -> None:
    """Where a fault can be seen: a part, a cavity or a wire; also the lines of a bus and what fails in a stage."""
    if any(fault.part == name for fault in circuit.faults.values()):
        return
    if not name.startswith("wire "):
        check_part(circuit, name.partition(".")[0])
    elif name not in circuit.network.element_index:
        raise UnknownNameError(f"there is no {name!r} in this circuit")


def check_gauge(circuit: Circuit, name: str) -> None:
    """An instrument that is fixed in the circuit."""
    if name not in circuit.model.gauges:
        raise UnknownNameError(f"there is no gauge {name!r} in this circuit")


def check_stage(circuit: Circuit, name: str) -> None:
    """A stage of what is not electrical."""
    if name not in circuit.model.stages:
        raise UnknownNameError(f"there is no stage {name!r} in this circuit")


FINDERS: Mapping[str, Callable[[Circuit, str], object]] = {
    **dict.fromkeys(("volts", "ohms", "lamp", "duty", "hertz"), check_point),
    "amps": check_element,
    **dict.fromkeys(("works", "answers", "code", "blown"), check_part),
    **dict.fromkeys(("inspection", "wiggle", "event"), check_place),
    "stage": check_stage,
    "gauge": check_gauge,
}
"""What checks that there is such a place, by the quantity that is measured there."""
