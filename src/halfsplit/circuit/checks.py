"""Structural rules of a whole circuit, one function each: what is missing, loose or named only once.

They look at the model alone, so that a circuit made by hand or by a form is checked like one from a file.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterator, Mapping
from types import MappingProxyType

from halfsplit.circuit.model import (
    BODY,
    NOWHERE,
    And,
    Behaviour,
    Condition,
    Hears,
    Model,
    Not,
    Or,
    Part,
    Position,
)
from halfsplit.circuit.problems import Finding, Mistake, Severity


def _rule(id_: str, severity: Severity, message: str, remedy: str) -> tuple[str, Mistake]:
    return id_, Mistake(id_, severity, message, remedy)


RULES: Mapping[str, Mistake] = MappingProxyType(
    dict(
        [
            _rule(
                "no-battery",
                "error",
                "the circuit has wires but no battery, and every voltage is measured from its negative",
                "declare it and draw its wires, such as: battery G1",
            ),
            _rule(
                "body-apart",
                "error",
                "{ground} is joined to the body, but nothing joins the body to the battery negative",
                "draw the battery's ground lead, such as: {negative} --[16mm2 0.6m]-- {ground}",
            ),
            _rule("empty", "warning", "the circuit says nothing", "begin with: battery G1"),
            _rule(
                "named-once",
                "warning",
                "{name} is named only here",
                "check it for a typing error, or draw what belongs to it",
            ),
            _rule(
                "one-side",
                "warning",
                "{cavity} is wired on one side only, {side}",
                "let one path end at {cavity} and one start there, or draw one path through it",
            ),
            _rule(
                "unplugged",
                "warning",
                "nothing is drawn on the other side of {names}",
                "draw what is plugged in there, or leave its wires open on purpose",
            ),
            _rule(
                "pin-unwired",
                "warning",
                "{name} has pin {pin} in a line of its own, but no wire at it",
                "draw the wire at {name}.{pin}, or delete the line",
            ),
            _rule(
                "bus-alone",
                "warning",
                "{name} is alone on the bus {bus}",
                "check the bus's name, or add the unit that answers",
            ),
            _rule(
                "no-current",
                "warning",
                "{name} can have no current in any state",
                "check its wires, the fuse, the ground, and that a state switches it on",
            ),
        ]
    )
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
    batteries, used = model.of_kind("battery"), {point.partition(":")[0] for point in _ends(model)}
    grounds = [part for part in model.of_kind("ground", "mass") if part.name in used]
    if not batteries or not grounds:
        return
    negatives = {f"{battery.name}.-" for battery in batteries}
    if not negatives & _joined_to(BODY, model):
        yield _found(
            "body-apart",
            grounds[0].at,
            ground=grounds[0].name,
            negative=f"{batteries[0].name}.-",
        )


def _joined_to(start: str, model: Model) -> set[str]:
    """Places that conduct to ``start`` through wires, joints, straps, and parts that are no loads.

    A shunt or a master switch may sit in a ground lead.
    """
    neighbours: dict[str, list[str]] = {}
    for a, b in (*_wire_pairs(model), *_part_pairs(model)):
        neighbours.setdefault(a, []).append(b)
        neighbours.setdefault(b, []).append(a)
    seen, waiting = {start}, [start]
    while waiting:
        for place in neighbours.get(waiting.pop(), ()):
            if place not in seen:
                seen.add(place)
                waiting.append(place)
    return seen


def _wire_pairs(model: Model) -> Iterator[tuple[str, str]]:
    for wire in model.wires:
        yield wire.a.partition(":")[0], wire.b.partition(":")[0]


def _part_pairs(model: Model) -> Iterator[tuple[str, str]]:
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
            yield from _heard(part.behaviour)
    yield from _stops(model)
    for state in model.states.values():
        yield from (*state.switches, *state.running, *state.values)
    for stage in model.stages.values():
        yield from stage.needs
    yield from (gauge.place.partition(".")[0] for gauge in model.gauges.values())
    yield from model.reaches
    yield from (suspicion.name.partition(".")[0] for suspicion in model.suspicions)
    yield from (terminator.part for terminator in model.terminators)


def _stops(model: Model) -> Iterator[str]:
    """Parts that the paths name; one in the middle of a path is named once, though two wires end at it."""
    previous = None
    for wire in model.wires:
        a, b = _part_of(wire.a), _part_of(wire.b)
        if previous != (wire.path, a):
            yield a
        yield b
        previous = wire.path, b


def _heard(behaviour: Behaviour) -> Iterator[str]:
    waiting: list[Condition] = [driver.when for driver in behaviour.drivers]
    waiting += [behaviour.sleep.wakes] if behaviour.sleep and behaviour.sleep.wakes else []
    while waiting:
        match waiting.pop():
            case Hears(listener, speaker):
                yield from (listener, speaker)
            case Not(term):
                waiting.append(term)
            case And(terms) | Or(terms):
                waiting += terms


def one_side(model: Model) -> Iterator[Finding]:
    """Cavities with nothing at ``:in`` or nothing at ``:out``; those of declared connectors are told together."""
    sides: dict[str, set[str]] = {}
    first = _first_uses(model)
    for point in _ends(model):
        cavity, _, side = point.partition(":")
        if side in ("in", "out"):
            sides.setdefault(cavity, set()).add(side)
    single = [cavity for cavity, wired in sides.items() if len(wired) == 1]
    unplugged = [cavity for cavity in single if model.parts[_part_of(cavity)].declared]
    if len(unplugged) > 1:
        yield _found("unplugged", first[unplugged[0]], names=", ".join(_whole_connectors(unplugged, sides)))
        single = [cavity for cavity in single if cavity not in unplugged]
    for cavity in single:
        arrives = sides[cavity] == {"in"}
        side = "the side on which a path arrives" if arrives else "the side from which a path leaves"
        yield _found("one-side", first[cavity], cavity=cavity, side=side)


def _whole_connectors(cavities: list[str], sides: Mapping[str, set[str]]) -> Iterator[str]:
    """The cavities, a connector of which all are among them by its own name."""
    other = {_part_of(cavity) for cavity in sides if cavity not in set(cavities)}
    yield from dict.fromkeys(cavity if _part_of(cavity) in other else _part_of(cavity) for cavity in cavities)


def pin_unwired(model: Model) -> Iterator[Finding]:
    """Pins of behaviour lines without a wire."""
    wired = {point.partition(":")[0] for point in _ends(model)}
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
    talking = [
        (talk.bus, module)
        for module in model.of_kind("module")
        for talk in (module.behaviour or Behaviour()).talks
    ]
    counts = Counter(bus for bus, _ in talking)
    for bus, module in talking:
        if counts[bus] == 1:
            yield _found("bus-alone", module.at, name=module.name, bus=bus)


_CHECKS: tuple[Callable[[Model], Iterator[Finding]], ...] = (
    no_battery,
    body_apart,
    empty,
    named_once,
    one_side,
    pin_unwired,
    bus_alone,
)


# points


def _ends(model: Model) -> Iterator[str]:
    for wire in model.wires:
        yield wire.a
        yield wire.b


def _part_of(point: str) -> str:
    return point.partition(":")[0].partition(".")[0]


def _first_uses(model: Model) -> dict[str, Position]:
    """Where each part, and each cavity, first ends a wire."""
    first: dict[str, Position] = {}
    for wire in model.wires:
        for point in (wire.a, wire.b):
            first.setdefault(point.partition(":")[0], wire.at)
            first.setdefault(_part_of(point), wire.at)
    return first
