r"""The door of the notation: text or file → model, with every problem told at once.

>>> model, warnings = parse("battery G1\nfuse F1 10 A\nlamp H1\nG1.+ -- F1 -- H1 -- E1\nG1.- -- E1\nground E1")
>>> list(model.parts), len(model.wires), warnings
(['G1', 'F1', 'H1', 'E1'], 4, ())
"""

from __future__ import annotations

import os
from collections.abc import Callable
from pathlib import Path
from typing import Final

from halfsplit.circuit.checks import check, dead_parts
from halfsplit.circuit.circuit import Circuit
from halfsplit.circuit.model import Model
from halfsplit.circuit.problems import CircuitError, Problem
from halfsplit.notation.include import Including, Loader, whole_file, why
from halfsplit.notation.lower import lower
from halfsplit.notation.mistakes import Collector
from halfsplit.notation.parse import LONGEST_TEXT
from halfsplit.notation.write import write

__all__ = ["Loader", "parse", "read", "write"]


def parse(text: str, *, file: str = "", loader: Loader | None = None) -> tuple[Model, tuple[Problem, ...]]:
    """The model that a text describes, and the warnings.

    ``file`` names the text in problems; its folder is where includes start. ``loader`` gives the text of an included
    file; no file outside that folder is asked for. Raises `CircuitError` with every error found, and the warnings.
    """
    return _modelled(text, file, Including(Collector(), loader, confined=True))


def read(path: str | os.PathLike[str]) -> tuple[Model, tuple[Problem, ...]]:
    """The model of a circuit file, and the warnings. Includes are relative to the file that names them.

    Raises `CircuitError` where the file cannot be read, does not parse or makes no sense.
    """
    where = Path(path)
    collector = Collector()
    try:
        text = _text(where)
    except (OSError, ValueError) as error:
        whole = whole_file(where.name)
        if isinstance(error, UnicodeDecodeError):
            collector.add("not-utf8", whole, byte=error.start)
        else:
            collector.add("unreadable", whole, file=where.name, reason=why(error))
        raise CircuitError(collector.sorted()) from None
    return _modelled(
        text, where.name, Including(collector, lambda name: _text(where.parent / name), confined=False)
    )


def _modelled(text: str, file: str, including: Including) -> tuple[Model, tuple[Problem, ...]]:
    collected = including.collector
    model = lower(including.tree(text, file), collected)
    if not collected.errors:
        findings = check(model)
        collected.take(findings)
    if not collected.errors and model.wires:
        named_twice = {finding.values["name"] for finding in findings if finding.mistake.id == "named-once"}
        carries = has_current(model)
        collected.take(dead_parts(model, lambda name: name in named_twice or carries(name)))
    if collected.errors:
        raise CircuitError(collected.sorted())
    return model, collected.sorted()


def _text(path: Path) -> str:
    """A file's text; no more of it is read than is allowed."""
    with path.open("rb") as stream:
        return stream.read(4 * LONGEST_TEXT + 1).decode("utf-8-sig")


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
