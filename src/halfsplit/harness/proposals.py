"""What is likely plugged into a connector: by its words, its signals, and the letter code of its name.

A harness file does not hold what hangs on it. These are proposals for a person to confirm; the words are those that
people use for parts (German and English), never numbers or names of one maker. Values are common practice, no source.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

from halfsplit.circuit.kinds import CODES
from halfsplit.harness.terminals import WORDS, Terminal, terminal

OPEN: Final = "open"
"""Nothing is known to be plugged in: the connector stays as it is, wired on one side."""


@dataclass(frozen=True, slots=True)
class Plug:
    """A connector, ring or bare end as the table shows it. ``signals``: cavity → name of its signal ('' for none)."""

    key: str
    name: str
    kind: str
    words: str
    signals: Mapping[str, str]

    def terminals(self) -> dict[str, Terminal]:
        """Cavity → its terminal by DIN 72552, of those whose signal's name tells it."""
        return {cavity: held for cavity, signal in self.signals.items() if (held := terminal(signal))}


@dataclass(frozen=True, slots=True)
class Plugged:
    """What is plugged in: a kind of the notation, `open`, or ``battery``; its values as text; why it is proposed."""

    kind: str
    value: str = ""
    why: str = ""


_PATTERNS: Final = tuple(
    (re.compile(words, re.IGNORECASE), kind, value) for words, kind, value in WORDS["plugged"]
)
"""Words of a connector, and the kind and value that they tell; the first that fits counts."""

_CODED: Final = ("lamp", "motor", "resistor", "solenoid", "sensor", "switch", "module", "relay")


def proposal(plug: Plug) -> Plugged:
    """What is likely plugged in, with the reason; `open` where nothing tells."""
    if plug.kind == "loose":
        return Plugged(OPEN, why="a bare end")
    roles = {terminal.role for terminal in plug.terminals().values()}
    on_battery = re.search(r"batter", plug.words, re.IGNORECASE)
    if plug.kind == "ring" and not on_battery and roles == {"ground"}:
        return Plugged("ground", why="a ring with terminal 31")
    for pattern, kind, value in _PATTERNS:
        if pattern.search(plug.words):
            return Plugged(kind, value, f"by its name {plug.words!r}")
    if "ground" in roles and roles & {"feed", "switched"}:
        kind, value = ("resistor", "12 ohm") if len(plug.signals) == 2 else ("module", "")
        return Plugged(kind, value, "by its signals: a feed and ground")
    # By the letter code of DIN 40719-2 in its name.
    for token in re.split(r"[^A-Za-z0-9]+", plug.name):
        match = re.fullmatch(r"([A-Z]{1,2})\d+", token)
        kind = CODES.get(match[1], "") if match else ""
        if kind in _CODED:
            return Plugged(kind, why=f"by the letter code of {token}")
    return Plugged(OPEN)
