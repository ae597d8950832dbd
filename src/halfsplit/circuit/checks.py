"""Structural rules of a whole circuit, one function each: what is missing, loose or named only once.

They look at the model alone, so that a circuit made by hand or by a form is checked like one from a file.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterator, Mapping
from types import MappingProxyType

from halfsplit.circuit.model import BODY, NOWHERE, Behaviour, Hears, Model, Part, Position
from halfsplit.circuit.module_elements import asked_by
from halfsplit.circuit.naming import part_of
from halfsplit.circuit.problems import Finding, Mistake
from halfsplit.circuit.wiring import place
from halfsplit.joined import Joined

RULES: Mapping[str, Mistake] = MappingProxyType(
    {
        mistake.id: mistake
        for mistake in (
            Mistake(
                "no-battery",
                "error",
                "the circuit has wires but no battery, and every voltage is measured from its negative",
                "declare it and draw its wires, such as: battery G1",
            ),
            Mistake(
                "body-apart",
                "error",
                "{ground} is joined to the body, but nothing joins the body to the battery negative",
                "draw the battery's ground lead, such as: {negative} --[16mm2 0.6m]-- {ground}",
            ),
            Mistake("empty", "warning", "the circuit says nothing", "begin with: battery G1"),
            Mistake(
                "named-once",
                "warning",
                "{name} is named only here",
                "check it for a typing error, or draw what belongs to it",
            ),
            Mistake(
                "one-side",
                "warning",
                "{cavity} is wired on one side only, {side}",
                "let one path end at {cavity} and one start there, or draw one path through it",
            ),
            Mistake(
                "unplugged",
                "warning",
                "nothing is drawn on the other side of {names}",
                "draw what is plugged in there, or leave its wires open on purpose",
            ),
            Mistake(
                "pin-unwired",
                "warning",
                "{name} has pin {pin} in a line of its own, but no wire at it",
                "draw the wire at {name}.{pin}, or delete the line",
            ),
            Mistake(
                "bus-alone",
                "warning",
                "{name} is alone on the bus {bus}",
                "check the bus's name, or add the unit that answers",
            ),
            Mistake(
                "no-current",
                "warning",
                "{name} can have no current in any state",
                "check its wires, the fuse, the ground, and that a state switches it on",
            ),
        )
    }
)


def check(model: Model) -> tuple[Finding, ...]:
    """Everything that the rules find, errors first."""
    findings = [finding for rule in _CHECKS for finding in rule(model)]
    return tuple(sorted(findings, key=lambda finding: finding.mistake.severity))


def dead_parts(model: Model, has_current: Callable[[str], bool]) -> tuple[Finding, ...]:
    """A warning for each part without current in any state; the fuses of empty places are told together.

    ``has_current`` tells, by a solution, whether the part of that name carries current in one of them.
    """
    dead = [
        part
        for part in model.parts.values()
        if part.kind not in ("connector", "splice", "ground", "mass") and not has_current(part.name)
    ]
    groups = [[part] for part in dead if part.kind != "fuse"]
    fuses = [part for part in dead if part.kind == "fuse"]
    return tuple(
        _found("no-current", group[0].at, name=", ".join(part.name for part in group))
        for group in [*groups, fuses]
        if group
    )


def _found(rule: str, at: Position, **values: str) -> Finding:
    return Finding(RULES[rule], at, values)


# the battery and the body


def no_battery(model: Model) -> Iterator[Finding]:
    """Wires, but no battery."""
    if model.wires and not model.of_kind("battery"):
        yield _found("no-battery", model.wires[0].at)


def body_apart(model: Model) -> Iterator[Finding]:
    """A ground is used, and the body has no way to the battery negative: no current could return."""
    batteries = model.of_kind("battery")
    used = {place(end) for wire in model.wires for end in wire.ends}
    grounds = [part for part in model.of_kind("ground", "mass") if part.name in used]
    if not batteries or not grounds:
        return
    negatives = [f"{battery.name}.-" for battery in batteries]
    joined = Joined[str]()
    for a, b in _conducting(model):
        joined.join(a, b)
    if all(joined.root(negative) != joined.root(BODY) for negative in negatives):
        yield _found("body-apart", grounds[0].at, ground=grounds[0].name, negative=negatives[0])


def _conducting(model: Model) -> Iterator[tuple[str, str]]:
    """Places that wires, joints, straps, and parts that are no loads join.

    A shunt or a master switch may sit in a ground lead.
    """
    for wire in model.wires:
        yield place(wire.a), place(wire.b)
    for part in model.parts.values():
        if part.is_earth:
            yield part.name, part.mass
        elif part.is_fuse or part.kind in ("resistor", "diode"):
            yield f"{part.name}.{part.pins[0]}", f"{part.name}.{part.pins[1]}"
        for join in part.connections:
            yield f"{part.name}.{join.a}", f"{part.name}.{join.b}"


# names and wires that lead nowhere


def empty(model: Model) -> Iterator[Finding]:
    """No part and no stage."""
    if not model.parts and not model.stages:
        yield _found("empty", NOWHERE)


def named_once(model: Model) -> Iterator[Finding]:
    """A name that stands in one place only is likely a typing error."""
    counts = Counter(_mentions(model))
    for part in model.parts.values():
        if counts[part.name] == 1:
            yield _found("named-once", part.at, name=part.name)


def _mentions(model: Model) -> Iterator[str]:
    """The name of a part, once for each place in the file that names it."""
    for part in model.parts.values():
        yield from [part.name] * part.declared
        yield from [part.mass] * (part.mass != BODY)
        if part.behaviour is not None:
            sleep = part.behaviour.sleep
            conditions = [*(driver.when for driver in part.behaviour.drivers), sleep.wakes if sleep else None]
            for asked in (each for condition in conditions for each in asked_by(condition)):
                if isinstance(asked, Hears):
                    yield from (asked.listener, asked.speaker)
    # Parts that the paths name; one in the middle of a path is named once, though two wires end at it.
    previous = None
    for wire in model.wires:
        a, b = map(part_of, wire.ends)
        yield from [a] * (previous != (wire.path, a))
        yield b
        previous = wire.path, b
    for state in model.states.values():
        yield from (*state.switches, *state.running, *state.values)
    for stage in model.stages.values():
        yield from stage.needs
    yield from (gauge.place.partition(".")[0] for gauge in model.gauges.values())
    yield from model.reaches
    yield from (suspicion.name.partition(".")[0] for suspicion in model.suspicions)
    yield from (terminator.part for terminator in model.terminators)


def one_side(model: Model) -> Iterator[Finding]:
    """Cavities with nothing at ``:in`` or nothing at ``:out``; those of declared connectors are told together."""
    sides: dict[str, set[str]] = {}
    first: dict[str, Position] = {}  # where each cavity first ends a wire
    for at, point in ((wire.at, end) for wire in model.wires for end in wire.ends):
        cavity, _, side = point.partition(":")
        first.setdefault(cavity, at)
        if side in ("in", "out"):
            sides.setdefault(cavity, set()).add(side)
    single = [cavity for cavity, wired in sides.items() if len(wired) == 1]
    unplugged = [cavity for cavity in single if model.parts[part_of(cavity)].declared]
    if len(unplugged) > 1:
        # A connector of which all cavities are among them is told by its own name.
        other = {part_of(cavity) for cavity in sides.keys() - {*unplugged}}
        parts = {cavity: part_of(cavity) for cavity in unplugged}
        names = dict.fromkeys(cavity if part in other else part for cavity, part in parts.items())
        yield _found("unplugged", first[unplugged[0]], names=", ".join(names))
        single = [cavity for cavity in single if cavity not in unplugged]
    for cavity in single:
        arrives = sides[cavity] == {"in"}
        side = "the side on which a path arrives" if arrives else "the side from which a path leaves"
        yield _found("one-side", first[cavity], cavity=cavity, side=side)


def pin_unwired(model: Model) -> Iterator[Finding]:
    """Pins of behaviour lines without a wire."""
    wired = {place(end) for wire in model.wires for end in wire.ends}
    for module in model.of_kind("module"):
        for pin in _behaviour_pins(module):
            if f"{module.name}.{pin}" not in wired:
                yield _found("pin-unwired", module.at, name=module.name, pin=pin)


def _behaviour_pins(module: Part) -> Iterator[str]:
    behaviour = module.behaviour or Behaviour()
    pins = [pin for group in behaviour.feeds for pin in group]
    pins += [*behaviour.earths, *behaviour.clamps]
    pins += [port.pin for port in behaviour.inputs]
    pins += [driver.pin for driver in behaviour.drivers]
    pins += [supply.pin for supply in behaviour.supplies]
    pins += [pin for talk in behaviour.talks for pin in (talk.high, talk.low) if pin]
    return iter(dict.fromkeys(pins))


def bus_alone(model: Model) -> Iterator[Finding]:
    """Modules that nobody can hear."""
    counts = Counter(talk.bus for _, talk in model.talks)
    for module, talk in model.talks:
        if counts[talk.bus] == 1:
            yield _found("bus-alone", module.at, name=module.name, bus=talk.bus)


_CHECKS: tuple[Callable[[Model], Iterator[Finding]], ...] = (
    no_battery,
    body_apart,
    empty,
    named_once,
    one_side,
    pin_unwired,
    bus_alone,
)
