"""SYMBOLS: form → symbol, drawn by us after IEC 60617, upright, with its middle at (0, 0).

A symbol is SVG without colours: the classes ``s`` (line), ``f`` (line, with the ground of the page inside) and ``k``
(filled with ink) get theirs from ``drawing.css``. Circuits are drawn at rest, as the standard wants it: contacts open.
"""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from importlib.resources import files
from types import MappingProxyType


@dataclass(frozen=True, slots=True)
class Symbol:
    """``half``: half its width, ``reach``: half its height (px); between the reach and the next wire runs a lead.

    ``right``: how far it reaches to the right, where that is less than ``half``.
    """

    half: float
    reach: float
    body: str
    right: float = 0.0


SYMBOLS: Mapping[str, Symbol] = MappingProxyType(
    {
        form: Symbol(**said)
        for form, said in tomllib.loads(
            files("halfsplit.drawing").joinpath("symbols.toml").read_text(encoding="utf-8")
        ).items()
    }
)
FLIPPED: frozenset[str] = frozenset({"battery", "generator", "diode"})
"""Forms whose first pin is the top of the symbol, and which are turned over where the second pin is above."""

OTHER = Symbol(14, 20, '<path class="f" d="M-14-20H14V20H-14Z"/>')
"""For a kind that the table does not know."""


def symbol_of(form: str) -> Symbol:
    """The symbol of a form; a plain box where there is none of its own."""
    return SYMBOLS.get(form, OTHER)
