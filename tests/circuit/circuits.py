"""Circuits that the tests of the solution share: the ready-made ones, and random ones."""

from functools import cache
from pathlib import Path

import numpy as np
from hypothesis import strategies as st

import halfsplit
from bench.vehicle import vehicle
from halfsplit.circuit.circuit import Circuit
from halfsplit.notation.reading import parse, read

FOLDER = Path(halfsplit.__file__).parent / "notation"
READY_MADE = sorted(path.relative_to(FOLDER).as_posix() for path in FOLDER.glob("*/*.circuit"))


@cache
def ready_made(name: str) -> Circuit:
    return Circuit(read(FOLDER / name)[0])


def circuit(text: str) -> Circuit:
    return Circuit(parse(text)[0])


@st.composite
def random_vehicles(draw: st.DrawFn) -> Circuit:
    """Small vehicles: relays, modules with drivers that limit, sensor supplies, shared grounds and connectors."""
    return Circuit(vehicle(draw(st.integers(1, 4)), draw(st.integers(0, 10_000))))


def power_left_over(solution) -> float:
    """Watts that sources give less watts that elements and leaks take: zero by Tellegen's theorem."""
    system, volts = solution.result.system, solution.result.volts
    u0, u1 = system.ends[:, 0], system.ends[:, 1]
    flows = solution.result.currents
    return float(np.sum(flows * (volts[u0] - volts[u1])) + 1e-9 * np.sum(volts**2))
