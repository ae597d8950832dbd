"""Devices with a state of their own: what state each takes at given volts.

All rules are vectorised: volts are (W, B) for W watched nodes and B cases side by side; states are (D, B) small
integers. Each rule looks only at the volts and at its own last state (for its hysteresis): all devices
change at once in each round (rulings 4).
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from halfsplit.circuit.elements import (
    SUPPLY_LIMIT,
    SUPPLY_OHMS,
    Assembly,
    Device,
    Diode,
    DriverDevice,
    ParkSwitch,
    Relay,
    SupplyDevice,
    TalkDevice,
)
from halfsplit.circuit.model import And, Condition, Hears, InState, Not, Or, PinIs

Floats = NDArray[np.float64]
Ints = NDArray[np.intp]
Bools = NDArray[np.bool_]
States = NDArray[np.int8]
Links = Mapping[tuple[str, str], Bools]

FREE, ALWAYS = -1, 100
"""Values of a device lock: none; a driver that is told to drive whatever its condition says."""
LOW_SHARE, HIGH_SHARE = 0.3, 0.6
PARK_VOLTS = 1.0
BUS_SEES, BUS_IDLES = 0.9, 0.5
"""A receiver takes 0.9 V difference for dominant and less than 0.5 V for recessive (ISO 11898-2, from memory)."""
LINE_DOMINANT, LINE_RECESSIVE = 0.4, 0.6
"""Shares of the feed (ISO 17987-4, from memory)."""


@dataclass
class Locks:
    """Per case: forced device states (D, B), dead modules (M, B), inputs that are not read (I, B)."""

    device: States
    dead: Bools
    unread: Bools

    def at(self, columns: Ints) -> Locks:
        return Locks(self.device[:, columns], self.dead[:, columns], self.unread[:, columns])


@dataclass(frozen=True)
class _View:
    """What one round sees: volts of the watched nodes, last states, locks, module and input levels, links."""

    volts: Floats
    states: States
    locks: Locks
    fed: Bools
    high: Bools
    low: Bools
    links: Links
    pulls: Floats
    drops: Floats


class DeviceTable:
    """All devices of a circuit. ``watch`` (W,): the nodes whose volts the rules need."""

    def __init__(self, assembly: Assembly, index: Mapping[str, int]) -> None:
        self.devices: tuple[Device, ...] = tuple(assembly.devices)
        self.modules = tuple(assembly.modules)
        self.inputs = tuple(assembly.inputs)
        self.names = tuple(device.name for device in self.devices)
        self._nodes: dict[int, int] = {}
        self._row = lambda point: self._nodes.setdefault(index[point], len(self._nodes))
        self._feed_rows = [[[self._row(pin) for pin in group] for group in module.feeds] for module in self.modules]
        self._earth_rows = np.array([self._row(module.earth) for module in self.modules], dtype=np.intp)
        self._input_rows = np.array([self._row(port.point) for port in self.inputs], dtype=np.intp)
        self._rows: list[tuple[int, ...]] = [tuple(map(self._row, POINTS[type(device)](device)))
                                             for device in self.devices]
        self.watch: Ints = np.array(list(self._nodes), dtype=np.intp)
        self.minimum: Floats = np.array([module.minimum for module in self.modules])
        relays = [device if isinstance(device, Relay) else None for device in self.devices]
        self.pulls: Floats = np.array([relay.pulls if relay else 0.0 for relay in relays])
        self.drops: Floats = np.array([relay.drops if relay else 0.0 for relay in relays])
        self.elements_of = _elements_of(assembly)
        self.module_index = {module.name: number for number, module in enumerate(self.modules)}
        self.input_index = {port.name: number for number, port in enumerate(self.inputs)}
        self.talks = [number for number, device in enumerate(self.devices) if isinstance(device, TalkDevice)]
        self.asked_links = sorted(set().union(*(_links_asked(device.driver.when) for device in self.devices
                                                if isinstance(device, DriverDevice)), set()))

    def find(self, name: str, kind: type[Device]) -> int:
        """Index of a device by name and type."""
        return next(number for number, device in enumerate(self.devices)
                    if device.name == name and isinstance(device, kind))

    def free(self, cases: int) -> Locks:
        """Nothing locked, for this many cases."""
        return Locks(np.full((len(self.devices), cases), FREE, dtype=np.int8),
                     np.zeros((len(self.modules), cases), dtype=bool),
                     np.zeros((len(self.inputs), cases), dtype=bool))

    def draw_minimum(self, generator: np.random.Generator) -> Floats:
        """Feed volts that each module needs: 6 to 9.5 V over the draws (field.md 13), about a stated value ±1 V."""
        drawn = generator.uniform(6.0, 9.5, len(self.minimum))
        near = self.minimum + generator.uniform(-1.0, 1.0, len(self.minimum))
        return np.where(self.minimum == 8.0, drawn, near)

    def rest(self, locks: Locks) -> States:
        """The unpowered network: every device at rest, but for those that are stuck."""
        return np.where((locks.device > 0) & (locks.device < ALWAYS), locks.device, 0).astype(np.int8)

    def fed(self, volts: Floats, dead: Bools, minimum: Floats) -> Bools:
        """Which modules work (M, B): every feed group has a pin at least ``minimum`` above the first earth."""
        works = ~dead
        for module, groups in enumerate(self._feed_rows):
            earth = volts[self._earth_rows[module]]
            for group in groups:
                works[module] &= volts[group].max(axis=0) - earth >= minimum[module]
        return works

    def step(self, volts: Floats, states: States, locks: Locks, *, state: str, minimum: Floats, pulls: Floats,
             drops: Floats, links: Links | None = None) -> States:
        """The states that the devices take at these volts (D, B)."""
        fed = self.fed(volts, locks.dead, minimum)
        high, low = self._levels(volts, locks)
        view = _View(volts, states, locks, fed, high, low, links or {}, pulls, drops)
        new = np.empty_like(states)
        for number, device in enumerate(self.devices):
            new[number] = RULES[type(device)](self, view, number, state)
        forced = (locks.device >= 0) & (locks.device < ALWAYS)
        return np.where(forced, locks.device, new)

    def _levels(self, volts: Floats, locks: Locks) -> tuple[Bools, Bools]:
        shape = len(self.inputs), volts.shape[1]
        high, low = np.zeros(shape, dtype=bool), np.zeros(shape, dtype=bool)
        for number, port in enumerate(self.inputs):
            earth = volts[self._earth_rows[port.module]]
            groups = self._feed_rows[port.module]
            feed = volts[groups[0][0]] - earth if groups else np.full(shape[1], 12.0)
            level = volts[self._input_rows[number]] - earth
            over = HIGH_SHARE * feed if port.high_over is None else port.high_over
            under = LOW_SHARE * feed if port.low_under is None else port.low_under
            unread = locks.unread[number]
            high[number] = np.where(unread, port.resting == "high", level > over)
            low[number] = np.where(unread, port.resting == "low", level < under)
        return high, low

    def holds(self, condition: Condition, module: int, view: _View, state: str) -> Bools:
        """Whether a driver's condition is true (B,)."""
        cases = view.volts.shape[1]
        match condition:
            case PinIs(pin, level):
                port = self.input_index[f"{self.modules[module].name}.{pin}"]
                return (view.high if level == "high" else view.low)[port]
            case InState(name):
                return np.full(cases, name == state)
            case Hears(listener, speaker):
                return view.links.get((listener, speaker), np.zeros(cases, dtype=bool))
            case Not(term):
                return ~self.holds(term, module, view, state)
            case And(terms):
                return np.logical_and.reduce([self.holds(term, module, view, state) for term in terms])
            case Or(terms):
                return np.logical_or.reduce([self.holds(term, module, view, state) for term in terms])
            case _:
                return np.ones(cases, dtype=bool)

    def rows(self, device: int) -> tuple[int, ...]:
        return self._rows[device]

    def received(self, talk: int, volts: Floats, *, dominant: bool) -> Bools:
        """Whether the receiver of this talk device sees the bus dominant (or, if asked so, recessive) (B,)."""
        rows = self._rows[talk]
        device = self.devices[talk]
        assert isinstance(device, TalkDevice)
        if device.low is None:
            feed = volts[rows[2]] - volts[rows[1]]
            level = volts[rows[0]] - volts[rows[1]]
            return level < LINE_DOMINANT * feed if dominant else level > LINE_RECESSIVE * feed
        difference = volts[rows[0]] - volts[rows[3]]
        return difference >= BUS_SEES if dominant else difference < BUS_IDLES


def _elements_of(assembly: Assembly) -> tuple[tuple[int, ...], ...]:
    owned: list[list[int]] = [[] for _ in assembly.devices]
    for number, element in enumerate(assembly.elements):
        if element.device >= 0:
            owned[element.device].append(number)
    return tuple(map(tuple, owned))


def _links_asked(condition: Condition) -> set[tuple[str, str]]:
    match condition:
        case Hears(listener, speaker):
            return {(listener, speaker)}
        case Not(term):
            return _links_asked(term)
        case And(terms) | Or(terms):
            return set().union(*map(_links_asked, terms))
        case _:
            return set()


def _relay(table: DeviceTable, view: _View, number: int, state: str) -> States:
    """Pulls in at its pull-in volts, holds down to its drop-out volts."""
    a, b = table.rows(number)
    volts = np.abs(view.volts[a] - view.volts[b])
    threshold = np.where(view.states[number] == 1, view.drops[number], view.pulls[number])
    return (volts >= threshold).astype(np.int8)


def _park(table: DeviceTable, view: _View, number: int, state: str) -> States:
    a, b = table.rows(number)
    return (np.abs(view.volts[a] - view.volts[b]) > PARK_VOLTS).astype(np.int8)


def _diode(table: DeviceTable, view: _View, number: int, state: str) -> States:
    device = table.devices[number]
    assert isinstance(device, Diode)
    a, k = table.rows(number)
    return (view.volts[a] - view.volts[k] > device.forward).astype(np.int8)


def _driver(table: DeviceTable, view: _View, number: int, state: str) -> States:
    device = table.devices[number]
    assert isinstance(device, DriverDevice)
    told = table.holds(device.driver.when, device.module, view, state) | (view.locks.device[number] == ALWAYS)
    on = (view.fed[device.module] & told).astype(np.int8)
    if device.driver.limit is None:
        return on
    a, b = table.rows(number)
    across = view.volts[a] - view.volts[b]
    was = view.states[number]
    over = ((was == 1) & (across / device.ohms > device.driver.limit)) | (
        (was == 2) & (across / device.ohms >= device.driver.limit * (1 - 1e-9)))
    if device.driver.latches is not None and device.driver.latches != state:
        return np.where(over | (was == 3), 3 * on, on).astype(np.int8)
    return np.where(over, 2 * on, on).astype(np.int8)


def _supply(table: DeviceTable, view: _View, number: int, state: str) -> States:
    """Off, regulating, limiting or dropping out, whichever line of its characteristic is the lowest (rulings 3)."""
    device = table.devices[number]
    assert isinstance(device, SupplyDevice)
    feed, earth, pin = (view.volts[row] for row in table.rows(number))
    limit = device.supply.limit or SUPPLY_LIMIT
    regulating = (earth + device.supply.volts - pin) / SUPPLY_OHMS
    dropping = (feed - pin) / SUPPLY_OHMS
    low_feed = feed < earth + device.supply.volts
    wanted = np.where(low_feed, dropping, regulating)
    line = np.where(low_feed, 3, 1)
    was = view.states[number]
    new = np.where(was == 0, np.where(wanted > 0, line, 0),
                   np.where(was == 2, np.where(wanted < limit * (1 - 1e-9), line, 2),
                            np.where(wanted < -1e-9, 0, np.where(wanted > limit, 2, line))))
    return np.where(view.fed[device.module], new, 0).astype(np.int8)


def _talk(table: DeviceTable, view: _View, number: int, state: str) -> States:
    device = table.devices[number]
    assert isinstance(device, TalkDevice)
    return view.fed[device.module].astype(np.int8)


RULES: Mapping[type, Callable[[DeviceTable, _View, int, str], States]] = {
    Relay: _relay, ParkSwitch: _park, Diode: _diode, DriverDevice: _driver, SupplyDevice: _supply, TalkDevice: _talk,
}


def _talk_points(device: TalkDevice) -> Sequence[str]:
    return (device.high, device.earth, device.feed, *([device.low] if device.low else []))


POINTS: Mapping[type, Callable[..., Sequence[str]]] = {
    Relay: lambda device: device.coil,
    ParkSwitch: lambda device: device.motor,
    Diode: lambda device: device.ends,
    DriverDevice: lambda device: device.ends,
    SupplyDevice: lambda device: (device.feed, device.earth, device.pin),
    TalkDevice: _talk_points,
}
