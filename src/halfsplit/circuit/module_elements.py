"""What a control unit is electrically: its draw, inputs, drivers, supplies, clamps and its ends of a bus."""

from __future__ import annotations

from collections.abc import Iterator

from halfsplit.circuit.assembly import NOMINAL, REFERENCE, SWITCH_OHMS, Assembly, inside, value
from halfsplit.circuit.element import (
    DriverDevice,
    Element,
    InputPort,
    ModulePorts,
    Point,
    SleepDevice,
    SupplyDevice,
    TalkDevice,
)
from halfsplit.circuit.model import (
    And,
    Behaviour,
    Condition,
    Driver,
    Hears,
    Input,
    InState,
    Not,
    Or,
    Part,
    PinIs,
    Supply,
    Talk,
)

DRIVER_OHMS = 0.050
SUPPLY_OHMS = 0.1
SUPPLY_LIMIT = 0.1
INPUT_OHMS = 100e3
CLAMP_VOLTS = 0.7
FEED_MINIMUM = 8.0
BUS_IDLE_OHMS = 25e3
BUS_DRIVE_OHMS = 25.0
BUS_IDLE, BUS_HIGH, BUS_LOW = 2.5, 3.5, 1.5
LINE_PULL_OHMS, LINE_DRIVE_OHMS = 30e3, 40.0


def add_module(assembly: Assembly, part: Part) -> None:
    """Everything that the module's behaviour tells; nothing where none is told."""
    behaviour = part.behaviour
    if behaviour is None:
        return
    index = len(assembly.modules)
    feeds = tuple(tuple(inside(part, pin) for pin in group) for group in behaviour.feeds)
    earth = inside(part, behaviour.earths[0]) if behaviour.earths else REFERENCE
    feed = feeds[0][0] if feeds else REFERENCE
    minimum = behaviour.works_over or FEED_MINIMUM
    assembly.modules.append(ModulePorts(part.name, feeds, earth, minimum))
    _draw(assembly, part, behaviour, index, earth)
    for other in behaviour.earths[1:]:
        ends = inside(part, other), earth
        assembly.add(part, f"{part.name} earth {other}", "earth", ends, SWITCH_OHMS)
    # A pin that a condition asks for without declaring it is a plain input.
    wakes = behaviour.sleep.wakes if behaviour.sleep else None
    asked = pins_read(wakes).union(*(pins_read(driver.when) for driver in behaviour.drivers))
    undeclared = sorted(asked - {port.pin for port in behaviour.inputs})
    for port in (*behaviour.inputs, *map(Input, undeclared)):
        pulled = port.pull == "up"
        pin, name = inside(part, port.pin), f"{part.name}.{port.pin}"
        rail, ohms = feed if pulled else earth, port.ohms or INPUT_OHMS
        assembly.add(part, f"{name} pull", "pull", (pin, rail), ohms, spread=0.05)
        resting = "high" if pulled else "low"
        assembly.inputs.append(InputPort(name, index, port.pin, pin, port.low_under, port.high_over, resting))
    for driver in behaviour.drivers:
        _driver(assembly, part, driver, index, feed, earth)
    for supply in behaviour.supplies:
        _supply(assembly, part, supply, index, feed, earth)
    for pin in behaviour.clamps:
        assembly.diode(part, f"{part.name} clamp {pin}", (inside(part, pin), feed), CLAMP_VOLTS)
    for talk in behaviour.talks:
        _talk(assembly, part, talk, index, feed, earth)


def _draw(assembly: Assembly, part: Part, behaviour: Behaviour, module: int, earth: Point) -> None:
    """Its own current, from each feed to its first earth, whether it works or not; less of it while asleep."""
    pins = [pin for group in behaviour.feeds for pin in group]
    amps = value(part, "A") if behaviour.draws is None else behaviour.draws
    sleep = behaviour.sleep
    device = assembly.device(SleepDevice(part.name, module, sleep)) if sleep else -1
    whole = NOMINAL * len(pins)
    for pin in pins:
        ends = inside(part, pin), earth
        if amps > 0:
            name, when = f"{part.name} draw {pin}", (device, 0b01)
            assembly.add(part, name, "draw", ends, whole / amps, spread=0.25, when=when)
        if sleep and sleep.amps > 0:
            name, when = f"{part.name} asleep {pin}", (device, 0b10)
            assembly.add(part, name, "draw", ends, whole / sleep.amps, spread=0.25, when=when)


def asked_by(condition: Condition | None) -> Iterator[Condition]:
    """What a condition asks for in the end, without what joins it: levels of pins, states, units heard."""
    match condition:
        case Not(term):
            yield from asked_by(term)
        case And(terms) | Or(terms):
            for term in terms:
                yield from asked_by(term)
        case None:
            return
        case _:
            yield condition


def pins_read(condition: Condition | None) -> set[str]:
    """The pins whose level a condition asks for."""
    return {asked.pin for asked in asked_by(condition) if isinstance(asked, PinIs)}


def supply_ohms(supply: Supply) -> float:
    """Internal resistance of a regulated supply: one that is made for more current is stiffer."""
    return SUPPLY_OHMS * min(1.0, SUPPLY_LIMIT / (supply.limit or SUPPLY_LIMIT))


def units_heard(condition: Condition | None) -> set[str]:
    """The units that a condition asks for by bus, listeners and speakers."""
    heard = (asked for asked in asked_by(condition) if isinstance(asked, Hears))
    return {name for asked in heard for name in (asked.listener, asked.speaker)}


def names_state(condition: Condition | None) -> bool:
    """Whether a condition asks for an operating state by its name: a command that the drawing does not show."""
    return any(isinstance(asked, InState) for asked in asked_by(condition))


def _driver(assembly: Assembly, part: Part, driver: Driver, module: int, feed: Point, earth: Point) -> None:
    pin, name = inside(part, driver.pin), f"{part.name}.{driver.pin}"
    ends = (feed, pin) if driver.side == "high" else (pin, earth)
    ohms = driver.ohms or DRIVER_OHMS
    device = assembly.device(DriverDevice(name, module, driver, ends, ohms))
    # One that limits senses its current by its own resistance, which is therefore taken as it is given.
    spread = 0.0 if driver.limit else 0.3
    assembly.add(part, f"{name} driver", "driver", ends, ohms, spread=spread, when=(device, 0b0010))
    if driver.limit:
        assembly.limit(part, f"{name} limit", ends, driver.limit, (device, 0b0100))
    if driver.bias:
        when = device, 0b1001
        assembly.add(part, f"{name} bias", "pull", (feed, pin), driver.bias, spread=0.05, when=when)


def _supply(assembly: Assembly, part: Part, supply: Supply, module: int, feed: Point, earth: Point) -> None:
    """Regulating, it is the one element whose current depends on the volts elsewhere: from earth to its pin."""
    pin, name = inside(part, supply.pin), f"{part.name}.{supply.pin}"
    device = assembly.device(SupplyDevice(name, module, supply, feed, earth, pin))
    flow, sense = (feed, pin), (earth, pin)
    siemens, volts = 1.0 / supply_ohms(supply), -supply.volts
    assembly.elements.append(
        Element(f"{name} supply", "supply", flow, sense, siemens, volts, 0.0, 0.0, device, 0b0010, part.name)
    )
    assembly.limit(part, f"{name} limit", flow, supply.limit or SUPPLY_LIMIT, (device, 0b0100))
    assembly.add(part, f"{name} dropout", "driver", flow, supply_ohms(supply), when=(device, 0b1000))


def _talk(assembly: Assembly, part: Part, talk: Talk, module: int, feed: Point, earth: Point) -> None:
    high, low = inside(part, talk.high), inside(part, talk.low) if talk.low else None
    name = f"{part.name} on {talk.bus}"
    device = assembly.device(TalkDevice(name, module, talk, high, low, feed, earth))
    awake, dominant = (device, 0b110), (device, 0b100)
    if low is None:
        assembly.add(part, f"{name} pull", "pull", (feed, high), LINE_PULL_OHMS)
        assembly.add(part, f"{name} dominant", "bus", (high, earth), LINE_DRIVE_OHMS, when=dominant)
        return
    for line, end, level in (("high", high, BUS_HIGH), ("low", low, BUS_LOW)):
        ends, idle = (end, earth), f"{name} {line} idle"
        assembly.add(part, idle, "bus", ends, BUS_IDLE_OHMS, emf=BUS_IDLE, when=awake)
        assembly.add(part, f"{name} {line} dominant", "bus", ends, BUS_DRIVE_OHMS, emf=level, when=dominant)
