"""Which unit of the circuit a report means by a name of its own."""

from __future__ import annotations

import re
from collections.abc import Sequence

from halfsplit.circuit.model import Part
from halfsplit.scan.units import UnitReport

COMMON_WORDS = frozenset(
    """a an and control the of for unit module ecu system electronic electronics steuergerat steuergeraet
    calculateur unite""".split()  # noqa: SIM905
)
"""What says nothing in the name of a unit."""


def likely_part(name: str, modules: Sequence[Part]) -> str:
    """The unit of the circuit that a name most likely means, '' where none or several fit alike."""
    wanted = _tokens(name)
    scored: list[tuple[float, str]] = []
    for part in modules:
        if UnitReport(part.name).key in (UnitReport(name).key, *(UnitReport(word).key for word in wanted)):
            return part.name
        own = _tokens(part.words)
        shared = len(wanted & own)
        scored.append((shared / len(wanted | own) if shared else 0.0, part.name))
    scored.sort(reverse=True)
    if not scored or scored[0][0] <= 0 or (len(scored) > 1 and scored[1][0] == scored[0][0]):
        return ""
    return scored[0][1]


def _tokens(text: str) -> frozenset[str]:
    words = (UnitReport(word).key for word in re.split(r"[\W_]+", text))
    return frozenset(
        word.removesuffix("s") if len(word) > 3 else word
        for word in words
        if word and word not in COMMON_WORDS
    )
