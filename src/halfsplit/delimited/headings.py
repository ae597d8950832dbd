"""What the heading of a column says: the name, the unit, the factor to a base unit, and whether it is time."""

import re
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from halfsplit.units import UNITS

_SIGNS: Final = str.maketrans(
    {"\u00b5": "u", "\u03bc": "u", "\u2126": "ohm", "\u03a9": "ohm", "\u00c2": "", "\u00b2": "2"}
)
"""Micro sign and mu, ohm sign and omega, the stray letter of a wrongly read micro sign, the raised two."""

_MORE: Final[dict[str, tuple[str, float]]] = {
    written: (unit, factor)
    for unit, factor, ways in (
        ("s", 1.0, "sec secs second seconds sekunden secondes segundos secondi S"),
        ("s", 1e-3, "msec milliseconds"),
        ("s", 1e-6, "usec microseconds"),
        ("s", 1e-9, "ns"),
        ("s", 60.0, "mins minute minutes minuten minutos minuti"),
        ("s", 3600.0, "hr hrs hour hours std stunden heures horas ore"),
        ("V", 1.0, "volt volts"),
        ("V", 1e-6, "uV"),
        ("A", 1.0, "amp amps ampere"),
        ("A", 1e3, "kA"),
        ("A", 1e-9, "nA"),
        ("rpm", 1.0, "rpm 1/min"),
        ("degC", 1.0, "degC \u00b0C"),
        ("count", 1.0, "count counts"),
    )
    for written in ways.split()
}
"""Ways to write a unit beside those of `halfsplit.units`."""

_PLAIN: Final = {"m", "h", "min", "W", "%", "Ah", "cm", "mm", "mm2"}
"""Units that do not count as one when they stand in a name without brackets: they are letters of names too."""

_BRACKETS: Final = re.compile(r"^(.*?)\s*[(\[{]\s*([^()\[\]{}]*?)\s*[)\]}]\s*$")
_SLASH: Final = re.compile(r"^(.+?)\s*(?:/|,|_|\s+in\s+|\s)\s*([^\s/,_]+)$")
_LABELLED: Final = re.compile(
    r"^(channel|chan|ch|kanal|voie|canal|canale|kanaal|input|eingang|entr\u00e9e|ingresso|entrada|probe|trace|signal"
    r"|track|port|pin|analog(ue)?|digital)\.?$",
    re.IGNORECASE,
)
"""Words after which a single letter is a label, not a unit."""

_TIME: Final = re.compile(
    r"\btime(s|stamps?)?\b|^(?:uhr)?zeit|^(temps|tiempo|tempo|tijd|heure|hora|ora|uhr|date|datum|fecha|epoch|unix|elapsed)\b",
    re.IGNORECASE,
)
_FIRST: Final = re.compile(r"^(x|t|secs?|seconds?|elapsed|clock|x[- ]axis)\b", re.IGNORECASE)
"""Names that mean time wherever they stand, and such as do only in the first column."""

_STATISTICS: Final = {"min", "h", "s", "S", "sec"}
"""Units of time that are names of something else where they do not stand first: the least, a second channel."""


@dataclass(frozen=True)
class Heading:
    """A column's name, base unit (`V`, `A`, `s` … or as written) and the gain from the column to that unit."""

    name: str
    unit: str = ""
    gain: float = 1.0


def unit_of(text: str) -> tuple[str, float] | None:
    """The base unit and factor of a unit as written, or None where it is none.

    >>> unit_of("ms"), unit_of("(mV)"), unit_of("pressure")
    (('s', 0.001), ('V', 0.001), None)
    """
    bare = text.strip().strip("()[]{}").strip().translate(_SIGNS)
    unit = UNITS.get(bare) or _MORE.get(bare) or _MORE.get(bare.casefold())
    if unit is None and bare in ("v", "a", "mv", "ma"):
        return UNITS[bare[:-1] + bare[-1].upper()]
    return unit


def heading(text: str, unit: str = "", *, lettered: bool = False) -> Heading:
    """Take a column's heading apart; `unit` is what a row of units says, if there is one.

    `lettered`: the letter at its end tells it from its neighbours (`lettered`), and is no unit.

    >>> heading("Channel A (mV)")
    Heading(name='Channel A', unit='V', gain=0.001)
    >>> heading("supply", "V"), heading("Time_ms").gain
    (Heading(name='supply', unit='V', gain=1.0), 0.001)
    >>> heading("hours")
    Heading(name='hours', unit='s', gain=3600.0)
    >>> heading("Kanal A"), heading("Motor A", "mV").name
    (Heading(name='Kanal A', unit='', gain=1.0), 'Motor A')
    """
    whole = " ".join(text.strip().strip('"').split())
    name, written = whole, ""
    slashed = _SLASH.match(whole)
    if bracketed := _BRACKETS.match(whole):
        name, written = bracketed[1], bracketed[2]
    elif slashed and not lettered and not unit.strip():  # else what ends the name is a letter of it
        label = _LABELLED.match(slashed[1]) and len(slashed[2]) == 1  # 'channel A': it tells channels apart
        if not label and slashed[2] not in _PLAIN and unit_of(slashed[2]):
            name, written = slashed[1], slashed[2]
    written = unit.strip().strip("()[]{}") or written
    known = unit_of(written or name)
    if known is None or not (written or known[0] == "s"):
        return Heading(name, written)
    return Heading(name or written, *known)


def lettered(names: Sequence[str]) -> frozenset[str]:
    """The names that are alike but for a single letter at their end, as in `probe A`, `probe V`, `probe C`.

    >>> sorted(lettered(["time", "pressure A", "pressure B", "supply V"]))
    ['pressure A', 'pressure B']
    """
    stems: dict[str, set[str]] = {}
    for name in names:
        if match := re.fullmatch(r"\s*(.+?)[\s_/-]+([A-Za-z])\s*", name):
            stems.setdefault(match[1].casefold(), set()).add(name)
    return frozenset(name for alike in stems.values() if len(alike) > 1 for name in alike)


def is_time(head: Heading, first: bool) -> bool:
    """Whether a column is the time: by its name, or by its unit where it is the first one."""
    if head.unit not in ("", "s"):
        return False
    if first and (head.unit == "s" or _FIRST.search(head.name)):
        return True
    named = head.unit == "s" and head.name not in _STATISTICS and unit_of(head.name) is not None
    return named or bool(_TIME.search(head.name))
