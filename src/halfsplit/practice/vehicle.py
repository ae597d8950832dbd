"""A vehicle with a hidden fault that answers what is measured, with the instrument's error and the hand's slips.

It is solved from scratch with parameters of its own, drawn afresh: it shares no prediction with the diagnosis that
looks for its fault.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping

import numpy as np

from halfsplit.circuit.circuit import WORKS_FROM, Circuit, Solution
from halfsplit.circuit.element import DriverDevice, Relay
from halfsplit.circuit.faults import Fault
from halfsplit.circuit.instruments import INSTRUMENTS, filament_ohms, over_range
from halfsplit.circuit.interventions import Intervention, LampFor, StandInFor, apply, replaced
from halfsplit.circuit.kinds import LOADS
from halfsplit.circuit.network import OPEN, Change, System
from halfsplit.circuit.solve import Result, solve
from halfsplit.circuit.wiring import place
from halfsplit.diagnosis.codes import CODE_KINDS
from halfsplit.diagnosis.evidence import ENDS_SEEN, FUSE_SEEN, INSPECTION_FALSE_ALARM, OHMS_CEILING
from halfsplit.diagnosis.measurement import ENDS, PIN_DRAG, TRIED_AGAIN, Measurement, Present
from halfsplit.diagnosis.priors import default_priors

BRIGHT_FROM, DIM_FROM = 9.0, 2.5
STILL = 0.02
"""Share of wiggles at a sound place at which a reading jumps all the same."""


class Vehicle:
    """A vehicle with one fault, or a pair.

    ``noise``: whether instruments err; ``slips``: share of readings where the probe slips, ``slipped`` how many did.
    ``blown_fuses`` stay blown. ``wiggled``: share of wiggles at the right place at which it shows. Minutes are counted
    by the one who asks.
    """

    wiggled = 0.2

    def __init__(
        self,
        circuit: Circuit,
        fault: Fault,
        generator: np.random.Generator,
        *,
        noise: bool = True,
        slips: float = 0.0,
    ) -> None:
        self.circuit, self.fault, self.generator = circuit, fault, generator
        self.noise, self.slips = noise, slips
        self.slipped = 0
        self._parameters = circuit.network.draw(generator)
        self.blown_fuses: set[str] = set()
        self.lies: dict[str, float] = {}
        self._repaired = False

    def repair(self, part: str) -> None:
        """Put right one part; cures the vehicle if the fault is there."""
        if part == self.fault.part:
            self._repaired = True
            self.blown_fuses.clear()

    def answer(self, measurement: Measurement) -> float | str:
        """What a technician reads. Volts in V, amps in A, ohms in ohm (infinite for OL), or a word."""
        return ANSWERS[measurement.quantity](self, measurement)

    def solution(self, state: str, changes: tuple[Intervention, ...] = ()) -> Solution:
        """The circuit as it is in this vehicle now. Fuses that blow stay blown."""
        fault = self.fault_now(changes)
        result = self._solved(self._system(state, changes), fault)
        if not any(isinstance(change, LampFor) for change in changes):
            self.blown_fuses.update(result.blown)
        return Solution(self.circuit, state, fault, changes, result)

    def healthy_across(self, load: str, state: str) -> float:
        """Volts across a load in this car with nothing wrong."""
        result = solve(self.circuit.network.system(state, self._parameters))
        return Solution(self.circuit, state, None, (), result).across(load)

    def fault_now(self, changes: tuple[Intervention, ...]) -> Fault | None:
        return None if self._repaired or self.fault.part in replaced(changes) else self.fault

    def causes(self, changes: tuple[Intervention, ...]) -> tuple[Fault, ...]:
        """The single faults that are there now."""
        fault = self.fault_now(changes)
        return (fault.members or (fault,)) if fault else ()

    def _solved(self, system: System, fault: Fault | None, *, blow: bool = True) -> Result:
        return solve(system, fault.changes if fault else (), fault.locks if fault else (), blow=blow)

    def _system(self, state: str, changes: tuple[Intervention, ...]) -> System:
        system = apply(self.circuit.network.system(state, self._parameters), changes)
        blown = [name for name in sorted(self.blown_fuses) if name not in replaced(changes)]
        return system.changed([Change(self.circuit.network.element(name), OPEN) for name in blown])

    def read_volts(self, measurement: Measurement) -> float:
        """Volts with the instrument's load, error and digits."""
        if self.slips and self.generator.random() < self.slips:
            self.slipped += 1
            return 0.0 if self.generator.random() < 0.5 else float(self.generator.uniform(0.0, 13.0))
        used = INSTRUMENTS[measurement.instrument or "meter"]
        fault = self.solution(measurement.state, measurement.changes).fault
        a, b = self.circuit.network.between(measurement.at, measurement.to)
        ohms, value = used.ohms or np.inf, 0.0
        for _ in range(12 if used.filament else 1):
            system = self._system(measurement.state, measurement.changes).bridged([(a, b, ohms)])
            volts = self._solved(system, fault, blow=False).volts
            value = float(volts[a] - volts[b])
            if used.filament and used.ohms:
                ohms = filament_ohms(used.ohms, value)
        if self.noise:
            value += float(self.generator.normal(0.0, used.share * abs(value) + measurement.floor))
        return round(value, 3)

    def read_ohms(self, measurement: Measurement) -> float:
        """Ohms between two points with the feed off: a small test current is sent through."""
        network = self.circuit.network
        a, b = network.between(measurement.at, measurement.to)
        fault = self.fault_now(measurement.changes)
        system = self._system(measurement.state, measurement.changes).isolated()
        series, volts = 1e4, 1.0
        feed = system.bridged([(a, b, series)])
        feed.emf[-1] = volts
        result = self._solved(feed, fault, blow=False)
        across = float(result.volts[a] - result.volts[b])
        amps = (volts - across) / series
        ohms = across / amps if amps > 1e-12 else OHMS_CEILING
        if self.noise:
            ohms = ohms * float(self.generator.normal(1.0, 0.01)) + float(self.generator.normal(0.05, 0.03))
        if over_range(np.array(ohms), network.size):
            return float("inf")
        return max(0.0, round(ohms, 3))


def _amps(vehicle: Vehicle, measurement: Measurement) -> float:
    value = vehicle.solution(measurement.state, measurement.changes).amps(measurement.at)
    used = INSTRUMENTS["clamp"]
    if vehicle.noise:
        value += float(vehicle.generator.normal(0.0, used.share * abs(value) + used.floor))
    return round(value, 2)


def _lamp(vehicle: Vehicle, measurement: Measurement) -> str:
    volts = abs(vehicle.read_volts(measurement))
    return "bright" if volts >= BRIGHT_FROM else "dim" if volts >= DIM_FROM else "dark"


def _works(vehicle: Vehicle, measurement: Measurement) -> str:
    solution = vehicle.solution(measurement.state, measurement.changes)
    part, at = vehicle.circuit.parts[measurement.at], measurement.at
    word = solution.works(at) if part.kind in (*LOADS, "module") else "yes"
    # Weak is what has less than in this very car with nothing wrong, not less than in the nominal one.
    enough = word == "weak" and abs(solution.across(at)) >= WORKS_FROM * abs(
        vehicle.healthy_across(at, measurement.state)
    )
    return "yes" if enough else word


def _blown(vehicle: Vehicle, measurement: Measurement) -> str:
    vehicle.solution(measurement.state, measurement.changes)
    open_inside = [cause.part for cause in vehicle.causes(measurement.changes) if cause.mode == "open"]
    return "yes" if measurement.at in (*open_inside, *vehicle.blown_fuses) else "no"


def _inspection(vehicle: Vehicle, measurement: Measurement) -> str:
    causes = vehicle.causes(measurement.changes)
    if measurement.detail == (TRIED_AGAIN,):
        # Leads at its pins leave out all that is not the unit's own.
        return "good" if any(cause.part == measurement.at for cause in causes) else "bad"
    if measurement.detail == (ENDS,):
        # Whether the wire of the drawing has an end in another's place in this vehicle.
        ends = {place(end) for end in measurement.at.split()[1:3]}
        drawn = any(ends == {place(wire.a), place(wire.b)} for wire in vehicle.circuit.model.wires)
        undrawn = (cause for cause in causes if cause.kind == "undrawn" and cause.mode != "bridged")
        moved = not drawn or any(not ends.isdisjoint(cause.touches) for cause in undrawn)
        seen = ENDS_SEEN if moved else INSPECTION_FALSE_ALARM
        return "bad" if vehicle.generator.random() < seen else "good"
    if measurement.detail and measurement.detail != (PIN_DRAG,):
        return "good"
    chance = INSPECTION_FALSE_ALARM
    for cause in causes:
        if cause.part == measurement.at:
            chance = max(chance, default_priors().seen(cause))
        elif cause.part.partition(".")[0] == measurement.at:
            chance = max(chance, 0.7 * default_priors().seen(cause))
    if measurement.at in vehicle.blown_fuses:
        chance = max(chance, FUSE_SEEN)
    return "bad" if vehicle.generator.random() < chance else "good"


def _stage(vehicle: Vehicle, measurement: Measurement) -> float | str:
    stage = vehicle.circuit.model.stages[measurement.at]
    holds = _holds(vehicle, measurement.at, measurement)
    if stage.good is None or stage.bad is None:
        return "yes" if holds else "no"
    error = float(vehicle.generator.normal(0.0, 0.03)) if vehicle.noise else 0.0
    return (stage.good if holds else stage.bad) + error * abs(stage.good - stage.bad)


def _holds(vehicle: Vehicle, name: str, measurement: Measurement) -> bool:
    model = vehicle.circuit.model
    if any(isinstance(change, StandInFor) and change.stage == name for change in measurement.changes):
        return True
    stage = model.stages[name]
    if stage.states and measurement.state not in stage.states:
        return False
    if any(cause.failure and cause.failure[0] == name for cause in vehicle.causes(measurement.changes)):
        return False
    solution = vehicle.solution(measurement.state, measurement.changes)

    def fine(need: str) -> bool:
        if need in model.stages:
            return _holds(vehicle, need, measurement)
        return model.parts[need].kind not in (*LOADS, "module") or solution.works(need) == "yes"

    return all(map(fine, stage.needs))


def _gauge(vehicle: Vehicle, measurement: Measurement) -> float:
    gauge = vehicle.circuit.model.gauges[measurement.at]
    shown = gauge.ratio * SHOWN[gauge.quantity](vehicle, gauge.place, measurement)
    modes = {cause.mode for cause in vehicle.causes(measurement.changes) if cause.part == gauge.name}
    if "stuck" in modes:
        return vehicle.lies.setdefault(gauge.name, shown + _lie(vehicle, shown))
    if "offset" in modes:
        shown += vehicle.lies.setdefault(gauge.name, _lie(vehicle, shown))
    error = gauge.error if gauge.error is not None else 0.01 * abs(shown)
    return shown + (float(vehicle.generator.normal(0.0, error)) if vehicle.noise else 0.0)


def _lie(vehicle: Vehicle, shown: float) -> float:
    """How far a gauge that lies is off: a tenth to four tenths of what it should show, either way."""
    way = 1.0 if vehicle.generator.random() < 0.5 else -1.0
    return way * float(vehicle.generator.uniform(0.1, 0.4)) * (abs(shown) or 1.0)


def _closed(vehicle: Vehicle, name: str, measurement: Measurement) -> float:
    solution = vehicle.solution(measurement.state, measurement.changes)
    modes = {cause.mode for cause in vehicle.causes(measurement.changes) if cause.part == name}
    if modes & {"open", "contact open", "contact welded"}:
        return float("contact welded" in modes)
    if vehicle.circuit.parts[name].kind != "relay":
        return float(name not in vehicle.blown_fuses)
    return float(solution.result.states[vehicle.circuit.network.devices.find(name, Relay)] == 1)


def _number(vehicle: Vehicle, name: str, measurement: Measurement) -> float:
    """What a stage has, in its own unit."""
    stage = vehicle.circuit.model.stages[name]
    return float((stage.good if _holds(vehicle, name, measurement) else stage.bad) or 0.0)


SHOWN: Mapping[str, Callable[[Vehicle, str, Measurement], float]] = {
    "volts": lambda vehicle, place, made: vehicle.solution(made.state, made.changes).volts(place),
    "amps": lambda vehicle, place, made: vehicle.solution(made.state, made.changes).amps(place),
    "closed": _closed,
    "stage": _number,
}
"""What a sound gauge of ratio 1 shows, by what it looks at."""


def _code(vehicle: Vehicle, measurement: Measurement) -> str:
    kind = measurement.detail[0]
    now = vehicle.solution(measurement.state)
    healthy = vehicle.circuit.solve(measurement.state)
    if kind == "lost communication":
        other = measurement.detail[1] if len(measurement.detail) > 1 else measurement.at
        return "set" if not now.answers(other) else "not set"
    point = f"{measurement.at}.{measurement.detail[1]}:part"
    difference = now.volts(point) - healthy.volts(point)
    low, high = difference < -0.5, difference > 0.5
    code = {"circuit low": low, "supply low": low, "circuit high": high, "supply high": high}.get(
        kind, low or high
    )
    return "set" if code and kind in CODE_KINDS else "not set"


def _duty(vehicle: Vehicle, measurement: Measurement) -> float:
    solution = vehicle.solution(measurement.state, measurement.changes)
    table = vehicle.circuit.network.devices
    number = table.find(measurement.at, DriverDevice)
    device = table.devices[number]
    assert isinstance(device, DriverDevice)  # noqa: S101 - what `find` looks for
    on = solution.result.states[number] in (1, 2)
    if measurement.quantity == "duty":
        return float(device.driver.duty if on and device.driver.duty is not None else on)
    return float(device.driver.hertz or 0.0) if on else 0.0


def _wiggle(vehicle: Vehicle, measurement: Measurement) -> str:
    there = any(
        measurement.at == cause.part or measurement.at in cause.touches
        for cause in vehicle.causes(measurement.changes)
    )
    return "yes" if vehicle.generator.random() < (vehicle.wiggled if there else STILL) else "no"


ANSWERS: Mapping[str, Callable[[Vehicle, Measurement], float | str]] = {
    "volts": Vehicle.read_volts,
    "ohms": Vehicle.read_ohms,
    "amps": _amps,
    "lamp": _lamp,
    "works": _works,
    "answers": lambda vehicle, made: (
        "yes" if vehicle.solution(made.state, made.changes).answers(made.at) else "no"
    ),
    "blown": _blown,
    "inspection": _inspection,
    "stage": _stage,
    "code": _code,
    "duty": _duty,
    "hertz": _duty,
    "wiggle": _wiggle,
    "event": lambda _vehicle, _measurement: "no",
    "gauge": _gauge,
}


class ComesAndGoes(Vehicle):
    """A vehicle whose fault is there for a share of the measurements (``presence``).

    ``present`` tells whether it was there during the last one: whoever watches the load sees that.
    """

    presence = 0.6
    wiggled = 0.6
    present: Present = "yes"

    def answer(self, measurement: Measurement) -> float | str:
        """What a technician reads while the fault happens to be there or not."""
        # A look sees the damage at any time, and a wiggle at the right place brings the fault on.
        always = measurement.quantity in ("inspection", "wiggle")
        self.present = "yes" if always or self.generator.random() < self.presence else "no"
        return super().answer(measurement)

    def fault_now(self, changes: tuple[Intervention, ...]) -> Fault | None:
        return super().fault_now(changes) if self.present == "yes" else None


def vehicle(
    circuit: Circuit, fault: Fault, seed: int, *, slips: float = 0.0, intermittent: bool = False
) -> Vehicle:
    """A vehicle with this fault; the same seed gives the same vehicle and the same readings in the same order."""
    kind = ComesAndGoes if intermittent else Vehicle
    return kind(circuit, fault, np.random.default_rng(seed), slips=slips)
