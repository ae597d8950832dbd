"""What the engine is held against: tracing from the load, halving by position, replacing the likeliest part.

Tracing and halving go along the line that the load's current takes in a healthy vehicle, from the battery's positive
post to its negative one, with a meter against the negative post, the load switched on. A reading says on which side
the fault lies: on the feed side a point that has its volts has the fault beyond it; on the ground side a point that
has volts which it should not have has it beyond. The stretch that is left is confirmed by the drop across it; where
it is not, the line is gone over once more. A relay contact that does not close, and a unit that does not drive, are
followed to their own lines. The technician knows what the points of a healthy vehicle read, and each stretch that is
left counts as right where the fault is anywhere in it, which is more than is asked of the engine.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass

import numpy as np

from bench.choice_jobs import Case, Told
from halfsplit.circuit.circuit import Circuit, Solution
from halfsplit.diagnosis.candidates import probe_points
from halfsplit.diagnosis.cost import Bay, part_of
from halfsplit.diagnosis.measurement import Measurement
from halfsplit.practice.vehicle import Vehicle

DIFFERS = 0.6
"""Volts from which a technician calls a point bad."""
DROP = 0.3
"""Volts above the healthy drop from which a stretch is confirmed."""
FLOWS = 1e-4
"""Amps below which nothing is followed."""
DEEPEST = 4
"""Lines that are followed from one to the next: load, relay coil, unit, the unit's relay."""


@dataclass(frozen=True)
class Line:
    """Measuring points from the battery to the load and back, with what they read in a healthy vehicle.

    ``loaded``: how many lie before the load. ``between``: names of the network's elements from each point to the
    next, one more than there are points: the first from the positive post, the last to the negative one.
    """

    points: tuple[str, ...]
    volts: tuple[float, ...]
    loaded: int
    between: tuple[tuple[str, ...], ...]

    @property
    def elements(self) -> tuple[str, ...]:
        return tuple(name for stretch in self.between for name in stretch)


@dataclass
class Work:
    """Who measures: counts tests and minutes as the engine does, places that are open stay open."""

    circuit: Circuit
    vehicle: Vehicle
    bay: Bay
    tests: int = 0
    minutes: float = 0.0

    def ask(self, measurement: Measurement) -> float | str:
        """Make a measurement."""
        self.minutes += self.bay.minutes(measurement)
        self.bay = self.bay.after(measurement)
        self.tests += 1
        return self.vehicle.answer(measurement)

    def volts(self, at: str, state: str, to: str | None = None) -> float:
        """Volts as the meter shows them."""
        return float(self.ask(Measurement("volts", at, state, to, "meter")))


@dataclass(frozen=True)
class Located:
    """Where a walk ended: the repairs in the stretch that is left, none where it gave up."""

    repairs: frozenset[str]
    tests: int
    minutes: float
    points: int


def line(circuit: Circuit, load: str, state: str) -> Line | None:
    """The way of the current through an element (a load, a coil, a unit's draw); None where none flows."""
    solution = circuit.solve(state)
    number = circuit.network.element(load)
    amps = float(solution.result.currents[number])
    if abs(amps) < FLOWS:
        return None
    ends = circuit.network.ends[number][:2]
    upper, lower = ends if amps > 0 else ends[::-1]
    up = _followed(solution, int(upper), against=True)
    down = _followed(solution, int(lower), against=False)
    if up is None or down is None:
        return None
    return _line(circuit, solution, [*reversed(up), (number, int(lower)), *down], len(up), number)


def _followed(solution: Solution, node: int, *, against: bool) -> list[tuple[int, int]] | None:
    """(element, node it leads to or comes from): along the largest current to a post of the battery."""
    network, currents = solution.circuit.network, solution.result.currents
    way: list[tuple[int, int]] = []
    seen = {node}
    while True:
        best = _largest(network.ends, currents[: len(network.elements)], node, against=against)
        if best is None:
            return None
        element, other = best
        if network.elements[element].role in ("battery", "generator"):
            return way
        if other in seen:
            return None
        # Against the current the element is passed to come to `node`; with it, to come to `other`.
        way.append((element, node if against else other))
        seen.add(other)
        node = other


def _largest(ends: np.ndarray, currents: np.ndarray, node: int, *, against: bool) -> tuple[int, int] | None:
    """The element that brings most current to a node (or takes most away), and its other end."""
    into = np.where(ends[:, 1] == node, currents, 0.0) - np.where(ends[:, 0] == node, currents, 0.0)
    flow = into if against else -into
    best = int(np.argmax(flow))
    if flow[best] < FLOWS:
        return None
    a, b = int(ends[best, 0]), int(ends[best, 1])
    return best, b if a == node else a


def _line(circuit: Circuit, solution: Solution, way: list[tuple[int, int]], before: int, load: int) -> Line:
    network = circuit.network
    probed = {network.node(point): point for point in probe_points(circuit)}
    points: list[str] = []
    # What lies before the first point is the battery itself and its post.
    between: list[list[str]] = [[part.name for part in circuit.model.of_kind("battery")]]
    loaded = 0
    for element, node in way:
        if element == load:
            loaded = len(points)
        between[-1].append(network.elements[element].name)
        if node in probed:
            points.append(probed[node])
            between.append([])
    volts = tuple(solution.volts(point) for point in points)
    return Line(tuple(points), volts, loaded, tuple(tuple(names) for names in between))


def repairs_of(circuit: Circuit, elements: tuple[str, ...]) -> frozenset[str]:
    """Names of the repairs that these elements stand for: a wire, a contact, a joint, a part."""
    network = circuit.network
    told = set()
    for name in elements:
        element = network.elements[network.element(name)]
        told.add(name if element.role in ("wire", "contact", "joint") else element.part or part_of(name))
    return frozenset(told)


Order = Callable[[Line, Callable[[int], bool]], int]
"""Finds the stretch of a line that has the fault, by asking of points whether it lies beyond them."""


def halve(line: Line, beyond: Callable[[int], bool]) -> int:
    """Always the middle of what is left, by position."""
    low, high = 0, len(line.points)
    while low < high:
        middle = (low + high) // 2
        if beyond(middle):
            low = middle + 1
        else:
            high = middle
    return low


def trace(line: Line, beyond: Callable[[int], bool]) -> int:
    """From the load to the battery point by point; where the feed is there, along the ground side."""
    number = line.loaded - 1
    if number >= 0 and not beyond(number):
        while number > 0 and not beyond(number - 1):
            number -= 1
        return number
    number = line.loaded
    while number < len(line.points) and beyond(number):
        number += 1
    return number


def walk(case: Case, order: Order) -> Located:
    """Find the fault of a case along its lines; gives up where what was told is no load without current."""
    told = next((one for one in case.told if one.kind == "works" and one.value != "yes"), None)
    work = Work(case.circuit, case.vehicle(), Bay(case.circuit.model, state=told.state if told else None))
    first = line(case.circuit, told.name, told.state) if told else None
    if told is None or first is None:
        return Located(frozenset(), 0, 0.0, 0)
    found = _along(work, first, told.name, told, order, 0)
    return Located(found, work.tests, work.minutes, len(first.points))


def _along(work: Work, line_: Line, load: str, told: Told, order: Order, depth: int) -> frozenset[str]:
    for _ in range(2):
        number = order(line_, lambda place: _beyond(work, line_, place, told.state))
        if _confirmed(work, line_, number, told.state):
            return _followed_on(work, line_.between[number], told, order, depth)
    return frozenset()


def _beyond(work: Work, line_: Line, place: int, state: str) -> bool:
    """Whether the fault lies beyond a point, by its volts."""
    volts, healthy = work.volts(line_.points[place], state), line_.volts[place]
    return volts > healthy - DIFFERS if place < line_.loaded else volts > healthy + DIFFERS


def _confirmed(work: Work, line_: Line, number: int, state: str) -> bool:
    """Whether the stretch drops more than it should; of the load's own stretch, that it has its volts."""
    points = line_.points
    if number == 0 or number == len(points):
        at, to = (points[0], None) if number == 0 else (points[-1], None)
        healthy = line_.volts[0 if number == 0 else -1]
        return abs(work.volts(at, state, to) - healthy) > DROP
    healthy = line_.volts[number - 1] - line_.volts[number]
    drop = work.volts(points[number - 1], state, points[number])
    return drop > 0.85 * healthy if number == line_.loaded else drop > healthy + DROP


def _followed_on(
    work: Work, stretch: tuple[str, ...], told: Told, order: Order, depth: int
) -> frozenset[str]:
    """The repairs of a stretch; a relay or unit in it only where its own lines are good."""
    repairs = repairs_of(work.circuit, stretch)
    if depth >= DEEPEST:
        return repairs
    for name, inner in _inner(work.circuit, stretch):
        other = line(work.circuit, inner, told.state)
        if other is None:
            continue
        across = _across(other)
        if across is None:
            continue
        healthy = work.circuit.solve(told.state).volts(*across)
        if work.volts(across[0], told.state, across[1]) < 0.85 * healthy:
            return _along(work, other, inner, told, order, depth + 1)
        own = {part.name + "." + pin for part in [work.circuit.parts[name]] for pin in part.pins}
        repairs |= frozenset(own)
    return repairs


def _across(line_: Line) -> tuple[str, str] | None:
    """The points on either side of what the line is about."""
    if 0 < line_.loaded < len(line_.points):
        return line_.points[line_.loaded - 1], line_.points[line_.loaded]
    return None


def _inner(circuit: Circuit, stretch: tuple[str, ...]) -> Iterator[tuple[str, str]]:
    """(part, element) whose own line decides whether the stretch conducts: a relay's coil, a unit's draw and inputs."""
    network = circuit.network
    for name in stretch:
        element = network.elements[network.element(name)]
        part = circuit.parts.get(element.part)
        if element.role == "relay contact" and part is not None:
            yield part.name, f"{part.name} coil"
        elif element.role == "driver" and part is not None:
            for other in network.elements:
                if other.part == part.name and other.role in ("draw", "pull"):
                    yield part.name, other.name
