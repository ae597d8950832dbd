"""A circuit as a SPICE deck, made from the model and the tables of the contract alone.

Shares nothing with `halfsplit.circuit` but the dataclasses of `model.py`: wires, contacts, parts and faults are worked
out a second time, from the notation's tables and from the *names* of the faults. Every element that some
state or fault needs stands in the deck from the start; absent ones have 1e15 ohm, so that one deck serves all.
"""

import math
import re
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field

from halfsplit.circuit.model import Model, Part, State, Wire

ABSENT = 1e15
GROUND = "0"

Values = dict[str, float]
Stuck = dict[str, str]


@dataclass
class Deck:
    """Lines, and the healthy value of each element; `nodes` maps points to SPICE nodes."""

    model: Model
    nodes: dict[str, str] = field(default_factory=dict)
    lines: list[str] = field(default_factory=list)
    values: dict[str, float] = field(default_factory=dict)
    names: dict[str, str] = field(default_factory=dict)
    """What the circuit calls a thing → the SPICE element."""

    def __post_init__(self) -> None:
        self.sections = Sections(self.model)

    def node(self, point: str) -> str:
        return self.nodes.setdefault(point, f"n{len(self.nodes)}")

    def _add(self, letter: str, name: str, text: str, value: float) -> str:
        element = f"{letter}{len(self.values)}"
        self.lines.append(f"{element} {text} {value:.17g}")
        self.values[element] = value
        self.names[name] = element
        return element

    def resistor(self, name: str, a: str, b: str, ohms: float) -> str:
        return self._add("r", name, f"{self.node(a)} {self.node(b)}", ohms)

    def source(self, name: str, a: str, b: str, volts: float) -> str:
        return self._add("v", name, f"{self.node(a)} {self.node(b)}", volts)

    def current(self, name: str, a: str, b: str, amps: float) -> str:
        return self._add("i", name, f"{self.node(a)} {self.node(b)}", amps)

    def transconductance(self, name: str, a: str, b: str, plus: str, minus: str, siemens: float) -> str:
        ends = " ".join(self.node(point) for point in (a, b, plus, minus))
        return self._add("g", name, ends, siemens)

    def text(self) -> list[str]:
        leaks = [
            f"rleak{number} {node} 0 1e9" for number, node in enumerate(self.nodes.values()) if node != GROUND
        ]
        return ["a circuit", *self.lines, *leaks, ".end"]


# Wires and contacts.


class Sections:
    """mm2 of every wire: given, by ASTM B258, or by the largest fuse that the search finds."""

    def __init__(self, model: Model) -> None:
        self.model = model
        self.steps: dict[str, set[str]] = {}
        for a, b in passages(model):
            self.steps.setdefault(a, set()).add(b)
            self.steps.setdefault(b, set()).add(a)
        self.reached: dict[str, set[str]] = {}
        self.thickest: dict[str, float] = {}
        for wire in model.wires:
            for end in (_place(wire.a), _place(wire.b)):
                self.thickest[end] = max(self.thickest.get(end, 0.0), self.mm2(wire))

    def mm2(self, wire: Wire) -> float:
        if wire.mm2 is not None:
            return wire.mm2
        if wire.gauge is not None:
            return math.pi / 4 * float(0.127 * 92 ** ((36 - wire.gauge) / 39)) ** 2
        seen = self.region(_place(wire.a))
        ratings = [
            part.values["A"]
            for part in self.model.parts.values()
            if part.kind in ("fuse", "breaker") and {f"{part.name}.1", f"{part.name}.2"} & seen
        ]
        if not ratings:
            battery = {
                f"{part.name}.{pin}"
                for part in self.model.parts.values()
                if part.kind == "battery"
                for pin in "+-"
            }
            return 10.0 if battery & {_place(wire.a), _place(wire.b)} else 0.5
        for most, mm2 in ((5, 0.5), (10, 0.75), (15, 1.5), (25, 2.5), (40, 4.0)):
            if max(ratings) <= most:
                return mm2
        return 10.0

    def region(self, place: str) -> set[str]:
        """All places that the search reaches from one."""
        if place not in self.reached:
            seen, waiting = {place}, [place]
            while waiting:
                fresh = self.steps.get(waiting.pop(), set()) - seen
                seen |= fresh
                waiting += fresh
            self.reached |= dict.fromkeys(seen, seen)
        return self.reached[place]

    def contact(self, place: str) -> float:
        """Ohms of a contact, cavity or joint: 0.1 mohm where a wire of 10 mm2 or more ends on it, else 2 mohm."""
        return 0.0001 if self.thickest.get(place, 0.0) >= 10.0 else 0.002


def _place(point: str) -> str:
    return point.split(":", maxsplit=1)[0]


def passages(model: Model) -> Iterator[tuple[str, str]]:
    """What the search for a fuse goes through: wires, switches, relay contacts, open or closed."""
    for wire in model.wires:
        yield _place(wire.a), _place(wire.b)
    for part in model.parts.values():
        if part.kind == "switch":
            for a, b in _joins(part):
                yield f"{part.name}.{a}", f"{part.name}.{b}"
        if part.kind == "relay":
            for contact in {"87", "87a"} & set(part.pins):
                yield f"{part.name}.30", f"{part.name}.{contact}"


def _joins(part: Part) -> list[tuple[str, str]]:
    return [(join.a, join.b) for join in part.joins] or [("1", "2")]


def wire_name(wire: Wire) -> str:
    number = f" #{wire.number}" if wire.number > 1 else ""
    return f"wire {_place(wire.a)} {_place(wire.b)}{number}"


# Parts.


def load(part: Part) -> float:
    defaults = {
        "lamp": {"W": 21.0},
        "motor": {"A": 5.0},
        "heater": {"W": 120.0},
        "resistor": {"ohm": 100.0},
        "solenoid": {"A": 1.0},
        "sensor": {"ohm": 2000.0},
    }
    given = part.values or defaults[part.kind]
    if "ohm" in given:
        return given["ohm"]
    return 12.0 / given["A"] if "A" in given else 144.0 / given["W"]


def pull_ohms(ohms: float | None) -> float:
    return 100e3 if ohms is None else ohms


def _part(deck: Deck, part: Part) -> None:  # noqa: C901, PLR0912 - one table, written out
    name = part.name
    pin = [f"{name}.{each}:part" for each in part.pins]
    match part.kind:
        case "battery" | "generator":
            volts, ohms = (12.6, 0.006) if part.kind == "battery" else (14.2, 0.020)
            deck.source(f"{name} volts", f"{name} inner", f"{name}.-:part", part.values.get("V", volts))
            deck.resistor(name, f"{name}.+:part", f"{name} inner", part.values.get("ohm", ohms))
        case "fuse" | "breaker":
            deck.resistor(name, pin[0], f"{name} meter", 0.1 / part.values["A"])
            deck.source(f"{name} meter", f"{name} meter", pin[1], 0.0)
        case "relay":
            deck.resistor(f"{name} coil", f"{name}.85:part", f"{name}.86:part", part.values.get("ohm", 85.0))
            for contact in ("87", "87a"):
                if contact in part.pins:
                    deck.resistor(f"{name} {contact}", f"{name}.30:part", f"{name}.{contact}:part", ABSENT)
        case "switch":
            for number, (a, b) in enumerate(_joins(part)):
                deck.resistor(f"{name} {number}", f"{name}.{a}:part", f"{name}.{b}:part", ABSENT)
        case "diode":
            deck.source(f"{name} volts", pin[0], f"{name} inner", part.values.get("V", 0.7))
            deck.resistor(name, f"{name} inner", pin[1], ABSENT)
            deck.resistor(f"{name} short", pin[0], pin[1], ABSENT)
        case "sensor" if len(part.pins) == 3:
            for end, other in (("1", "2"), ("2", "3")):
                deck.resistor(f"{name} {end}", f"{name}.{end}:part", f"{name}.{other}:part", 1.0)
        case "lamp" | "motor" | "heater" | "resistor" | "solenoid" | "sensor":
            deck.resistor(name, f"{name}.{part.pins[0]}:part", f"{name}.{part.pins[1]}:part", load(part))
            deck.resistor(
                f"{name} short", f"{name}.{part.pins[0]}:part", f"{name}.{part.pins[1]}:part", ABSENT
            )
            for other in (part.park or ("", "", ""))[1:]:
                if other and part.park:
                    deck.resistor(
                        f"{name} park {other}", f"{name}.{part.park[0]}:part", f"{name}.{other}:part", ABSENT
                    )
        case "module":
            _module(deck, part)
        case "ground":
            deck.resistor(name, name, part.mass, deck.sections.contact(name))
        case "mass":
            deck.resistor(name, name, "body", part.values.get("ohm", 1e-4))


def _module(deck: Deck, part: Part) -> None:
    name, does = part.name, part.behaviour
    if does is None:
        return
    feeds = [pin for group in does.feeds for pin in group]
    earth = f"{name}.{does.earths[0]}:part" if does.earths else GROUND
    feed = f"{name}.{feeds[0]}:part" if feeds else GROUND
    amps = does.draws if does.draws is not None else part.values.get("A", 0.15)
    for pin in feeds:
        deck.resistor(
            f"{name} draw {pin}", f"{name}.{pin}:part", earth, 12.0 * len(feeds) / amps if amps else ABSENT
        )
    for other in does.earths[1:]:
        deck.resistor(f"{name} earth {other}", f"{name}.{other}:part", earth, 0.005)
    for port in does.inputs:
        rail = feed if port.pull == "up" else earth
        deck.resistor(f"{name}.{port.pin} pull", f"{name}.{port.pin}:part", rail, pull_ohms(port.ohms))
    for driver in does.drivers:
        pin = f"{name}.{driver.pin}"
        ends = (feed, f"{pin}:part") if driver.side == "high" else (f"{pin}:part", earth)
        deck.resistor(f"{pin} driver", *ends, ABSENT)
        deck.current(f"{pin} limit", *ends, 0.0)
        deck.resistor(f"{pin} bias", feed, f"{pin}:part", ABSENT)
    for supply in does.supplies:
        pin = f"{name}.{supply.pin}"
        deck.source(f"{pin} volts", f"{pin} inner", earth, supply.volts)
        deck.transconductance(f"{pin} regulates", feed, f"{pin}:part", f"{pin} inner", f"{pin}:part", 0.0)
        deck.current(f"{pin} limit", feed, f"{pin}:part", 0.0)
        deck.resistor(f"{pin} drops", feed, f"{pin}:part", ABSENT)
    for pin in does.clamps:
        deck.source(f"{name} clamp {pin} volts", f"{name}.{pin}:part", f"{name} clamp {pin}", 0.7)
        deck.resistor(f"{name} clamp {pin}", f"{name} clamp {pin}", feed, ABSENT)


def build(model: Model) -> Deck:
    """The deck of a circuit in no particular state."""
    deck = Deck(model)
    deck.nodes["0"] = GROUND
    battery = next(part for part in model.parts.values() if part.kind == "battery")
    deck.nodes[f"{battery.name}.-:part"] = GROUND
    for part in model.parts.values():
        _part(deck, part)
        if part.kind in ("splice", "ground", "mass"):
            continue
        for pin in part.pins:
            place = f"{part.name}.{pin}"
            sides = (f"{place}:in", f"{place}:out") if part.kind == "connector" else (place, f"{place}:part")
            deck.resistor(place, *sides, deck.sections.contact(place))
    supply = f"{battery.name}.+"
    for wire in model.wires:
        metres = 1.5 if wire.metres is None else max(wire.metres, 1e-3)
        deck.resistor(wire_name(wire), wire.a, wire.b, 0.017241 * metres / deck.sections.mm2(wire))
        deck.resistor(f"{wire_name(wire)} to body", wire.b, "body", ABSENT)
        deck.resistor(f"{wire_name(wire)} to supply", wire.b, supply, ABSENT)
    for part in model.parts.values():
        if part.kind == "connector":
            for a in part.pins:
                for b in part.pins:
                    deck.resistor(
                        f"{part.name}.{a} to {part.name}.{b}",
                        f"{part.name}.{a}:in",
                        f"{part.name}.{b}:in",
                        ABSENT,
                    )
    return deck


# One state, and one fault by its name: what the elements are worth before any device has its say.


@dataclass
class Condition:
    """Values of elements, and what a fault does to devices: `stuck` maps a device to what it does for ever."""

    values: dict[str, float]
    stuck: dict[str, str] = field(default_factory=dict)


def in_state(deck: Deck, state: State) -> Condition:
    """Switches in their positions, sensors at their values, generators running or not."""
    values = dict(deck.values)
    for part in deck.model.parts.values():
        if part.kind == "switch":
            settings = part.positions or ("open", "closed")
            position = state.switches.get(part.name, settings[0])
            for number in range(len(_joins(part))):
                closed = (part.joins[number].position if part.joins else settings[1]) == position
                values[deck.names[f"{part.name} {number}"]] = 0.005 if closed else ABSENT
        if part.kind == "generator" and part.name not in state.running:
            values[deck.names[part.name]] = ABSENT
        if part.kind == "sensor" and len(part.pins) == 3:
            share = state.values.get(part.name, part.values.get("share", 0.5))
            whole = part.values.get("ohm", 2000.0)
            values[deck.names[f"{part.name} 1"]] = max(whole * (1 - share), 1.0)
            values[deck.names[f"{part.name} 2"]] = max(whole * share, 1.0)
        elif part.kind == "sensor" and part.name in state.values:
            values[deck.names[part.name]] = state.values[part.name]
    return Condition(values)


def with_fault(deck: Deck, condition: Condition, fault: str) -> Condition:
    """The condition with one fault, known by its name only. Raises KeyError for a name that this file does not know."""
    values, stuck = dict(condition.values), dict(condition.stuck)
    for pattern, change in FAULTS:
        if found := re.fullmatch(pattern, fault):
            change(deck, values, stuck, *found.groups())
            return Condition(values, stuck)
    raise KeyError(fault)


def _nothing(deck: Deck, values: Values, stuck: Stuck) -> None:
    pass


def _open(deck: Deck, values: Values, stuck: Stuck, name: str) -> None:
    part = deck.model.parts.get(name)
    if part is not None and part.kind == "switch":
        for number in range(len(_joins(part))):
            values[deck.names[f"{name} {number}"]] = ABSENT
    elif part is not None and part.kind == "diode":
        stuck[name] = "open"
    elif part is not None and part.kind == "sensor" and len(part.pins) == 3:
        values[deck.names[f"{name} 1"]] = values[deck.names[f"{name} 2"]] = ABSENT
    else:
        values[deck.names[name]] = ABSENT


def _high(deck: Deck, values: Values, stuck: Stuck, name: str, ohms: str | None) -> None:
    values[deck.names[name]] += 0.1 if ohms is None else float(ohms)


def _short(deck: Deck, values: Values, stuck: Stuck, name: str, ohms: str | None) -> None:
    values[deck.names[name]] = 0.05 if ohms is None else float(ohms)


def _wire_short(deck: Deck, values: Values, stuck: Stuck, name: str, where: str, ohms: str | None) -> None:
    _short(deck, values, stuck, f"{name} {where}", ohms)


def _cavity_short(deck: Deck, values: Values, stuck: Stuck, a: str, b: str, ohms: str | None) -> None:
    _short(deck, values, stuck, f"{a} to {b}", ohms)


def _shorted(deck: Deck, values: Values, stuck: Stuck, name: str) -> None:
    if f"{name} short" in deck.names:
        values[deck.names[f"{name} short"]] = 0.05
    else:  # a sensor of three pins: its whole track
        values[deck.names[f"{name} 1"]] = values[deck.names[f"{name} 2"]] = 0.025


def _signal(deck: Deck, values: Values, stuck: Stuck, name: str, level: str) -> None:
    whole = deck.model.parts[name].values.get("ohm", 2000.0)
    values[deck.names[f"{name} 1"]], values[deck.names[f"{name} 2"]] = (
        (whole, 1.0) if level == "low" else (1.0, whole)
    )


def _low(deck: Deck, values: Values, stuck: Stuck, name: str, volts: str) -> None:
    values[deck.names[f"{name} volts"]] = float(volts)


def _weak(deck: Deck, values: Values, stuck: Stuck, name: str) -> None:
    values[deck.names[name]] += 0.1


def _stalled(deck: Deck, values: Values, stuck: Stuck, name: str) -> None:
    values[deck.names[name]] /= 5.0


def _closed(deck: Deck, values: Values, stuck: Stuck, name: str) -> None:
    for number in range(len(_joins(deck.model.parts[name]))):
        element = deck.names[f"{name} {number}"]
        values[element] = 1.0 / (1.0 / 0.005 + (1.0 / values[element] if values[element] < ABSENT else 0.0))


def _stuck(what: str) -> Callable[[Deck, Values, Stuck, str], None]:
    def change(deck: Deck, values: Values, stuck: Stuck, name: str) -> None:
        stuck[name] = what

    return change


def _contact_worn(deck: Deck, values: Values, stuck: Stuck, name: str, ohms: str) -> None:
    stuck[name] = f"contact worn {ohms}"


def _worn(deck: Deck, values: Values, stuck: Stuck, name: str, ohms: str) -> None:
    """A fuse's bridge, or all ways of a switch that are closed."""
    part = deck.model.parts[name]
    each = [f"{name} {number}" for number in range(len(_joins(part)))] if part.kind == "switch" else [name]
    for element in each:
        if values[deck.names[element]] < ABSENT:
            values[deck.names[element]] += float(ohms)


def _coil(deck: Deck, values: Values, stuck: Stuck, name: str) -> None:
    values[deck.names[f"{name} coil"]] = ABSENT
    stuck[name] = "released"


def _dead(deck: Deck, values: Values, stuck: Stuck, name: str) -> None:
    stuck[name] = "dead"
    does = deck.model.parts[name].behaviour
    assert does is not None
    for group in does.feeds:
        for pin in group:
            values[deck.names[f"{name} draw {pin}"]] = ABSENT


FAULTS: tuple[tuple[str, Callable[..., None]], ...] = (
    (r"nothing wrong|not in this model", _nothing),
    (r"(\w+) coil open", _coil),
    (r"(\w+) contact open", _stuck("contact open")),
    (r"(\w+) contact welded", _stuck("contact welded")),
    (r"(\w+) contact worn ([\d.]+) ohm", _contact_worn),
    (r"(\w+) worn ([\d.]+) ohm", _worn),
    (r"(\w+) low ([\d.]+) V", _low),
    (r"(\w+) high resistance", _weak),
    (r"(\w+) stalled", _stalled),
    (r"(\w+) dead", _dead),
    (r"(\w+) closed", _closed),
    (r"(\w+) not charging", _open),
    (r"(\w+) signal (low|high)", _signal),
    (r"(\w+\.\S+) never on", _stuck("off")),
    (r"(\w+\.\S+) always on", _stuck("on")),
    (r"(\w+\.\S+) not read", _stuck("not read")),
    (r"(\w+\.\S+) missing", _stuck("off")),
    (r"(.+) high resistance ([\d.]+) ohm", _high),
    (r"(wire .+) short (to (?:body|supply))(?: ([\d.]+) ohm)?", _wire_short),
    (r"(\S+\.\S+) short to (\S+)(?: ([\d.]+) ohm)?", _cavity_short),
    (r"(\w+) shorted", _shorted),
    (r"(.+) open", _open),
)
"""Pattern of the name → what it does. The first that fits counts."""
