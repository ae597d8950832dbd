"""Hypotheses × tests → predicted readings: the circuit solved for every column and every draw of parameters.

A *scene* is one operating state with one set of interventions. Its volts are found once and answer every test
made in it. Every hypothesis sees the same draws (common random numbers), so that differences between
predictions are those of the faults and not of the dice.
"""

from __future__ import annotations

from collections.abc import Callable, Hashable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from halfsplit.circuit.batch import Batch, Cars, Cases
from halfsplit.circuit.circuit import WORKS_FROM, Circuit
from halfsplit.circuit.element import DriverDevice, Relay
from halfsplit.circuit.faults import NOT_IN_MODEL
from halfsplit.circuit.instruments import COLD_SHARE, WARM_VOLTS, Instrument
from halfsplit.circuit.interventions import StandInFor, replaced
from halfsplit.circuit.kinds import LOADS
from halfsplit.diagnosis.fleet import Fleet, SceneKey
from halfsplit.diagnosis.hypotheses import Columns
from halfsplit.diagnosis.solved import Amended, Bools, Floats, Ints, Part, Readings, Solved

SCENE_BYTES, FEWEST_SCENES = 160_000_000, 4
"""Memory for scenes that are kept, and how many are kept whatever they take."""
PARTS, LARGER = 3, 4
"""Parts of a predictor that are kept, and how many times larger than needed one may be."""
DEAD_MODES = ("open", "shorted", "stalled")


class Scene:
    """Predictions (…, C, D) of one scene for C columns and D draws."""

    def __init__(
        self, circuit: Circuit, columns: Columns, key: SceneKey, solved: Solved, before: Bools
    ) -> None:
        self.circuit, self.columns, self.key = circuit, columns, key
        self.solved, self._blown_before = solved, before
        self.shape = solved.shape
        self._works: dict[str, Readings] = {}

    def fill(self, nodes: Sequence[int]) -> None:
        """Find the volts of these nodes at once: many together are much cheaper than one by one."""
        self.solved.fill("volts", nodes)

    def fill_source(self, nodes: Sequence[int]) -> None:
        """Find the source resistance of these nodes at once."""
        self.solved.fill("source_ohms", nodes)

    def point_volts(self, node: int) -> Readings:
        """Volts of a node (C, D) against the reference."""
        return self.solved.get("volts", node)

    def volts(self, a: int, b: int) -> Readings:
        """Volts between two nodes (C, D), no instrument fitted."""
        size = self.circuit.network.size
        self.fill([node for node in (a, b) if node != size])
        zero = np.float32(0.0)
        first = self.solved.get("volts", a) if a != size else zero
        second = self.solved.get("volts", b) if b != size else zero
        return np.asarray(first - second + np.zeros(self.shape, dtype=np.float32))

    def source(self, node: int) -> Readings:
        """Resistance (C, D) of a point against the reference."""
        if node == self.circuit.network.size:
            return np.zeros(self.shape, dtype=np.float32)
        return self.solved.get("source_ohms", node)

    def read(self, a: int, b: int, used: Instrument) -> Readings:
        """Volts that an instrument shows between two nodes, its own load included."""
        volts = self.volts(a, b)
        if used.ohms is None:
            return volts
        ohms = self.port_ohms(a, b) if used.filament and b != self.circuit.network.size else self.apart(a, b)
        return loaded(volts, ohms, used)

    def apart(self, a: int, b: int) -> Readings:
        """Least ohms (C, D) between two nodes: so much more of one than of the other is what cuts it off."""
        return np.asarray(np.abs(self.source(a) - self.source(b)))

    def fill_amps(self, elements: Sequence[int]) -> None:
        """Find the currents of these elements at once."""
        self.solved.fill("amps", elements)

    def amps(self, element: int) -> Readings:
        """Current of an element (C, D)."""
        return self.solved.get("amps", element)

    def port_ohms(self, a: int, b: int) -> Readings:
        """Resistance between two nodes (C, D)."""
        return self.solved.port_ohms(a, b).astype(np.float32)

    def works(self, load: str) -> Readings:
        """Share of its healthy volts that a load has (C, D), 0 where it is broken itself."""
        if load not in self._works:
            self._works[load] = self._share_of_volts(load)
        return self._works[load]

    def _share_of_volts(self, load: str) -> Readings:
        network = self.circuit.network
        a, b = network.ends[network.element(load)][:2]
        volts = np.abs(self.volts(int(a), int(b)))
        nominal, best = (
            self.circuit.healthy_across(self.key.state)[load],
            self.circuit.should_have(load, self.key.state),
        )
        reference = np.full(self.shape[1], max(best, 1e-6), dtype=np.float32)
        if nominal > 0.5 * best and not self.key.changes:
            # The same car, healthy: what the load has here, scaled up to the state in which it has most.
            healthy = self.columns.healthy
            reference = np.maximum(volts[healthy] * np.float32(best / nominal), np.float32(1e-6))
        share = volts / reference
        share[self._broken(load)] = 0.0
        return np.asarray(share, dtype=np.float32)

    def _broken(self, load: str) -> Bools:
        if load in replaced(self.key.changes):
            return np.zeros(len(self.columns), dtype=bool)
        return self.columns.having(load, DEAD_MODES)

    def fed(self, module: str) -> Bools:
        """Whether a module works (C, D)."""
        return np.asarray(self.solved.fed[self.circuit.network.devices.module_index[module]])

    def answers(self, module: str) -> Bools:
        """Whether a module answers: fed, and where it talks on a bus, in touch with another unit (C, D)."""
        fed = self.fed(module)
        part = self.circuit.parts[module]
        if part.behaviour is None or not part.behaviour.talks:
            return fed
        links = self.solved.links
        heard = [
            links[module, other] & links[other, module]
            for listener, other in links
            if listener == module and (other, module) in links
        ]
        return np.asarray(fed & np.logical_or.reduce(heard)) if heard else fed

    def blown(self) -> Bools:
        """Fuses that open by overload (F, C, D)."""
        return self.solved.blown

    @cached_property
    def regime(self) -> NDArray[np.intp]:
        """A number (C, D) that is the same where the same fuses are blown and every device rests in the same state."""
        kept = [(self.blown() | self._blown_before).astype(np.intp), self.solved.states.astype(np.intp)]
        every = np.concatenate([draws.reshape(-1, *self.shape) for draws in kept])
        salt = np.random.default_rng(1).integers(1, 1 << 40, len(every))
        return np.asarray(np.einsum("fcd,f->cd", every, salt))

    @cached_property
    def as_next(self) -> Bools:
        """Whether a column and the next are severities of one hypothesis in the same regime (C - 1, D).

        Across a fuse that blows or a unit that drops out there is nothing in between: a reading is that of one side or
        of the other.
        """
        return np.asarray(self.columns.same_as_next[:, None] & (self.regime[1:] == self.regime[:-1]))

    @cached_property
    def chattering(self) -> Bools:
        """Columns whose devices find no rest (C, D)."""
        return np.asarray(self.solved.chattering.any(axis=0))

    def switching(self, pin: str) -> tuple[Floats, Floats]:
        """Duty (share of time that the load is on) and frequency in Hz at a driver's pin (C, D)."""
        table = self.circuit.network.devices
        number = table.find(pin, DriverDevice)
        device = table.devices[number]
        if not isinstance(device, DriverDevice):
            raise TypeError(f"{pin} is no driver's pin")
        on = np.isin(self.solved.states[number], (1, 2))
        duty, hertz = device.driver.duty, device.driver.hertz
        return np.where(on, 1.0 if duty is None else duty, 0.0), np.where(on, hertz or 0.0, 0.0)

    def closed(self, name: str) -> Bools:
        """Whether a relay, fuse or breaker lets current through (C, D), by what it does and by its own fault."""
        network = self.circuit.network
        if self.circuit.parts[name].kind == "relay":
            number = network.devices.find(name, Relay)
            closed = self.solved.states[number] == 1
        else:
            row = network.fuses.tolist().index(network.element(name))
            closed = ~self.blown()[row]
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
            fine &= self._need(need)
        failed = self.columns.where(lambda fault: fault.failure is not None and fault.failure[0] == stage)
        return np.asarray(fine & ~failed[:, None])

    def _need(self, name: str) -> Bools:
        model = self.circuit.model
        if name in model.stages:
            return self.holds(name)
        kind = model.parts[name].kind
        if kind == "module":
            return self.fed(name)
        return self.works(name) >= WORKS_FROM if kind in LOADS else np.ones(self.shape, dtype=bool)

    @cached_property
    def unknown(self) -> Bools:
        """The columns (C,) of 'not in this model', which no reading can rule out."""
        return np.array([fault.name == NOT_IN_MODEL for fault in self.columns.faults], dtype=bool)


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


def _without(circuit: Circuit, cases: Cases, columns: Columns, good: frozenset[str]) -> Cases:
    """The cases with the faults of known-good parts taken out."""
    if not good:
        return cases
    changes, locks = list(columns.changes), list(columns.locks)
    for column, fault in enumerate(columns.faults):
        if any(member.part in good for member in fault.members or (fault,)):
            left = [member for member in fault.members if member.part not in good]
            changes[column] = tuple(change for member in left for change in member.changes)
            locks[column] = tuple(lock for member in left for lock in member.locks)
    return Cases.of(circuit.network.system(next(iter(circuit.states))), changes, locks)


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

    ``near``: a predictor for the same draws that has most of the columns; what it has solved is not solved again.
    ``part_of``: the one of whose columns it has some. ``give_way`` is called before anything is solved: it may raise,
    where something else comes first.
    """

    part_of: tuple[Predictor, Ints] | None = None

    def __init__(
        self,
        columns: Columns,
        fleet: Fleet,
        near: Predictor | None = None,
        give_way: Callable[[], None] = lambda: None,
    ) -> None:
        self.columns, self.fleet = columns, fleet
        self.circuit = circuit = fleet.circuit
        self.draws = fleet.draws
        self._scenes: dict[tuple[SceneKey, bytes], Scene] = {}
        self._solved: dict[tuple[Hashable, bytes], Solved] = {}
        shape = len(circuit.network.fuses), len(columns), len(self.draws)
        self.whole = Memory(np.zeros(shape, dtype=bool), b"")
        first = circuit.network.system(next(iter(circuit.states)))
        self._cases = Cases.of(first, columns.changes, columns.locks)
        self._near, self._give_way = near, give_way
        self.depth: int = 0 if near is None else near.depth + 1

        self._parts: list[Predictor] = []

    @property
    def nbytes(self) -> int:
        """Bytes of what is solved, and of the cars that it is solved for."""
        return held_bytes([self])

    @property
    def everything(self) -> Iterator[Solved]:
        """All that is solved, also for its parts."""
        yield from self._solved.values()
        for part in self._parts:
            yield from part.everything

    def part(self, columns: Ints, spare: Ints) -> tuple[Predictor, Ints]:
        """A predictor of a part that has at least these columns, and where they are in it (columns,).

        ``spare``: what it has too if it is made anew, so that it serves for longer.
        """
        for part in self._parts:
            own = part.own_columns
            if len(own) <= LARGER * len(columns) and np.isin(columns, own).all():
                return part, np.searchsorted(own, columns)
        own = np.union1d(columns, spare)
        part = Predictor(self.columns.some(own), self.fleet, give_way=self._give_way)
        part.part_of = self, own
        self._parts = [part, *self._parts[: PARTS - 1]]
        return part, np.searchsorted(own, columns)

    @property
    def own_columns(self) -> Ints:
        """Its columns among those of which it is a part."""
        return np.arange(len(self.columns)) if self.part_of is None else self.part_of[1]

    def scene(self, key: SceneKey, memory: Memory) -> Scene:
        """The scene, solved if it was not yet; the oldest are let go where all take too much memory."""
        self._give_way()
        where = key, memory.token
        scene = self._scenes.get(where)
        if scene is None:
            scene = Scene(self.circuit, self.columns, key, self._solve(key, memory), memory.blown)
            self._scenes[where] = scene
        return scene

    def _solve(self, key: SceneKey, memory: Memory) -> Solved:
        """The solution of a scene: that of another where both are electrically the same."""
        good = replaced(key.changes)
        what = self.fleet.electrically(key), good
        if (what, memory.token) not in self._solved:
            while len(self._solved) >= FEWEST_SCENES and self.nbytes > SCENE_BYTES:
                gone = self._solved.pop(next(iter(self._solved)))
                self._scenes = {key: one for key, one in self._scenes.items() if one.solved is not gone}
            self._solved[what, memory.token] = self._batch_for(key, good, memory)
        return self._solved[what, memory.token]

    def _batch_for(self, key: SceneKey, good: frozenset[str], memory: Memory) -> Solved:
        self._give_way()
        if self.part_of is not None:
            whole, columns = self.part_of
            known = whole.solution(key, memory.token)
            if known is not None:
                return Part(known, columns)
        cars = self.fleet.cars(key)
        cases = _without(self.circuit, self._cases, self.columns, good)
        network = self.circuit.network
        before = memory.blown.copy()
        before[[network.elements[fuse].name in good for fuse in network.fuses]] = False
        columns = np.flatnonzero(before.any(axis=(0, 2)))
        if not len(columns):
            return self._afresh(key, cars, cases) if memory is self.whole else self._solve(key, self.whole)
        if self.part_of is not None or memory is self.whole or len(columns) == len(self.columns):
            return Solved(Batch(cars, cases, before))
        own = Batch(cars, cases.some(columns), before[:, columns])
        return Amended(self._solve(key, self.whole), np.arange(len(self.columns)), columns, own)

    def _afresh(self, key: SceneKey, cars: Cars, cases: Cases) -> Solved:
        """All columns with no fuse open yet; what a predictor near to this one has solved is taken from there."""
        known = None if self._near is None else self._near.solution(key, self.whole.token)
        if self._near is None or known is None:
            return Solved(Batch(cars, cases))
        taken = self.columns.within(self._near.columns)
        # A solution has one case at least, though nothing may be missing.
        missing = np.flatnonzero(taken < 0) if (taken < 0).any() else np.zeros(1, dtype=np.intp)
        return Amended(known, np.maximum(taken, 0), missing, Batch(cars, cases.some(missing)))

    def solution(self, key: SceneKey, memory: bytes) -> Solved | None:
        """All columns of a scene after a memory, if it is solved already."""
        what = self.fleet.electrically(key), replaced(key.changes)
        return self._solved.get((what, memory))

    def memory(self, keys: set[SceneKey]) -> Memory:
        """What a vehicle remembers that has been in these scenes.

        A fuse that a hypothesis blows there stays blown.
        """
        blown = self.whole.blown
        for key in sorted(keys, key=repr):
            blown = blown | self.scene(key, self.whole).blown()
        return Memory(blown, np.packbits(blown).tobytes()) if blown.any() else self.whole


def held_bytes(predictors: Iterable[Predictor]) -> int:
    """Bytes that some predictors take: cars that several share count once."""
    every = [each for predictor in predictors for each in predictor.everything]
    cars = {id(each.batch.cars): each.batch.cars for each in every}
    return sum(each.nbytes for each in every) + sum(each.nbytes for each in cars.values())
