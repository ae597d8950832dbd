r"""The door of the notation: text or file → model, with every problem told at once.

>>> model, warnings = parse("battery G1\nfuse F1 10 A\nlamp H1\nG1.+ -- F1 -- H1 -- E1\nG1.- -- E1\nground E1")
>>> list(model.parts), len(model.wires), warnings
(['G1', 'F1', 'H1', 'E1'], 4, ())
"""

from __future__ import annotations

import os
from pathlib import Path

from halfsplit.circuit.checks import check, dead_parts
from halfsplit.circuit.model import Model
from halfsplit.circuit.problems import CircuitError, Problem
from halfsplit.notation.currents import has_current
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
    text = _contents(where, collector)
    if text is None:
        raise CircuitError(collector.sorted())
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


def _contents(path: Path, collector: Collector) -> str | None:
    try:
        return _text(path)
    except UnicodeDecodeError as error:
        collector.add("not-utf8", whole_file(path.name), byte=error.start)
    except (OSError, ValueError) as error:
        collector.add("unreadable", whole_file(path.name), file=path.name, reason=why(error))
    return None


def _text(path: Path) -> str:
    """A file's text; no more of it is read than is allowed."""
    with path.open("rb") as stream:
        return stream.read(4 * LONGEST_TEXT + 1).decode("utf-8-sig")
