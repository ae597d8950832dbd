"""Candidate tests: every reachable point in every state with every instrument at hand, and what can be done beside.

Restraint and high-voltage circuits are never probed; lamps and jumps on module pins are never proposed.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from functools import lru_cache

from halfsplit.circuit.circuit import Circuit
from halfsplit.circuit.instruments import INSTRUMENTS
from halfsplit.circuit.interventions import Jump, Replace, StandInFor, Unplug
from halfsplit.circuit.kinds import LOADS
from halfsplit.circuit.model import BODY, Part, Wire
from halfsplit.circuit.wiring import place
from halfsplit.diagnosis.cost import never_probed, part_of, place_key, reach_minutes
from halfsplit.diagnosis.measurement import ENDS, PIN_DRAG, Measurement

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
    measurements: list[Measurement] = []
    parts = [circuit.parts.get(name) for name in dict.fromkeys(map(part_of, suspects))]
    suspected = [part for part in parts if part is not None and not never_probed(part)]
    for state in states:
        measurements += _in_place(circuit, state, tuple(instruments))
        if "meter" in instruments:
            # Each contact whose far side can be got at too: common practice, no source.
            contacts = [ends for part in suspected for ends in open_contacts(circuit, part)]
            measurements += [Measurement("volts", at, state, to, "meter") for at, to in contacts]
        measurements += _interventions(circuit, state, suspected, loads)
    measurements += _inspections(circuit, states[0], suspects)
    if "meter" in instruments:
        measurements += _ohms(circuit, states[0], suspects)
    if intermittent:
        # A place moved while it is watched: connectors and parts, and wires where they bend.
        places = dict.fromkeys(name if name.startswith("wire ") else part_of(name) for name in suspects)
        movable = {part.name for part in suspected}
        moved = [name for name in places if name.startswith("wire ") or name in movable]
        measurements += [Measurement("wiggle", name, states[0]) for name in moved]
    return list(dict.fromkeys(measurements))


@lru_cache(maxsize=16)
def _in_place(circuit: Circuit, state: str, instruments: tuple[str, ...]) -> tuple[Measurement, ...]:
    """What can be seen and probed with everything left in its place; asked for before each test."""
    measurements = [*looks(circuit, state)]
    points = probe_points(circuit)
    if "meter" in instruments:
        # Bare metal against the battery's minus is what all grounds share, at one reading.
        alone = [*points, BODY] if BODY in circuit.points else points
        # One drop over the whole feed side of each load.
        loads = [load for load in circuit.model.of_kind(*LOADS) if not never_probed(load)]
        posts = [f"{battery.name}.+" for battery in circuit.model.of_kind("battery")[:1]]
        sides = [(post, f"{load.name}.{load.pins[0]}") for post in posts for load in loads]
        ends = [*((point, None) for point in alone), *own_ends(circuit), *sides]
        measurements += [Measurement("volts", at, state, to, "meter") for at, to in ends]
    # No lamp at a unit or a sensor, nor where a wire leads straight to one.
    joined = [ends for wire in circuit.model.wires for ends in (wire.ends, wire.ends[::-1])]
    to_units = {point for point, other in joined if kind_at(circuit, other) in ("module", "sensor")}
    no_lamp = ("module", "sensor", "battery")
    lit = [point for point in points if kind_at(circuit, point) not in no_lamp and point not in to_units]
    for lamp in lamps(instruments):
        measurements += [Measurement("lamp", point, state, instrument=lamp) for point in lit]
    if "clamp" in instruments:
        wires = [wire.name for wire in circuit.model.wires if _may_be_probed(circuit, wire)]
        measurements += [Measurement("amps", name, state, instrument="clamp") for name in wires]
    return tuple(measurements)


def open_contacts(circuit: Circuit, part: Part) -> tuple[tuple[str, str | None], ...]:
    """The ends, along the current, of the contacts of which a meter reaches both sides with the part in its place.

    A fuse has test points on top of it, a battery its posts; a negative one (None) is what all is measured against.
    """
    name = part.name
    if part.kind == "fuse":
        return (f"{name}.1", f"{name}.1:part"), (f"{name}.2:part", f"{name}.2")
    if part.kind == "battery":
        post = f"{name}.-:part"
        reference = circuit.network.node(post) == circuit.network.size
        return (f"{name}.+:part", f"{name}.+"), (f"{name}.-", None if reference else post)
    return ()


def lamps(instruments: Sequence[str]) -> list[str]:
    """The lamps at hand."""
    return [name for name in instruments if (used := INSTRUMENTS.get(name)) is not None and used.filament]


def at_hand(measurement: Measurement, instruments: Sequence[str]) -> bool:
    """Whether the instrument of a test is at hand."""
    return measurement.instrument is None or measurement.instrument in instruments


def looks(circuit: Circuit, state: str) -> Iterator[Measurement]:
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
    wired = {end for wire in circuit.model.wires for end in wire.ends}
    points = []
    for point in circuit.points:
        part = circuit.parts.get(part_of(point))
        if part is None or point.endswith(":part") or never_probed(part) or part.kind in ("splice", "mass"):
            continue
        if point in wired or part.kind == "ground":
            points.append(point)
    return points


@lru_cache(maxsize=4)
def own_ends(circuit: Circuit) -> tuple[tuple[str, str], ...]:
    """The two ends of each wire, cavity, ground joint, and part that a meter can be put across.

    A splice lies inside the harness: the next terminal stands for it.
    """
    starts = [ends for wire in circuit.model.wires if (ends := wire_ends(circuit, wire)) is not None]
    for part in circuit.parts.values():
        if not never_probed(part):
            starts += _ends_of(part)
    return tuple(starts)


def wire_ends(circuit: Circuit, wire: Wire) -> tuple[str, str] | None:
    """Where a meter is put to a wire's two ends; None where it may not be or no terminal is in reach."""
    if not _may_be_probed(circuit, wire):
        return None
    a, b = (_beyond(circuit, *ends) for ends in (wire.ends, wire.ends[::-1]))
    return (a, b) if a and b else None


def _may_be_probed(circuit: Circuit, wire: Wire) -> bool:
    return not any(never_probed(circuit.parts.get(part_of(end))) for end in wire.ends)


def _beyond(circuit: Circuit, end: str, other: str) -> str:
    """The end, or the terminal nearest to a splice that can be got at; empty where there is none."""
    if kind_at(circuit, end) != "splice":
        return end
    if kind_at(circuit, other) != "splice":
        return next((point for point in _behind_splices(circuit)[end] if point != other), "")
    return min(splice_terminals(circuit, end, other), key=lambda point: _way(circuit, point), default="")


@lru_cache(maxsize=4)
def _behind_splices(circuit: Circuit) -> Mapping[str, Sequence[str]]:
    """The terminals of each splice's wires, the nearest first: every wire that ends there asks for them."""
    splices = [point for point in circuit.far_ends if kind_at(circuit, point) == "splice"]
    return {
        point: sorted(splice_terminals(circuit, point, point), key=lambda end: _way(circuit, end))
        for point in splices
    }


def _way(circuit: Circuit, point: str) -> float:
    key = place_key(part_of(point), circuit.model)
    return 0.0 if key is None else reach_minutes(key, circuit.model)


def splice_terminals(circuit: Circuit, end: str, other: str) -> list[str]:
    """The points at which an end of a wire can be probed: itself, or of a splice the far ends of its other wires."""
    if kind_at(circuit, end) != "splice":
        return [end]
    seen, terminals, waiting = {end, other}, list[str](), [end]
    while waiting:
        for far in circuit.far_ends.get(waiting.pop(), ()):
            if far not in seen:
                seen.add(far)
                (waiting if kind_at(circuit, far) == "splice" else terminals).append(far)
    return [point for point in terminals if not never_probed(circuit.parts.get(part_of(point)))]


def kind_at(circuit: Circuit, point: str) -> str:
    """The kind of the part that a point belongs to; empty where there is none."""
    part = circuit.parts.get(part_of(point))
    return part.kind if part is not None else ""


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
    a, b = own_pins(part) if pins else ("", "")
    return [(f"{name}.{a}", f"{name}.{b}")] if part.kind in LOADS or len(pins) == 2 else []


def own_pins(part: Part) -> tuple[str, str]:
    """The pins between which a part itself lies: a motor has those of its park switch besides."""
    return part.pins[0], part.pins[1 if part.kind in LOADS else -1]


def _interventions(
    circuit: Circuit, state: str, suspected: Sequence[Part], loads: Sequence[str]
) -> Iterator[Measurement]:
    """Swap a relay or fuse, jump a relay's contacts, a lamp for a fuse, a stand-in for a stage."""
    for part in suspected:
        far = circuit.far_ends.get(f"{part.name}.87", ())
        drives_module = any(kind_at(circuit, end) == "module" for end in far)
        for load in loads:
            if part.kind in SWAPPED:
                yield Measurement("works", load, state, changes=(Replace(part.name),))
            if part.kind == "relay" and not drives_module:
                bridged = Jump(f"{part.name}.30", f"{part.name}.87")
                yield Measurement("works", load, state, changes=(bridged,))
    for stage in circuit.model.stages.values():
        if stage.stand_in:
            for later in circuit.model.stages.values():
                if stage.name in later.needs:
                    yield Measurement("stage", later.name, state, changes=(StandInFor(stage.name),))


def _inspections(circuit: Circuit, state: str, suspects: Sequence[str]) -> Iterator[Measurement]:
    """The places themselves, and parts of which several contacts are in question: unplugged, all are seen at once."""
    owners = [part_of(name) for name in suspects if "." in name and not name.startswith("wire ")]
    plugs = [name for name in dict.fromkeys(owners) if owners.count(name) > 1 and name not in suspects]
    for name in (*suspects, *plugs):
        part = circuit.parts.get(part_of(name))
        # What is no part is a wire, the lines of a bus, or what fails in a stage: to be seen as well.
        if name.startswith("wire ") or part is None or not never_probed(part):
            yield Measurement("inspection", name, state)
            if "." in name and not name.startswith("wire ") and kind_at(circuit, name) != "battery":
                # The fit of a terminal, tried with a test pin, is a look of its own.
                yield Measurement("inspection", name, state, detail=(PIN_DRAG,))
        if " and " in name:
            # Wires in each other's places are seen by their colours, in less time than a contact is looked at.
            for wire in circuit.model.wires:
                if {*map(place, wire.ends)} & {*name.split(" and ")}:
                    yield Measurement("inspection", wire.name, state, detail=(ENDS,))


def _ohms(circuit: Circuit, state: str, suspects: Sequence[str]) -> Iterator[Measurement]:
    """Ohms of an unplugged part; of a wire between its unplugged ends; to body with the fuse pulled."""
    for name in dict.fromkeys(part_of(suspect) for suspect in suspects if not suspect.startswith("wire ")):
        part = circuit.parts.get(name)
        if part is not None and not never_probed(part) and part.kind in MEASURED:
            pairs = [("86", "85")] if part.kind == "relay" else [own_pins(part)]
            if part.kind == "switch":
                pairs = [*dict.fromkeys((join.a, join.b) for join in part.connections)]
            yield from (itself(part, a, b, state) for a, b in pairs)
    for wire in filter(None, map(circuit.model.wire, suspects)):
        ends = dict.fromkeys(map(part_of, wire.ends))
        plugs = [name for name in ends if has_plug(circuit.parts.get(name))]
        unplugged = tuple(Unplug(name) for name in plugs if not never_probed(circuit.parts[name]))
        if unplugged and not any(kind_at(circuit, end) == "splice" for end in ends):
            yield Measurement("ohms", wire.a, state, wire.b, "meter", unplugged)
            yield Measurement("ohms", wire.b, state, BODY, "meter", unplugged)


def itself(part: Part, a: str, b: str, state: str) -> Measurement:
    """The ohms of a part itself, unplugged, between two of its pins."""
    at, to = f"{part.name}.{a}:part", f"{part.name}.{b}:part"
    return Measurement("ohms", at, state, to, "meter", (Unplug(part.name),))


def has_plug(part: Part | None) -> bool:
    """Whether a part is taken off its wires by hand."""
    return part is not None and part.kind not in ("splice", "ground", "mass", "battery")
