"""Problems: what is wrong in a circuit file, where, and what to write instead.

A `Mistake` is one class of problem (a row of the tables in ``halfsplit.notation.mistakes`` and ``circuit.checks``); a
`Problem` is one occurrence of it. The notation adds line and text; a model that was made by hand has neither.
"""

from __future__ import annotations

import difflib
from collections.abc import Iterable
from dataclasses import dataclass, field
from itertools import islice
from typing import Literal

from halfsplit.circuit.model import NOWHERE, Position
from halfsplit.errors import InputError

Severity = Literal["error", "warning"]

LOOKED_AT = 1000
"""So many names are compared with one that is not known."""

SHOWN = 110
"""So many characters of a line are shown above the caret."""


@dataclass(frozen=True, slots=True)
class Mistake:
    """A class of problem. ``message`` and ``remedy`` are templates for `str.format`."""

    id: str
    severity: Severity
    message: str
    remedy: str


@dataclass(frozen=True, slots=True)
class Finding:
    """One occurrence of a mistake in a model: what a check of ``circuit.checks`` yields."""

    mistake: Mistake
    at: Position = NOWHERE
    values: dict[str, str] = field(default_factory=dict)

    @property
    def message(self) -> str:
        return printable(self.mistake.message.format(**self.values))

    @property
    def remedy(self) -> str:
        return printable(self.mistake.remedy.format(**self.values))


@dataclass(frozen=True, slots=True)
class Problem:
    """What is wrong and what to write instead. ``line`` and ``column`` count from 1; 0 where there is no line.

    ``text`` is the whole line, what cannot be printed replaced one by one; ``kind`` is the id of the mistake.

    >>> print(Problem("error", "van.circuit", 3, 1, "K7.88 -- E1", "K7 has no pin 88", "write K7.87"))
    van.circuit, line 3, column 1: error: K7 has no pin 88
        K7.88 -- E1
        ^
        write K7.87
    """

    severity: Severity
    file: str
    line: int
    column: int
    text: str
    message: str
    remedy: str
    kind: str = ""

    def __str__(self) -> str:
        where = ", ".join(
            filter(None, (self.file, f"line {self.line}, column {self.column}" if self.line else ""))
        )
        head = f"{where}: {self.severity}: {self.message}" if where else f"{self.severity}: {self.message}"
        body = _caret(self.text, self.column) if self.line and self.text.strip() else []
        return "\n".join([head, *(f"    {line}" for line in (*body, self.remedy) if line)])


class CircuitError(InputError):
    """A circuit does not parse or makes no sense: every error found, and the warnings beside them.

    ``str()`` is the whole readable listing. Do not raise it for what a solution or a diagnosis finds: a fuse
    that blows, a network that chatters and a cause that cannot be told are answers, not errors.
    """

    def __init__(self, problems: Iterable[Problem]) -> None:
        self.problems: tuple[Problem, ...] = tuple(problems)
        errors = sum(problem.severity == "error" for problem in self.problems)
        head = "1 error in the circuit" if errors == 1 else f"{errors} errors in the circuit"
        super().__init__("\n".join([head, *map(str, self.problems)]))


def printable(text: str) -> str:
    """The text with every character that a terminal cannot show replaced by U+FFFD, length kept."""
    if text.isprintable():
        return text
    return "".join(char if char.isprintable() or char == "\t" else "\ufffd" for char in text)


def nearest(word: str, names: Iterable[str]) -> str:
    """The name that is most like ``word``, without regard to case; '' where none is near."""
    folded = {name.casefold(): name for name in islice(names, LOOKED_AT)}
    matches = difflib.get_close_matches(word.casefold(), folded, n=1, cutoff=0.6)
    return folded[matches[0]] if matches else ""


def did_you_mean(word: str, names: Iterable[str]) -> str:
    """``did you mean "K7"? `` or '': the opening of a remedy."""
    near = nearest(word, names)
    return f'did you mean "{near}"? ' if near else ""


def _caret(text: str, column: int) -> list[str]:
    """The line and a caret below the column; a window of a long line. Tabs stay, so that the caret stands right."""
    start = max(0, column - 1 - SHOWN // 2) if len(text) > SHOWN else 0
    shown = text[start : start + SHOWN].rstrip()
    before = shown[: column - 1 - start].ljust(column - 1 - start)
    return [shown, "".join("\t" if char == "\t" else " " for char in before) + "^"]
