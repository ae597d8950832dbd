"""The fixed point of the devices: rounds from the unpowered network until nothing changes.

Works on many cases side by side. How the volts of a round are found is the caller's affair: a factorisation of each
network (``solve.py``) or an elimination of what differs (``batch.py``, ``cars.py``); all run through here.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from halfsplit.circuit.devices import Bools, Floats, Ints, Links, Locks, States, Thresholds
from halfsplit.circuit.element import Diode, SupplyDevice
from halfsplit.circuit.network import Lock, System

LIMITING = 2
"""State of a regulated supply (``devices``)."""
ROUNDS = 80
"""Far more than any chain of relays needs; a case that has not settled by then is told as chattering."""

Watched = Callable[[States, Ints], Floats]
"""(states (D, b), case numbers (b,)) → volts of the watched nodes (W, b)."""


@dataclass(frozen=True)
class Settled:
    """Where the devices came to rest.

    ``states`` (D, B) at the fixed point; ``chattering`` (D, B): devices that found none, held released.
    ``history``: the states (D, B) at the start and after each round.
    """

    states: States
    chattering: Bools
    history: list[States]


def settle(system: System, watched: Watched, locks: Locks, thresholds: Thresholds | None = None) -> Settled:
    """Find the fixed point of every case. ``thresholds``: of each case (…, B) where they are not the system's.

    Devices that alternate for ever are named, held released, and the
    rest settles about them. Diodes and regulators, which have one solution only, are then flipped one at a time
    (the least index first, which is finite: Murty 1974) before anything is called chattering.
    """
    rounds = _Rounds(system, locks, thresholds or system.parameters.thresholds)
    while len(rounds.live) and len(rounds.history) <= ROUNDS:
        rounds.take(watched)
    rounds.give_up()
    return Settled(rounds.states, rounds.chattering, rounds.history)


def links(
    system: System, states: States, idle: Floats, watched: Callable[[States], Floats], *, every: bool = False
) -> Links:
    """Which modules hear which on a bus: (listener, speaker) → (B,).

    Only what driver conditions ask for, or every pair. A speaker drives the line dominant; a listener must see that,
    and see the bus idle when nobody speaks. ``idle``: volts of the watched nodes (W, B) in these states (D, B), as
    ``watched`` tells them for others.
    """
    table = system.network.devices
    pairs = [
        (listener, speaker)
        for listener, speaker in table.talking
        if every or (listener.module, speaker.module) in table.asked_links
    ]
    linked: dict[tuple[str, str], Bools] = {}
    for speaker in dict.fromkeys(speaker for _, speaker in pairs):
        speaking = states.copy()
        speaking[speaker.number] = np.where(states[speaker.number] == 1, 2, states[speaker.number])
        loud = watched(speaking)
        for listener in (hearer for hearer, other in pairs if other == speaker):
            key = listener.module, speaker.module
            hears = (
                (states[speaker.number] == 1)
                & (states[listener.number] == 1)
                & table.received(listener.number, loud, dominant=True)
                & table.received(listener.number, idle, dominant=False)
            )
            linked[key] = linked.get(key, np.zeros(states.shape[1], dtype=bool)) | hears
    return linked


class _Rounds:
    """The rounds so far of all cases."""

    def __init__(self, system: System, locks: Locks, thresholds: Thresholds) -> None:
        self.system, self.locks, self.thresholds = system, locks, thresholds
        table = system.network.devices
        self.table = table
        self.states = table.rest(locks)
        cases = self.states.shape[1]
        self.chattering: Bools = np.zeros(self.states.shape, dtype=bool)
        self.careful = np.zeros(cases, dtype=bool)
        self.since = np.zeros(cases, dtype=np.intp)
        self.history = [self.states.copy()]
        self.live: Ints = np.arange(cases)
        self.supplies = np.array([isinstance(device, SupplyDevice) for device in table.devices], dtype=bool)
        self.gentle = np.array(
            [isinstance(device, Diode | SupplyDevice) for device in table.devices], dtype=bool
        )

    def take(self, watched: Watched) -> None:
        """One round for the cases that still move."""
        live = self.live
        old = self.states[:, live]
        volts = watched(old, live)
        new = self.table.step(
            volts,
            old,
            self.locks.at(live),
            state=self.system.state,
            thresholds=self.thresholds.at(live),
            links=links(self.system, old, volts, lambda states: watched(states, live)),
        )
        new[self.chattering[:, live]] = 0
        self._one_at_a_time(old, new)
        moving = (new != old).any(axis=0)
        self.states[:, live] = new
        self.live = live[moving]
        if len(self.live):
            self._break_cycles()
            self.history.append(self.states.copy())

    def _one_at_a_time(self, old: States, new: States) -> None:
        for column in np.flatnonzero(self.careful[self.live]):
            moved = np.flatnonzero(new[:, column] != old[:, column])
            gentle = moved[self.gentle[moved]]
            new[gentle[1:], column] = old[gentle[1:], column]
            # A shorted supply that regulates without bound starves its own module, which a real one cannot: here
            # it comes up at its limit and regulates from there.
            starting = moved[self.supplies[moved] & (old[moved, column] == 0) & (new[moved, column] > 0)]
            new[starting, column] = LIMITING

    def _break_cycles(self) -> None:
        """A case that is back in a state that it had before goes round for ever."""
        current = self.states[:, self.live]
        for back, past in enumerate(self.history):
            again = (past[:, self.live] == current).all(axis=0) & (self.since[self.live] <= back)
            for column in self.live[again]:
                cycle = np.array([states[:, column] for states in (*self.history[back:], self.states)])
                moved = (cycle != cycle[0]).any(axis=0)
                if not moved.any() or self.since[column] > back:
                    continue
                self.since[column] = len(self.history)
                hard = moved & ~self.gentle
                if (moved & self.gentle).any() and not self.careful[column]:
                    self.careful[column] = True
                else:
                    self._hold(column, hard if hard.any() else moved)

    def _hold(self, column: int, moved: Bools) -> None:
        self.chattering[moved, column] = True
        self.states[moved, column] = 0

    def give_up(self) -> None:
        """Whatever moved in the last of all rounds is told as chattering."""
        for column in self.live:
            self._hold(column, self.history[-1][:, column] != self.history[-2][:, column])


def locks_for(system: System, cases: Sequence[tuple[Lock, ...]]) -> Locks:
    """The locks of each case as arrays."""
    locks = system.network.devices.free(len(cases))
    tables = {"module": locks.dead, "input": locks.unread}
    for column, each in enumerate(cases):
        for lock in each:
            if lock.table == "device":
                locks.device[lock.index, column] = lock.value
            else:
                tables[lock.table][lock.index, column] = True
    return locks
