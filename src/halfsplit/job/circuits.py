"""Circuits as a job uses them: text with every problem told, patterns and demos to start from, a sketch."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass
from functools import lru_cache
from importlib.resources import files

from halfsplit.circuit.circuit import Circuit
from halfsplit.circuit.kinds import LOADS
from halfsplit.circuit.problems import CircuitError, Problem
from halfsplit.errors import InputError, NotFoundError
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


def loads_of(circuit: Circuit) -> tuple[tuple[str, str], ...]:
    """(name, words) of what can be seen to work or not: loads, and modules."""
    wanted = (*LOADS, "module")
    return tuple((part.name, part.words) for part in circuit.parts.values() if part.kind in wanted)


# Start without a circuit


@dataclass(frozen=True)
class Sketch:
    """The least that a technician knows: the load, how it is fed and earthed."""

    kind: str = "lamp"
    words: str = ""
    amount: str = ""
    feed_colour: str = ""
    ground_colour: str = ""
    fuse: str = ""
    switched: str = "switch"


SKETCH_LOADS = {
    "lamp": ("H1", "21 W"),
    "motor": ("M1", "5 A"),
    "heater": ("EH1", "120 W"),
    "solenoid": ("Y1", "1 A"),
}
"""Kind → name in the sketch and what it takes where nobody says; common practice, no source."""
COLOURS = ("BK", "BN", "RD", "OG", "YE", "GN", "BU", "VT", "GY", "WH", "PK", "TQ")
"""Letters of IEC 60757."""


def sketch_text(sketch: Sketch) -> str:
    """Notation of one load with a fuse, a switch, its two wires and a ground joint: enough for the first tests.

    The feed between fuse, switch and load is a stretch that no diagram has shown yet; it is filled in as answers come.
    """
    if sketch.kind not in SKETCH_LOADS:
        raise InputError(f"{sketch.kind!r} is no load", remedy=f"choose {', '.join(SKETCH_LOADS)}")
    return "\n".join(_sketch_lines(sketch)) + "\n"


def _sketch_lines(sketch: Sketch) -> Iterator[str]:
    name, usual = SKETCH_LOADS[sketch.kind]
    words = _quotable(sketch.words) or f"the {sketch.kind}"
    yield f"title  {words}"
    yield "# Begun without a diagram: fill in connectors and wires as they are found."
    yield "battery G1"
    yield f"fuse F1 {_amount(sketch.fuse, 'A') or '10 A'}"
    yield f'{sketch.kind} {name} {_amount(sketch.amount, "W", "A") or usual} "{words}"'
    yield 'ground E1 "ground of the load"'
    yield 'ground E2 "battery ground"'
    feed = f"{name}.1"
    yield (
        f"F1.2 -- ? -- S1.1\nS1.2 --{_wire(sketch.feed_colour)} {feed}"
        if sketch.switched == "switch"
        else f"F1.2 --{_wire(sketch.feed_colour)} {feed}"
    )
    yield "G1.+ -- F1.1"
    yield f"{name}.2 --{_wire(sketch.ground_colour)} E1"
    yield "G1.- --[16mm2]-- E2"
    if sketch.switched == "switch":
        yield 'switch S1 off on "what switches it"\nstate "off"\nstate "on" S1 on'


def _wire(colour: str) -> str:
    picked = "/".join(part for part in colour.upper().split("/") if part in COLOURS)
    return f"[{picked}]--" if picked else ""


def _amount(text: str, *units: str) -> str:
    found = re.fullmatch(r"\s*(\d{1,4}(?:\.\d{1,2})?)\s*([A-Za-z]?)\s*", text)
    unit = (found[2].upper() or units[0]) if found else ""
    return f"{found[1]} {unit}" if found and unit in units else ""


def _quotable(text: str) -> str:
    return " ".join(re.sub(r'["#\x00-\x1f\x7f]', " ", text).split())[:60]
