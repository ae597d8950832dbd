"""What each kind of part is electrically: a table from kind to the function that adds its elements.

An *element* is one line of node analysis: a current from point ``u0`` to point ``u1`` that depends on the volts from
``v0`` to ``v1``::

    current = conductance * (volts - emf) - push

For all but a regulated supply ``v`` is ``u``. An element may belong to a *device*: it then counts only in those states
of the device that its mask names. Values are those of ``docs/notation.md``; marked * there: common practice.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field

from halfsplit.circuit.element import (
    Device,
    Diode,
    DriverDevice,
    Element,
    InputPort,
    ModulePorts,
    ParkSwitch,
    Point,
    Relay,
    SleepDevice,
    SupplyDevice,
    TalkDevice,
)
from halfsplit.circuit.kinds import KINDS
from halfsplit.circuit.model import (
    BODY,
    And,
    Behaviour,
    Condition,
    Driver,
    Input,
    Model,
    Not,
    Or,
    Part,
    PinIs,
    Supply,
    Talk,
)
from halfsplit.circuit.wiring import Wiring

REFERENCE = "reference"
LEAK = 1e-9
"""Siemens from every node to the reference (1 Gohm): a point that is cut off on both sides is at 0 V."""
SWITCH_OHMS = 0.005
DRIVER_OHMS = 0.050
SHORT_OHMS = 0.050
SUPPLY_OHMS = 0.1
SUPPLY_LIMIT = 0.1
INPUT_OHMS = 100e3
DIODE_OHMS = 0.010
CLAMP_VOLTS = 0.7
CONTACT_VOLTS = 0.1
"""A fuse, and a closed relay contact, drop this at their rating."""
NOMINAL = 12.0
FEED_MINIMUM = 8.0
BUS_IDLE_OHMS = 25e3
BUS_DRIVE_OHMS = 25.0
BUS_IDLE, BUS_HIGH, BUS_LOW = 2.5, 3.5, 1.5
LINE_PULL_OHMS, LINE_DRIVE_OHMS = 30e3, 40.0


@dataclass(slots=True)
class Assembly:
    """Collects elements and devices while the parts are gone through; ``network.compile_network`` freezes it."""

    model: Model
    wiring: Wiring
    elements: list[Element] = field(default_factory=list)
    devices: list[Device] = field(default_factory=list)
    modules: list[ModulePorts] = field(default_factory=list)
    inputs: list[InputPort] = field(default_factory=list)

    def add(
        self,
        name: str,
        role: str,
        a: Point,
        b: Point,
        ohms: float,
        *,  # noqa: PLR0913 - a line of a table
        spread: float = 0.0,
        emf: float = 0.0,
        device: int = -1,
        mask: int = 0,
        part: str = "",
    ) -> None:
        """A resistance (with a source of ``emf`` volts in series) from a to b."""
        ends = (a, b)
        conductance = 1.0 / ohms if ohms else 0.0
        self.elements.append(
            Element(name, role, ends, ends, conductance, emf, 0.0, spread, device, mask, part)
        )

    def spare(self, name: str, role: str, a: Point, b: Point, part: str = "") -> None:
        """An element that is not there until a fault makes it: a short, a weld."""
        self.elements.append(Element(name, role, (a, b), (a, b), 0.0, part=part))

    def device(self, device: Device) -> int:
        self.devices.append(device)
        return len(self.devices) - 1


def inside(part: Part, pin: str) -> Point:
    """The part side of a pin."""
    return f"{part.name}.{pin}:part"


def value(part: Part, unit: str) -> float:
    """The value given in the file, or the kind's default."""
    return part.values[unit] if unit in part.values else KINDS[part.kind].defaults[unit]


def load_ohms(part: Part) -> float:
    """Resistance of a load from what the file gives: ohm, else 12 V / A, else (12 V)² / W."""
    given = part.values or KINDS[part.kind].defaults
    if "ohm" in given:
        return given["ohm"]
    return NOMINAL / given["A"] if "A" in given else NOMINAL**2 / given["W"]


def _battery(assembly: Assembly, part: Part) -> None:
    assembly.add(
        part.name,
        "battery",
        inside(part, "+"),
        inside(part, "-"),
        value(part, "ohm"),
        emf=value(part, "V"),
        spread=0.3,
        part=part.name,
    )


def _generator(assembly: Assembly, part: Part) -> None:
    assembly.add(
        part.name,
        "generator",
        inside(part, "+"),
        inside(part, "-"),
        value(part, "ohm"),
        emf=value(part, "V"),
        spread=0.2,
        part=part.name,
    )


def _fuse(assembly: Assembly, part: Part) -> None:
    ohms = CONTACT_VOLTS / part.values["A"]
    assembly.add(
        part.name, part.kind, inside(part, "1"), inside(part, "2"), ohms, spread=0.15, part=part.name
    )


def _relay(assembly: Assembly, part: Part) -> None:
    coil = inside(part, "85"), inside(part, "86")
    device = assembly.device(Relay(part.name, coil, value(part, "pulls"), value(part, "drops")))
    assembly.add(f"{part.name} coil", "coil", *coil, value(part, "ohm"), spread=0.08, part=part.name)
    ohms = CONTACT_VOLTS / value(part, "A")
    common = inside(part, "30")
    assembly.add(
        f"{part.name} contact",
        "relay contact",
        common,
        inside(part, "87"),
        ohms,
        spread=0.5,
        device=device,
        mask=0b10,
        part=part.name,
    )
    if "87a" in part.pins:
        assembly.add(
            f"{part.name} rest contact",
            "relay contact",
            common,
            inside(part, "87a"),
            ohms,
            spread=0.5,
            device=device,
            mask=0b01,
            part=part.name,
        )
    assembly.spare(f"{part.name} weld", "weld", common, inside(part, "87"), part.name)


def _switch(assembly: Assembly, part: Part) -> None:
    for number, join in enumerate(part.connections):
        assembly.add(
            f"{part.name} join {number}",
            "switch",
            inside(part, join.a),
            inside(part, join.b),
            SWITCH_OHMS,
            spread=0.5,
            part=part.name,
        )
        assembly.spare(
            f"{part.name} weld {number}", "weld", inside(part, join.a), inside(part, join.b), part.name
        )


def _load(assembly: Assembly, part: Part) -> None:
    assembly.add(
        part.name,
        "load",
        inside(part, part.pins[0]),
        inside(part, part.pins[1]),
        load_ohms(part),
        spread=0.06,
        part=part.name,
    )
    if part.park:
        common, parked, running = (inside(part, pin) for pin in part.park)
        device = assembly.device(
            ParkSwitch(part.name, (inside(part, part.pins[0]), inside(part, part.pins[1])))
        )
        for pin, mask, word in ((parked, 0b01, "parked"), (running, 0b10, "running")):
            assembly.add(
                f"{part.name} park switch {word}",
                "switch",
                common,
                pin,
                SWITCH_OHMS,
                spread=0.5,
                device=device,
                mask=mask,
                part=part.name,
            )


def _diode(assembly: Assembly, part: Part) -> None:
    _add_diode(assembly, part.name, inside(part, "a"), inside(part, "k"), value(part, "V"), part.name)
    assembly.spare(f"{part.name} short", "short", inside(part, "a"), inside(part, "k"), part.name)


def _add_diode(
    assembly: Assembly, name: str, anode: Point, cathode: Point, forward: float, part: str
) -> None:
    device = assembly.device(Diode(name, (anode, cathode), forward))
    assembly.add(
        name,
        "diode",
        anode,
        cathode,
        DIODE_OHMS,
        emf=forward,
        spread=0.1,
        device=device,
        mask=0b10,
        part=part,
    )


def _sensor(assembly: Assembly, part: Part) -> None:
    """Two pins: a resistance. Three: a track from supply (1) to return (3) with a tap (2) at the share."""
    if len(part.pins) == 2:
        assembly.add(
            part.name,
            "load",
            inside(part, "1"),
            inside(part, "2"),
            value(part, "ohm"),
            spread=0.08,
            part=part.name,
        )
        return
    halves = zip(
        ("upper", "lower"), ("1", "2"), ("2", "3"), sensor_track(part, value(part, "share")), strict=True
    )
    for half, a, b, ohms in halves:
        assembly.add(
            f"{part.name} {half}",
            "track",
            inside(part, a),
            inside(part, b),
            ohms,
            spread=0.05,
            part=part.name,
        )


def sensor_track(part: Part, share: float) -> tuple[float, float]:
    """Ohms above and below the tap of a three-pin sensor; the ends keep 1 ohm so that a stuck signal is finite."""
    whole = value(part, "ohm")
    return max(whole * (1.0 - share), 1.0), max(whole * share, 1.0)


def _module(assembly: Assembly, part: Part) -> None:
    behaviour = part.behaviour
    if behaviour is None:
        return
    index = len(assembly.modules)
    feeds = tuple(tuple(inside(part, pin) for pin in group) for group in behaviour.feeds)
    earth = inside(part, behaviour.earths[0]) if behaviour.earths else REFERENCE
    feed = feeds[0][0] if feeds else REFERENCE
    minimum = behaviour.works_over or FEED_MINIMUM
    assembly.modules.append(ModulePorts(part.name, feeds, earth, minimum))
    _module_draw(assembly, part, behaviour, index, earth)
    for other in behaviour.earths[1:]:
        assembly.add(
            f"{part.name} earth {other}", "earth", inside(part, other), earth, SWITCH_OHMS, part=part.name
        )
    for port in _all_inputs(behaviour):
        _input(assembly, part, port, index, feed, earth)
    for driver in behaviour.drivers:
        _driver(assembly, part, driver, index, feed, earth)
    for supply in behaviour.supplies:
        _supply(assembly, part, supply, index, feed, earth)
    for pin in behaviour.clamps:
        _add_diode(assembly, f"{part.name} clamp {pin}", inside(part, pin), feed, CLAMP_VOLTS, part.name)
    for talk in behaviour.talks:
        _talk(assembly, part, talk, index, feed, earth)


def _module_draw(assembly: Assembly, part: Part, behaviour: Behaviour, module: int, earth: Point) -> None:
    """Its own current, from each feed to its first earth, whether it works or not; less of it while asleep."""
    pins = [pin for group in behaviour.feeds for pin in group]
    amps, sleep = value(part, "A") if behaviour.draws is None else behaviour.draws, behaviour.sleep
    device = assembly.device(SleepDevice(part.name, module, sleep)) if sleep else -1
    for pin in pins:
        if amps > 0:
            assembly.add(
                f"{part.name} draw {pin}",
                "draw",
                inside(part, pin),
                earth,
                NOMINAL * len(pins) / amps,
                spread=0.25,
                device=device,
                mask=0b01,
                part=part.name,
            )
        if sleep and sleep.amps > 0:
            assembly.add(
                f"{part.name} asleep {pin}",
                "draw",
                inside(part, pin),
                earth,
                NOMINAL * len(pins) / sleep.amps,
                spread=0.25,
                device=device,
                mask=0b10,
                part=part.name,
            )


def pins_read(condition: Condition | None) -> set[str]:
    """The pins whose level a condition asks for."""
    match condition:
        case PinIs(pin):
            return {pin}
        case Not(term):
            return pins_read(term)
        case And(terms) | Or(terms):
            return set().union(*map(pins_read, terms))
        case _:
            return set()


def _all_inputs(behaviour: Behaviour) -> list[Input]:
    """The declared inputs, and a plain one for every pin that a condition asks for without declaring it."""
    declared = {port.pin for port in behaviour.inputs}
    asked = set().union(
        *(pins_read(driver.when) for driver in behaviour.drivers),
        pins_read(behaviour.sleep.wakes if behaviour.sleep else None),
    )
    return [*behaviour.inputs, *(Input(pin) for pin in sorted(asked - declared))]


def _input(assembly: Assembly, part: Part, port: Input, module: int, feed: Point, earth: Point) -> None:
    rail = feed if port.pull == "up" else earth
    name = f"{part.name}.{port.pin}"
    resting = "high" if port.pull == "up" else "low"
    assembly.add(
        f"{name} pull",
        "pull",
        inside(part, port.pin),
        rail,
        port.ohms or INPUT_OHMS,
        spread=0.05,
        part=part.name,
    )
    assembly.inputs.append(
        InputPort(name, module, port.pin, inside(part, port.pin), port.low_under, port.high_over, resting)
    )


def _driver(assembly: Assembly, part: Part, driver: Driver, module: int, feed: Point, earth: Point) -> None:
    pin = inside(part, driver.pin)
    ends = (feed, pin) if driver.side == "high" else (pin, earth)
    ohms = driver.ohms or DRIVER_OHMS
    name = f"{part.name}.{driver.pin}"
    device = assembly.device(DriverDevice(name, module, driver, ends, ohms))
    # One that limits senses its current by its own resistance, which is therefore taken as it is given.
    spread = 0.0 if driver.limit else 0.3
    assembly.add(
        f"{name} driver", "driver", *ends, ohms, spread=spread, device=device, mask=0b0010, part=part.name
    )
    if driver.limit:
        assembly.elements.append(
            Element(
                f"{name} limit",
                "limit",
                ends,
                ends,
                0.0,
                push=-driver.limit,
                device=device,
                mask=0b0100,
                part=part.name,
            )
        )
    if driver.bias:
        assembly.add(
            f"{name} bias",
            "pull",
            feed,
            pin,
            driver.bias,
            spread=0.05,
            device=device,
            mask=0b1001,
            part=part.name,
        )


def _supply(assembly: Assembly, part: Part, supply: Supply, module: int, feed: Point, earth: Point) -> None:
    pin = inside(part, supply.pin)
    name = f"{part.name}.{supply.pin}"
    device = assembly.device(SupplyDevice(name, module, supply, feed, earth, pin))
    limit = supply.limit or SUPPLY_LIMIT
    flow, conductance = (feed, pin), 1.0 / SUPPLY_OHMS
    assembly.elements += [
        Element(
            f"{name} supply",
            "supply",
            flow,
            (earth, pin),
            conductance,
            emf=-supply.volts,
            device=device,
            mask=0b0010,
            part=part.name,
        ),
        Element(
            f"{name} limit", "limit", flow, flow, 0.0, push=-limit, device=device, mask=0b0100, part=part.name
        ),
        Element(
            f"{name} dropout", "driver", flow, flow, conductance, device=device, mask=0b1000, part=part.name
        ),
    ]


def _talk(assembly: Assembly, part: Part, talk: Talk, module: int, feed: Point, earth: Point) -> None:
    high = inside(part, talk.high)
    low = inside(part, talk.low) if talk.low else None
    name = f"{part.name} on {talk.bus}"
    device = assembly.device(TalkDevice(name, module, talk, high, low, feed, earth))
    if low is None:
        assembly.add(f"{name} pull", "pull", feed, high, LINE_PULL_OHMS, part=part.name)
        assembly.add(
            f"{name} dominant", "bus", high, earth, LINE_DRIVE_OHMS, device=device, mask=0b100, part=part.name
        )
        return
    for line, end, level in (("high", high, BUS_HIGH), ("low", low, BUS_LOW)):
        assembly.add(
            f"{name} {line} idle",
            "bus",
            end,
            earth,
            BUS_IDLE_OHMS,
            emf=BUS_IDLE,
            device=device,
            mask=0b110,
            part=part.name,
        )
        assembly.add(
            f"{name} {line} dominant",
            "bus",
            end,
            earth,
            BUS_DRIVE_OHMS,
            emf=level,
            device=device,
            mask=0b100,
            part=part.name,
        )


def _terminators(assembly: Assembly) -> None:
    for terminator in assembly.model.terminators:
        part = assembly.model.parts[terminator.part]
        talk = (
            next((t for t in part.behaviour.talks if t.bus == terminator.bus), None)
            if part.behaviour
            else None
        )
        if talk is None:
            continue
        name = f"{terminator.bus} terminator {part.name}"
        feed = (
            inside(part, part.behaviour.feeds[0][0]) if part.behaviour and part.behaviour.feeds else REFERENCE
        )
        other = inside(part, talk.low) if talk.low else feed
        assembly.add(
            name, "terminator", inside(part, talk.high), other, terminator.ohms, spread=0.02, part=part.name
        )


def _nothing(assembly: Assembly, part: Part) -> None:
    """Connectors and splices are their points alone; their contacts and wires are added with the wiring."""


def _ground(assembly: Assembly, part: Part) -> None:
    ohms = assembly.wiring.contact_ohms(part.name)
    assembly.add(part.name, "joint", part.name, part.mass, ohms, spread=0.7, part=part.name)


def _mass(assembly: Assembly, part: Part) -> None:
    assembly.add(
        part.name, "joint", part.name, BODY, part.values.get("ohm", 1e-4), spread=0.7, part=part.name
    )


PARTS: Mapping[str, Callable[[Assembly, Part], None]] = {
    "battery": _battery,
    "generator": _generator,
    "fuse": _fuse,
    "breaker": _fuse,
    "relay": _relay,
    "switch": _switch,
    "lamp": _load,
    "motor": _load,
    "heater": _load,
    "resistor": _load,
    "solenoid": _load,
    "diode": _diode,
    "sensor": _sensor,
    "module": _module,
    "connector": _nothing,
    "splice": _nothing,
    "ground": _ground,
    "mass": _mass,
}


def assemble(model: Model) -> Assembly:
    """All elements and devices of a circuit, healthy, before any state is chosen."""
    assembly = Assembly(model, Wiring(model))
    for part in model.parts.values():
        PARTS[part.kind](assembly, part)
    _terminators(assembly)
    _contacts(assembly)
    _wires(assembly)
    return assembly


def _contacts(assembly: Assembly) -> None:
    for part in assembly.model.parts.values():
        if part.kind in ("splice", "ground", "mass"):
            continue
        for pin in part.pins:
            point = f"{part.name}.{pin}"
            ends = (f"{point}:in", f"{point}:out") if part.kind == "connector" else (point, f"{point}:part")
            assembly.add(
                point, "contact", *ends, assembly.wiring.contact_ohms(point), spread=0.7, part=part.name
            )


def _wires(assembly: Assembly) -> None:
    for wire in assembly.model.wires:
        known = wire.metres is not None
        ohms = assembly.wiring.ohms(wire)
        # A length that nobody measured is known to a factor of 3 (field.md 15): ln 3 / 2 as standard deviation.
        ends = (wire.a, wire.b)
        assembly.elements.append(
            Element(
                wire.name,
                "wire",
                ends,
                ends,
                1.0 / ohms,
                spread=0.1 if known else 0.55,
                part=wire.name,
                variant=wire.variant,
            )
        )
