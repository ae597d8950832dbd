"""What a channel shows: the role by which traces are named, listed, measured and coloured; never a letter."""

import re
import tomllib
from dataclasses import dataclass
from importlib.resources import files
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


TABLES: Final = tomllib.loads(files("halfsplit.capture").joinpath("roles.toml").read_text(encoding="utf-8"))

ROLES: Final = {name: Role(name, unit, lead) for name, (unit, lead) in TABLES["roles"].items()}
"""Every role by its name."""

INJECTORS: Final = ("injector volts", "injector current")
"""Roles that several channels may have, one for each cylinder."""

_HINTS: Final = {role: re.compile(pattern, re.IGNORECASE) for role, pattern in TABLES["hints"].items()}


def role_named(name: str) -> Role:
    """The role of a name; raises `InputError` with the names that there are."""
    wanted = " ".join(name.split()).casefold()
    for role in ROLES.values():
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
        role = next((role for role, pattern in _HINTS.items() if pattern.search(name)), None)
        if role and role not in suggested.values():
            suggested[channel.name] = role
    lines = [name for name, role in suggested.items() if role in ("CAN high", "CAN low")]
    if len(lines) == 1 or any(is_logic(capture[name]) for name in lines):
        traces = {name: capture[name].raw for name in lines if len(capture[name])}
        kept = next((name for name, raw in traces.items() if np.min(raw) != np.max(raw)), None)
        suggested = {name: role for name, role in suggested.items() if name not in lines}
        if kept and "CAN receive" not in suggested.values():
            suggested[kept] = "CAN receive"
    return suggested


def is_logic(channel: Channel) -> bool:
    """Whether a channel holds 0 and 1 only: a logic record, not volts."""
    part = np.asarray(channel.raw[:1_000_000])
    return bool(np.isin(part, (0, 1)).all())
