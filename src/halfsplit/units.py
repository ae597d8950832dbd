"""Quantities as text and back. Inside the program every value is in the SI unit of its dimension.

Form fields are read leniently (`read_field`), since a technician has dirty hands, and never by guessing in silence;
the notation of circuits reads its own amounts strictly.
"""

import math
import re
from dataclasses import dataclass
from decimal import Decimal
from typing import Final

from halfsplit.errors import InputError

LARGEST: Final = 1e12
"""No magnitude above this is taken, in SI units; the largest that a workshop meets is some 1e9 ohm."""

LONGEST: Final = 60
"""No more characters than this are looked at."""

SHARE: Final = "1"
"""The unit of a share, which is written in per cent."""

UNITS: Final[dict[str, tuple[str, float]]] = {
    "V": ("V", 1.0),
    "mV": ("V", 1e-3),
    "kV": ("V", 1e3),
    "A": ("A", 1.0),
    "mA": ("A", 1e-3),
    "uA": ("A", 1e-6),
    "ohm": ("ohm", 1.0),
    "mohm": ("ohm", 1e-3),
    "kohm": ("ohm", 1e3),
    "Mohm": ("ohm", 1e6),
    "W": ("W", 1.0),
    "mW": ("W", 1e-3),
    "kW": ("W", 1e3),
    "Ah": ("C", 3600.0),
    "mm2": ("m2", 1e-6),
    "m": ("m", 1.0),
    "mm": ("m", 1e-3),
    "cm": ("m", 1e-2),
    "s": ("s", 1.0),
    "us": ("s", 1e-6),
    "ms": ("s", 1e-3),
    "min": ("s", 60.0),
    "h": ("s", 3600.0),
    "Hz": ("Hz", 1.0),
    "kHz": ("Hz", 1e3),
    "MHz": ("Hz", 1e6),
    "Pa": ("Pa", 1.0),
    "kPa": ("Pa", 1e3),
    "bar": ("Pa", 1e5),
    "%": (SHARE, 1e-2),
}
"""How a unit is written -> (the SI unit, the factor to it). `AWG` is not here: it is no multiple."""

_SCALES: Final[dict[str, tuple[tuple[str, float], ...]]] = {
    "V": (("mV", 1e-3), ("V", 1.0), ("kV", 1e3)),
    "A": (("mA", 1e-3), ("A", 1.0)),
    "ohm": (("mohm", 1e-3), ("ohm", 1.0), ("kohm", 1e3), ("Mohm", 1e6)),
    "W": (("mW", 1e-3), ("W", 1.0), ("kW", 1e3)),
    "C": (("Ah", 3600.0),),
    "m2": (("mm2", 1e-6),),
    "m": (("mm", 1e-3), ("m", 1.0)),
    "s": (("us", 1e-6), ("ms", 1e-3), ("s", 1.0), ("min", 120.0), ("h", 7200.0)),
    "Hz": (("Hz", 1.0), ("kHz", 1e3), ("MHz", 1e6)),
    "Pa": (("kPa", 1e3), ("bar", 1e5)),
    SHARE: (("%", 1e-2),),
}
"""SI unit -> the units that it is shown in, each with the magnitude from which it is used."""

_BASE: Final = {"C": "Ah", "m2": "mm2", SHARE: "%", "Pa": "bar"}
"""The unit that a zero is shown with, where it is not the SI unit itself."""

_NAMES: Final = {
    "V": "volts",
    "A": "amps",
    "ohm": "ohms",
    "W": "watts",
    "C": "ampere-hours",
    "m2": "a cross-section",
    "m": "a length",
    "s": "a time",
    "Hz": "hertz",
    "Pa": "a pressure",
    SHARE: "per cent",
}

_ORDINARY: Final = {
    "A": (-1500.0, 1500.0),
    "ohm": (0.0, 1e9),
    "W": (0.0, 1e5),
    "Hz": (0.0, 1e6),
    "Pa": (-1e5, 3e8),
    SHARE: (0.0, 1.0),
}
"""SI unit -> lowest and highest value that raise no question; volts go by the vehicle's net."""

_PREFIXES: Final = {"u": "u", "m": "m", "k": "k", "K": "k", "M": "M"}
"""Prefixes as they are typed alone (85m, 5k, 5K) and as they are written."""

_PREFIXED: Final = ("V", "A", "ohm", "W", "Hz")
"""The units that take a prefix alone; five 'm' of time could be minutes as well."""

_SIGNS: Final = str.maketrans(
    {"\u2126": "ohm", "\u03a9": "ohm", "\u00b5": "u", "\u03bc": "u", "\u00b2": "2", "\u2212": "-"}
)
"""Ohm sign and omega, micro sign and mu, the raised two and the minus sign, as keyboards write them."""

_NUMBER: Final = r"[+-]?(?:[0-9]+\.?[0-9]*|\.[0-9]+)(?:[eE][+-]?[0-9]+)?"
_QUANTITY: Final = re.compile(rf"({_NUMBER})\s*([^\s\d.,+-].*)?", re.ASCII)
_THOUSANDS: Final = re.compile(r"[0-9],[0-9]{3}(?:[^0-9]|$)")
_COMMA: Final = re.compile(r"([+-]?[0-9]+),([0-9]+)(?=[^0-9.,]|$)")


def format_quantity(value: float, unit: str, digits: int = 3) -> str:
    """Write an SI value the way a technician says it, rounded to `digits` significant digits.

    A magnitude below a thousandth of the smallest unit shown is written as zero.

    >>> format_quantity(12.345, "V"), format_quantity(0.085, "V"), format_quantity(4700, "ohm")
    ('12.3 V', '85 mV', '4.7 kohm')
    """
    if not math.isfinite(value):
        raise ValueError(f"{value} {unit} cannot be shown: a reading is finite")
    scales = _SCALES[unit]
    rounded = _significant(value, digits)
    if abs(rounded) < 1e-3 * UNITS[scales[0][0]][1]:
        return f"0 {_BASE.get(unit, unit)}"
    written = max((s for s in scales if abs(rounded) >= s[1]), key=lambda s: s[1], default=scales[0])[0]
    shown = Decimal(repr(_significant(value / UNITS[written][1], digits)))
    return f"{plain_number(shown)} {written}"


@dataclass(frozen=True, slots=True)
class FieldNumber:
    """What a form field holds, as an SI value, and what to ask before it is taken.

    `question` is empty where the text leaves no doubt.
    """

    value: float
    question: str = ""


def read_field(text: str, unit: str) -> FieldNumber:
    """Read what a technician typed into a field of a known unit: with a unit, a prefix alone, or bare.

    `unit` is the one that the field shows and that a bare number is in (a key of `UNITS`); the value comes
    back in SI. Raises `InputError` where nothing can be made of the text, NaN and infinity included. A doubtful
    unit, and a comma before three digits (which may stand for thousands), come back with a question. For a meter's
    over-range: `is_over_range`.

    >>> read_field("85mV", "V").value, read_field("5k", "ohm").value, read_field("3.8", "bar").value
    (0.085, 5000.0, 380000.0)
    >>> read_field("12,3", "V")
    FieldNumber(value=12.3, question='')
    >>> read_field("1,200", "V").question
    'did you mean 1.2 V?'
    """
    if len(text) > LONGEST:
        raise InputError(f"{len(text)} characters for one number", remedy=f"write at most {LONGEST}")
    cleaned = text.strip().translate(_SIGNS)
    pointed = _COMMA.sub(r"\1.\2", cleaned)
    match = _QUANTITY.fullmatch(pointed)
    if match is None:
        if not pointed:
            raise InputError("the number is missing", remedy="write a number, such as 12.3")
        raise InputError(
            f"{pointed!r} is not a number with a unit", remedy="write it like 12.3 V, without commas"
        )
    written = (match[2] or "").strip()
    meant = _meant_unit(text, written, unit)
    si_unit, factor = UNITS[meant]
    value = _significant(float(match[1]) * factor, 15)  # free of the last digit's noise: 8.2 m is 0.0082
    if not math.isfinite(value) or abs(value) > LARGEST:
        raise InputError(f"{text.strip()!r} is too large", remedy="check the number and its unit")
    respelt = written.casefold() == meant.casefold() and meant not in (written, si_unit)
    if respelt or _THOUSANDS.search(cleaned):
        return FieldNumber(value, f"did you mean {format_quantity(value, si_unit, digits=6)}?")
    return FieldNumber(value)


def is_over_range(text: str) -> bool:
    """Whether the text is what a meter shows above its range, `OL`; on ohms that is an open path.

    It is no number: the caller decides which limit of the instrument it stands for.
    """
    return text.strip().upper().replace(".", "").replace("0", "O") == "OL"


def plausible(value: float, unit: str, net_volts: float = 12.0) -> str:
    """Ask about a reading that a vehicle of this net can hardly give; an empty string means nothing to ask.

    It never refuses: an odd reading may be the fault itself. The limits are common practice, no source.

    >>> plausible(400.0, "V")
    '400 V on a 12 V net? More than 16.8 V is out of the ordinary: check range and decimal point.'
    >>> plausible(12.6, "V")
    ''
    """
    low, high = (-0.5, 1.4 * net_volts) if unit == "V" else _ORDINARY.get(unit, (0.0, LARGEST))
    shown = format_quantity(value, unit)
    if value < low:
        check = "are the leads the right way round?" if unit in ("V", "A") else "check the instrument."
        return f"{shown}? Less than {format_quantity(low, unit)} is out of the ordinary: {check}"
    if value > high:
        net = f" on a {format_quantity(net_volts, 'V')} net" if unit == "V" else ""
        limit = format_quantity(high, unit)
        return f"{shown}{net}? More than {limit} is out of the ordinary: check range and decimal point."
    return ""


def _meant_unit(text: str, written: str, shown: str) -> str:
    """The unit that a field means: as written, with the field's unit after a prefix, or in other case."""
    dimension = UNITS[shown][0]
    fitting = [name for name, (unit, _) in UNITS.items() if unit == dimension]
    takes_prefix = written in _PREFIXES and dimension in _PREFIXED
    for exact in (written or shown, _PREFIXES[written] + dimension if takes_prefix else ""):
        if exact in fitting:
            return exact
    near = [name for name in fitting if name.casefold() == written.casefold()]
    if len(near) == 1:
        return near[0]
    text = text.strip()
    if written in UNITS:
        other = _NAMES[UNITS[written][0]]
        problem = f"{text!r} is {other}; {_NAMES[dimension]} expected"
        raise InputError(problem, remedy=f"write it in {shown}")
    remedy = f"write {' or '.join(near)}" if near else f"write one of {', '.join(fitting)}"
    raise InputError(f"{text!r} has the unit {written!r}, which is not known", remedy=remedy)


def _significant(value: float, digits: int) -> float:
    return float(f"{value:.{digits}g}")


def plain_number(number: Decimal) -> str:
    """The number without exponent and without zeros at its end.

    >>> plain_number(Decimal("2.50")), plain_number(Decimal("10"))
    ('2.5', '10')
    """
    text = format(number, "f")
    return text.rstrip("0").rstrip(".") if "." in text else text
