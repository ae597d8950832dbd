"""The fault list: made from the circuit, never typed in. A fault is a change of few elements.

Names are those of the contract: ``PART MODE [SEVERITY]``. Each fault belongs to a repair group: one for
each part, wire, contact or cavity, and ground joint.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass, replace

from halfsplit.circuit.assembly import SHORT_OHMS, SWITCH_OHMS, value
from halfsplit.circuit.devices import ALWAYS
from halfsplit.circuit.element import DriverDevice, Relay, SleepDevice, SupplyDevice
from halfsplit.circuit.elements import load_ohms
from halfsplit.circuit.kinds import LOADS
from halfsplit.circuit.model import Part
from halfsplit.circuit.network import ADD, EMF, OPEN, SET, Change, Lock, Network
from halfsplit.circuit.wiring import live_neighbours, neighbouring_cavities, place

HIGH_RESISTANCE = (0.1, 1.0, 10.0, 100.0)
"""Ohms of the named severities of a bad joint."""
SHORTS = (SHORT_OHMS, 1.0, 10.0, 1000.0)
"""Ohms of shorts: dead, chafed, and through water."""
BATTERY_LOW = (11.5, 10.5)
HIGHEST_12_V = 18.0
"""A battery of more volts is one of a 24 V net."""
BATTERY_EXTRA_OHMS = 0.1
DRIFTED = (0.25, 0.5, 0.8, 1.25, 2.0, 4.0)
"""Resistance of a load that drifted, by that of a sound one."""
SPECIAL = NOTHING_WRONG, NOT_IN_MODEL = "nothing wrong", "not in this model"
"""What is no fault of the drawing: hypotheses that are there in every job."""


@dataclass(frozen=True, slots=True)
class Fault:
    """One way to be broken.

    ``part``: what a technician would point at (``K7``, ``X31.4``, ``wire F21.2 K7.30``). ``mode`` and ``severity``
    (ohm or volts, None where there is but one). ``kind`` and ``mode`` are the key into the priors. ``group``: the
    repair that cures it. ``failure``: stage and words for what is not electrical. ``touches``: the parts and
    cavities whose disturbance makes it likelier. ``members``: the single faults of a pair.
    """

    name: str
    part: str
    mode: str
    kind: str
    repair: str
    severity: float | None = None
    changes: tuple[Change, ...] = ()
    locks: tuple[Lock, ...] = ()
    touches: tuple[str, ...] = ()
    failure: tuple[str, str] | None = None
    members: tuple[Fault, ...] = ()

    @property
    def group(self) -> str:
        return self.part

    @property
    def family(self) -> tuple[str, str]:
        """Faults that differ in severity only are one hypothesis."""
        return self.part, self.mode


def pair(first: Fault, second: Fault) -> Fault:
    """Both faults at once."""
    name, part = f"{first.name} + {second.name}", f"{first.part} + {second.part}"
    repair, changes = f"{first.repair}; {second.repair}", first.changes + second.changes
    locks, touches = first.locks + second.locks, first.touches + second.touches
    return Fault(name, part, "pair", "pair", repair, None, changes, locks, touches, None, (first, second))


def all_faults(network: Network) -> dict[str, Fault]:
    """Every single fault in the order of the file, then 'nothing wrong' and 'not in this model'."""
    model = network.model
    faults: list[Fault] = []
    for part in model.parts.values():
        if part.kind in PARTS:
            faults += PARTS[part.kind](network, part)
        if not part.is_joint:
            kind = "cavity" if part.kind == "connector" else "contact"
            for name in (f"{part.name}.{pin}" for pin in part.pins):
                faults += _joint(network, name, kind, f"repair {kind} {name}", (part.name, name))
    faults += _wires(network)
    for a, b in neighbouring_cavities(model):
        connector = a.partition(".")[0]
        repair, touches = f"dry and repair {connector}", (connector, a, b)
        faults += _shorts(network, a, f"short to {b}", "cavity", repair, f"{a} to {b}", touches)
    faults += _buses(network)
    for stage in model.stages.values():
        for words in (failure.words for failure in stage.failures):
            name, part_of_it = f"{stage.name} {words}", f"{stage.name}: {words}"
            repair, failure = f"repair: {words}", (stage.name, words)
            faults.append(
                Fault(name, part_of_it, words, "stage", repair, touches=(stage.name,), failure=failure)
            )
    # An instrument fixed in the circuit that lies: the circuit itself is as it should be.
    lies = ((name, mode) for name in model.gauges for mode in ("offset", "stuck"))
    faults += [_fault(name, mode, "gauge", f"replace {name}") for name, mode in lies]
    faults.append(Fault(NOTHING_WRONG, NOTHING_WRONG, NOTHING_WRONG, "nothing", "none"))
    faults.append(Fault(NOT_IN_MODEL, NOT_IN_MODEL, NOT_IN_MODEL, "unknown", "look outside this circuit"))
    return {fault.name: fault for fault in faults}


Maker = Callable[[Network, Part], Iterator[Fault]]


def _fault(
    part: str,
    mode: str,
    kind: str,
    repair: str,
    changes: Iterable[Change] = (),
    *,
    named: str = "",
    severity: float | None = None,
    touches: tuple[str, ...] = (),
) -> Fault:
    """A fault by its part and mode. ``named``: its severity in the name; it touches its part unless it is told."""
    name = f"{part} {mode}{named}"
    return Fault(name, part, mode, kind, repair, severity, tuple(changes), touches=touches or (part,))


def _part(
    network: Network,
    part: Part,
    mode: str,
    *operations: tuple[str, int, float],
    named: str = "",
    severity: float | None = None,
) -> Fault:
    """A fault of the part itself; ``operations`` name the elements that it changes."""
    changes = (Change(network.element(name), operation, number) for name, operation, number in operations)
    repair = f"replace {part.name}"
    return _fault(part.name, mode, part.kind, repair, changes, named=named, severity=severity)


def _battery(network: Network, part: Part) -> Iterator[Fault]:
    doubled = 2.0 if value(part, "V") > HIGHEST_12_V else 1.0
    for volts in (doubled * low for low in BATTERY_LOW):
        yield _part(network, part, "low", (part.name, EMF, volts), named=f" {volts:g} V", severity=volts)
    yield _part(network, part, "high resistance", (part.name, ADD, BATTERY_EXTRA_OHMS))


def _generator(network: Network, part: Part) -> Iterator[Fault]:
    yield _part(network, part, "not charging", (part.name, OPEN, 0.0))


def _fuse(network: Network, part: Part) -> Iterator[Fault]:
    yield _part(network, part, "open", (part.name, OPEN, 0.0))
    yield from _worn(network, part, "worn", part.name)


def _relay(network: Network, part: Part) -> Iterator[Fault]:
    name = part.name
    released = Lock("device", network.devices.find(name, Relay), 0)
    yield replace(_part(network, part, "coil open", (f"{name} coil", OPEN, 0.0)), locks=(released,))
    yield _part(network, part, "contact open", (f"{name} contact", OPEN, 0.0))
    yield from _worn(network, part, "contact worn", f"{name} contact")
    # One contact that is fused, not two side by side.
    weld = [(f"{name} contact", OPEN, 0.0), (f"{name} weld", SET, 0.1 / value(part, "A"))]
    if "87a" in part.pins:
        weld.append((f"{name} rest contact", OPEN, 0.0))
    yield _part(network, part, "contact welded", *weld)


def _worn(network: Network, part: Part, mode: str, *elements: str) -> Iterator[Fault]:
    """A contact inside a part that has become a bad joint."""
    for ohms in HIGH_RESISTANCE:
        each = ((element, ADD, ohms) for element in elements)
        yield _part(network, part, mode, *each, named=f" {ohms:g} ohm", severity=ohms)


def _switch(network: Network, part: Part) -> Iterator[Fault]:
    joins, welds = (
        [f"{part.name} {what} {number}" for number in range(len(part.connections))]
        for what in ("join", "weld")
    )
    yield from _worn(network, part, "worn", *joins)
    yield _part(network, part, "open", *((join, OPEN, 0.0) for join in joins))
    yield _part(network, part, "closed", *((weld, SET, SWITCH_OHMS) for weld in welds))


def _open_or_shorted(network: Network, part: Part) -> Iterator[Fault]:
    yield _part(network, part, "open", (part.name, OPEN, 0.0))
    yield _part(network, part, "shorted", (f"{part.name} short", SET, SHORT_OHMS))


def _load(network: Network, part: Part) -> Iterator[Fault]:
    if part.kind == "motor":
        yield _part(network, part, "open", (part.name, OPEN, 0.0))
        yield _part(network, part, "stalled", (part.name, SET, load_ohms(part) / 5.0))
    else:
        yield from _open_or_shorted(network, part)
    for ohms in (share * load_ohms(part) for share in (DRIFTED if part.drifts else ())):
        to = f" to {ohms:.3g} ohm"
        yield _part(network, part, "drifted", (part.name, SET, ohms), named=to, severity=ohms)


def _sensor(network: Network, part: Part) -> Iterator[Fault]:
    if len(part.pins) == 2:
        yield from _open_or_shorted(network, part)
        return
    upper, lower = f"{part.name} upper", f"{part.name} lower"
    whole = value(part, "ohm")
    yield _part(network, part, "open", (upper, OPEN, 0.0), (lower, OPEN, 0.0))
    yield _part(network, part, "shorted", (upper, SET, SHORT_OHMS / 2), (lower, SET, SHORT_OHMS / 2))
    yield _part(network, part, "signal low", (upper, SET, whole), (lower, SET, 1.0))
    yield _part(network, part, "signal high", (upper, SET, 1.0), (lower, SET, whole))


def _module(network: Network, part: Part) -> Iterator[Fault]:
    behaviour, table = part.behaviour, network.devices
    if behaviour is None:
        return
    names = (f"{part.name} draw {pin}" for group in behaviour.feeds for pin in group)
    draws = [(name, OPEN, 0.0) for name in names if name in network.element_index]
    module = table.module_index[part.name]
    yield replace(_part(network, part, "dead", *draws), locks=(Lock("module", module),))

    def of_pin(pin: str, mode: str, lock: Lock) -> Fault:
        name, repair = f"{pin} {mode}", f"replace {part.name}"
        return Fault(name, part.name, name, f"module {mode}", repair, locks=(lock,), touches=(part.name,))

    for pin in (f"{part.name}.{driver.pin}" for driver in behaviour.drivers):
        device = table.find(pin, DriverDevice)
        yield of_pin(pin, "never on", Lock("device", device, 0))
        yield of_pin(pin, "always on", Lock("device", device, ALWAYS))
    for name, index in table.input_index.items():
        if table.inputs[index].module == module:
            yield of_pin(name, "not read", Lock("input", index))
    for pin in (f"{part.name}.{supply.pin}" for supply in behaviour.supplies):
        yield of_pin(pin, "missing", Lock("device", table.find(pin, SupplyDevice), 0))
    if behaviour.sleep:
        awake = Lock("device", table.find(part.name, SleepDevice), 0)
        yield replace(_part(network, part, "does not sleep"), locks=(awake,))


def _ground(network: Network, part: Part) -> Iterator[Fault]:
    return _joint(network, part.name, "ground", f"clean and tighten {part.name}", (part.name,))


def _joint(network: Network, name: str, kind: str, repair: str, touches: tuple[str, ...]) -> Iterator[Fault]:
    element = network.element(name)
    yield _fault(name, "open", kind, repair, [Change(element, OPEN)], touches=touches)
    for ohms in HIGH_RESISTANCE:
        change, named = [Change(element, ADD, ohms)], f" {ohms:g} ohm"
        yield _fault(
            name, "high resistance", kind, repair, change, named=named, severity=ohms, touches=touches
        )


def _wires(network: Network) -> Iterator[Fault]:
    live = live_neighbours(network.model)
    for wire in network.model.wires:
        ends = tuple(dict.fromkeys(map(place, wire.ends)))
        touches = (wire.name, *ends, *(end.partition(".")[0] for end in ends if "." in end))
        repair = f"repair {wire.name}"
        yield from _joint(network, wire.name, "wire", repair, touches)
        for other in ("body", "supply") if wire.name in live else ("body",):
            spare = f"{wire.name} to {other}"
            yield from _shorts(network, wire.name, f"short to {other}", "wire", repair, spare, touches)


def _shorts(
    network: Network, part: str, mode: str, kind: str, repair: str, spare: str, touches: tuple[str, ...]
) -> Iterator[Fault]:
    """Shorts of all severities by the element that is there for them."""
    for ohms in SHORTS:
        named = "" if ohms == SHORT_OHMS else f" {ohms:g} ohm"
        change = [Change(network.element(spare), SET, ohms)]
        yield _fault(part, mode, kind, repair, change, named=named, severity=ohms, touches=touches)


def _buses(network: Network) -> Iterator[Fault]:
    """Faults of a bus's lines; a line that is drawn has wires and contacts with faults of their own, not told twice."""
    model = network.model
    drawn = {end for wire in model.wires for end in wire.ends}
    for bus in dict.fromkeys(talk.bus for _, talk in model.talks):
        repair = f"repair the lines of {bus}"
        for name, talk in ((part.name, talk) for part, talk in model.talks if talk.bus == bus):
            for line, pin in (("high", talk.high), ("low", talk.low)):
                if pin and f"{name}.{pin}" not in drawn:
                    apart = [Change(network.element(f"{name}.{pin}"), OPEN)]
                    yield _fault(bus, f"{line} open at {name}", "bus open", repair, apart, touches=(name,))
        names = [("lines shorted", f"{bus} lines")]
        names += [
            (f"{line} short to {where}", f"{bus} {line} to {where}")
            for line in ("high", "low")
            for where in ("body", "supply")
        ]
        for mode, spare in names:
            if spare in network.element_index:
                joined = [Change(network.element(spare), SET, SHORT_OHMS)]
                yield _fault(bus, mode, "bus short", repair, joined)
    for terminator in model.terminators:
        bus, part = terminator.bus, terminator.part
        if f"{bus} terminator {part}" in network.element_index:
            gone = [Change(network.element(f"{bus} terminator {part}"), OPEN)]
            mode, repair = f"terminator missing at {part}", f"replace the terminator at {part}"
            yield _fault(bus, mode, "bus terminator", repair, gone, touches=(part,))


PARTS: Mapping[str, Maker] = {
    "battery": _battery,
    "generator": _generator,
    "fuse": _fuse,
    "breaker": _fuse,
    "relay": _relay,
    "switch": _switch,
    **dict.fromkeys(LOADS, _load),
    "diode": _open_or_shorted,
    "sensor": _sensor,
    "module": _module,
    "ground": _ground,
    "mass": _ground,
}
