"""A text with every problem told, for those who edit it."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

from halfsplit.circuit.circuit import Circuit
from halfsplit.circuit.problems import CircuitError, Problem
from halfsplit.notation.library import sample
from halfsplit.notation.reading import parse


@dataclass(frozen=True)
class Checked:
    """A text and what it says: ``circuit`` is None where there are errors. ``problems``: errors, then warnings."""

    text: str
    circuit: Circuit | None
    problems: tuple[Problem, ...]

    @property
    def usable(self) -> bool:
        return self.circuit is not None and bool(self.circuit.parts)


@lru_cache(maxsize=64)
def check_text(text: str) -> Checked:
    """Read notation text as far as it makes sense; never raises for what the text says.

    It can include the patterns only, since a job's text knows no folder.
    """
    try:
        model, warnings = parse(
            text.replace("\r\n", "\n"), loader=lambda name: sample(name.removesuffix(".circuit")).text
        )
    except CircuitError as error:
        return Checked(text, None, error.problems)
    return Checked(text, Circuit(model, warnings), tuple(warnings))
