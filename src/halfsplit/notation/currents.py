"""Which parts carry current in some state: what the warning about dead parts needs to know of the solution."""

from __future__ import annotations

from collections.abc import Callable
from typing import Final

from halfsplit.circuit.circuit import Circuit
from halfsplit.circuit.model import Model

LEAST: Final = 1e-6
"""A. Less is a solution's leak of 1 Gohm at every node, not current."""

MOST_WIRES: Final = 600
"""In a larger circuit nothing is called dead, since reading a file must not take long."""


def has_current(model: Model) -> Callable[[str], bool]:
    """Whether the part of a name carries current at any pin in any state, when nothing is wrong."""
    if len(model.wires) > MOST_WIRES:
        return lambda _: True
    circuit = Circuit(model)
    solutions = [circuit.solve(state) for state in model.states]

    def carries(name: str) -> bool:
        pins = [f"{name}.{pin}" for pin in model.parts[name].pins]
        return any(abs(solution.amps(pin)) > LEAST for solution in solutions for pin in pins)

    return carries
