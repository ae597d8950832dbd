"""MISTAKES: every class of problem that reading a circuit file can find, and the collector that fills them in.

The mistakes of a whole model, whoever made it, are in ``halfsplit.circuit.checks``.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from importlib.resources import files

from halfsplit.circuit.model import NOWHERE, Position
from halfsplit.circuit.problems import Finding, Mistake, Problem, did_you_mean, printable

MOST = 100
"""So many errors of one circuit are told; more would help nobody."""


_TEXT = files("halfsplit.notation").joinpath("mistakes.txt").read_text(encoding="utf-8")
_ROWS = [[cell.strip() for cell in row.split(" | ")] for row in _TEXT.strip().splitlines()]
MISTAKES: Mapping[str, Mistake] = {
    id_: Mistake(id_, "error", message, remedy) for id_, message, remedy in _ROWS
}


@dataclass(slots=True)
class Collector:
    """Problems as they are found, each with the text of its line. ``lines`` holds the lines of every file read."""

    lines: dict[str, list[str]] = field(default_factory=dict)
    problems: list[Problem] = field(default_factory=list)
    errors: int = 0

    @property
    def full(self) -> bool:
        return self.errors > MOST

    def add(self, mistake: str, at: Position, **values: str | int) -> None:
        """Note one occurrence; after `MOST` errors only that there are more."""
        if self.full:
            return
        if self.errors == MOST:
            mistake, at, values = "too-many-errors", NOWHERE, {"size": MOST}
        self.take([Finding(MISTAKES[mistake], at, {name: str(value) for name, value in values.items()})])

    def take(self, findings: Iterable[Finding]) -> None:
        """Note what a check found, with the text of its line."""
        for finding in findings:
            at, mistake = finding.at, finding.mistake
            lines = self.lines.get(at.file, [])
            text = printable(lines[at.line - 1]) if 0 < at.line <= len(lines) else ""
            where = (at.file, at.line, at.column, text)
            self.errors += mistake.severity == "error"
            self.problems.append(
                Problem(mistake.severity, *where, finding.message, finding.remedy, mistake.id)
            )

    def near(self, word: str, names: Iterable[str]) -> str:
        """The opening of a remedy, where a known name is like ``word``. Nothing once enough errors are noted."""
        return "" if self.full else did_you_mean(word, names)

    def sorted(self) -> tuple[Problem, ...]:
        """By file and line, in the order in which the files were read."""
        order = {file: index for index, file in enumerate(self.lines)}
        return tuple(
            sorted(self.problems, key=lambda p: (not p.line, order.get(p.file, -1), p.line, p.column))
        )
