"""The fault list: made from the circuit, never typed in. A fault is a change of few elements.

Names are those of the contract: ``PART MODE [SEVERITY]``. Each fault belongs to a repair group: one for
each part, wire, contact or cavity, and ground joint.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, replace

from halfsplit.circuit.assembly import SHORT_OHMS, SWITCH_OHMS, value
from halfsplit.circuit.devices import ALWAYS
from halfsplit.circuit.element import DriverDevice, Relay, SleepDevice, SupplyDevice
from halfsplit.circuit.elements import load_ohms
from halfsplit.circuit.kinds import LOADS
from halfsplit.circuit.model import Model, Part
from halfsplit.circuit.network import ADD, EMF, OPEN, SET, Change, Lock, Network
from halfsplit.circuit.wiring import live_neighbours, neighbouring_cavities

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
NOTHING_WRONG, NOT_IN_MODEL = "nothing wrong", "not in this model"


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
    return Fault(
        f"{first.name} + {second.name}",
        f"{first.part} + {second.part}",
        "pair",
        "pair",
        f"{first.repair}; {second.repair}",
        None,
        first.changes + second.changes,
        first.locks + second.locks,
        first.touches + second.touches,
        None,
        (first, second),
    )


def all_faults(network: Network) -> dict[str, Fault]:
    """Every single fault in the order of the file, then 'nothing wrong' and 'not in this model'."""
    model = network.model
    faults: list[Fault] = []
    for part in model.parts.values():
        faults += PARTS.get(part.kind, _none)(network, part)
        faults += _contacts(network, part)
    faults += _wires(network)
    faults += _cavity_shorts(network)
    faults += _buses(network)
    faults += _stages(model)
    faults += _gauges(model)
    faults.append(Fault(NOTHING_WRONG, NOTHING_WRONG, NOTHING_WRONG, "nothing", "none"))
    faults.append(Fault(NOT_IN_MODEL, NOT_IN_MODEL, NOT_IN_MODEL, "unknown", "look outside this circuit"))
    return {fault.name: fault for fault in faults}


Maker = Callable[[Network, Part], Iterator[Fault]]


def _none(network: Network, part: Part) -> Iterator[Fault]:
    yield from ()


def _part(
    network: Network,
    part: Part,
    mode: str,
    *operations: tuple[str, int, float],
    locks: tuple[Lock, ...] = (),
    severity: float | None = None,
) -> Fault:
    """A fault of the part itself; ``operations`` name the elements that it changes."""
    changes = tuple(
        Change(network.element(name), operation, number) for name, operation, number in operations
    )
    return Fault(
        f"{part.name} {mode}",
        part.name,
        mode,
        part.kind,
        f"replace {part.name}",
        severity,
        changes,
        locks,
        (part.name,),
    )


def _battery(network: Network, part: Part) -> Iterator[Fault]:
    doubled = 2.0 if value(part, "V") > HIGHEST_12_V else 1.0
    for volts in (doubled * low for low in BATTERY_LOW):
        fault = _part(network, part, f"low {volts:g} V", (part.name, EMF, volts), severity=volts)
        yield replace(fault, mode="low")
    yield _part(network, part, "high resistance", (part.name, ADD, BATTERY_EXTRA_OHMS))


def _generator(network: Network, part: Part) -> Iterator[Fault]:
    yield _part(network, part, "not charging", (part.name, OPEN, 0.0))


def _fuse(network: Network, part: Part) -> Iterator[Fault]:
    yield _part(network, part, "open", (part.name, OPEN, 0.0))
    yield from _worn(network, part, "worn", part.name)


def _relay(network: Network, part: Part) -> Iterator[Fault]:
    name = part.name
    released = Lock("device", network.devices.find(name, Relay), 0)
    yield _part(network, part, "coil open", (f"{name} coil", OPEN, 0.0), locks=(released,))
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
        fault = _part(network, part, f"{mode} {ohms:g} ohm", *each, severity=ohms)
        yield replace(fault, mode=mode)


def _switch(network: Network, part: Part) -> Iterator[Fault]:
    joins = range(len(part.connections))
    yield from _worn(network, part, "worn", *(f"{part.name} join {number}" for number in joins))
    yield _part(network, part, "open", *((f"{part.name} join {number}", OPEN, 0.0) for number in joins))
    yield _part(
        network, part, "closed", *((f"{part.name} weld {number}", SET, SWITCH_OHMS) for number in joins)
    )


def _load(network: Network, part: Part) -> Iterator[Fault]:
    yield _part(network, part, "open", (part.name, OPEN, 0.0))
    if part.kind == "motor":
        yield _part(network, part, "stalled", (part.name, SET, load_ohms(part) / 5.0))
    else:
        yield _part(network, part, "shorted", (f"{part.name} short", SET, SHORT_OHMS))
    for share in DRIFTED if part.drifts else ():
        ohms = share * load_ohms(part)
        fault = _part(network, part, f"drifted to {ohms:.3g} ohm", (part.name, SET, ohms), severity=ohms)
        yield replace(fault, mode="drifted")


def _diode(network: Network, part: Part) -> Iterator[Fault]:
    yield _part(network, part, "open", (part.name, OPEN, 0.0))
    yield _part(network, part, "shorted", (f"{part.name} short", SET, SHORT_OHMS))


def _sensor(network: Network, part: Part) -> Iterator[Fault]:
    if len(part.pins) == 2:
        yield from _diode(network, part)
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
    draws = [
        (name, OPEN, 0.0)
        for group in behaviour.feeds
        for pin in group
        if (name := f"{part.name} draw {pin}") in network.element_index
    ]
    module = table.module_index[part.name]
    yield _part(network, part, "dead", *draws, locks=(Lock("module", module),))
    for driver in behaviour.drivers:
        pin = f"{part.name}.{driver.pin}"
        device = table.find(pin, DriverDevice)
        yield _pin(part, pin, "never on", Lock("device", device, 0))
        yield _pin(part, pin, "always on", Lock("device", device, ALWAYS))
    for name, index in table.input_index.items():
        if table.inputs[index].module == module:
            yield _pin(part, name, "not read", Lock("input", index))
    for supply in behaviour.supplies:
        pin = f"{part.name}.{supply.pin}"
        yield _pin(part, pin, "missing", Lock("device", table.find(pin, SupplyDevice), 0))
    if behaviour.sleep:
        awake = Lock("device", table.find(part.name, SleepDevice), 0)
        yield _part(network, part, "does not sleep", locks=(awake,))


def _pin(part: Part, pin: str, mode: str, lock: Lock) -> Fault:
    return Fault(
        f"{pin} {mode}",
        part.name,
        f"{pin} {mode}",
        f"module {mode}",
        f"replace {part.name}",
        None,
        (),
        (lock,),
        (part.name,),
    )


def _ground(network: Network, part: Part) -> Iterator[Fault]:
    yield from _joint(network, part.name, "ground", f"clean and tighten {part.name}", (part.name,))


def _joint(network: Network, name: str, kind: str, repair: str, touches: tuple[str, ...]) -> Iterator[Fault]:
    element = network.element(name)
    yield Fault(f"{name} open", name, "open", kind, repair, None, (Change(element, OPEN),), (), touches)
    for ohms in HIGH_RESISTANCE:
        yield Fault(
            f"{name} high resistance {ohms:g} ohm",
            name,
            "high resistance",
            kind,
            repair,
            ohms,
            (Change(element, ADD, ohms),),
            (),
            touches,
        )


def _contacts(network: Network, part: Part) -> Iterator[Fault]:
    if part.is_joint:
        return
    word, kind = ("cavity", "cavity") if part.kind == "connector" else ("contact", "contact")
    for pin in part.pins:
        name = f"{part.name}.{pin}"
        yield from _joint(network, name, kind, f"repair {word} {name}", (part.name, name))


def _wires(network: Network) -> Iterator[Fault]:
    model = network.model
    live = live_neighbours(model)
    for wire in model.wires:
        ends = tuple({end.partition(":")[0]: None for end in (wire.a, wire.b)})
        touches = (wire.name, *ends, *(end.partition(".")[0] for end in ends if "." in end))
        repair = f"repair {wire.name}"
        yield from _joint(network, wire.name, "wire", repair, touches)
        for place in ("body", "supply") if wire.name in live else ("body",):
            spare = f"{wire.name} to {place}"
            for ohms in SHORTS:
                yield _short(
                    network, f"{wire.name} short to {place}", wire.name, "wire", repair, spare, ohms, touches
                )


def _short(
    network: Network,
    name: str,
    part: str,
    kind: str,
    repair: str,
    spare: str,
    ohms: float,
    touches: tuple[str, ...],
) -> Fault:
    severity = "" if ohms == SHORT_OHMS else f" {ohms:g} ohm"
    return Fault(
        name + severity,
        part,
        name.removeprefix(part).strip(),
        kind,
        repair,
        ohms,
        (Change(network.element(spare), SET, ohms),),
        (),
        touches,
    )


def _cavity_shorts(network: Network) -> Iterator[Fault]:
    for a, b in neighbouring_cavities(network.model):
        connector = a.partition(".")[0]
        for ohms in SHORTS:
            fault = _short(
                network,
                f"{a} short to {b}",
                a,
                "cavity",
                f"dry and repair {connector}",
                f"{a} to {b}",
                ohms,
                (connector, a, b),
            )
            yield replace(fault, mode=f"short to {b}")


def _buses(network: Network) -> Iterator[Fault]:
    model = network.model
    for bus in dict.fromkeys(
        talk.bus for part in model.of_kind("module") if part.behaviour for talk in part.behaviour.talks
    ):
        yield from _bus(network, bus)
    for terminator in model.terminators:
        element = f"{terminator.bus} terminator {terminator.part}"
        if element in network.element_index:
            mode = f"terminator missing at {terminator.part}"
            yield Fault(
                f"{terminator.bus} {mode}",
                terminator.bus,
                mode,
                "bus terminator",
                f"replace the terminator at {terminator.part}",
                None,
                (Change(network.element(element), OPEN),),
                (),
                (terminator.part,),
            )


def _bus(network: Network, bus: str) -> Iterator[Fault]:
    """Faults of a bus's lines; a line that is drawn has wires and contacts with faults of their own, not told twice."""
    repair = f"repair the lines of {bus}"
    drawn = {end for wire in network.model.wires for end in (wire.a, wire.b)}
    for part in network.model.of_kind("module"):
        for talk in part.behaviour.talks if part.behaviour else ():
            if talk.bus != bus:
                continue
            for line, pin in (("high", talk.high), ("low", talk.low)):
                if pin and f"{part.name}.{pin}" not in drawn:
                    mode = f"{line} open at {part.name}"
                    yield Fault(
                        f"{bus} {mode}",
                        bus,
                        mode,
                        "bus open",
                        repair,
                        None,
                        (Change(network.element(f"{part.name}.{pin}"), OPEN),),
                        (),
                        (part.name,),
                    )
    names = [("lines shorted", f"{bus} lines")]
    names += [
        (f"{line} short to {where}", f"{bus} {line} to {where}")
        for line in ("high", "low")
        for where in ("body", "supply")
    ]
    for mode, spare in names:
        if spare in network.element_index:
            yield Fault(
                f"{bus} {mode}",
                bus,
                mode,
                "bus short",
                repair,
                None,
                (Change(network.element(spare), SET, SHORT_OHMS),),
                (),
                (bus,),
            )


def _stages(model: Model) -> Iterator[Fault]:
    for stage in model.stages.values():
        for failure in stage.failures:
            yield Fault(
                f"{stage.name} {failure.words}",
                f"{stage.name}: {failure.words}",
                failure.words,
                "stage",
                f"repair: {failure.words}",
                None,
                (),
                (),
                (stage.name,),
                (stage.name, failure.words),
            )


def _gauges(model: Model) -> Iterator[Fault]:
    """An instrument fixed in the circuit that lies: the circuit itself is as it should be."""
    for name in model.gauges:
        for mode in ("offset", "stuck"):
            yield Fault(f"{name} {mode}", name, mode, "gauge", f"replace {name}", touches=(name,))


PARTS: Mapping[str, Maker] = {
    "battery": _battery,
    "generator": _generator,
    "fuse": _fuse,
    "breaker": _fuse,
    "relay": _relay,
    "switch": _switch,
    **dict.fromkeys(LOADS, _load),
    "diode": _diode,
    "sensor": _sensor,
    "module": _module,
    "ground": _ground,
    "mass": _ground,
}
