"""Vehicles of `bench truth`: hidden faults of five kinds, solved from scratch with values of their own.

A hidden fault is made here from the elements of the circuit, not taken from the engine's list: severities are
continuous, contacts wear, and what no drawing shows (plugs with two wires swapped, nets that touch, a wire on the
neighbouring pin, a joint, a second consumer) is a change of who is joined to whom.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from halfsplit.circuit.circuit import Circuit
from halfsplit.circuit.element import DriverDevice, Relay
from halfsplit.circuit.faults import Fault, pair
from halfsplit.circuit.interventions import Intervention, replaced
from halfsplit.circuit.kinds import LOADS
from halfsplit.circuit.network import ADD, OPEN, SET, Change, Lock, System
from halfsplit.diagnosis.measurement import ENDS, Measurement
from halfsplit.joined import Joined
from halfsplit.practice.vehicle import Vehicle

Dice = np.random.Generator
SEEN = (*LOADS,)


@dataclass(frozen=True)
class Hidden:
    """What is wrong. ``names``: the parts, wires or cavities whose repair cures; ``fault``: of the elements, or None.

    ``moves``: (element, end 0 or 1, new node); ``bridges``: (node, node, ohm); ``region``: what an honest answer points
    at where the drawing does not show the fault; ``words``: told in the table.
    """

    words: str
    names: frozenset[str]
    fault: Fault | None = None
    moves: tuple[tuple[int, int, int], ...] = ()
    bridges: tuple[tuple[int, int, float], ...] = ()
    region: frozenset[str] = frozenset()


class Car(Vehicle):
    """A vehicle with any hidden fault, which may come and go: ``there`` is the chance that it is there at a test."""

    def __init__(self, circuit: Circuit, hidden: Hidden, dice: Dice, there: float = 1.0) -> None:
        nothing = Fault("nothing", "nothing", "nothing", "nothing", "none")
        super().__init__(circuit, hidden.fault or nothing, dice)
        self.hidden, self.chance, self.there = hidden, there, True

    def answer(self, measurement: Measurement) -> float | str:
        # A look sees the damage at any time, and moving the right place brings the fault on.
        always = measurement.quantity in ("inspection", "wiggle")
        self.there = always or bool(self.generator.random() < self.chance)
        if measurement.quantity == "wiggle" and self.chance < 1.0:
            here = measurement.at == self.fault.part or measurement.at in self.fault.touches
            return "yes" if self.generator.random() < (0.6 if here else 0.02) else "no"
        if measurement.quantity == "inspection" and measurement.detail == (ENDS,):
            return "bad" if self._not_as_drawn(measurement.at) and self.generator.random() < 0.9 else "good"
        places = set(measurement.at.split(" and "))
        if measurement.quantity == "inspection" and len(places) == 2:
            here = any(places == set(name.split()) for name in self.hidden.names)
            return "bad" if self.generator.random() < (0.8 if here else 0.03) else "good"
        return super().answer(measurement)

    def _not_as_drawn(self, wire: str) -> bool:
        """Whether an end of this wire is in another place, or shares its own with another."""
        ends = set(wire.split()[1:])
        moved = {self.circuit.network.elements[element].name for element, _, _ in self.hidden.moves}
        return bool(self.hidden.moves) and (
            wire in moved or any(ends & set(name.split()) for name in self.hidden.names)
        )

    def fault_now(self, changes: tuple[Intervention, ...]) -> Fault | None:
        """The fault without what a known-good part has cured."""
        good = replaced(changes)
        left = [one for one in self.fault.members or (self.fault,) if one.part not in good]
        if not self.there or not left:
            return None
        return self.fault if len(left) == len(self.fault.members or (0,)) else left[0]

    def _system(self, state: str, changes: tuple[Intervention, ...]) -> System:
        system = super()._system(state, changes)
        if not self.there or not (self.hidden.moves or self.hidden.bridges):
            return system
        ends = system.ends.copy()
        for element, end, node in self.hidden.moves:
            ends[element, [end, end + 2]] = node
        return replace(system, ends=ends).bridged(list(self.hidden.bridges))


def _fault(circuit: Circuit, part: str, mode: str, kind: str, changes: list[tuple[str, int, float]],
           locks: tuple[Lock, ...] = (), severity: float | None = None) -> Fault:  # fmt: skip
    network = circuit.network
    made = tuple(Change(network.element(name), operation, number) for name, operation, number in changes)
    touches = (part, part.partition(".")[0])
    return Fault(f"{part} {mode}", part, mode, kind, "", severity, made, locks, touches)


def _log(dice: Dice, low: float, high: float) -> float:
    return float(np.exp(dice.uniform(np.log(low), np.log(high))))


def single(circuit: Circuit, dice: Dice) -> Hidden:
    """One fault of a kind that the drawing shows."""
    maker = SINGLE[int(dice.choice(len(SINGLE), p=np.array(SHARES) / sum(SHARES)))]
    fault = maker(circuit, dice)
    if fault is None:
        return single(circuit, dice)
    return Hidden(_words(fault), frozenset({fault.part}), fault)


def _words(fault: Fault) -> str:
    return fault.name + (f" {fault.severity:.3g} ohm" if fault.severity else "")


def _pick(circuit: Circuit, dice: Dice, *kinds: str) -> str | None:
    names = [part.name for part in circuit.model.of_kind(*kinds)]
    return str(dice.choice(names)) if names else None


def _element(dice: Dice, circuit: Circuit, role: str, element: str, part: str, kind: str) -> Fault:
    if dice.random() < 0.5:
        return _fault(circuit, part, "open", kind, [(element, OPEN, 0.0)])
    ohms = _log(dice, 0.15, 60.0)
    return _fault(circuit, part, "high resistance", kind, [(element, ADD, ohms)], severity=ohms)


def _wire(circuit: Circuit, dice: Dice) -> Fault:
    name = str(dice.choice([wire.name for wire in circuit.model.wires]))
    if dice.random() < 0.2:
        ohms = 0.05 if dice.random() < 0.5 else _log(dice, 0.2, 50)
        spare = f"{name} to body"
        return _fault(circuit, name, "short to body", "wire", [(spare, SET, ohms)], severity=ohms)
    return _element(dice, circuit, "wire", name, name, "wire")


def _cavity(circuit: Circuit, dice: Dice) -> Fault | None:
    pins = [f"{part.name}.{pin}" for part in circuit.model.of_kind("connector") for pin in part.pins]
    if not pins:
        return None
    name = str(dice.choice(pins))
    return _element(dice, circuit, "contact", name, name, "cavity")


def _contact(circuit: Circuit, dice: Dice) -> Fault:
    kinds = ("fuse", "relay", "switch", "module", *LOADS)
    wired = {end for wire in circuit.model.wires for end in (wire.a, wire.b)}
    pins = [
        f"{p.name}.{pin}"
        for p in circuit.model.of_kind(*kinds)
        for pin in p.pins
        if f"{p.name}.{pin}" in wired
    ]
    name = str(dice.choice(pins))
    return _element(dice, circuit, "contact", name, name, "contact")


def _ground(circuit: Circuit, dice: Dice) -> Fault:
    name = _pick(circuit, dice, "ground") or ""
    return _element(dice, circuit, "joint", name, name, "ground")


def _load(circuit: Circuit, dice: Dice) -> Fault:
    name = _pick(circuit, dice, *LOADS) or ""
    part = circuit.parts[name]
    if part.kind == "motor" and dice.random() < 0.3:
        conductance = circuit.network.elements[circuit.network.element(name)].conductance
        return _fault(circuit, name, "stalled", part.kind, [(name, SET, 1.0 / (5.0 * conductance))])
    return _fault(circuit, name, "open", part.kind, [(name, OPEN, 0.0)])


def _fuse(circuit: Circuit, dice: Dice) -> Fault | None:
    name = _pick(circuit, dice, "fuse")
    return None if name is None else _fault(circuit, name, "open", "fuse", [(name, OPEN, 0.0)])


def _relay(circuit: Circuit, dice: Dice) -> Fault | None:
    name = _pick(circuit, dice, "relay")
    if name is None:
        return None
    contact, device = f"{name} contact", circuit.network.devices.find(name, Relay)
    mode = dice.choice(["coil", "contact", "worn", "welded"], p=[0.3, 0.25, 0.3, 0.15])
    if mode == "coil":
        return _fault(
            circuit, name, "coil open", "relay", [(f"{name} coil", OPEN, 0.0)], (Lock("device", device, 0),)
        )
    if mode == "contact":
        return _fault(circuit, name, "contact open", "relay", [(contact, OPEN, 0.0)])
    if mode == "welded":
        changes = [(contact, OPEN, 0.0), (f"{name} weld", SET, 0.005)]
        return _fault(circuit, name, "contact welded", "relay", changes)
    ohms = _log(dice, 1.0, 12.0)
    return _fault(circuit, name, "worn contact", "relay", [(contact, ADD, ohms)], severity=ohms)


def _switch(circuit: Circuit, dice: Dice) -> Fault | None:
    name = _pick(circuit, dice, "switch")
    if name is None:
        return None
    joins = [f"{name} join {number}" for number in range(len(circuit.parts[name].connections))]
    mode = dice.choice(["open", "worn", "closed"], p=[0.55, 0.3, 0.15])
    if mode == "open":
        return _fault(circuit, name, "open", "switch", [(join, OPEN, 0.0) for join in joins])
    if mode == "closed":
        welds = [(f"{name} weld {number}", SET, 0.005) for number in range(len(joins))]
        return _fault(circuit, name, "closed", "switch", welds)
    ohms = _log(dice, 1.0, 12.0)
    return _fault(
        circuit, name, "worn contact", "switch", [(join, ADD, ohms) for join in joins], severity=ohms
    )


def _module(circuit: Circuit, dice: Dice) -> Fault | None:
    name = _pick(circuit, dice, "module")
    if name is None:
        return None
    behaviour, table = circuit.parts[name].behaviour, circuit.network.devices
    drivers = behaviour.drivers if behaviour else ()
    if dice.random() < 0.4 or not drivers:
        draws = (
            [(f"{name} draw {pin}", OPEN, 0.0) for group in behaviour.feeds for pin in group]
            if behaviour
            else []
        )
        draws = [one for one in draws if one[0] in circuit.network.element_index]
        return _fault(circuit, name, "dead", "module", draws, (Lock("module", table.module_index[name]),))
    pin = f"{name}.{drivers[int(dice.integers(len(drivers)))].pin}"
    lock = Lock("device", table.find(pin, DriverDevice), 0)
    return _fault(circuit, name, f"{pin} never on", "module never on", [], (lock,))


SINGLE = (_wire, _cavity, _contact, _ground, _load, _fuse, _relay, _switch, _module)
SHARES = (18, 18, 18, 12, 14, 3, 7, 6, 4)
"""Out of 100; what a workshop would call usual, our judgement. Not the engine's own rates."""


def both(circuit: Circuit, dice: Dice) -> Hidden:
    """Two single faults of different parts."""
    first, second = single(circuit, dice), single(circuit, dice)
    if first.names & second.names or first.fault is None or second.fault is None:
        return both(circuit, dice)
    fault = pair(first.fault, second.fault)
    return Hidden(f"{first.words} + {second.words}", first.names | second.names, fault)


# What the drawing does not show.


def undrawn(circuit: Circuit, dice: Dice) -> Hidden:
    """A fault that the drawing does not show."""
    found = UNDRAWN[int(dice.integers(len(UNDRAWN)))](circuit, dice)
    return found or undrawn(circuit, dice)


def _plugs(circuit: Circuit, least: int) -> list[str]:
    kinds = ("connector", "relay", "switch", "module")
    return [p.name for p in circuit.model.of_kind(*kinds) if len(p.pins) >= least]


def _ends_at(circuit: Circuit, point: str) -> list[tuple[int, int]]:
    """Ends of wires at a point: (element, end)."""
    network = circuit.network
    node = network.node(point)
    return [
        (network.element(wire.name), end)
        for wire in circuit.model.wires
        for end in (0, 1)
        if network.ends[network.element(wire.name), end] == node
    ]


def _side(circuit: Circuit, name: str, dice: Dice) -> str:
    return str(dice.choice([":in", ":out"])) if circuit.parts[name].kind == "connector" else ""


def _swapped(circuit: Circuit, dice: Dice) -> Hidden | None:
    """The wires of two cavities of one plug exchanged."""
    plugs = _plugs(circuit, 2)
    if not plugs:
        return None
    name = str(dice.choice(plugs))
    a, b = (f"{name}.{pin}" for pin in dice.choice(circuit.parts[name].pins, 2, replace=False))
    side = _side(circuit, name, dice)
    network = circuit.network
    first, second = _ends_at(circuit, a + side), _ends_at(circuit, b + side)
    if not first or not second:
        return None
    moves = [(element, end, network.node(b + side)) for element, end in first]
    moves += [(element, end, network.node(a + side)) for element, end in second]
    region = frozenset({name, a, b, *_wires_at(circuit, moves)})
    return Hidden(f"{a} and {b} swapped", frozenset({f"{a} {b}"}), moves=tuple(moves), region=region)


def _wires_at(circuit: Circuit, moves: list[tuple[int, int, int]]) -> set[str]:
    return {circuit.network.elements[element].name for element, *_ in moves}


def _neighbour(circuit: Circuit, dice: Dice) -> Hidden | None:
    """A wire on the pin beside its own."""
    plugs = _plugs(circuit, 2)
    if not plugs:
        return None
    name = str(dice.choice(plugs))
    pins = list(circuit.parts[name].pins)
    number = int(dice.integers(len(pins) - 1))
    both_pins = pins[number : number + 2]
    a, b = (f"{name}.{pin}" for pin in (both_pins if dice.random() < 0.5 else reversed(both_pins)))
    side = _side(circuit, name, dice)
    found = _ends_at(circuit, a + side)
    if not found:
        return None
    moves = [(*found[0], circuit.network.node(b + side))]
    region = frozenset({name, a, b, *_wires_at(circuit, moves)})
    return Hidden(f"wire of {a} on {b}", frozenset({f"{a} {b}"}), moves=tuple(moves), region=region)


def _bridge(circuit: Circuit, dice: Dice) -> Hidden | None:
    """Two nets that touch where they pass through one plug or one place."""
    model = circuit.model
    by_place: dict[str, list[str]] = {}
    for wire in model.wires:
        for end in (wire.a, wire.b):
            part = model.parts.get(end.partition(".")[0])
            if part is not None and "." in end:
                for key in (part.name, part.place) if len(part.pins) > 1 else (part.place,):
                    by_place.setdefault(key, []).append(end)
    some = [sorted(set(ends)) for key, ends in by_place.items() if key and len(set(ends)) > 1]
    if not some:
        return None
    points = some[int(dice.integers(len(some)))]
    a, b = (str(one) for one in dice.choice(points, 2, replace=False))
    nets = _nets(circuit)
    one, other = (nets[point.partition(":")[0]] for point in (a, b))
    same = model.parts[a.partition(".")[0]] is model.parts[b.partition(".")[0]]
    if one == other or (same and len(model.parts[a.partition(".")[0]].pins) == 2):
        return None
    ohms = _log(dice, 0.05, 4.0)
    network = circuit.network
    near = frozenset(point for point, net in nets.items() if net in (one, other))
    return Hidden(f"{a} bridged to {b} {ohms:.2g} ohm", frozenset({f"{a} {b}"}),
                  bridges=((network.node(a), network.node(b), ohms),), region=_parts_of(near))  # fmt: skip


def _joint(circuit: Circuit, dice: Dice) -> Hidden | None:
    """A joint in a wire that the drawing does not show, gone bad: the repair is at that wire."""
    wire = circuit.model.wires[int(dice.integers(len(circuit.model.wires)))]
    ohms = _log(dice, 0.5, 60.0)
    fault = _fault(circuit, wire.name, "undrawn joint", "wire", [(wire.name, ADD, ohms)], severity=ohms)
    region = frozenset({wire.name, wire.a.partition(":")[0], wire.b.partition(":")[0]})
    return Hidden(
        f"undrawn joint of {ohms:.2g} ohm in {wire.name}", frozenset({wire.name}), fault, region=region
    )


def _consumer(circuit: Circuit, dice: Dice) -> Hidden | None:
    """A consumer that somebody fitted behind a fuse: the fuse is overloaded, or a joint is loaded."""
    name = _pick(circuit, dice, "fuse")
    if name is None:
        return None
    amps = float(dice.uniform(1.4, 2.5)) * circuit.parts[name].values["A"]
    network = circuit.network
    near = frozenset(one for one, net in _nets(circuit).items() if net == _nets(circuit)[f"{name}.2"])
    # It hangs on the wire there, which is where the hand goes.
    wires = _wires_at(circuit, [(element, end, 0) for element, end in _ends_at(circuit, f"{name}.2")])
    return Hidden(f"a consumer of {amps:.0f} A behind {name}", frozenset({f"{name}.2", *wires}),
                  bridges=((network.node(f"{name}.2"), network.node("body"), 12.0 / amps),),
                  region=_parts_of(near | {name}))  # fmt: skip


UNDRAWN = (_swapped, _swapped, _bridge, _bridge, _neighbour, _joint, _consumer)


def _nets(circuit: Circuit) -> dict[str, str]:
    """The net of each point (without its side): points joined by wires."""
    nets: Joined[str] = Joined()
    for wire in circuit.model.wires:
        nets.join(wire.a.partition(":")[0], wire.b.partition(":")[0])
    return nets.roots()


def _parts_of(points: frozenset[str]) -> frozenset[str]:
    return points | {point.partition(".")[0] for point in points}
