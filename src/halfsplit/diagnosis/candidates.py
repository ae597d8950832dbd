"""Candidate tests: every reachable point in every state with every instrument at hand, and what can be done beside.

Rulings 14 names those that must exist. Restraint and high-voltage circuits are never probed; lamps and jumps on
module pins are never proposed (field.md 16).
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence

from halfsplit.circuit.circuit import Circuit
from halfsplit.circuit.interventions import Jump, LampFor, Replace, StandInFor, Unplug
from halfsplit.circuit.kinds import LOADS
from halfsplit.circuit.model import BODY, Part
from halfsplit.diagnosis.cost import never_probed, part_of
from halfsplit.diagnosis.measurement import Measurement

MEASURED = (*LOADS, "fuse", "breaker", "relay", "switch", "sensor", "diode")
"""Parts whose ohms tell something when they are unplugged."""
SWAPPED = ("relay", "fuse", "breaker")
"""Parts for which a known-good one is at hand."""


def candidates(
    circuit: Circuit,
    instruments: Sequence[str],
    states: Sequence[str],
    suspects: Sequence[str],
    loads: Sequence[str],
    *,
    intermittent: bool,
) -> list[Measurement]:
    """All tests that could be made.

    ``suspects``: names of the repair groups in question, the likeliest first; interventions are tried on these alone.
    ``loads``: what the complaint is about.
    """
    found: list[Measurement] = []
    for state in states:
        found += _looks(circuit, state)
        if "meter" in instruments:
            found += _volts(circuit, state)
        for lamp in (name for name in instruments if name.endswith("lamp")):
            found += _lamps(circuit, state, lamp)
        if "clamp" in instruments:
            found += _clamp(circuit, state)
        found += _interventions(circuit, state, suspects, loads)
    found += _inspections(circuit, states[0], suspects)
    if "meter" in instruments:
        found += _ohms(circuit, states[0], suspects)
    if intermittent:
        found += _wiggles(circuit, states[0], suspects)
    return list(dict.fromkeys(found))


def _looks(circuit: Circuit, state: str) -> Iterator[Measurement]:
    """What can be seen without a probe: what works, which units answer, blown fuses, stages."""
    for part in circuit.parts.values():
        if part.kind in LOADS and part.kind != "resistor":
            yield Measurement("works", part.name, state)
        elif part.kind == "module":
            yield Measurement("answers", part.name, state)
        elif part.kind == "fuse":
            yield Measurement("blown", part.name, state)
    yield from (Measurement("gauge", name, state) for name in circuit.model.gauges)
    for stage in circuit.model.stages.values():
        if not stage.states or state in stage.states:
            yield Measurement("stage", stage.name, state)


def probe_points(circuit: Circuit) -> list[str]:
    """Harness sides that can be back-probed: pins with a wire, cavities, grounds; not sealed splices."""
    wired = {end for wire in circuit.model.wires for end in (wire.a, wire.b)}
    points = []
    for point in circuit.points:
        part = circuit.parts.get(part_of(point))
        if part is None or point.endswith(":part") or never_probed(part) or part.kind in ("splice", "mass"):
            continue
        if point in wired or part.kind == "ground":
            points.append(point)
    return points


def _volts(circuit: Circuit, state: str) -> Iterator[Measurement]:
    for point in probe_points(circuit):
        yield Measurement("volts", point, state, instrument="meter")
    for a, b in own_ends(circuit):
        yield Measurement("volts", a, state, to=b, instrument="meter")
    yield from _whole_sides(circuit, state)


def own_ends(circuit: Circuit) -> Iterator[tuple[str, str]]:
    """The two ends of each wire, cavity, ground joint, and part that a meter can be put across."""
    for wire in circuit.model.wires:
        ends = circuit.parts.get(part_of(wire.a)), circuit.parts.get(part_of(wire.b))
        if not any(part is not None and (never_probed(part) or part.kind == "splice") for part in ends):
            yield wire.a, wire.b
    for part in circuit.parts.values():
        if not never_probed(part):
            yield from _ends_of(part)


def _ends_of(part: Part) -> Iterable[tuple[str, str]]:
    name, pins = part.name, part.pins
    match part.kind:
        case "connector":
            return [(f"{name}.{pin}:in", f"{name}.{pin}:out") for pin in pins]
        case "ground":
            return [(name, part.mass)]
        case "mass":
            return [(name, BODY)]
        case "relay":
            return [(f"{name}.30", f"{name}.87"), (f"{name}.86", f"{name}.85")]
        case "switch":
            return dict.fromkeys((f"{name}.{join.a}", f"{name}.{join.b}") for join in part.connections)
        case "module" | "battery":
            # The battery's plus against its own minus is what every reading against the negative post is.
            return []
    return [(f"{name}.{pins[0]}", f"{name}.{pins[1]}")] if len(pins) == 2 else []


def _whole_sides(circuit: Circuit, state: str) -> Iterator[Measurement]:
    """One drop over the whole feed side and one over the whole ground side of each load (field.md 3)."""
    battery = next(iter(circuit.model.of_kind("battery")), None)
    if battery is None:
        return
    for load in circuit.model.of_kind(*LOADS):
        if not never_probed(load):
            yield Measurement(
                "volts", f"{battery.name}.+", state, to=f"{load.name}.{load.pins[0]}", instrument="meter"
            )


def _lamps(circuit: Circuit, state: str, lamp: str) -> Iterator[Measurement]:
    on_module = _on_module(circuit)
    for point in probe_points(circuit):
        kind = circuit.parts[part_of(point)].kind
        if kind not in ("module", "sensor", "battery") and point not in on_module:
            yield Measurement("lamp", point, state, instrument=lamp)


def _on_module(circuit: Circuit) -> frozenset[str]:
    """The points that a wire joins straight to a module or sensor pin."""
    joined = [end for wire in circuit.model.wires for end in ((wire.a, wire.b), (wire.b, wire.a))]
    parts = circuit.parts
    return frozenset(
        point
        for point, other in joined
        if (part := parts.get(part_of(other))) and part.kind in ("module", "sensor")
    )


def _clamp(circuit: Circuit, state: str) -> Iterator[Measurement]:
    for wire in circuit.model.wires:
        if not any(never_probed(circuit.parts.get(part_of(end))) for end in (wire.a, wire.b)):
            yield Measurement("amps", wire.name, state, instrument="clamp")


def _interventions(
    circuit: Circuit, state: str, suspects: Sequence[str], loads: Sequence[str]
) -> Iterator[Measurement]:
    """Swap a relay or fuse, jump a relay's contacts, a lamp for a fuse, a stand-in for a stage."""
    for name in dict.fromkeys(part_of(suspect) for suspect in suspects):
        part = circuit.parts.get(name)
        if part is None or never_probed(part):
            continue
        for load in loads:
            if part.kind in SWAPPED:
                yield Measurement("works", load, state, changes=(Replace(name),))
            if part.kind == "relay" and not _drives_module(circuit, part):
                yield Measurement("works", load, state, changes=(Jump(f"{name}.30", f"{name}.87"),))
    for stage in circuit.model.stages.values():
        if stage.stand_in:
            for later in circuit.model.stages.values():
                if stage.name in later.needs:
                    yield Measurement("stage", later.name, state, changes=(StandInFor(stage.name),))


def _drives_module(circuit: Circuit, relay: Part) -> bool:
    return any(
        part_of(end) in circuit.parts and circuit.parts[part_of(end)].kind == "module"
        for wire in circuit.model.wires
        if f"{relay.name}.87" in (wire.a, wire.b)
        for end in (wire.a, wire.b)
    )


def short_tests(circuit: Circuit, state: str, fuse: str) -> Iterator[Measurement]:
    """A lamp in place of a fuse, then unplugging what is behind it, one at a time, until it dims."""
    lamp = LampFor(fuse)
    ends = f"{fuse}.1", f"{fuse}.2"
    yield Measurement("lamp", ends[0], state, to=ends[1], instrument="21 W lamp", changes=(lamp,))
    for part in circuit.model.of_kind("connector", *LOADS):
        if not never_probed(part):
            yield Measurement(
                "lamp", ends[0], state, to=ends[1], instrument="21 W lamp", changes=(lamp, Unplug(part.name))
            )


def _inspections(circuit: Circuit, state: str, suspects: Sequence[str]) -> Iterator[Measurement]:
    for name in suspects:
        if " + " in name:
            continue  # a pair is looked at place by place
        part = circuit.parts.get(part_of(name))
        # What is no part is a wire, the lines of a bus, or what fails in a stage: to be seen as well.
        if name.startswith("wire ") or part is None or not never_probed(part):
            yield Measurement("inspection", name, state)
            if "." in name and not name.startswith("wire "):
                # The fit of a terminal, tried with a test pin, is a look of its own (field.md 12).
                yield Measurement("inspection", name, state, detail=("pin drag",))


def _ohms(circuit: Circuit, state: str, suspects: Sequence[str]) -> Iterator[Measurement]:
    """Ohms of an unplugged part; of a wire between its unplugged ends; to body with the fuse pulled (rulings 14)."""
    for name in dict.fromkeys(part_of(suspect) for suspect in suspects if not suspect.startswith("wire ")):
        part = circuit.parts.get(name)
        if part is not None and not never_probed(part) and part.kind in MEASURED:
            yield from _part_ohms(part, state)
    for name in suspects:
        if name.startswith("wire "):
            yield from _wire_ohms(circuit, name, state)


def _part_ohms(part: Part, state: str) -> Iterator[Measurement]:
    pairs = [("86", "85")] if part.kind == "relay" else [(part.pins[0], part.pins[-1])]
    if part.kind == "switch":
        pairs = list(dict.fromkeys((join.a, join.b) for join in part.connections))
    for a, b in pairs:
        yield Measurement(
            "ohms",
            f"{part.name}.{a}:part",
            state,
            to=f"{part.name}.{b}:part",
            instrument="meter",
            changes=(Unplug(part.name),),
        )


def _wire_ohms(circuit: Circuit, name: str, state: str) -> Iterator[Measurement]:
    wire = next((wire for wire in circuit.model.wires if wire.name == name), None)
    if wire is None:
        return
    ends = [part_of(end) for end in (wire.a, wire.b)]
    unplugged = tuple(Unplug(end) for end in dict.fromkeys(ends) if _can_unplug(circuit, end))
    if unplugged:
        yield Measurement("ohms", wire.a, state, to=wire.b, instrument="meter", changes=unplugged)
        yield Measurement("ohms", wire.b, state, to=BODY, instrument="meter", changes=unplugged)


def _can_unplug(circuit: Circuit, name: str) -> bool:
    part = circuit.parts.get(name)
    return (
        part is not None
        and part.kind not in ("splice", "ground", "mass", "battery")
        and not never_probed(part)
    )


def _wiggles(circuit: Circuit, state: str, suspects: Sequence[str]) -> Iterable[Measurement]:
    for name in dict.fromkeys(part_of(suspect) for suspect in suspects if not suspect.startswith("wire ")):
        if name in circuit.parts:
            yield Measurement("wiggle", name, state)
