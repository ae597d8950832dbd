"""Numbers with a unit, as circuit files write them and as the model keeps them.

The model keeps V, A, W, ohm, Hz and, as the notation has them, mm2, m and minutes. Reading and writing go through
`decimal`, so that a number that was written by `written` is read as the same `float` again.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from decimal import Decimal
from typing import Final

from halfsplit.units import plain_number

_KILO: Final = Decimal(1000)

UNITS: Final[Mapping[str, tuple[str, Decimal]]] = {
    "mV": ("V", 1 / _KILO),
    "V": ("V", Decimal(1)),
    "kV": ("V", _KILO),
    "mA": ("A", 1 / _KILO),
    "A": ("A", Decimal(1)),
    "W": ("W", Decimal(1)),
    "kW": ("W", _KILO),
    "mohm": ("ohm", 1 / _KILO),
    "ohm": ("ohm", Decimal(1)),
    "kohm": ("ohm", _KILO),
    "Mohm": ("ohm", _KILO**2),
    "Hz": ("Hz", Decimal(1)),
    "kHz": ("Hz", _KILO),
    "mm2": ("mm2", Decimal(1)),
    "AWG": ("AWG", Decimal(1)),
    "m": ("m", Decimal(1)),
    "min": ("min", Decimal(1)),
    "%": ("", Decimal(1) / 100),
}
"""How a unit is written → the model's unit and the factor to it. A share has no unit and may be given in per cent."""

_ALIASES: Final = {"Ω": "ohm", "mΩ": "mohm", "kΩ": "kohm", "MΩ": "Mohm", "mm²": "mm2"}

_SCALES: Final = {"A": ("A", "mA"), "ohm": ("Mohm", "kohm", "ohm", "mohm")}
"""The units that a value is written in, the largest first that does not leave a number under 1."""

_PARTS: Final = re.compile(r"([-+]?[0-9.]+) *(.*)", re.ASCII)

LARGEST: Final = 1e6
"""No value in a circuit file is larger, in the model's units."""


def parsed(text: str) -> tuple[float, str]:
    """The value and the model's unit ('' for none) of what the grammar takes for an amount.

    >>> parsed("6 mohm"), parsed("15A"), parsed("40 %"), parsed("0.5")
    ((0.006, 'ohm'), (15.0, 'A'), (0.4, ''), (0.5, ''))
    """
    match = _PARTS.fullmatch(text)
    if match is None:
        raise ValueError(f"{text!r} is no amount")
    unit, factor = UNITS[_ALIASES.get(match[2], match[2])] if match[2] else ("", Decimal(1))
    return float(Decimal(match[1]) * factor), unit


def written(value: float, unit: str = "") -> str:
    """The amount as text that `parsed` reads as the same value.

    >>> written(0.006, "ohm"), written(15.0, "A"), written(0.005, "A"), written(0.5)
    ('6 mohm', '15 A', '5 mA', '0.5')
    """
    exact = Decimal(repr(value))
    scales = _SCALES.get(unit, (unit,)) if value else (unit,)
    scale = next((scale for scale in scales[:-1] if abs(exact) >= UNITS[scale][1]), scales[-1])
    number = exact / UNITS[scale][1] if scale in UNITS else exact
    return f"{plain_number(number)} {scale}".strip()
