"""MISTAKES: every class of problem that reading a circuit file can find, and the collector that fills them in.

The mistakes of a whole model, whoever made it, are in ``halfsplit.circuit.checks``.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from importlib.resources import files
from types import MappingProxyType

from halfsplit.circuit.model import NOWHERE, Position
from halfsplit.circuit.problems import Finding, Mistake, Problem, did_you_mean, printable

MOST = 100
"""So many errors of one circuit are told; more would help nobody."""


def _table(text: str) -> Mapping[str, Mistake]:
    """Rows of ``id | message | remedy``, as ``mistakes.txt`` has them."""
    rows = [[cell.strip() for cell in row.split(" | ")] for row in text.strip().splitlines()]
    return MappingProxyType({id_: Mistake(id_, "error", message, remedy) for id_, message, remedy in rows})


MISTAKES = _table(files("halfsplit.notation").joinpath("mistakes.txt").read_text(encoding="utf-8"))


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
        """Note what a check found."""
        for finding in findings:
            self.errors += finding.mistake.severity == "error"
            self.problems.append(self._problem(finding))

    def near(self, word: str, names: Iterable[str]) -> str:
        """The opening of a remedy, where a known name is like ``word``. Nothing once enough errors are noted."""
        return "" if self.full else did_you_mean(word, names)

    def sorted(self) -> tuple[Problem, ...]:
        """By file and line, in the order in which the files were read."""
        order = {file: index for index, file in enumerate(self.lines)}
        return tuple(
            sorted(self.problems, key=lambda p: (not p.line, order.get(p.file, -1), p.line, p.column))
        )

    def _problem(self, finding: Finding) -> Problem:
        at, mistake = finding.at, finding.mistake
        lines = self.lines.get(at.file, [])
        text = lines[at.line - 1] if 0 < at.line <= len(lines) else ""
        return Problem(
            mistake.severity,
            at.file,
            at.line,
            at.column,
            printable(text),
            finding.message,
            finding.remedy,
            mistake.id,
        )
