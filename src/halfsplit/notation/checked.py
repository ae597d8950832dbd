"""A text with every problem told, and the patterns and demos to start from."""

from __future__ import annotations

import re
from dataclasses import dataclass
from functools import lru_cache
from importlib.resources import files

from halfsplit.circuit.circuit import Circuit
from halfsplit.circuit.problems import CircuitError, Problem
from halfsplit.errors import NotFoundError
from halfsplit.notation.reading import parse

FOLDERS = {"pattern": "patterns", "demo": "demos"}


@dataclass(frozen=True)
class Checked:
    """A text and what it says: ``circuit`` is None where there are errors. ``problems``: errors, then warnings."""

    text: str
    circuit: Circuit | None
    problems: tuple[Problem, ...]

    @property
    def usable(self) -> bool:
        return self.circuit is not None and bool(self.circuit.parts)


@dataclass(frozen=True)
class Sample:
    """A circuit that comes with the program: a pattern to begin from, or a demo."""

    name: str
    kind: str
    title: str
    text: str


@lru_cache(maxsize=64)
def check_text(text: str) -> Checked:
    """Read notation text as far as it makes sense; never raises for what the text says."""
    try:
        model, warnings = parse(text.replace("\r\n", "\n"), loader=_included)
    except CircuitError as error:
        return Checked(text, None, error.problems)
    return Checked(text, Circuit(model, warnings), tuple(warnings))


def _included(name: str) -> str:
    """Text of an included file: the patterns only, since a job's text knows no folder."""
    return sample(name.removesuffix(".circuit"), "pattern").text


@lru_cache
def samples(kind: str = "pattern") -> tuple[Sample, ...]:
    """The patterns (or demos) that come with the program, by name."""
    folder = files("halfsplit.notation") / FOLDERS[kind]
    if not folder.is_dir():
        return ()
    found = sorted(
        (item for item in folder.iterdir() if item.name.endswith(".circuit")), key=lambda item: item.name
    )
    return tuple(
        _sample(item.name.removesuffix(".circuit"), kind, item.read_text(encoding="utf-8")) for item in found
    )


def _sample(name: str, kind: str, text: str) -> Sample:
    title = re.search(r"^title\s+(.+?)\s*(?:#.*)?$", text, re.MULTILINE)
    return Sample(name, kind, title[1] if title else name.replace("-", " "), text)


def sample(name: str, kind: str = "pattern") -> Sample:
    """One of them. Raises NotFoundError with the names that there are."""
    for one in samples(kind):
        if one.name == name:
            return one
    raise NotFoundError(
        f"there is no {kind} {name!r}; there are: {', '.join(one.name for one in samples(kind))}"
    )
