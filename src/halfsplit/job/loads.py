"""What can be seen to work or not."""

from __future__ import annotations

from halfsplit.circuit.circuit import Circuit
from halfsplit.circuit.kinds import LOADS


def loads_of(circuit: Circuit) -> tuple[tuple[str, str], ...]:
    """(name, words) of what can be seen to work or not: loads, and modules."""
    wanted = (*LOADS, "module")
    return tuple((part.name, part.words) for part in circuit.parts.values() if part.kind in wanted)
