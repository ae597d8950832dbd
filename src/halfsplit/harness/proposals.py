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

    def terminals(self) -> dict[str, Terminal | None]:
        """Cavity → its terminal by DIN 72552, where the signal's name tells it."""
        return {cavity: terminal(signal) for cavity, signal in self.signals.items()}


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
_TWO: Final = 2


def proposal(plug: Plug) -> Plugged:
    """What is likely plugged in, with the reason; `open` where nothing tells."""
    return _by_place(plug) or _by_words(plug) or _by_signals(plug) or _by_code(plug) or Plugged(OPEN)


def _by_place(plug: Plug) -> Plugged | None:
    """Rings that carry terminal 31 are grounds, unless they are on the battery; bare ends lead nowhere."""
    if plug.kind == "loose":
        return Plugged(OPEN, why="a bare end")
    roles = {terminal.role for terminal in plug.terminals().values() if terminal}
    if plug.kind == "ring" and not re.search(r"batter", plug.words, re.IGNORECASE) and roles == {"ground"}:
        return Plugged("ground", why="a ring with terminal 31")
    return None


def _by_words(plug: Plug) -> Plugged | None:
    return next(
        (
            Plugged(kind, value, f"by its name {plug.words!r}")
            for pattern, kind, value in _PATTERNS
            if pattern.search(plug.words)
        ),
        None,
    )


def _by_signals(plug: Plug) -> Plugged | None:
    roles = [terminal.role for terminal in plug.terminals().values() if terminal]
    fed = [role for role in roles if role in ("feed", "switched")]
    if not fed or "ground" not in roles:
        return None
    if len(plug.signals) == _TWO:
        return Plugged("resistor", "12 ohm", "by its signals: a feed and ground")
    return Plugged("module", why="by its signals: a feed and ground")


def _by_code(plug: Plug) -> Plugged | None:
    """By the letter code of DIN 40719-2 in its name, where nothing else tells."""
    for token in re.split(r"[^A-Za-z0-9]+", plug.name):
        match = re.fullmatch(r"([A-Z]{1,2})\d+", token)
        kind = CODES.get(match[1], "") if match else ""
        if kind in _CODED:
            return Plugged(kind, why=f"by the letter code of {token}")
    return None
