"""Codes of the standards in our own words, from `codes.toml`: fault codes, failure types, refusals."""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from functools import cache
from importlib.resources import files

_FILE = tomllib.loads(files("halfsplit.scan").joinpath("codes.toml").read_text(encoding="utf-8"))

KINDS = tuple(_FILE["kinds"])
"""What sort of failure a code can name."""

RANGES: dict[str, str] = _FILE["ranges"]
"""Who defines the codes of a range, by letter and first figure."""

# Negative responses of ISO 14229-1 that say what a unit does not have, or not in this session.
NOT_SUPPORTED = frozenset({0x11, 0x12, 0x31, 0x7E, 0x7F})
OTHER_SESSION = frozenset({0x7E, 0x7F})


@dataclass(frozen=True, slots=True)
class Description:
    """text: our words. kind: one of `KINDS`, or None where the code names no sort of failure."""

    text: str
    kind: str | None = None


def describe(letters: str) -> Description | None:
    """Our description of a standard code of five characters, or None where we have none."""
    return _table().get(letters.upper())


def described() -> tuple[str, ...]:
    """Every code that has a description, in order."""
    return tuple(sorted(_table()))


@cache
def _table() -> dict[str, Description]:
    """The description of each code; the standard counts in decimal: P0140 follows P0139."""
    table = {}
    for first, (part, letters) in _FILE["blocks"].items():
        for place, letter in enumerate(letters):
            words, kind = _FILE["letters"][letter]
            table[_later(first, place)] = Description(f"{part} {words}", kind)
    for first, (step, count, words, kind) in _FILE["cylinders"].items():
        for place in range(count):
            text = words.format(cylinder=place + 1, coil="ABCDEFGHIJKL"[place])
            table[_later(first, step * place)] = Description(text, kind)
    for code, unit in _FILE["units"].items():
        table[code] = Description(f"no communication with the {unit}", "no communication")
    for code, unit in _FILE["invalid"].items():
        table[code] = Description(f"invalid data from the {_FILE['units'][unit]}", "message")
    return table | {code: Description(*described) for code, described in _FILE["single"].items()}


def _later(code: str, count: int) -> str:
    return f"{code[0]}{int(code[1:]) + count:04}"


def failure_type(byte: int) -> Description | None:
    """What the failure type `byte` of SAE J2012-DA says, or None where its meaning is not known here."""
    said = _FILE["failure_types"].get(f"{byte:02X}")
    return None if said is None else Description(*said)


def communication_partner(letters: str) -> str | None:
    """The unit that a 'no communication' code (U01xx, U02xx) names, in our words, or None."""
    unit: str | None = _FILE["units"].get(letters.upper())
    return unit


def negative_words(service: int, code: int) -> str:
    """One line for the technician: what was asked, what the unit says, and the number for the record."""
    asked = _FILE["services"].get(f"{service:02X}", f"service {service:02X}")
    rest = "a reason of the maker's own" if code >= 0x94 else "a reason that the standard reserves"
    return f"{asked}: {_FILE['refusals'].get(f'{code:02X}', rest)} (7F {service:02X} {code:02X})"
