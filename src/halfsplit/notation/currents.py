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
    """Whether the part of a name carries current at any pin in any state, when nothing is wrong.

    States are solved one after the other, and no further than is asked for: most parts carry current in the first few.
    """
    if len(model.wires) > MOST_WIRES:
        return lambda _: True
    circuit, left, live = Circuit(model), iter(model.states), set[str]()

    def carries(name: str) -> bool:
        while name not in live and (state := next(left, None)) is not None:
            solution = circuit.solve(state)
            live.update(
                part.name
                for part in model.parts.values()
                if any(abs(solution.amps(f"{part.name}.{pin}")) > LEAST for pin in part.pins)
            )
        return name in live

    return carries
