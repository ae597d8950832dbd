"""Pattern circuits: common circuits of vehicles to start from, each with states, minutes, cautions and when to use it.

Written from general knowledge; no vehicle's own diagram. A technician renames parts and pins by the car's diagram.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

from halfsplit.errors import NotFoundError
from halfsplit.notation.library import circuit_files, head, title


@dataclass(frozen=True, slots=True)
class Pattern:
    """``use`` says when it serves, ``caution`` is shown beside it, ``text`` is the circuit file."""

    name: str
    title: str
    use: str
    caution: str
    text: str


@cache
def patterns() -> tuple[Pattern, ...]:
    """All patterns, by name."""
    return tuple(_pattern(name, text) for name, text in circuit_files("patterns"))


def pattern(name: str) -> Pattern:
    """One pattern by its name. Raises `NotFoundError` with the names that there are."""
    for one in patterns():
        if one.name == name:
            return one
    raise NotFoundError(
        f"there is no pattern {name!r}; there are {', '.join(one.name for one in patterns())}"
    )


def _pattern(name: str, text: str) -> Pattern:
    entries = head(text)
    return Pattern(name, title(text), entries.get("use it", ""), entries.get("caution", ""), text)
