"""The devices' fixed point a second time: plain rules, one case at a time, ngspice solves each round.

The rules are those of the contract (all devices change at once in each round, from the unpowered network; a fuse over
1.35 × its rating opens, the one furthest over it first, and everything starts again), written without a look at
`halfsplit.circuit`. Buses are left out: what `hears` means is checked by worked examples.
"""

from dataclasses import dataclass, field

from halfsplit.circuit.model import Always, And, Driver, InState, Model, Not, Or, Part, PinIs, State, Supply
from halfsplit.circuit.model import Condition as When
from tests.references.deck import ABSENT, Condition, Deck, build, in_state, with_fault
from tests.references.ngspice import alter, memory


@dataclass
class Settled:
    """Volts by point, blown fuses in order, and whether the devices found rest."""

    volts: dict[str, float]
    amps: dict[str, float]
    """Through fuses and breakers."""
    blown: tuple[str, ...]
    settled: bool
    devices: dict[str, str] = field(default_factory=dict)


class Reference:
    """One circuit held in libngspice."""

    def __init__(self, model: Model) -> None:
        self.model = model
        self.deck: Deck = build(model)
        self.memory = memory()
        self.memory.load(self.deck.text())
        self.now = dict(self.deck.values)
        self.solutions = 0

    def solve(self, state: str, fault: str = "nothing wrong", *, rounds: int = 60) -> Settled:
        """One state with one fault (by name)."""
        chosen = self.model.states[state]
        condition = with_fault(self.deck, in_state(self.deck, chosen), fault)
        blown: list[str] = []
        while True:
            found = self._settle(chosen, condition, rounds)
            over = {name: abs(amps) / self.model.parts[name].values["A"] for name, amps in found.amps.items()}
            worst = max(over, key=lambda name: over[name], default="")
            if not worst or over[worst] <= 1.35 or not found.settled:
                return Settled(found.volts, found.amps, tuple(blown), found.settled, found.devices)
            blown.append(worst)
            condition.values[self.deck.names[worst]] = ABSENT

    def _settle(self, state: State, condition: Condition, rounds: int) -> Settled:
        devices: dict[str, str] = {}
        seen: list[dict[str, str]] = []
        while True:
            volts, amps = self._volts(condition, devices)
            new = self._devices(state, condition, devices, volts)
            if new == devices:
                return Settled(volts, amps, (), settled=True, devices=devices)
            if new in seen or len(seen) > rounds:
                return Settled(volts, amps, (), settled=False, devices=devices)
            seen.append(devices)
            devices = new

    def _volts(
        self, condition: Condition, devices: dict[str, str]
    ) -> tuple[dict[str, float], dict[str, float]]:
        values = dict(condition.values)
        for part in self.model.parts.values():
            put(self.deck, part, condition, devices, values)
        for command in alter({name: value for name, value in values.items() if self.now[name] != value}):
            self.memory.command(command)
        self.now = values
        found = self.memory.operating_point()
        self.solutions += 1
        volts = {point: found[node] if node != "0" else 0.0 for point, node in self.deck.nodes.items()}
        fuses = [part.name for part in self.model.parts.values() if part.kind in ("fuse", "breaker")]
        return volts, {name: found[f"{self.deck.names[f'{name} meter']}#branch"] for name in fuses}

    def _devices(
        self, state: State, condition: Condition, old: dict[str, str], volts: dict[str, float]
    ) -> dict[str, str]:
        new: dict[str, str] = {}
        for part in self.model.parts.values():
            if part.kind == "relay":
                new[part.name] = relay(part, condition, old.get(part.name, "released"), volts)
            elif part.kind == "diode" or (part.kind == "motor" and part.park):
                new[part.name] = diode(part, condition, volts) if part.kind == "diode" else park(part, volts)
            elif part.kind == "module" and part.behaviour is not None:
                new |= Module(part, state, condition, old, volts).devices()
        return {name: what for name, what in new.items() if what not in ("released", "off", "parked")}


def put(
    deck: Deck, part: Part, condition: Condition, devices: dict[str, str], values: dict[str, float]
) -> None:
    """The values that a part's elements have while its devices are in these states."""
    name, names = part.name, deck.names
    stuck = condition.stuck.get(name, "")
    if part.kind == "relay":
        pulled, ohms = devices.get(name) == "pulled", 0.1 / part.values.get("A", 20.0)
        welded = stuck == "contact welded"
        joined = (welded or (pulled and stuck != "contact open"), not welded and not pulled)
        worn = float(stuck.rpartition(" ")[2]) if stuck.startswith("contact worn") else 0.0
        values[names[f"{name} 87"]] = ohms + worn if joined[0] else ABSENT
        if "87a" in part.pins:
            values[names[f"{name} 87a"]] = ohms if joined[1] else ABSENT
    elif part.kind == "diode":
        values[names[name]] = 0.010 if devices.get(name) == "on" else ABSENT
    elif part.kind == "motor" and part.park:
        runs = devices.get(name) == "runs"
        values[names[f"{name} park {part.park[1]}"]] = ABSENT if runs else 0.005
        values[names[f"{name} park {part.park[2]}"]] = 0.005 if runs else ABSENT
    elif part.kind == "module" and part.behaviour is not None:
        _put_module(names, part, devices, values)


def _put_module(names: dict[str, str], part: Part, devices: dict[str, str], values: dict[str, float]) -> None:
    assert part.behaviour is not None
    for driver in part.behaviour.drivers:
        pin = f"{part.name}.{driver.pin}"
        does = devices.get(pin, "off")
        values[names[f"{pin} driver"]] = (driver.ohms or 0.05) if does == "on" else ABSENT
        values[names[f"{pin} limit"]] = (driver.limit or 0.0) if does == "limits" else 0.0
        values[names[f"{pin} bias"]] = driver.bias if driver.bias and does in ("off", "latched") else ABSENT
    for supply in part.behaviour.supplies:
        pin = f"{part.name}.{supply.pin}"
        does = devices.get(pin, "off")
        values[names[f"{pin} regulates"]] = 10.0 if does == "regulates" else 0.0
        values[names[f"{pin} limit"]] = supply_limit(supply) if does == "limits" else 0.0
        values[names[f"{pin} drops"]] = 0.1 if does == "drops" else ABSENT
    for pin in part.behaviour.clamps:
        clamp = f"{part.name} clamp {pin}"
        values[names[clamp]] = 0.010 if devices.get(clamp) == "on" else ABSENT


def supply_limit(supply: Supply) -> float:
    return 0.1 if supply.limit is None else supply.limit


def relay(part: Part, condition: Condition, was: str, volts: dict[str, float]) -> str:
    if condition.stuck.get(part.name) == "released":
        return "released"
    across = abs(volts[f"{part.name}.85:part"] - volts[f"{part.name}.86:part"])
    threshold = part.values.get("drops", 2.0) if was == "pulled" else part.values.get("pulls", 7.0)
    return "pulled" if across >= threshold else "released"


def diode(part: Part, condition: Condition, volts: dict[str, float]) -> str:
    across = volts[f"{part.name}.a:part"] - volts[f"{part.name}.k:part"]
    conducts = across > part.values.get("V", 0.7) and condition.stuck.get(part.name) != "open"
    return "on" if conducts else "off"


def park(part: Part, volts: dict[str, float]) -> str:
    across = abs(volts[f"{part.name}.{part.pins[0]}:part"] - volts[f"{part.name}.{part.pins[1]}:part"])
    return "runs" if across > 1.0 else "parked"


class Module:
    """One module in one round."""

    def __init__(
        self, part: Part, state: State, condition: Condition, old: dict[str, str], volts: dict[str, float]
    ) -> None:
        assert part.behaviour is not None
        self.part, self.does, self.state, self.old = part, part.behaviour, state, old
        self.stuck = condition.stuck
        self.volts = volts
        self.earth = self.at(self.does.earths[0]) if self.does.earths else 0.0
        self.feed = self.at(self.does.feeds[0][0]) if self.does.feeds else self.earth
        least = self.does.works_over or 8.0
        self.fed = self.stuck.get(part.name) != "dead" and all(
            max(self.at(pin) for pin in group) - self.earth >= least for group in self.does.feeds
        )

    def at(self, pin: str) -> float:
        return self.volts[f"{self.part.name}.{pin}:part"]

    def devices(self) -> dict[str, str]:
        new = {f"{self.part.name}.{driver.pin}": self.driver(driver) for driver in self.does.drivers}
        new |= {f"{self.part.name}.{supply.pin}": self.supply(supply) for supply in self.does.supplies}
        for pin in self.does.clamps:
            new[f"{self.part.name} clamp {pin}"] = "on" if self.at(pin) - self.feed > 0.7 else "off"
        return new

    def holds(self, condition: When) -> bool:
        match condition:
            case Always():
                return True
            case PinIs(pin, level):
                return self.level(pin) == level
            case InState(name):
                return name == self.state.name
            case Not(term):
                return not self.holds(term)
            case And(terms):
                return all(map(self.holds, terms))
            case Or(terms):
                return any(map(self.holds, terms))
        raise NotImplementedError(condition)

    def level(self, pin: str) -> str:
        port = next(port for port in self.does.inputs if port.pin == pin)
        if self.stuck.get(f"{self.part.name}.{pin}") == "not read":
            return "high" if port.pull == "up" else "low"
        volts, feed = self.at(pin) - self.earth, self.feed - self.earth
        low = 0.3 * feed if port.low_under is None else port.low_under
        high = 0.6 * feed if port.high_over is None else port.high_over
        return "low" if volts < low else "high" if volts > high else "neither"

    def driver(self, driver: Driver) -> str:
        pin = f"{self.part.name}.{driver.pin}"
        stuck, was = self.stuck.get(pin), self.old.get(pin, "off")
        if not self.fed or stuck == "off" or not (stuck == "on" or self.holds(driver.when)):
            return "off"
        if driver.limit is None:
            return "on"
        a, b = (
            (self.feed, self.at(driver.pin)) if driver.side == "high" else (self.at(driver.pin), self.earth)
        )
        amps = (a - b) / (driver.ohms or 0.05)
        over = was in ("on", "limits") and amps > driver.limit * (1 - 1e-9 * (was == "limits"))
        if driver.latches and driver.latches != self.state.name and (over or was == "latched"):
            return "latched"
        return "limits" if over else "on"

    def supply(self, supply: Supply) -> str:
        """The lowest line of its characteristic: regulating, limiting, dropping out; it never sinks."""
        pin = f"{self.part.name}.{supply.pin}"
        if not self.fed or self.stuck.get(pin) == "off":
            return "off"
        target = min(self.earth + supply.volts, self.feed)
        line = "regulates" if self.earth + supply.volts <= self.feed else "drops"
        amps, was = (target - self.at(supply.pin)) / 0.1, self.old.get(pin, "off")
        limit = supply_limit(supply)
        if was == "off":
            return line if amps > 0 else "off"
        if was == "limits":
            return line if amps < limit * (1 - 1e-9) else "limits"
        return "limits" if amps > limit else "off" if amps < -1e-9 else line


__all__ = ["Reference", "Settled"]
