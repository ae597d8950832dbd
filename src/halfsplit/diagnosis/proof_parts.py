"""What must be shown for each kind of cause: a table from kind to the function that asks for it."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping

from halfsplit.circuit.circuit import Solution
from halfsplit.circuit.faults import Fault
from halfsplit.circuit.interventions import Jump, Replace, Unplug
from halfsplit.circuit.kinds import LOADS
from halfsplit.circuit.model import Part, Wire
from halfsplit.diagnosis.candidates import own_ends
from halfsplit.diagnosis.cost import part_of
from halfsplit.diagnosis.measurement import Measurement
from halfsplit.diagnosis.proof_module import module_proof
from halfsplit.diagnosis.requirement import Case, Met, Requirement, at_least, within
from halfsplit.diagnosis.situation import Situation
from halfsplit.diagnosis.words import sentence

DROP_SHARE = 0.7
"""A bad joint alone drops at least this share of the volts that are missing."""
OPEN_OHMS = 1e5


def requirements(situation: Situation, fault: Fault) -> list[Requirement]:
    """What must be shown for this cause."""
    if fault.members:
        return [one for member in fault.members for one in requirements(situation, member)]
    kind = fault.kind.partition(" ")[0]
    return PROOFS.get(kind, _part)(Case(situation, fault))


def _joint(case: Case) -> list[Requirement]:
    """A wire, cavity or ground: its own drop, repeated, with current; bridging restores the function."""
    if case.fault.mode.startswith("short"):
        return _short(case)
    ends = case.ends()
    if ends is None:
        return [case.looked_at()]
    own = abs(case.sick.volts(*ends))
    least = DROP_SHARE * min(case.missing_volts or own, own)
    if least < 0.05:
        return [case.looked_at()]
    drop = f"its own voltage drop: at least {least:.1f} V from {ends[0]} to {ends[1]} under load"
    text = f"{drop}, measured twice after probing anew"
    found = [Requirement(text, ((case.volts(*ends), at_least(least)),), times=2)]
    if case.load is None or _module_pin(case, ends):
        return [*found, case.looked_at()]
    text = f"bridging {ends[0]} to {ends[1]} restores the function"
    return [*found, case.restored(case.load, text, Jump(*ends))]


def _module_pin(case: Case, ends: tuple[str, str]) -> bool:
    """Jumps on module outputs, sensor and bus pins are never proposed (field.md 16)."""
    parts = [case.circuit.parts.get(part_of(end)) for end in ends]
    return any(part is not None and part.kind in ("module", "sensor") for part in parts)


def _short(case: Case) -> list[Requirement]:
    """A short: low ohms to where it must not be with both ends unplugged, and the place seen."""
    wire = next((one for one in case.circuit.model.wires if one.name == case.fault.part), None)
    start, other = _short_ends(case, wire)
    plugs = [part_of(end) for end in ((wire.a, wire.b) if wire else ())]
    unplugged = tuple(
        Unplug(name) for name in dict.fromkeys(plugs) if _has_plug(case.circuit.parts.get(name))
    )
    limit = 3.0 * (case.fault.severity or 0.05) + 1.0
    ohms = Measurement("ohms", start, case.state, to=other, instrument="meter", changes=unplugged)
    text = f"at most {limit:.3g} ohm from {start} to {other} with the wire unplugged"
    return [Requirement(text, ((ohms, within(-math.inf, limit)),)), case.looked_at()]


def _short_ends(case: Case, wire: Wire | None) -> tuple[str, str]:
    if wire is None:
        return f"{case.fault.part}:in", f"{case.fault.mode.rpartition(' ')[2]}:in"
    battery = next((f"{part.name}.+" for part in case.circuit.model.of_kind("battery")), "body")
    return wire.b, "body" if "body" in case.fault.mode else battery


def _has_plug(part: Part | None) -> bool:
    return part is not None and part.kind not in ("splice", "ground", "mass", "battery")


def _contact(case: Case) -> list[Requirement]:
    """A part's contact, whose far side is inside: unplugged and seen, and a known-good part does not cure."""
    text = f"the contact {case.fault.part} unplugged, its fit tried with a test pin, and found bad"
    looks = case.look(), case.look("pin drag")
    found = [Requirement(text, looks)]
    part = case.circuit.parts[part_of(case.fault.part)]
    if part.kind in ("relay", "fuse") and case.load is not None:
        return [*found, _not_cured(case, case.load, part.name)]
    if part.kind in LOADS or part.kind == "sensor":
        return [*found, _itself_good(case, part)]
    # Nothing else tells it from the part itself, and one inspection does not prove.
    return [Requirement(f"{text}, twice", looks, times=2)]


def _not_cured(case: Case, load: str, name: str) -> Requirement:
    good = case.circuit.healthy_word(load, case.state)
    swap = Measurement("works", load, case.state, changes=(Replace(name),))
    return Requirement(
        f"a known-good {name} does not restore the function", ((swap, lambda value: value != good),)
    )


def _itself_good(case: Case, part: Part) -> Requirement:
    expected = _ohms_of(case.healthy, part.name)
    text = f"{part.name} itself measures as it should when unplugged ({expected:.3g} ohm)"
    ohms = _unplugged_ohms(case, part, part.pins[0], part.pins[-1])
    return Requirement(text, ((ohms, within(0.5 * expected, 2.0 * expected + 0.5)),))


def _unplugged_ohms(case: Case, part: Part, a: str, b: str) -> Measurement:
    """The ohms of a part itself, between two of its pins."""
    at, to = f"{part.name}.{a}:part", f"{part.name}.{b}:part"
    return Measurement("ohms", at, case.state, to=to, instrument="meter", changes=(Unplug(part.name),))


def _ohms_of(solution: Solution, name: str) -> float:
    network = solution.circuit.network
    names = (name, f"{name} upper", f"{name} lower")
    elements = [network.element_index[one] for one in names if one in network.element_index]
    # Of the state: a sensor has the ohms of what it senses there.
    return float(sum(1.0 / solution.system().conductance[element] for element in elements))


def _part(case: Case) -> list[Requirement]:
    """Any other part: a direct reading at it speaks for the fault, and a known-good part restores the function."""
    name = case.fault.part
    part = case.circuit.parts.get(name)
    if part is None:
        return [case.looked_at()]
    found = []
    direct = (*_direct_volts(case, part), *_direct_ohms(case, part))
    if direct:
        told = " or ".join(sentence(test, case.circuit).rstrip(".") for test, _ in direct[:2])
        found.append(Requirement(f"a direct reading at {name} that shows it: {told}", direct))
    if case.load is not None:
        found.append(case.restored(case.load, f"a known-good {name} restores the function", Replace(name)))
    return found or [case.looked_at()]


def _direct_volts(case: Case, part: Part) -> list[tuple[Measurement, Met]]:
    """Volts between its own pins that cause and health differ in."""
    pairs = [(a, b) for a, b in own_ends(case.circuit) if part_of(a) == part.name and part_of(b) == part.name]
    if part.kind == "sensor":
        pairs = [(f"{part.name}.{pin}", f"{part.name}.{part.pins[-1]}") for pin in part.pins[:-1]]
    tests = [case.volts(a, b) for a, b in pairs]
    if case.fault.mode in ("open", "coil open") and part.kind in (*LOADS, "relay"):
        return _fed_and_idle(case, tests)
    return [(one, case.nearer(one)) for one in tests if case.tells(one)]


def _fed_and_idle(case: Case, tests: list[Measurement]) -> list[tuple[Measurement, Met]]:
    """Volts are there and nothing happens: feed and ground are good, the part is not."""
    coil = {f"{case.fault.part}.85", f"{case.fault.part}.86"}
    told = []
    for test in tests:
        volts = abs(case.healthy.volts(test.at, test.to))
        if volts > 1.0 and (case.fault.mode != "coil open" or {test.at, test.to} == coil):
            told.append((test, at_least(0.85 * volts)))
    return told


def _direct_ohms(case: Case, part: Part) -> list[tuple[Measurement, Met]]:
    if part.kind not in (*LOADS, "fuse", "relay", "sensor"):
        return []
    relay = part.kind == "relay"
    if relay and case.fault.mode != "coil open":
        return []
    a, b = ("86", "85") if relay else (part.pins[0], part.pins[-1])
    test = _unplugged_ohms(case, part, a, b)
    normal = _ohms_of(case.healthy, f"{part.name} coil" if relay else part.name)
    open_over, short_under = max(OPEN_OHMS, 10.0 * normal), 0.3 * normal + 0.2
    if case.fault.mode in ("open", "coil open"):
        return [(test, lambda value: not isinstance(value, str) and value > open_over)]
    if case.fault.mode == "shorted":
        return [(test, lambda value: not isinstance(value, str) and value < short_under)]
    return []


def _battery(case: Case) -> list[Requirement]:
    name = case.fault.part
    test = case.volts(f"{name}.+", f"{name}.-")
    return [Requirement(f"the volts of {name} itself", ((test, case.nearer(test)),))]


def _stage(case: Case) -> list[Requirement]:
    return [Requirement(f"the fault seen: {case.fault.mode}", (case.look(),))]


def _bus(case: Case) -> list[Requirement]:
    return [Requirement(f"the fault seen on {case.fault.part}", (case.look(),))]


PROOFS: Mapping[str, Callable[[Case], list[Requirement]]] = {
    "wire": _joint,
    "cavity": _joint,
    "ground": _joint,
    "mass": _joint,
    "contact": _contact,
    "module": module_proof,
    "battery": _battery,
    "stage": _stage,
    "bus": _bus,
}
