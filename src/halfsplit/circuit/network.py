"""Circuit + state → arrays, and the map between names and indices.

``Network`` is one circuit as arrays; ``System`` is that network in one operating state with one set of parameters and
the interventions that a technician makes. Index ``network.size`` is the reference (battery negative, part side).
"""

from __future__ import annotations

from collections.abc import Hashable, Iterable, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property
from itertools import cycle
from typing import Any

import numpy as np
from numpy.typing import NDArray

from halfsplit.circuit.assembly import REFERENCE, Assembly, across, inside
from halfsplit.circuit.devices import DeviceTable, Thresholds
from halfsplit.circuit.element import Element
from halfsplit.circuit.elements import assemble, sensor_track
from halfsplit.circuit.model import BODY, Model, State
from halfsplit.circuit.strays import add_spares
from halfsplit.circuit.wiring import live_neighbours, neighbouring_cavities
from halfsplit.errors import NotFoundError

Floats = NDArray[np.float64]
Ints = NDArray[np.intp]
Bools = NDArray[np.bool_]

OPEN, ADD, SET, EMF = range(4)
"""Operations of a change: no path; ohms in series; the element has these ohms; its source has these volts."""

OVERLOAD, MAY_OPEN = 1.35, (1.1, 1.6)
"""A fuse opens when its steady current is over 1.35 × its rating (ISO 8820-3); between these it may."""
BATTERY_VOLTS = 0.15
"""Standard deviation of what a battery has against what is stated; common practice, no source."""


class UnknownNameError(NotFoundError):
    """A point, part or state that the circuit does not have. Not for mistakes in a circuit file."""


@dataclass(frozen=True, slots=True)
class Change:
    """One element differs from the healthy network: operation (above) and its value in ohm or volts."""

    element: int
    operation: int
    value: float = 0.0


@dataclass(frozen=True, slots=True)
class Lock:
    """A device, module or input that no longer does its work.

    ``table``: 'device' (``value`` is the state that it
    keeps, or ``devices.ALWAYS`` for a driver that is always told to drive), 'module' (dead), 'input' (not read).
    """

    table: str
    index: int
    value: int = 0


@dataclass(frozen=True)
class Parameters:
    """What differs between one car and the next, per element (E,) and per device threshold; SI units.

    ``overload`` (fuses,): the multiple of its rating above which each opens.
    """

    conductance: Floats
    emf: Floats
    thresholds: Thresholds
    overload: Floats


@dataclass(frozen=True, eq=False)
class System:
    """A network in one state: element arrays (E,), ``ends`` (E, 4) as u0 u1 v0 v1, before faults and devices.

    ``present`` says which elements count apart from their device (switch position, generator running).
    ``extra`` counts the elements that interventions added at the end.
    """

    network: Network
    state: State
    ends: Ints
    conductance: Floats
    emf: Floats
    push: Floats
    present: Bools
    device: Ints
    mask: Ints
    parameters: Parameters

    @property
    def opens_at(self) -> Floats:
        """Ampere above which each fuse opens (fuses,)."""
        return np.asarray(self.network.ratings * self.parameters.overload)

    def active(self, states: NDArray[np.int8]) -> Bools:
        """Which elements count (E,) when the devices have these states (D,)."""
        on = np.ones(len(self.device), dtype=bool)
        owned = self.device >= 0
        on[owned] = (self.mask[owned] >> states[self.device[owned]]) & 1 != 0
        return on & self.present

    def changed(self, changes: Iterable[Change]) -> System:
        """This system with interventions or faults put in."""
        conductance, emf = self.conductance.copy(), self.emf.copy()
        for change in changes:
            conductance[change.element], emf[change.element] = operate(
                change.operation, change.value, conductance[change.element], emf[change.element]
            )
        return replace(self, conductance=conductance, emf=emf)

    def bridged(self, bridges: Sequence[tuple[int, int, float]]) -> System:
        """This system with resistances (ohm) between pairs of nodes added: jumps and instruments."""
        if not bridges:
            return self
        ends = np.array([[a, b, a, b] for a, b, _ in bridges], dtype=np.intp)
        more = len(bridges)
        return replace(
            self,
            ends=np.vstack([self.ends, ends]),
            conductance=np.append(self.conductance, [1.0 / ohms for *_, ohms in bridges]),
            emf=np.append(self.emf, np.zeros(more)),
            push=np.append(self.push, np.zeros(more)),
            present=np.append(self.present, np.ones(more, dtype=bool)),
            device=np.append(self.device, np.full(more, -1)),
            mask=np.append(self.mask, np.zeros(more, dtype=np.intp)),
        )

    def electrically(self) -> tuple[Hashable, ...]:
        """What tells this system from others of the same network: two that are equal in it have the same volts.

        A state counts by its switches and values, by the conditions of units that name it, and by how long it lasts.
        """
        arrays = self.ends[len(self.network.elements) :], self.conductance, self.emf, self.present
        named = tuple(name == self.state.name for name in self.network.devices.named_states)
        lasts = self.state.lasts if self.network.devices.sleepers else None
        return (*(each.tobytes() for each in arrays), named, lasts)

    @property
    def driven(self) -> bool:
        """Whether a battery or generator drives it."""
        source = self.network.is_source
        return bool((self.present[: len(source)] & source).any())

    def isolated(self) -> System:
        """The feed taken away, as for a measurement of ohms: no source drives, nothing is switched by a device."""
        source = self.network.is_source
        present = self.present.copy()
        present[: len(source)] &= ~source
        return replace(self, present=present)


def operate(operation: int, value: float, conductance: float, emf: float) -> tuple[float, float]:
    """Conductance and emf of an element after a change."""
    if operation == OPEN:
        return 0.0, emf
    if operation == ADD:
        return conductance / (1.0 + conductance * value), emf
    if operation == SET:
        return 1.0 / value, emf
    return conductance, value


@dataclass(frozen=True, eq=False)
class Network:
    """One circuit as arrays. ``points``: names of all nodes but the reference; ``index`` also knows the reference."""

    model: Model
    points: tuple[str, ...]
    index: dict[str, int]
    elements: tuple[Element, ...]
    element_index: dict[str, int]
    devices: DeviceTable
    fuses: Ints = field(repr=False)
    ratings: Floats = field(repr=False)
    structures: dict[tuple[tuple[int, ...], ...], Any] = field(default_factory=dict, repr=False)
    """Structures of elimination made so far, by the bridges that interventions add (``structure.py``)."""
    chains: dict[bytes, Ints] = field(default_factory=dict, repr=False)
    """Which elements stand in a chain with which, by what is there; see ``cases``."""

    @property
    def size(self) -> int:
        return len(self.points)

    @cached_property
    def ends(self) -> Ints:
        rows = [[self.index[point] for point in (*element.u, *element.v)] for element in self.elements]
        return np.array(rows, dtype=np.intp).reshape(-1, 4)

    @cached_property
    def is_source(self) -> Bools:
        return np.array([element.role in ("battery", "generator") for element in self.elements], dtype=bool)

    @cached_property
    def parameters(self) -> Parameters:
        """The nominal values, of the first production where the diagram shows several."""
        return self.nominal(next(iter(self.model.variants), ""))

    def nominal(self, variant: str) -> Parameters:
        """The nominal values of one production: the wires of the others are not there."""
        there = np.array([element.variant in ("", variant) for element in self.elements])
        return Parameters(
            np.where(there, [element.conductance for element in self.elements], 0.0),
            np.array([element.emf for element in self.elements]),
            self.devices.thresholds,
            np.full(len(self.fuses), OVERLOAD),
        )

    @cached_property
    def drawn(self) -> int:
        """How many elements the drawing shows, or makes by a fault that it shows; the others come after them."""
        return sum(element.role != "undrawn" for element in self.elements)

    def node(self, name: str) -> int:
        """Index of a point by name; the bare name of a cavity is its ``:in`` side."""
        for candidate in (name, f"{name}:in"):
            if candidate in self.index:
                return self.index[candidate]
        raise UnknownNameError(f"there is no point {name!r} in this circuit")

    def between(self, at: str, to: str | None) -> tuple[int, int]:
        """Nodes of two points; no second one is the reference."""
        return self.node(at), self.size if to is None else self.node(to)

    def element(self, name: str) -> int:
        if name in self.element_index:
            return self.element_index[name]
        raise UnknownNameError(f"there is no wire, contact or two-pin part {name!r} in this circuit")

    def ends_of(self, name: str) -> list[int]:
        """Nodes at both ends of a wire, contact or two-pin part."""
        return [int(node) for node in self.ends[self.element(name)][:2]]

    def state(self, name: str) -> State:
        if name in self.model.states:
            return self.model.states[name]
        known = ", ".join(f'"{state}"' for state in self.model.states)
        raise UnknownNameError(f'there is no state "{name}" in this circuit; it has {known}')

    def system(self, state: str, parameters: Parameters | None = None) -> System:
        """The healthy network in an operating state; nominal values unless ``parameters`` are given."""
        given = self.parameters if parameters is None else parameters
        chosen = self.state(state)
        conductance, emf = given.conductance.copy(), given.emf.copy()
        for name, number in chosen.values.items():
            part = self.model.parts[name]
            upper, lower = f"{name} upper", f"{name} lower"
            track = zip((upper, lower), sensor_track(part, number), strict=True)
            for own, ohms in [(name, number)] if len(part.pins) == 2 else track:
                element = self.element(own)
                conductance[element] *= 1.0 / (ohms * self.elements[element].conductance)
        present = np.ones(len(self.elements), dtype=bool)
        for part in self.model.of_kind("generator"):
            present[self.element(part.name)] = part.name in chosen.running
        for part in self.model.of_kind("switch"):
            position = chosen.switches.get(part.name, part.settings[0])
            for number, join in enumerate(part.connections):
                present[self.element(f"{part.name} join {number}")] = join.position == position
        push, device, mask = self._fixed
        return System(self, chosen, self.ends, conductance, emf, push, present, device, mask, given)

    @cached_property
    def _fixed(self) -> tuple[Floats, Ints, Ints]:
        """Push of each element, by which device it is switched, and in which of its states it is there."""
        push = np.array([element.push for element in self.elements])
        device, mask = ([getattr(each, name) for each in self.elements] for name in ("device", "mask"))
        return push, np.array(device, dtype=np.intp), np.array(mask, dtype=np.intp)

    def draw(self, generator: np.random.Generator) -> Parameters:
        """One car: element values log-normal about the nominal, sources normal, thresholds uniform in their ranges."""
        return self._car(
            self.parameters,
            generator.standard_normal((2, self.drawn)),
            generator.uniform(size=self.devices.uncertain + len(self.fuses)),
        )

    def draws(
        self,
        generator: np.random.Generator,
        count: int,
        variants: Sequence[str | None] = (None,),
        *,
        spread: float = 1.0,
    ) -> tuple[Parameters, ...]:
        """So many cars that together have every quantile of each value, the productions by turns.

        A Latin hypercube (McKay, Beckman and Conover, Technometrics 21, 1979): with cars drawn one by one, the
        battery of the car at hand lies outside all of so few too often. ``spread``: 1 for values that are typical,
        near 0 where they were measured on this very vehicle.
        """
        from scipy.special import ndtri  # slow to import, and not every command draws vehicles

        elements, thresholds = self.drawn, self.devices.uncertain + len(self.fuses)
        strata = np.tile(np.arange(count), (2 * elements + thresholds, 1))
        quantiles = (generator.permuted(strata, axis=1).T + 0.5) / count
        normal = ndtri(quantiles[:, : 2 * elements]).reshape(count, 2, elements)
        return tuple(
            self._car(
                self.nominal(variant) if variant else self.parameters,
                spread * normal[number],
                quantiles[number, 2 * elements :],
            )
            for number, variant in zip(range(count), cycle(variants), strict=False)
        )

    def _car(self, nominal: Parameters, normal: Floats, quantiles: Floats) -> Parameters:
        """The car with these deviates (2, E) of sources and of ratios, and quantiles of thresholds, then of fuses."""
        battery = np.array([element.role == "battery" for element in self.elements])
        spread = np.array([element.spread for element in self.elements])
        # What is not drawn comes last, and has no value of its own until a fault makes it.
        sources, ratios = np.pad(np.clip(normal, -2.0, 2.0), ((0, 0), (0, len(spread) - normal.shape[1])))
        return Parameters(
            nominal.conductance * np.exp(spread * ratios),
            nominal.emf + np.where(battery, BATTERY_VOLTS * sources, 0.0),
            self.devices.thresholds_at(quantiles[: self.devices.uncertain]),
            MAY_OPEN[0] + (MAY_OPEN[1] - MAY_OPEN[0]) * quantiles[self.devices.uncertain :],
        )


def compile_network(model: Model) -> Network:
    """Make the arrays of a circuit."""
    assembly = assemble(model)
    _add_spares(assembly)
    # The battery's negative post: the part side of its ``-`` pin; a generator's where there is no battery.
    sources = (*model.of_kind("battery"), *model.of_kind("generator"))
    reference = inside(sources[0], "-") if sources else None
    # In the order of the file: harness sides and cavities first where they are declared.
    seen: list[str] = []
    for part in model.parts.values():
        seen += [part.name] * part.is_joint
        sides = (":in", ":out") if part.kind == "connector" else ("", ":part")
        seen += [f"{part.name}.{pin}{side}" for pin in part.pins for side in sides]
    seen += [point for element in assembly.elements for point in (*element.u, *element.v)]
    points = tuple(point for point in dict.fromkeys(seen) if point not in (REFERENCE, reference))
    index = {point: number for number, point in enumerate(points)}
    index[REFERENCE] = len(points)
    if reference:
        index[reference] = len(points)
    names = {element.name: number for number, element in enumerate(assembly.elements)}
    fuses = np.array([names[part.name] for part in model.of_kind("fuse", "breaker")], dtype=np.intp)
    ratings = np.array([part.values["A"] for part in model.of_kind("fuse", "breaker")])
    elements, devices = tuple(assembly.elements), DeviceTable(assembly, index)
    return Network(model, points, index, elements, names, devices, fuses, ratings)


def _add_spares(assembly: Assembly) -> None:
    """Places where a short can come: each wire's second end to body and to the feed, neighbouring cavities."""
    model = assembly.model
    feed = next((f"{part.name}.+" for part in model.of_kind("battery", "generator")), REFERENCE)
    live = live_neighbours(model)
    for wire in model.wires:
        assembly.spare(wire.name, f"{wire.name} to body", "short", (wire.b, BODY))
        if wire.name in live:
            assembly.spare(wire.name, f"{wire.name} to supply", "short", (wire.b, feed))
    for a, b in neighbouring_cavities(model):
        assembly.spare(a, f"{a} to {b}", "short", (f"{a}:in", f"{b}:in"))
    for part in model.of_kind("lamp", "motor", "heater", "resistor", "solenoid", "sensor"):
        if len(part.pins) == 2:
            assembly.spare(part.name, f"{part.name} short", "short", across(part, *part.pins))
    seen: set[str] = set()
    for part, talk in ((part, talk) for part, talk in model.talks if talk.bus not in seen):
        bus, pins = talk.bus, {"high": talk.high, "low": talk.low}
        seen.add(bus)
        lines = {line: f"{part.name}.{pin}" for line, pin in pins.items() if pin}
        for line, point in lines.items():
            assembly.spare(bus, f"{bus} {line} to body", "short", (point, BODY))
            assembly.spare(bus, f"{bus} {line} to supply", "short", (point, feed))
        if talk.low:
            assembly.spare(bus, f"{bus} lines", "short", (lines["high"], lines["low"]))
    add_spares(assembly)
