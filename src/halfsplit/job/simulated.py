"""A simulated vehicle for a job: units of the job's circuit, fed as the circuit engine says, on a bus of its own.

The channel ``simulated`` is an invented van, or the job's circuit in order where it has control units;
``simulated F30 open`` is that circuit with a fault. The vehicle runs in another process, over slcan on a loopback
socket, and stays there while the workbench runs, so that what was cleared stays cleared.
"""

from __future__ import annotations

import threading
from collections.abc import Mapping
from contextlib import ExitStack
from weakref import WeakKeyDictionary

from halfsplit.circuit.circuit import Circuit
from halfsplit.job.open_job import OpenJob
from halfsplit.scan.channel import Address, Channel
from halfsplit.scan.simulated import running
from halfsplit.scan.vehicle import SimulatedUnit, SimulatedVehicle, demo_vehicle
from halfsplit.store import JobStore

SIMULATED = "simulated"
FIRST_REQUEST = 0x700
MOST_UNITS = 20
MISSED = "U1{number:03X}-87"
"""An invented maker's code for each unit that another misses: message missing (failure type 87)."""
CONFIRMED_NOW = 0x2F
KEPT = 3
"""Simulated vehicles that run at once, the latest."""


class _Running:
    """A simulated vehicle in its process."""

    def __init__(self, key: tuple[str, str, int], vehicle: SimulatedVehicle) -> None:
        self.key = key
        self.vehicle = vehicle
        self._stack = ExitStack()
        self.channel = self._stack.enter_context(running(vehicle))

    def close(self) -> None:
        self._stack.close()


_VEHICLES: WeakKeyDictionary[JobStore, list[_Running]] = WeakKeyDictionary()
_LOCK = threading.Lock()


def simulated_channel(job: OpenJob, words: str, bit_rate: int) -> tuple[Channel, Mapping[str, Address]]:
    """The channel to the vehicle that the words name, and its units. Raises UnknownNameError for a fault it has not."""
    fault = words.removeprefix(SIMULATED).strip()
    circuit, version = job.circuit, job.record.circuit_version
    vehicle = vehicle_of(circuit, fault) if circuit is not None else None
    key = (job.job_id, fault, version if vehicle is not None else 0)
    with _LOCK:
        alive = _VEHICLES.setdefault(job.store, [])
        simulated = next((vehicle for vehicle in alive if vehicle.key == key), None)
        if simulated is None:
            simulated = _Running(key, vehicle or demo_vehicle())
            alive.append(simulated)
            while len(alive) > KEPT:
                alive.pop(0).close()
    # At another bit rate than the vehicle's nothing is heard, as on a real bus.
    channel = Channel(simulated.channel.interface, simulated.channel.name, bit_rate)
    return channel, simulated.vehicle.addresses


def stop_simulated(store: JobStore) -> None:
    """End the simulated vehicles of a store; they end with the program in any case."""
    with _LOCK:
        for vehicle in _VEHICLES.pop(store, []):
            vehicle.close()


def vehicle_of(circuit: Circuit, fault: str = "", state: str = "") -> SimulatedVehicle | None:
    """The units of a circuit on a bus, fed and in touch as the circuit says; None where it has no control unit.

    Each unit that answers has a code for each that is silent. ``state``: the one in which most units answer.
    """
    names = [part.name for part in circuit.parts.values() if part.behaviour is not None][:MOST_UNITS]
    if not names:
        return None
    healthy = {state: circuit.solve(state) for state in circuit.states}
    chosen = state or max(
        reversed(list(healthy)), key=lambda state: sum(healthy[state].answers(name) for name in names)
    )
    solution = circuit.solve(chosen, circuit.faults[fault] if fault else None)
    silent = [name for name in names if healthy[chosen].answers(name) and not solution.answers(name)]
    units = []
    for number, name in enumerate(names):
        words = circuit.parts[name].words
        missed = [
            (MISSED.format(number=names.index(other)), CONFIRMED_NOW) for other in silent if other != name
        ]
        request = FIRST_REQUEST + 0x10 * (number // 8) + number % 8
        units.append(
            SimulatedUnit(
                f"{name} {words}".strip(),
                Address(request, request + 8),
                tuple(missed[:8]),
                {0xF197: f"{name} {words}".strip()[:40]},
                stays=tuple(code for code, _ in missed[:8]),
            )
        )
    unfed = frozenset(
        unit.name for unit, name in zip(units, names, strict=True) if not solution.answers(name)
    )
    return SimulatedVehicle(tuple(units), unfed=unfed)
