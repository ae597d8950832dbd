"""What a channel shows: the role by which traces are named, listed, measured and coloured; never a letter."""

import re
from dataclasses import dataclass
from typing import Final

import numpy as np

from halfsplit.capture.capture import Capture
from halfsplit.capture.channel import Channel
from halfsplit.errors import InputError

COLOURS: Final = ("#000000", "#E69F00", "#CC79A7", "#009E73", "#56B4E9")
"""Black, orange, reddish purple, bluish green, sky blue: the Okabe-Ito set, in the order of the roles shown."""


@dataclass(frozen=True)
class Role:
    """The name, the unit that its values must have, and what is connected where."""

    name: str
    unit: str
    lead: str


_TABLE: Final = (
    Role("battery volts", "V", "battery positive against battery negative post"),
    Role("starter current", "A", "clamp round all cables of one battery post"),
    Role("sync pulse", "", "a signal once in two turns of the crankshaft, cylinder 1's ignition as a rule"),
    Role("generator current", "A", "clamp round the generator's output cable"),
    Role("motor current", "A", "clamp round one wire of the pump or fan"),
    Role("injector volts", "V", "driven end of the injector against ground"),
    Role("injector current", "A", "clamp round one wire of the injector"),
    Role("coil volts", "V", "driven end of the coil's primary against ground"),
    Role("coil current", "A", "clamp round the feed of the coil's primary"),
    Role("crank", "", "crankshaft sensor"),
    Role("cam", "", "camshaft sensor"),
    Role("switched signal", "", "any signal that is switched on and off"),
    Role("upper volts", "V", "the end of the path nearer to battery positive, against battery negative"),
    Role("lower volts", "V", "the other end of the same path, against battery negative"),
    Role("drop volts", "V", "straight across the path"),
    Role("load current", "A", "clamp round the wire of the same load"),
    Role("CAN high", "V", "CAN high against ground"),
    Role("CAN low", "V", "CAN low against ground"),
    Role("CAN receive", "", "one CAN line, or a logic record of a receiver"),
    Role("bus frames", "", "a log of frames that an adapter noted"),
    Role("bus frame bytes", "", "the length of each frame of that log"),
    Role(
        "diagnostic line", "", "the older diagnostic line of ISO 9141, ISO 14230 or SAE J1850 against ground"
    ),
    Role("LIN", "", "the LIN line against ground, or a logic record of it"),
    Role("battery current", "A", "clamp or shunt at the battery's negative post"),
)

ROLES: Final[dict[str, Role]] = {role.name: role for role in _TABLE}
"""Every role by its name."""

_HINTS: Final = (
    ("battery volts", r"batt\w*\s*(volt|v\b)|\bubat\b|battery$"),
    ("starter current", r"start\w*\s*(curr|amp|a\b)|crank\w*\s*(curr|amp)"),
    ("sync pulse", r"\bsync\b"),
    ("generator current", r"(generator|alternator)\s*(curr|amp)"),
    ("motor current", r"(pump|fan|motor|blower)\s*(curr|amp)"),
    ("injector volts", r"inj\w*\s*(volt|v\b)"),
    ("injector current", r"inj\w*\s*(curr|amp)"),
    ("coil volts", r"(coil|primary|ignition)\s*(volt|v\b)"),
    ("coil current", r"(coil|primary|ignition)\s*(curr|amp)"),
    ("bus frames", r"^can frames\b"),
    ("bus frame bytes", r"^can frame bytes\b"),
    ("CAN high", r"\bcan[ _-]?h(igh)?\b"),
    ("CAN low", r"\bcan[ _-]?l(ow)?\b"),
    ("CAN receive", r"\bcan([ _-]?(rx|receive|bus))?\b"),
    ("diagnostic line", r"\bk[ _-]?line\b|\b(iso ?)?(9141|14230)\b|\bj1850\b|\bdiagnos\w* line\b"),
    ("LIN", r"\blin([ _-]?(bus|line|rx))?\b"),
    ("crank", r"\bcrank(shaft)?\b"),
    ("cam", r"\bcam(shaft)?\b"),
    ("battery current", r"batt\w*\s*(curr|amp)"),
)
"""Role, and the names by which channels of it are commonly called; the first that fits is suggested."""


def role_named(name: str) -> Role:
    """The role of a name; raises `InputError` with the names that there are."""
    wanted = " ".join(name.split()).casefold()
    for role in _TABLE:
        if role.name.casefold() == wanted:
            return role
    raise InputError(f"there is no role {name!r}", remedy=f"choose one of {', '.join(ROLES)}")


def suggested_roles(capture: Capture) -> dict[str, str]:
    """Channel name -> role, for channels whose names say what they show and that carry a signal.

    One CAN line alone is taken as a logic record, since a pair needs both.
    """
    suggested: dict[str, str] = {}
    for channel in capture.channels:
        name = channel.name.replace("_", " ")
        role = next((role for role, pattern in _HINTS if re.search(pattern, name, re.IGNORECASE)), None)
        if role and role not in suggested.values():
            suggested[channel.name] = role
    lines = [name for name, role in suggested.items() if role in ("CAN high", "CAN low")]
    if len(lines) == 1 or any(is_logic(capture[name]) for name in lines):
        kept = next((name for name in lines if _moves(capture[name])), None)
        suggested = {name: role for name, role in suggested.items() if name not in lines}
        if kept and "CAN receive" not in suggested.values():
            suggested[kept] = "CAN receive"
    return suggested


def is_logic(channel: Channel) -> bool:
    """Whether a channel holds 0 and 1 only: a logic record, not volts."""
    part = np.asarray(channel.raw[:1_000_000])
    return bool(np.isin(part, (0, 1)).all())


def _moves(channel: Channel) -> bool:
    return bool(len(channel)) and bool(np.min(channel.raw) != np.max(channel.raw))
