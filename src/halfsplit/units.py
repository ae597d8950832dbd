"""Quantities as text and back. Inside the program every value is in the SI unit of its dimension.

Files are read strictly (`parse_quantity`), form fields leniently (`read_field`), since a file can be
corrected in peace and a technician has dirty hands. Neither ever guesses in silence.
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


@dataclass(frozen=True, slots=True)
class Quantity:
    """A value in the SI unit that `unit` names (`V A ohm W C m2 m s Hz Pa`, or `1` for a share)."""

    value: float
    unit: str

    def __str__(self) -> str:
        return format_quantity(self.value, self.unit)


def parse_quantity(text: str) -> Quantity:
    """Read a number with its unit, as files write it; number and unit may touch.

    Raises `InputError` with a remedy where the text is not such a quantity.

    >>> parse_quantity("4.2 A"), parse_quantity("6mohm"), parse_quantity("14AWG")
    (Quantity(value=4.2, unit='A'), Quantity(value=0.006, unit='ohm'), Quantity(value=2.081e-06, unit='m2'))
    """
    number, written = _split(_trimmed(text))
    if written == "AWG":
        return Quantity(awg_area(number), "m2")
    if written not in UNITS:
        raise _unit_error(text, written, [*UNITS, "AWG"])
    unit, factor = UNITS[written]
    return Quantity(_bounded(number, factor, text), unit)


def awg_area(gauge: float) -> float:
    """Cross-section in m2 of a solid round wire of an AWG size, 0 to 40, by ASTM B258.

    The diameter is 0.005 inch at 36 and grows by the 39th root of 92 for each size:
    d = 0.127 mm * 92^((36 - n) / 39). Four significant digits, as tables give it.
    """
    if not 0 <= gauge <= 40 or gauge != int(gauge):
        raise InputError(f"{gauge:g} is no AWG size", remedy="write a whole number from 0 to 40, or mm2")
    diameter = 0.127e-3 * 92 ** ((36 - gauge) / 39)
    return _significant(math.pi / 4 * diameter**2, 4)


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
    return f"{_plain(_significant(value / UNITS[written][1], digits))} {written}"


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
    cleaned = _trimmed(text).translate(_SIGNS)
    pointed = _COMMA.sub(r"\1.\2", cleaned)
    number, written = _split(pointed)
    meant = _meant_unit(text, written, unit)
    si_unit, factor = UNITS[meant]
    value = _bounded(number, factor, text)
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
    low, high = _ordinary(unit, net_volts)
    shown = format_quantity(value, unit)
    if value < low:
        check = "are the leads the right way round?" if unit in ("V", "A") else "check the instrument."
        return f"{shown}? Less than {format_quantity(low, unit)} is out of the ordinary: {check}"
    if value > high:
        net = f" on a {format_quantity(net_volts, 'V')} net" if unit == "V" else ""
        limit = format_quantity(high, unit)
        return f"{shown}{net}? More than {limit} is out of the ordinary: check range and decimal point."
    return ""


def _ordinary(unit: str, net_volts: float) -> tuple[float, float]:
    """Lowest and highest value, in SI units, that raise no question."""
    ranges = {
        "V": (-0.5, 1.4 * net_volts),
        "A": (-1500.0, 1500.0),
        "ohm": (0.0, 1e9),
        "W": (0.0, 1e5),
        "Hz": (0.0, 1e6),
        "Pa": (-1e5, 3e8),
        SHARE: (0.0, 1.0),
    }
    return ranges.get(unit, (0.0, LARGEST))


def _trimmed(text: str) -> str:
    if len(text) > LONGEST:
        raise InputError(f"{len(text)} characters for one number", remedy=f"write at most {LONGEST}")
    return text.strip()


def _split(text: str) -> tuple[float, str]:
    """The number, and the unit as it is written, which may be empty."""
    match = _QUANTITY.fullmatch(text)
    if match is None:
        raise _number_error(text)
    return float(match[1]), (match[2] or "").strip()


def _number_error(text: str) -> InputError:
    pointed = _COMMA.sub(r"\1.\2", text)
    if pointed != text:
        thousands = re.search(r",[0-9]{3}(?![0-9])", text)
        remedy = f"write {pointed}" + (f", or {text.replace(',', '')} for thousands" if thousands else "")
        return InputError(f"{text!r} has a decimal comma", remedy=remedy)
    if not text:
        return InputError("the number is missing", remedy="write a number, such as 12.3")
    return InputError(f"{text!r} is not a number with a unit", remedy="write it like 12.3 V, without commas")


def _unit_error(text: str, written: str, units: list[str]) -> InputError:
    near = [name for name in units if name.casefold() == written.casefold()]
    text = text.strip()
    problem = f"{text!r} has the unit {written!r}, which is not known" if written else f"{text!r} has no unit"
    return InputError(
        problem, remedy=f"write {' or '.join(near)}" if near else f"write one of {', '.join(units)}"
    )


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
    if written in UNITS:
        other = _NAMES[UNITS[written][0]]
        problem = f"{text.strip()!r} is {other}; {_NAMES[dimension]} expected"
        raise InputError(problem, remedy=f"write it in {shown}")
    raise _unit_error(text, written, fitting)


def _bounded(number: float, factor: float, text: str) -> float:
    """The SI value, free of the last digit's noise (8.2 m is 0.0082), finite and within bounds."""
    value = _significant(number * factor, 15)
    if not math.isfinite(value) or abs(value) > LARGEST:
        raise InputError(f"{text.strip()!r} is too large", remedy="check the number and its unit")
    return value


def _significant(value: float, digits: int) -> float:
    return float(f"{value:.{digits}g}")


def _plain(value: float) -> str:
    """The number without exponent and without zeros at its end."""
    text = format(Decimal(repr(value)), "f")
    return text.rstrip("0").rstrip(".") if "." in text else text
