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
from halfsplit.harness.terminals import Terminal, terminal

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


_WORDS: Final = (
    (r"koppelstelle|trennstelle|kupplung|coupling|in-?line|leitungsende|wire end", OPEN, ""),
    (r"steckdose|socket|outlet", OPEN, ""),
    (r"batterie|battery|akku", "battery", ""),
    (r"massepunkt|masse\b|ground point|earth point|chassis", "ground", ""),
    (
        r"steuerger|control unit|\becu\b|interface|tuner|radio|wechsler|verstärker|amplifier|cluster",
        "module",
        "",
    ),
    (r"relais|relay", "relay", ""),
    (r"schalter|taster|switch|button|betätigung", "switch", ""),
    (r"kontroll-?le?uchte|warnleuchte|warning lamp|telltale|beleuchtung|illumination", "lamp", "1.2 W"),
    (r"scheinwerfer|head-?lamp|head-?light", "lamp", "55 W"),
    (
        r"schluss|rückleuchte|tail|kennzeichen|number plate|standlicht|side ?(?:lamp|light)|innen",
        "lamp",
        "5 W",
    ),
    (r"lampe|leuchte|licht\b|lamp|light|blink|indicator|\bled\b", "lamp", "21 W"),
    (r"geber|sensor|fühler|sender|thermist", "sensor", ""),
    (r"anzeige|gauge|display|instrument", "module", ""),
    (r"anlasser|starter", "solenoid", "10 A"),
    (r"horn|hupe|fanfare", "motor", "5 A"),
    (r"gebläse|lüfter|blower|\bfan\b", "motor", "15 A"),
    (r"pumpe|pump", "motor", "4 A"),
    (r"motor(?!raum)|wischer|wiper", "motor", "5 A"),
    (r"ventil|valve|solenoid|magnet|injector|einspritz|aktor|actuator", "solenoid", "1 A"),
    (r"heckscheibe|rear (?:window|screen)|heated screen", "heater", "150 W"),
    (r"heiz|heat|glüh|glow", "heater", "60 W"),
)
"""Words → kind and value; the first that fits counts, so that a switch for a lamp is a switch."""

_PATTERNS: Final = tuple((re.compile(words, re.IGNORECASE), kind, value) for words, kind, value in _WORDS)
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
