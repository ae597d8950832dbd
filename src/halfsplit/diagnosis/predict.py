"""Hypotheses × tests → predicted readings: the circuit solved for every column and every draw of parameters.

A *scene* is one operating state with one set of interventions. Its volts are found once and answer every test
made in it. Every hypothesis sees the same draws (common random numbers), so that differences between
predictions are those of the faults and not of the dice.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from halfsplit.circuit.circuit import WORKS_FROM, Circuit
from halfsplit.circuit.element import DriverDevice, Relay
from halfsplit.circuit.instruments import COLD_SHARE, WARM_VOLTS, Instrument
from halfsplit.circuit.interventions import StandInFor, replaced
from halfsplit.circuit.kinds import LOADS
from halfsplit.diagnosis.fleet import Fleet, SceneKey
from halfsplit.diagnosis.hypotheses import Columns
from halfsplit.diagnosis.solved import Bools, Floats, Ints, Part, Readings, Solved

PARTS, LARGER = 3, 4
"""Parts of a predictor that are kept, and how many times larger than needed one may be."""
DEAD_MODES = ("open", "shorted", "stalled")


class Scene(Part):
    """Predictions (…, C, D) of one scene for C columns and D draws.

    What is solved is told by what it is and where (``get``): ``volts`` of a node against the reference, ``amps`` of an
    element, ``port_ohms`` between two nodes.
    """

    def __init__(
        self, circuit: Circuit, columns: Columns, key: SceneKey, solved: Solved, places: Ints
    ) -> None:
        super().__init__(solved, places)
        self.circuit, self.columns, self.key = circuit, columns, key
        self.shape = len(columns), len(solved.cars)
        self._works: dict[str, Readings] = {}

    def _between(self, what: str, a: int, b: int) -> Readings:
        """What the first node has more than the second of volts, or of ohms against the reference (C, D)."""
        size = self.circuit.network.size
        self.fill(what, [node for node in (a, b) if node != size])
        rest = np.zeros(self.shape, dtype=np.float32)
        first, second = (rest if node == size else self.get(what, node) for node in (a, b))
        return np.asarray(first - second + rest)

    def volts(self, a: int, b: int) -> Readings:
        """Volts between two nodes (C, D), no instrument fitted."""
        return self._between("volts", a, b)

    def apart(self, a: int, b: int) -> Readings:
        """Least ohms (C, D) between two nodes: so much more of one than of the other is what cuts it off."""
        return np.abs(self._between("source_ohms", a, b))

    def read(self, a: int, b: int, used: Instrument) -> Readings:
        """Volts that an instrument shows between two nodes, its own load included."""
        volts = self.volts(a, b)
        if used.ohms is None:
            return volts
        by_itself = used.filament and b != self.circuit.network.size
        ohms = self.get("port_ohms", (a, b)) if by_itself else self.apart(a, b)
        return loaded(volts, ohms, used)

    def works(self, load: str, plain: Scene | None = None) -> Readings:
        """Share of its healthy volts that a load has (C, D), 0 where it is broken itself.

        ``plain``: the same state without interventions, in which a healthy car is what it is judged against.
        """
        if load in self._works:
            return self._works[load]
        plain, volts = plain or self, self.across(load)
        nominal = self.circuit.healthy_across(self.key.state)[load]
        best = self.circuit.should_have(load, self.key.state)
        reference = np.full(self.shape[1], max(best, 1e-6), dtype=np.float32)
        if nominal > 0.5 * best and not plain.key.changes:
            # The same car, healthy: what the load has here, scaled up to the state in which it has most.
            healthy = (volts if plain is self else plain.across(load))[self.columns.healthy]
            reference = np.maximum(healthy * np.float32(best / nominal), np.float32(1e-6))
        share = volts / reference
        if load not in replaced(self.key.changes):
            share[self.columns.having(load, DEAD_MODES)] = 0.0
        self._works[load] = np.asarray(share, dtype=np.float32)
        return self._works[load]

    def across(self, load: str) -> Readings:
        """Volts across a load (C, D), whichever way."""
        return np.abs(self.volts(*self.circuit.network.ends_of(load)))

    def fed(self, module: str) -> Bools:
        """Whether a module works (C, D)."""
        return np.asarray(self.get("fed", 0)[..., self.circuit.network.devices.module_index[module]])

    def answers(self, module: str) -> Bools:
        """Whether a module answers: fed, and where it talks on a bus, in touch with another unit (C, D)."""
        fed = self.fed(module)
        part = self.circuit.parts[module]
        if part.behaviour is None or not part.behaviour.talks:
            return fed
        links = self.links()
        heard = [
            links[module, other] & links[other, module]
            for listener, other in links
            if listener == module and (other, module) in links
        ]
        return np.asarray(fed & np.logical_or.reduce(heard)) if heard else fed

    @cached_property
    def as_next(self) -> Bools:
        """Whether a column and the next are severities of one hypothesis in the same regime (C - 1, D).

        Across a fuse that blows or a unit that drops out there is nothing in between: a reading is that of one side or
        of the other.
        """
        return np.asarray(self.columns.same_as_next[:, None] & (self.regime[1:] == self.regime[:-1]))

    def switching(self, pin: str) -> tuple[Floats, Floats]:
        """Duty (share of time that the load is on) and frequency in Hz at a driver's pin (C, D)."""
        table = self.circuit.network.devices
        number = table.find(pin, DriverDevice)
        device = table.devices[number]
        if not isinstance(device, DriverDevice):
            raise TypeError(f"{pin} is no driver's pin")
        on = np.isin(self.state(number), (1, 2))
        duty, hertz = device.driver.duty, device.driver.hertz
        return np.where(on, 1.0 if duty is None else duty, 0.0), np.where(on, hertz or 0.0, 0.0)

    def closed(self, name: str) -> Bools:
        """Whether a relay, fuse or breaker lets current through (C, D), by what it does and by its own fault."""
        network = self.circuit.network
        if self.circuit.parts[name].kind == "relay":
            closed = self.state(network.devices.find(name, Relay)) == 1
        else:
            closed = ~self.blown(network.fuses.tolist().index(network.element(name)))
        for mode, shut in (("open", False), ("contact open", False), ("contact welded", True)):
            closed[self.columns.having(name, (mode,))] = shut
        return np.asarray(closed)

    def holds(self, stage: str) -> Bools:
        """Whether a stage holds (C, D): what it needs works, and none of its own failures is there."""
        model = self.circuit.model
        if any(isinstance(change, StandInFor) and change.stage == stage for change in self.key.changes):
            return np.ones(self.shape, dtype=bool)
        named = model.stages[stage]
        if named.states and self.key.state not in named.states:
            return np.zeros(self.shape, dtype=bool)
        fine = np.ones(self.shape, dtype=bool)
        for need in named.needs:
            if need in model.stages:
                fine &= self.holds(need)
            elif model.parts[need].kind == "module":
                fine &= self.fed(need)
            elif model.parts[need].kind in LOADS:
                fine &= self.works(need) >= WORKS_FROM
        failed = self.columns.where(lambda fault: fault.failure is not None and fault.failure[0] == stage)
        return np.asarray(fine & ~failed[:, None])


def loaded(volts: Readings, source: Readings, used: Instrument) -> Readings:
    """Volts at an instrument from the open volts and the source's resistance; a lamp's own follows its volts."""
    ohms = np.float32(used.ohms or np.inf)
    if not used.filament:
        return np.asarray(volts * ohms / (ohms + source), dtype=np.float32)
    resistance = np.full(volts.shape, ohms, dtype=np.float32)
    shown = volts
    for _ in range(12):
        shown = volts * resistance / (resistance + source)
        warm = np.minimum(np.abs(shown) / WARM_VOLTS, 1.0)
        resistance = np.asarray(ohms * (COLD_SHARE + (1 - COLD_SHARE) * warm), dtype=np.float32)
    return np.asarray(shown, dtype=np.float32)


@dataclass(frozen=True, eq=False)
class Memory:
    """Which fuses (F, C, D) each hypothesis has blown already; ``token`` tells one memory from another."""

    blown: Bools
    token: bytes

    def at(self, columns: Ints) -> Memory:
        """That of some hypotheses."""
        return Memory(self.blown[:, columns], self.token)


class Predictor:
    """Scenes of one set of columns. They rest on nothing but circuit, columns and draws, so jobs can share them.

    ``numbers`` (C,): those of its columns' cases in the fleet; ``own_columns`` (C,): its columns among those of which
    it is a part.
    """

    def __init__(
        self,
        columns: Columns,
        fleet: Fleet,
        numbers: NDArray[np.int64] | None = None,
        own_columns: Ints | None = None,
    ) -> None:
        self.columns, self.fleet = columns, fleet
        self.circuit, self.draws = fleet.circuit, fleet.draws
        self.own_columns = np.arange(len(columns)) if own_columns is None else own_columns
        shape = len(self.circuit.network.fuses), len(columns), len(self.draws)
        self.whole = Memory(np.zeros(shape, dtype=bool), b"")
        self._numbers = fleet.numbers(columns.changes, columns.locks) if numbers is None else numbers
        self._parts: list[Predictor] = []

    def and_more(self, more: Predictor) -> Predictor:
        """A predictor of these columns and of another's, as ``Columns.and_more``."""
        numbers = np.append(self._numbers, more._numbers[1:])
        return Predictor(self.columns.and_more(more.columns), self.fleet, numbers)

    def part(self, columns: Ints) -> tuple[Predictor, Ints]:
        """A predictor of a part that has at least these columns (C,), ascending, and where they are in it (C,)."""
        for part in self._parts:
            own = part.own_columns
            if len(own) <= LARGER * len(columns) and np.isin(columns, own).all():
                return part, np.searchsorted(own, columns)
        part = Predictor(self.columns.some(columns), self.fleet, self._numbers[columns], columns)
        self._parts = [part, *self._parts[: PARTS - 1]]
        return part, np.arange(len(columns))

    def scene(self, key: SceneKey, memory: Memory) -> Scene:
        """The scene, solved if it was not yet."""
        scene = self.fleet.solved(key).scenes.get(self, {}).get((key, memory.token))
        if scene is None:
            solved = self.fleet.solved(key, len(self.columns))
            good = replaced(key.changes)
            before = memory.blown
            if good and memory is not self.whole:
                network = self.circuit.network
                before = before.copy()
                before[[network.elements[fuse].name in good for fuse in network.fuses]] = False
            places = solved.places(self._without(good), before, self.fleet.cases)
            scene = Scene(self.circuit, self.columns, key, solved, places)
            solved.scenes.setdefault(self, {})[key, memory.token] = scene
        return scene

    def _without(self, good: frozenset[str]) -> NDArray[np.int64]:
        """The numbers (C,) of the columns' cases with the faults of known-good parts taken out."""
        if not good:
            return self._numbers
        numbers = self._numbers.copy()
        for column, fault in enumerate(self.columns.faults):
            if any(member.part in good for member in fault.members or (fault,)):
                left = [member for member in fault.members if member.part not in good]
                changes = tuple(change for member in left for change in member.changes)
                locks = tuple(lock for member in left for lock in member.locks)
                numbers[column] = self.fleet.numbers([changes], [locks])[0]
        return numbers

    def memory(self, keys: set[SceneKey]) -> Memory:
        """What a vehicle remembers that has been in these scenes.

        A fuse that a hypothesis blows there stays blown.
        """
        blown = self.whole.blown
        for key in sorted(keys, key=repr):
            blown = blown | self.scene(key, self.whole).blown()
        return self.remembering(blown)

    def remembering(self, blown: Bools) -> Memory:
        """The memory of a vehicle whose hypotheses have blown these fuses (F, C, D)."""
        return Memory(blown, np.packbits(blown).tobytes()) if blown.any() else self.whole
