"""What is hidden in an exercise: a fault drawn from the priors that a customer notices, and what he tells of it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from halfsplit.circuit.circuit import Circuit
from halfsplit.circuit.faults import NOT_IN_MODEL, NOTHING_WRONG, Fault, pair
from halfsplit.circuit.kinds import LOADS
from halfsplit.diagnosis.cost import part_of
from halfsplit.diagnosis.priors import default_priors
from halfsplit.errors import InputError, NotFoundError

DIFFICULTIES: Mapping[str, str] = {
    "single": "one fault, of any kind",
    "high resistance": "a bad joint or wire that an unloaded meter hardly sees",
    "intermittent": "one fault that comes and goes",
    "pair": "two faults at once",
    "misleading history": "one fault, and earlier work at another place",
}
TRIES = 300
MOST_COMPLAINTS = 3

Complaints = tuple[tuple[str, str, str], ...]


@dataclass(frozen=True, slots=True)
class Hidden:
    """The fault, the complaints (load, works, state) and where hands have been (empty where nobody tells)."""

    fault: Fault
    complaints: Complaints
    history: tuple[str, ...] = ()

    @property
    def faults(self) -> tuple[Fault, ...]:
        """The single faults: one, or two of a pair."""
        return self.fault.members or (self.fault,)


def hide(circuit: Circuit, difficulty: str, seed: int) -> Hidden:
    """Hide a fault of this difficulty. The same circuit, difficulty and seed hide the same.

    Raises InputError where the circuit has no such fault that a customer would notice.
    """
    if difficulty not in DIFFICULTIES:
        raise InputError(f"{difficulty!r} is no difficulty", remedy=f"use one of {', '.join(DIFFICULTIES)}")
    generator = np.random.default_rng(seed)
    fault, complaints = _drawn(circuit, difficulty, generator)
    if difficulty != "misleading history":
        return Hidden(fault, complaints)
    # A place where hands have been, and where the fault is not.
    members = fault.members or (fault,)
    near = {part_of(name) for member in members for name in (member.part, *member.touches)}
    parts = [part for part in circuit.parts.values() if part.kind not in ("splice", "battery")]
    others = [part.name for part in parts if part.name not in near]
    return Hidden(fault, complaints, (str(generator.choice(others)),) if others else ())


def hidden_again(
    circuit: Circuit, faults: tuple[str, ...], complaints: Complaints, history: tuple[str, ...] = ()
) -> Hidden:
    """What was hidden before, from the names of its faults. Raises InputError where the circuit has no such fault."""
    try:
        known = [circuit.faults[name] for name in faults]
    except NotFoundError:
        known = []
    if not 0 < len(known) <= 2:
        raise InputError(
            "this exercise was begun with another release and cannot go on", remedy="begin another one"
        )
    return Hidden(known[0] if len(known) == 1 else pair(*known), complaints, history)


def _drawn(circuit: Circuit, difficulty: str, generator: np.random.Generator) -> tuple[Fault, Complaints]:
    """A fault drawn from the priors among those of the difficulty, that a customer notices."""
    faults = [fault for fault in circuit.faults.values() if fault.name not in (NOTHING_WRONG, NOT_IN_MODEL)]
    if difficulty == "high resistance":
        faults = [fault for fault in faults if fault.mode == "high resistance"]
    if faults:
        priors = default_priors()
        weights = np.array([priors.rate(fault) for fault in faults])
        for _ in range(TRIES):
            one, other = (faults[int(n)] for n in generator.choice(len(faults), 2, p=weights / weights.sum()))
            fault = pair(one, other) if difficulty == "pair" else one
            noticed = _noticed(circuit, fault)
            alone = (_noticed(circuit, each) for each in fault.members)
            if noticed and (difficulty != "pair" or (one.part != other.part and all(alone))):
                order = generator.permutation(len(noticed))[:MOST_COMPLAINTS]
                return fault, tuple(noticed[int(n)] for n in sorted(order))
    raise InputError(
        f"this circuit has no fault for {difficulty!r} that a customer would notice",
        remedy="choose another circuit or difficulty",
    )


def _noticed(circuit: Circuit, fault: Fault) -> list[tuple[str, str, str]]:
    """What works otherwise than it should: (load, works, state)."""
    noticed = []
    for state in circuit.states:
        solution = circuit.solve(state, fault=fault)
        for load in (part.name for part in circuit.parts.values() if part.kind in LOADS):
            works = solution.works(load)
            if works != circuit.healthy_word(load, state):
                noticed.append((load, works, state))
    return noticed
