"""Devices with a state of their own: what state each takes at given volts.

All rules are vectorised: volts are (W, B) for W watched nodes and B cases side by side; states are (D, B) small
integers. Each rule looks only at the volts and at its own last state (for its hysteresis): all devices
change at once in each round.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import ArrayLike, NDArray

from halfsplit.circuit.assembly import NOMINAL, Assembly
from halfsplit.circuit.element import (
    Device,
    Diode,
    DriverDevice,
    ParkSwitch,
    Relay,
    SleepDevice,
    SupplyDevice,
    TalkDevice,
)
from halfsplit.circuit.model import And, Condition, Hears, InState, Not, Or, PinIs, State
from halfsplit.circuit.module_elements import FEED_MINIMUM, SUPPLY_LIMIT, asked_by, supply_ohms

Floats = NDArray[np.float64]
Ints = NDArray[np.intp]
Bools = NDArray[np.bool_]
States = NDArray[np.int8]
Links = Mapping[tuple[str, str], Bools]

FREE, ALWAYS = -1, 100
"""Values of a device lock: none; a driver that is told to drive whatever its condition says."""
LATCHED = 3
"""State of a driver that is off until it is reset."""
LOW_SHARE, HIGH_SHARE = 0.3, 0.6
PARK_VOLTS = 1.0
LIMIT_SLACK = 1e-9
"""A device at its limit counts as beyond it, whatever the last digit says."""
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
        """Those of some cases."""
        return Locks(self.device[:, columns], self.dead[:, columns], self.unread[:, columns])


@dataclass(frozen=True, slots=True)
class Talker:
    """A module on a bus: the number of its talk device, and the names of both."""

    number: int
    module: str
    bus: str


@dataclass(frozen=True)
class Thresholds:
    """Volts at which devices change: feed that each module needs (M,), pull-in and drop-out of relays (D,)."""

    minimum: Floats
    pulls: Floats
    drops: Floats

    @staticmethod
    def beside(each: Sequence[Thresholds]) -> Thresholds:
        """Those of several cases (…, B)."""
        names = ("minimum", "pulls", "drops")
        return Thresholds(
            *(np.stack([getattr(thresholds, name) for thresholds in each], axis=1) for name in names)
        )

    def at(self, columns: Ints) -> Thresholds:
        """Those of some cases, where each case has its own (…, B)."""
        if self.minimum.ndim == 1:
            return self
        return Thresholds(self.minimum[:, columns], self.pulls[:, columns], self.drops[:, columns])


@dataclass
class _View:
    """What one round sees: volts of the watched nodes, last states, locks, module and input levels, links.

    ``working`` (M, B): modules that are fed, not dead and not asleep.
    """

    table: DeviceTable
    state: State
    volts: Floats
    states: States
    locks: Locks
    links: Links
    thresholds: Thresholds
    high: Bools = field(init=False)
    low: Bools = field(init=False)
    fed: Bools = field(init=False)
    working: Bools = field(init=False)

    def __post_init__(self) -> None:
        self.fed = self.table.fed(self.volts, self.locks.dead, self.thresholds.minimum)
        self.high, self.low = self.table.levels(self.volts, self.locks)
        self.working = self.fed.copy()
        for number, device in self.table.sleepers:
            self.working[device.module] &= ~self.asleep(number, device)

    def asleep(self, number: int, device: SleepDevice) -> Bools:
        """Whether a module sleeps: the state has lasted long enough, and nothing wakes it."""
        tired = self.state.lasts is not None and self.state.lasts >= device.sleep.after
        if not tired:
            return np.zeros(self.volts.shape[1], dtype=bool)
        asleep: Bools = self.fed[device.module] & (self.locks.device[number] != 0)
        if device.sleep.wakes is not None:
            asleep &= ~self.holds(device.sleep.wakes, device.module)
        return asleep

    def holds(self, condition: Condition, module: int) -> Bools:
        """Whether a condition of a module is true (B,)."""
        cases = self.volts.shape[1]
        match condition:
            case PinIs(pin, level):
                port = self.table.input_index[f"{self.table.modules[module].name}.{pin}"]
                return np.asarray((self.high if level == "high" else self.low)[port])
            case InState(name):
                return np.full(cases, name == self.state.name)
            case Hears(listener, speaker):
                return self.links.get((listener, speaker), np.zeros(cases, dtype=bool))
            case Not(term):
                return ~self.holds(term, module)
            case And(terms):
                return np.asarray(np.logical_and.reduce([self.holds(term, module) for term in terms]))
            case Or(terms):
                return np.asarray(np.logical_or.reduce([self.holds(term, module) for term in terms]))
            case _:
                return np.ones(cases, dtype=bool)

    def across(self, number: int) -> Floats:
        """Volts from a device's first point to its second (B,)."""
        a, b = self.table.rows(number)[:2]
        return np.asarray(self.volts[a] - self.volts[b])


class DeviceTable:
    """All devices of a circuit. ``watch`` (W,): the nodes whose volts the rules need."""

    def __init__(self, assembly: Assembly, index: Mapping[str, int]) -> None:
        self.devices: tuple[Device, ...] = tuple(assembly.devices)
        self.modules = tuple(assembly.modules)
        self.inputs = tuple(assembly.inputs)
        self.names = tuple(device.name for device in self.devices)
        watched: dict[int, int] = {}

        def row(point: str) -> int:
            return watched.setdefault(index[point], len(watched))

        self._feed_rows = [[[row(pin) for pin in group] for group in module.feeds] for module in self.modules]
        self._earth_rows = np.array([row(module.earth) for module in self.modules], dtype=np.intp)
        self._input_rows = np.array([row(port.point) for port in self.inputs], dtype=np.intp)
        self._rows = [tuple(map(row, POINTS[type(device)](device))) for device in self.devices]
        self.watch: Ints = np.array(list(watched), dtype=np.intp)
        relays = [device if isinstance(device, Relay) else None for device in self.devices]
        self.thresholds = Thresholds(
            np.array([module.minimum for module in self.modules]),
            np.array([relay.pulls if relay else 0.0 for relay in relays]),
            np.array([relay.drops if relay else 0.0 for relay in relays]),
        )
        owned: list[list[int]] = [[] for _ in self.devices]
        for number, element in enumerate(assembly.elements):
            if element.device >= 0:
                owned[element.device].append(number)
        self.elements_of = tuple(map(tuple, owned))
        self.module_index = {module.name: number for number, module in enumerate(self.modules)}
        self.input_index = {port.name: number for number, port in enumerate(self.inputs)}
        self.talks = [
            Talker(number, self.modules[device.module].name, device.talk.bus)
            for number, device in enumerate(self.devices)
            if isinstance(device, TalkDevice)
        ]
        # (listener, speaker) of each bus, and the names of both, each pair once.
        self.talking = [
            (listener, speaker)
            for speaker in self.talks
            for listener in self.talks
            if speaker.number != listener.number and speaker.bus == listener.bus
        ]
        self.pairs = sorted({(listener.module, speaker.module) for listener, speaker in self.talking})
        self.sleepers = [
            (number, device) for number, device in enumerate(self.devices) if isinstance(device, SleepDevice)
        ]
        drivers = [device.driver for device in self.devices if isinstance(device, DriverDevice)]
        conditions = [*(driver.when for driver in drivers), *(each.sleep.wakes for _, each in self.sleepers)]
        asked = [each for condition in conditions for each in asked_by(condition)]
        self.asked_links = {(each.listener, each.speaker) for each in asked if isinstance(each, Hears)}
        named = {each.state for each in asked if isinstance(each, InState)}
        self.named_states = sorted(
            named | {driver.latches for driver in drivers if driver.latches is not None}
        )
        self.duties = {
            number: device.driver.duty
            for number, device in enumerate(self.devices)
            if isinstance(device, DriverDevice) and device.driver.duty is not None
        }

    def find(self, name: str, kind: type[Device]) -> int:
        """Index of a device by name and type."""
        return next(
            number
            for number, device in enumerate(self.devices)
            if device.name == name and isinstance(device, kind)
        )

    def free(self, cases: int) -> Locks:
        """Nothing locked, for this many cases."""
        return Locks(
            np.full((len(self.devices), cases), FREE, dtype=np.int8),
            np.zeros((len(self.modules), cases), dtype=bool),
            np.zeros((len(self.inputs), cases), dtype=bool),
        )

    @property
    def uncertain(self) -> int:
        """How many thresholds are not known exactly."""
        return len(self.thresholds.minimum) + 2 * len(self.thresholds.pulls)

    def thresholds_at(self, quantiles: Floats) -> Thresholds:
        """One car's thresholds from the quantile (``uncertain``,) that it has of each.

        Feed of a module: 6 to 9.5 V over the draws, about a stated value
        ±1 V; relays pull in a little earlier or later than stated.
        """
        nominal = self.thresholds
        feeds, pulls, drops = np.split(quantiles, np.cumsum([len(nominal.minimum), len(nominal.pulls)]))
        return Thresholds(
            np.where(nominal.minimum == FEED_MINIMUM, 6.0 + 3.5 * feeds, nominal.minimum - 1.0 + 2.0 * feeds),
            nominal.pulls * (0.85 + 0.2 * pulls),
            nominal.drops * (0.7 + 0.6 * drops),
        )

    def rest(self, locks: Locks) -> States:
        """The unpowered network: every device at rest, but for those that are stuck."""
        return np.where((locks.device > 0) & (locks.device < ALWAYS), locks.device, 0).astype(np.int8)

    def fed(self, volts: Floats, dead: Bools, minimum: Floats) -> Bools:
        """Which modules are fed and alive (M, B): every feed group has a pin ``minimum`` above the first earth."""
        works = ~dead
        for module, groups in enumerate(self._feed_rows):
            earth = volts[self._earth_rows[module]]
            for group in groups:
                works[module] &= volts[group].max(axis=0) - earth >= minimum[module]
        return works

    def step(
        self,
        volts: Floats,
        states: States,
        locks: Locks,
        *,
        state: State,
        thresholds: Thresholds,
        links: Links,
    ) -> States:
        """The states that the devices take at these volts (D, B)."""
        view = _View(self, state, volts, states, locks, links, thresholds)
        new = np.empty_like(states)
        for number, device in enumerate(self.devices):
            new[number] = RULES[type(device)](view, number, device)
        forced = (locks.device >= 0) & (locks.device < ALWAYS)
        return np.where(forced, locks.device, new)

    def levels(self, volts: Floats, locks: Locks) -> tuple[Bools, Bools]:
        """Which inputs are high, and which are low (I, B); between its thresholds an input is neither."""
        shape = len(self.inputs), volts.shape[1]
        high, low = np.zeros(shape, dtype=bool), np.zeros(shape, dtype=bool)
        for number, port in enumerate(self.inputs):
            earth = volts[self._earth_rows[port.module]]
            groups = self._feed_rows[port.module]
            feed = volts[groups[0][0]] - earth if groups else np.full(shape[1], NOMINAL)
            level = volts[self._input_rows[number]] - earth
            over = HIGH_SHARE * feed if port.high_over is None else port.high_over
            under = LOW_SHARE * feed if port.low_under is None else port.low_under
            unread = locks.unread[number]
            high[number] = np.where(unread, port.resting == "high", level > over)
            low[number] = np.where(unread, port.resting == "low", level < under)
        return high, low

    def rows(self, device: int) -> tuple[int, ...]:
        """Rows of the watched volts that a device's rule reads."""
        return self._rows[device]

    def received(self, talk: int, volts: Floats, *, dominant: bool) -> Bools:
        """Whether the receiver of this talk device sees the bus dominant (or, if asked so, recessive) (B,)."""
        high, earth, feed, *low = (volts[row] for row in self._rows[talk])
        if not low:
            share = (high - earth) - (LINE_DOMINANT if dominant else LINE_RECESSIVE) * (feed - earth)
            return np.asarray(share < 0 if dominant else share > 0)
        difference = high - low[0]
        return np.asarray(difference >= BUS_SEES if dominant else difference < BUS_IDLES)


def duty_phases(duties: Mapping[int, float], states: States) -> list[tuple[float, States]]:
    """Shares of time, and the states (D, …) in each, while these drivers are on for such shares of it.

    A meter shows the mean over these. All start together; one phase where nothing switches.
    """
    phases, start = [], 0.0
    for end in sorted({*duties.values(), 1.0}):
        now = states.copy() if duties else states
        for number, share in duties.items():
            if share <= start:
                now[number] = np.where(now[number] == LATCHED, LATCHED, 0)
        if end > start:
            phases.append((end - start, now))
        start = end
    return phases


def _as_states(values: ArrayLike) -> States:
    return np.asarray(values, dtype=np.int8)


def _relay(view: _View, number: int, device: Relay) -> States:
    """Pulls in at its pull-in volts, holds down to its drop-out volts."""
    pulled = view.states[number] == 1
    threshold = np.where(pulled, view.thresholds.drops[number], view.thresholds.pulls[number])
    return _as_states(np.abs(view.across(number)) >= threshold)


def _driver(view: _View, number: int, device: DriverDevice) -> States:
    """On while its module works and its condition holds; limiting past its limit.

    Latched off from then on if it latches, until its module loses its feed or the state that clears it.
    """
    driver = device.driver
    wanted = view.holds(driver.when, device.module) | (view.locks.device[number] == ALWAYS)
    works = view.working[device.module]
    on = works & wanted
    if driver.limit is None:
        return _as_states(on)
    amps, was = view.across(number) / device.ohms, view.states[number]
    over = ((was == 1) & (amps > driver.limit)) | ((was == 2) & (amps >= driver.limit * (1 - LIMIT_SLACK)))
    if driver.latches is not None and driver.latches != view.state.name:
        return _as_states(np.where(works & (over | (was == LATCHED)), LATCHED, on))
    return _as_states(np.where(on & over, 2, on))


def _supply(view: _View, number: int, device: SupplyDevice) -> States:
    """Off, regulating, limiting or dropping out, whichever line of its characteristic is the lowest."""
    feed, earth, pin = (view.volts[row] for row in view.table.rows(number))
    limit = device.supply.limit or SUPPLY_LIMIT
    low_feed = feed < earth + device.supply.volts
    line = np.where(low_feed, 3, 1)
    wanted = (np.where(low_feed, feed, earth + device.supply.volts) - pin) / supply_ohms(device.supply)
    was = view.states[number]
    from_off = np.where(wanted > 0, line, 0)
    from_limit = np.where(wanted < limit * (1 - LIMIT_SLACK), line, 2)
    from_line = np.where(wanted < -LIMIT_SLACK, 0, np.where(wanted > limit, 2, line))
    new = np.where(was == 0, from_off, np.where(was == 2, from_limit, from_line))
    return _as_states(np.where(view.working[device.module], new, 0))


# Each rule takes the device of its own type, which a table of functions cannot say.
RULES: Mapping[type, Callable[..., States]] = {
    Relay: _relay,
    ParkSwitch: lambda view, number, _: _as_states(np.abs(view.across(number)) > PARK_VOLTS),
    Diode: lambda view, number, device: _as_states(view.across(number) > device.forward),
    DriverDevice: _driver,
    SupplyDevice: _supply,
    TalkDevice: lambda view, _, device: _as_states(view.working[device.module]),
    SleepDevice: lambda view, number, device: _as_states(view.asleep(number, device)),
}
"""State of each device at what a round sees."""
POINTS: Mapping[type, Callable[..., Iterable[str]]] = {
    Relay: lambda device: device.coil,
    ParkSwitch: lambda device: device.motor,
    Diode: lambda device: device.ends,
    DriverDevice: lambda device: device.ends,
    SupplyDevice: lambda device: (device.feed, device.earth, device.pin),
    TalkDevice: lambda device: filter(None, (device.high, device.earth, device.feed, device.low)),
    SleepDevice: lambda _: (),
}
