"""SYMBOLS: form → symbol, drawn by us after IEC 60617, upright, with its middle at (0, 0).

A symbol is SVG without colours: the classes ``s`` (line), ``f`` (line, with the ground of the page inside) and ``k``
(filled with ink) get theirs from ``drawing.css``. Circuits are drawn at rest, as the standard wants it: contacts open.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
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


def _line(d: str) -> str:
    return f'<path class="s" d="{d}"/>'


def _face(d: str) -> str:
    return f'<path class="f" d="{d}"/>'


def _ink(d: str) -> str:
    return f'<path class="k" d="{d}"/>'


def _circle(radius: float, inside: str = "") -> str:
    return f'<circle class="f" r="{radius:g}"/>{inside}'


def _letter(letter: str) -> str:
    return f'<text class="letter" y="6">{letter}</text>'


_RECTANGLE = _face("M-9-20H9V20H-9Z")
_BLADE = "M0-20V-10M0 20V10L-11-11"
_CROSS = "M-12-12L12 12M12-12L-12 12"

SYMBOLS: Mapping[str, Symbol] = MappingProxyType(
    {
        "battery": Symbol(
            18,
            16,
            _line("M-18-10H18M-18 6H18M0-16V-10M0 12V16M0-4V6") + _ink("M-9-6H9V-2H-9ZM-9 10H9V14H-9Z"),
        ),
        "generator": Symbol(20, 20, _circle(20, _letter("G") + _line("M-6 11H6M-6 14.5H6"))),
        "fuse": Symbol(9, 20, _RECTANGLE + _line("M0-20V20")),
        "breaker": Symbol(14, 20, _line(_BLADE + "M-4-14L4-6M4-14L-4-6")),
        "switch": Symbol(
            26, 20, _line(_BLADE + "M-26-6V6M-26 0H-20") + '<path class="dash" d="M-20 0H-5"/>', right=10
        ),
        "lamp": Symbol(17, 17, _circle(17, _line(_CROSS))),
        "motor": Symbol(20, 20, _circle(20, _letter("M"))),
        "heater": Symbol(10, 22, _face("M-10-22H10V22H-10Z") + _line("M-10-11H10M-10 0H10M-10 11H10")),
        "resistor": Symbol(9, 20, _RECTANGLE),
        "solenoid": Symbol(18, 14, _face("M-18-14H18V14H-18Z") + _line("M-8 14L8-14")),
        "diode": Symbol(12, 14, _face("M-12-10H12L0 10Z") + _line("M-12 10H12M0-14V-10M0 10V14M0-10V10")),
        "sensor": Symbol(20, 20, _RECTANGLE + _line("M-20 14H-13L15-16")),
        "coil": Symbol(18, 14, _face("M-18-14H18V14H-18Z")),
        "contact": Symbol(14, 20, _line(_BLADE)),
        "cavity": Symbol(
            10,
            14,
            _line(
                "M-9-9A9 9 0 0 1 9-9M0-14V-18M0 14V8",
            )
            + _ink("M-3-12H3V8H-3Z"),
        ),
        "splice": Symbol(6, 5, '<circle class="k" r="5"/>'),
        "ground": Symbol(17, 8, _line("M-15 0H15M-10 0L-15 8M0 0L-5 8M10 0L5 8M0-8V0")),
        "mass": Symbol(17, 8, _line("M-15 0H15M-10 0L-15 8M0 0L-5 8M10 0L5 8M0-8V0")),
        "folded": Symbol(
            12, 14, _face("M-12-14H12V14H-12Z") + _ink("M-8-2h4v4h-4zM-2-2h4v4h-4zM4-2h4v4h-4z")
        ),
    }
)

FLIPPED: frozenset[str] = frozenset({"battery", "generator", "diode"})
"""Forms whose first pin is the top of the symbol, and which are turned over where the second pin is above."""

OTHER = Symbol(14, 20, _face("M-14-20H14V20H-14Z"))
"""For a kind that the table does not know."""


def symbol_of(form: str) -> Symbol:
    """The symbol of a form; a plain box where there is none of its own."""
    return SYMBOLS.get(form, OTHER)
