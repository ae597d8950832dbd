"""Circuit and Solution: the objects that people and programs use."""

from __future__ import annotations

from collections.abc import Callable, Hashable, Iterable, Iterator, Mapping, Sequence
from functools import cached_property

import numpy as np

from halfsplit.circuit.faults import Fault, all_faults
from halfsplit.circuit.instruments import loaded_volts
from halfsplit.circuit.interventions import Intervention, apply, replaced
from halfsplit.circuit.kinds import LOADS
from halfsplit.circuit.model import Model, Part, State
from halfsplit.circuit.network import Floats, Network, System, UnknownNameError, compile_network
from halfsplit.circuit.problems import Problem
from halfsplit.circuit.settle import links
from halfsplit.circuit.solve import Factors, Result, solve
from halfsplit.circuit.undrawn import undrawn_faults

WORKS_FROM, WEAK_FROM = 0.9, 0.2
"""Shares of the healthy volts from which a load works, and works weakly."""
VOLTS_KEPT = 100_000
"""Volts of points in the solutions that are kept: a choice of tests asks for the same few again and again."""
FEWEST_TOGETHER = 3
"""Faults from which it pays to solve them together."""


class FaultList(Mapping[str, Fault]):
    """Faults by name, in the order of the file.

    A wire is also found with its ends turned round or with the side of a cavity written out. ``undrawn``: gives the
    faults that the drawing does not show, which are found by name and are not in the list.
    """

    def __init__(
        self, faults: Mapping[str, Fault], undrawn: Callable[[], Mapping[str, Fault]] = dict
    ) -> None:
        self._faults, self._undrawn = faults, undrawn
        wires = {name: name.split() for name in faults if name.startswith("wire ")}
        self._turned = {" ".join(["wire", b, a, *rest]): name for name, (_, a, b, *rest) in wires.items()}

    def __getitem__(self, name: str) -> Fault:
        plain = name.replace(":in", "").replace(":out", "")
        for key in (name, plain, self._turned.get(plain, "")):
            if key in self._faults:
                return self._faults[key]
        if name in self._undrawn():
            return self._undrawn()[name]
        raise UnknownNameError(f"there is no fault {name!r} in this circuit")

    def __iter__(self) -> Iterator[str]:
        return iter(self._faults)

    def __len__(self) -> int:
        return len(self._faults)


class Circuit:
    """A circuit that can be solved. ``warnings`` are what reading it had to say."""

    def __init__(self, model: Model, warnings: Sequence[Problem] = ()) -> None:
        self.model = model
        self.warnings = tuple(warnings)
        self._solutions: dict[Hashable, Solution] = {}
        self._across: dict[str, Mapping[str, float]] = {}
        self._healthy_words: dict[tuple[str, str], str] = {}

    @property
    def title(self) -> str:
        return self.model.title

    @property
    def parts(self) -> Mapping[str, Part]:
        """Parts by name, in the order of the file."""
        return self.model.parts

    @property
    def states(self) -> Mapping[str, State]:
        return self.model.states

    @cached_property
    def network(self) -> Network:
        return compile_network(self.model)

    @property
    def points(self) -> tuple[str, ...]:
        """Every place where volts can be told, in the order of the file: pins, their part sides, cavities and so on."""
        return self.network.points

    @cached_property
    def faults(self) -> FaultList:
        return FaultList(all_faults(self.network), lambda: self.undrawn)

    @cached_property
    def undrawn(self) -> Mapping[str, Fault]:
        """Faults that the drawing does not show: misplaced wires, nets that touch."""
        return undrawn_faults(self.network)

    def fault(self, fault: Fault | str | None) -> Fault | None:
        return self.faults[fault] if isinstance(fault, str) else fault

    def solve(
        self, state: str, fault: Fault | str | None = None, changes: Iterable[Intervention] = ()
    ) -> Solution:
        """Solve one operating state from scratch, healthy or with one fault, with interventions made.

        Raises UnknownNameError for a state, fault or point that the circuit does not have.
        """
        made = tuple(changes)
        given = self.fault(fault)
        if given is not None and given.part in replaced(made):
            given = None
        what = _case(state, given, made)
        if what not in self._solutions:
            system = apply(self.network.system(state), made)
            result = solve(system, given.changes, given.locks) if given else solve(system)
            self._keep(state, given, made, result)
        return self._solutions[what]

    def solve_together(self, state: str, faults: Iterable[Fault]) -> None:
        """Have ``solve`` know the state with each of these faults, without interventions.

        Each is an elimination where it differs from the healthy network, for a quarter of the time. Raises
        UnknownNameError for an unknown state.
        """
        new = {_case(state, fault): fault for fault in faults}
        new = {what: fault for what, fault in new.items() if what not in self._solutions}
        if len(new) >= FEWEST_TOGETHER:
            from halfsplit.circuit import batch  # compiled code comes in when it is asked for

            results = batch.settled(self.network.system(state), list(new.values()))
            for fault, result in zip(new.values(), results, strict=True):
                self._keep(state, fault, (), result)

    def _keep(self, state: str, fault: Fault | None, made: tuple[Intervention, ...], result: Result) -> None:
        while len(self._solutions) * self.network.size > VOLTS_KEPT:
            self._solutions.pop(next(iter(self._solutions)))
        self._solutions[_case(state, fault, made)] = Solution(self, state, fault, made, result)

    def expect(
        self, state: str, points: Sequence[str] | None = None, faults: Sequence[Fault | str] | None = None
    ) -> Floats:
        """Volts at each point under each fault: array (faults, points), against the battery's negative post.

        All single faults and all points unless they are given. The healthy network is factorised once in each of its
        rounds; each fault is eliminated where it differs, devices that it switches included.
        """
        given = self.faults.values() if faults is None else faults
        wanted = [self.faults[fault] if isinstance(fault, str) else fault for fault in given]
        names = self.points if points is None else points
        nodes = np.array([self.network.node(name) for name in names], dtype=np.intp)
        from halfsplit.circuit import batch  # compiled code comes in when it is asked for

        return batch.of_faults(self.network.system(state), wanted).volts(nodes)[..., 0].T

    @cached_property
    def far_ends(self) -> Mapping[str, tuple[str, ...]]:
        """The other end of each wire that ends at a point, by point, in the order of the file."""
        ends: dict[str, list[str]] = {}
        for wire in self.model.wires:
            ends.setdefault(wire.a, []).append(wire.b)
            ends.setdefault(wire.b, []).append(wire.a)
        return {point: tuple(far) for point, far in ends.items()}

    @cached_property
    def healthy_volts(self) -> Mapping[str, float]:
        """For each load the largest volts across it over all states, healthy."""
        healthy = [self.healthy_across(state) for state in self.states]
        return {name: max(volts[name] for volts in healthy) for name in healthy[0]}

    def should_have(self, load: str, state: str) -> float:
        """Volts that a load is judged against: what it has in this state when nothing is wrong.

        A fan that turns slowly in the slow state works. Where it is off when healthy, the most that it ever has.
        """
        here, most = self.healthy_across(state)[load], self.healthy_volts[load]
        return here if here >= WEAK_FROM * most else most

    def healthy_across(self, state: str) -> Mapping[str, float]:
        """Volts across each load in a state, healthy."""
        if state not in self._across:
            solution = self.solve(state)
            loads = [part.name for part in self.parts.values() if part.kind in LOADS]
            self._across[state] = {name: solution.across(name) for name in loads}
        return self._across[state]

    def healthy_word(self, load: str, state: str) -> str:
        """Whether a load works in a state when nothing is wrong: 'yes', 'weak' or 'no'."""
        if (load, state) not in self._healthy_words:
            self._healthy_words[load, state] = self.solve(state).works(load)
        return self._healthy_words[load, state]


def _case(state: str, fault: Fault | None, made: tuple[Intervention, ...] = ()) -> Hashable:
    """What tells one solution of a circuit from another."""
    return state, made, fault and (fault.changes, fault.locks, fault.name)


class Solution:
    """The settled circuit in one state. Volts in V, currents in A."""

    def __init__(
        self,
        circuit: Circuit,
        state: str,
        fault: Fault | None,
        changes: tuple[Intervention, ...],
        result: Result,
    ) -> None:
        self.circuit, self.state, self.fault, self.changes = circuit, state, fault, changes
        self.result = result

    @property
    def blown(self) -> tuple[str, ...]:
        """Fuses and breakers that opened by overload, in the order in which they did."""
        return self.result.blown

    @property
    def chattering(self) -> tuple[str, ...]:
        """Devices that find no rest; the volts told are those with these held released."""
        return self.result.chattering

    @property
    def residual(self) -> float:
        """The largest current (A) that Kirchhoff's law leaves over at any node."""
        return self.result.residual

    def volts(self, point: str, to: str | None = None, *, instrument: str | None = None) -> float:
        """Volts at a point against the battery's negative post, or against a second point.

        As an ideal meter shows them, or loaded by an instrument ('meter', 'scope', 'test lamp', 'load lamp', …).
        """
        a, b = self.circuit.network.between(point, to)
        if instrument is None:
            return float(self.result.volts[a] - self.result.volts[b])
        system, fault = apply(self.circuit.network.system(self.state), self.changes), self.fault

        def again(bridges: list[tuple[int, int, float]]) -> Floats:
            """Volts of all nodes with more resistances fitted: devices settle anew under the load."""
            fitted = system.bridged(bridges)
            return (solve(fitted, fault.changes, fault.locks) if fault else solve(fitted)).volts

        return loaded_volts(again, a, b, instrument)

    def amps(self, name: str) -> float:
        """Current through a two-pin part, a contact (``K7.87``), a cavity or a wire (``wire A B``).

        Positive from the first end to the second.
        """
        network = self.circuit.network
        part = self.circuit.parts.get(name)
        if name not in network.element_index and part is not None and part.kind == "switch":
            joins = (f"{name} join {number}" for number in range(len(part.connections)))
            return float(sum(self.result.currents[network.element(join)] for join in joins))
        return float(self.result.currents[network.element(name)])

    def across(self, load: str) -> float:
        """Volts across a load at its part-side pins, without sign."""
        a, b = self.circuit.network.ends_of(load)
        return float(abs(self.result.volts[a] - self.result.volts[b]))

    def works(self, name: str) -> str:
        """Of a load: 'yes', 'weak' or 'no' by its volts; of a module: whether it is fed."""
        part = self.circuit.parts.get(name)
        if part is not None and part.kind == "module":
            return "yes" if self.fed(name) else "no"
        if part is None or part.kind not in LOADS:
            raise UnknownNameError(f"{name!r} is no load or module of this circuit")
        if self.fault and any(
            fault.part == name and fault.mode in ("open", "shorted", "stalled")
            for fault in (self.fault, *self.fault.members)
        ):
            return "no"
        healthy = self.circuit.should_have(name, self.state)
        share = self.across(name) / healthy if healthy > 0.1 else 0.0
        return "yes" if share >= WORKS_FROM else "weak" if share >= WEAK_FROM else "no"

    def fed(self, module: str) -> bool:
        """Whether a module has its feeds and is not dead."""
        table = self.circuit.network.devices
        if module not in table.module_index:
            raise UnknownNameError(f"there is no module {module!r} in this circuit")
        watched = self.result.volts[table.watch][:, None]
        minimum = self.result.system.parameters.thresholds.minimum
        return bool(table.fed(watched, self.result.locks.dead, minimum)[table.module_index[module], 0])

    def answers(self, module: str) -> bool:
        """Whether a module answers: fed, and where it talks on a bus, heard by another and hearing it."""
        if not self.fed(module):
            return False
        part = self.circuit.parts[module]
        if part.behaviour is None or not part.behaviour.talks:
            return True
        hearing = self.hearing
        others = {speaker for listener, speaker in hearing if listener == module}
        if not others:
            return True
        return any(hearing[module, other] and hearing[other, module] for other in others)

    @cached_property
    def hearing(self) -> Mapping[tuple[str, str], bool]:
        """(listener, speaker) → whether the first receives the second on a bus that both talk on."""
        system, states = self.result.system, self.result.states[:, None]
        watched = Factors(system).watched
        linked = links(system, states, watched(states), watched, every=True)
        return {pair: bool(heard[0]) for pair, heard in linked.items()}

    def system(self) -> System:
        return self.result.system
