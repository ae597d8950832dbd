"""What each kind of part is electrically: a table from kind to the function that adds its elements.

An *element* is one line of node analysis: a current from point ``u0`` to point ``u1`` that depends on the volts from
``v0`` to ``v1``::

    current = conductance * (volts - emf) - push

For all but a regulated supply ``v`` is ``u``. An element may belong to a *device*: it then counts only in those states
of the device that its mask names. Values are those of ``docs/notation.md``; marked * there: common practice.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping

from halfsplit.circuit.assembly import NOMINAL, REFERENCE, SWITCH_OHMS, Assembly, across, inside, value
from halfsplit.circuit.element import Element, ParkSwitch, Relay
from halfsplit.circuit.kinds import KINDS, LOADS
from halfsplit.circuit.model import BODY, Model, Part
from halfsplit.circuit.module_elements import add_module
from halfsplit.circuit.wiring import Wiring

CONTACT_VOLTS = 0.1
"""A fuse, and a closed relay contact, drop this at their rating."""
SOURCE_SPREAD = {"battery": 0.3, "generator": 0.2}
"""Standard deviation of the logarithm of a source's resistance between cars."""


def load_ohms(part: Part) -> float:
    """Resistance of a load from what the file gives: ohm, else 12 V / A, else (12 V)² / W."""
    given = part.values or KINDS[part.kind].defaults
    if "ohm" in given:
        return given["ohm"]
    return NOMINAL / given["A"] if "A" in given else NOMINAL**2 / given["W"]


def _source(assembly: Assembly, part: Part) -> None:
    ends, ohms, spread = across(part, "+", "-"), value(part, "ohm"), SOURCE_SPREAD[part.kind]
    assembly.add(part, part.name, part.kind, ends, ohms, emf=value(part, "V"), spread=spread)


def _fuse(assembly: Assembly, part: Part) -> None:
    ohms = CONTACT_VOLTS / part.values["A"]
    assembly.add(part, part.name, part.kind, across(part, "1", "2"), ohms, spread=0.15)


def _relay(assembly: Assembly, part: Part) -> None:
    coil, made, resting = across(part, "85", "86"), across(part, "30", "87"), across(part, "30", "87a")
    device = assembly.device(Relay(part.name, coil, value(part, "pulls"), value(part, "drops")))
    assembly.add(part, f"{part.name} coil", "coil", coil, value(part, "ohm"), spread=0.08)
    ohms = CONTACT_VOLTS / value(part, "A")
    pulled, released = (device, 0b10), (device, 0b01)
    assembly.add(part, f"{part.name} contact", "relay contact", made, ohms, spread=0.5, when=pulled)
    if "87a" in part.pins:
        name = f"{part.name} rest contact"
        assembly.add(part, name, "relay contact", resting, ohms, spread=0.5, when=released)
    assembly.spare(part.name, f"{part.name} weld", "weld", made)


def _switch(assembly: Assembly, part: Part) -> None:
    for number, join in enumerate(part.connections):
        ends = across(part, join.a, join.b)
        assembly.add(part, f"{part.name} join {number}", "switch", ends, SWITCH_OHMS, spread=0.5)
        assembly.spare(part.name, f"{part.name} weld {number}", "weld", ends)


def _load(assembly: Assembly, part: Part) -> None:
    ends = across(part, part.pins[0], part.pins[1])
    assembly.add(part, part.name, "load", ends, load_ohms(part), spread=0.06)
    if part.park:
        common, parked, running = part.park
        device = assembly.device(ParkSwitch(part.name, ends))
        for pin, mask, word in ((parked, 0b01, "parked"), (running, 0b10, "running")):
            name, contact = f"{part.name} park switch {word}", across(part, common, pin)
            assembly.add(part, name, "switch", contact, SWITCH_OHMS, spread=0.5, when=(device, mask))


def _diode(assembly: Assembly, part: Part) -> None:
    ends = across(part, "a", "k")
    assembly.diode(part, part.name, ends, value(part, "V"))
    assembly.spare(part.name, f"{part.name} short", "short", ends)


def _sensor(assembly: Assembly, part: Part) -> None:
    """Two pins: a resistance. Three: a track from supply (1) to return (3) with a tap (2) at the share."""
    if len(part.pins) == 2:
        assembly.add(part, part.name, "load", across(part, "1", "2"), value(part, "ohm"), spread=0.08)
        return
    upper, lower = sensor_track(part, value(part, "share"))
    assembly.add(part, f"{part.name} upper", "track", across(part, "1", "2"), upper, spread=0.05)
    assembly.add(part, f"{part.name} lower", "track", across(part, "2", "3"), lower, spread=0.05)


def sensor_track(part: Part, share: float) -> tuple[float, float]:
    """Ohms above and below the tap of a three-pin sensor; the ends keep 1 ohm so that a stuck signal is finite."""
    whole = value(part, "ohm")
    return max(whole * (1.0 - share), 1.0), max(whole * share, 1.0)


def _ground(assembly: Assembly, part: Part) -> None:
    ohms = assembly.wiring.contact_ohms(part.name)
    assembly.add(part, part.name, "joint", (part.name, part.mass), ohms, spread=0.7)


def _mass(assembly: Assembly, part: Part) -> None:
    assembly.add(part, part.name, "joint", (part.name, BODY), part.values.get("ohm", 1e-4), spread=0.7)


PARTS: Mapping[str, Callable[[Assembly, Part], None]] = {
    **dict.fromkeys(SOURCE_SPREAD, _source),
    "fuse": _fuse,
    "breaker": _fuse,
    "relay": _relay,
    "switch": _switch,
    **dict.fromkeys(LOADS, _load),
    "diode": _diode,
    "sensor": _sensor,
    "module": add_module,
    "ground": _ground,
    "mass": _mass,
}
"""Connectors and splices are their points alone; their contacts and wires are added with the wiring."""


def assemble(model: Model) -> Assembly:
    """All elements and devices of a circuit, healthy, before any state is chosen."""
    assembly = Assembly(model, Wiring(model))
    for part in model.parts.values():
        if part.kind in PARTS:
            PARTS[part.kind](assembly, part)
    _terminators(assembly)
    for part in model.parts.values():
        if part.is_joint:
            continue
        for point in (f"{part.name}.{pin}" for pin in part.pins):
            ends = (f"{point}:in", f"{point}:out") if part.kind == "connector" else (point, f"{point}:part")
            assembly.add(part, point, "contact", ends, assembly.wiring.contact_ohms(point), spread=0.7)
    for wire in model.wires:
        # A length that nobody measured is known to a factor of 3: ln 3 / 2 as standard deviation.
        spread = 0.1 if wire.metres is not None else 0.55
        name, ends, siemens = wire.name, wire.ends, 1.0 / assembly.wiring.ohms(wire)
        assembly.elements.append(
            Element(name, "wire", ends, ends, siemens, spread=spread, part=name, variant=wire.variant)
        )
    return assembly


def _terminators(assembly: Assembly) -> None:
    for terminator in assembly.model.terminators:
        part = assembly.model.parts[terminator.part]
        talks = part.behaviour.talks if part.behaviour else ()
        talk = next((talk for talk in talks if talk.bus == terminator.bus), None)
        if part.behaviour is None or talk is None:
            continue
        feed = inside(part, part.behaviour.feeds[0][0]) if part.behaviour.feeds else REFERENCE
        ends = inside(part, talk.high), inside(part, talk.low) if talk.low else feed
        name = f"{terminator.bus} terminator {part.name}"
        assembly.add(part, name, "terminator", ends, terminator.ohms, spread=0.02)
