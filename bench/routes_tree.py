"""A master's decision tree, read from its text and walked on a vehicle.

A tree is lines indented by one blank a level: a test (``volts A to B (state), unplug X8 # remark``), below it its
branches in brackets, below each branch the next test or the end (``=> cause   proof: test; test``).
"""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass

from halfsplit.circuit.interventions import Intervention, Jump, LampFor, Replace, Unplug
from halfsplit.diagnosis.measurement import Measurement

TEST = re.compile(
    r"(?P<quantity>\w+) (?P<at>wire \S+ \S+|\S+)(?: to (?P<to>\S+))? \((?P<state>[^)]*)\)"
    r"(?: \('(?P<detail>[^']*)',\))?(?P<changes>.*)"
)
CHANGES: tuple[tuple[re.Pattern[str], Callable[..., Intervention]], ...] = (
    (re.compile(r"unplug (\S+)"), Unplug),
    (re.compile(r"jump (\S+) to (\S+)"), Jump),
    (re.compile(r"fit a known-good (\S+)"), Replace),
    (re.compile(r"\d+ W lamp in place of (\S+)"), LampFor),
)
INSTRUMENTS = {"volts": "meter", "ohms": "meter", "lamp": "test lamp", "amps": "clamp"}


@dataclass(frozen=True)
class End:
    """A leaf: the repair that is named, and the tests that prove it; no repair where the tree breaks off."""

    cause: str | None
    proof: tuple[Measurement, ...]


@dataclass(frozen=True)
class Node:
    """A test, and what follows by its result."""

    test: Measurement
    branches: tuple[tuple[str, Node | End], ...]

    def after(self, value: float | str) -> Node | End | None:
        """What follows on this reading; None where the tree has no branch for it."""
        return next((follows for told, follows in self.branches if _fits(told, value)), None)


def read_tree(text: str) -> Node | End:
    """The tree of a text."""
    lines = [(len(line) - len(line.lstrip()), line.strip()) for line in text.splitlines() if line.strip()]
    return _read(lines)


def _read(lines: Sequence[tuple[int, str]]) -> Node | End:
    (depth, head), *below = lines
    if head.startswith("=>"):
        return _end(head[2:].strip())
    starts = [number for number, (level, _) in enumerate(below) if level == depth + 1]
    ends = [*starts[1:], len(below)]
    branches = tuple(
        (below[start][1].strip("[]"), _read(below[start + 1 : end]))
        for start, end in zip(starts, ends, strict=True)
    )
    return Node(read_test(head.partition(" #")[0]), branches)


def _end(text: str) -> End:
    cause, _, proof = text.partition("   proof:")
    tests = tuple(read_test(one) for one in proof.split(";") if one.strip())
    return End(None if cause.startswith("goes on") else cause.strip(), tests)


def read_test(text: str) -> Measurement:
    """A test from its line. Raises ValueError for a line that is none."""
    found = TEST.fullmatch(text.strip())
    if found is None:
        raise ValueError(f"this is no test: {text!r}")
    changes = tuple(
        make(*match.groups())
        for part in found["changes"].split(",")
        for pattern, make in CHANGES
        if (match := pattern.fullmatch(part.strip()))
    )
    quantity = found["quantity"]
    instrument = INSTRUMENTS.get(quantity)
    if quantity == "lamp" and any(isinstance(change, LampFor) for change in changes):
        instrument = "21 W lamp"
    detail = (found["detail"],) if found["detail"] else ()
    return Measurement(quantity, found["at"], found["state"], found["to"], instrument, changes, detail)


def _fits(told: str, value: float | str) -> bool:
    """Whether a reading goes along a branch: a limit for the size of a number, words with bars between, or else."""
    if told == "else":
        return True
    if told[0] in "<>":
        limit = float(told[1:])
        return not isinstance(value, str) and (abs(value) < limit if told[0] == "<" else abs(value) > limit)
    return value in told.split("|")
