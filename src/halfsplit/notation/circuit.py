"""Circuit with its way in and out of text: what ``halfsplit.Circuit`` is."""

from __future__ import annotations

import os
from typing import Self

from halfsplit.circuit.circuit import Circuit as Solvable
from halfsplit.circuit.problems import CircuitError
from halfsplit.notation.include import Loader
from halfsplit.notation.reading import parse, read
from halfsplit.notation.write import write

__all__ = ["Circuit", "CircuitError"]


class Circuit(Solvable):
    """A circuit read from the notation (``docs/notation.md``).

    >>> circuit = Circuit.parse('''
    ... battery G1
    ... fuse F1 10 A
    ... lamp H1 21 W
    ... ground E1
    ... G1.+ -- F1 -- H1 -- E1
    ... G1.- -- E1
    ... ''')
    >>> round(circuit.solve("as drawn").volts("H1.1"), 2)
    12.44
    """

    @classmethod
    def parse(cls, text: str, *, file: str = "", loader: Loader | None = None) -> Self:
        """Read a circuit from text. ``loader`` gives the text of an included file by its name.

        Raises CircuitError, whose ``problems`` are all that is wrong, each with line, column and remedy.
        """
        return cls(*parse(text, file=file, loader=loader))

    @classmethod
    def read(cls, path: str | os.PathLike[str]) -> Self:
        """Read a circuit file and what it includes.

        Raises CircuitError as ``parse``, also where a file cannot be read.
        """
        return cls(*read(path))

    def write(self) -> str:
        """The circuit as text; reading it gives the same circuit."""
        return write(self.model)
