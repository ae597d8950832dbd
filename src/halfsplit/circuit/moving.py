"""Which parts of a vehicle move, and which wires cross from one that moves to one that does not.

A loom bends where it crosses, and breaks there. Decided by the places of both ends of a wire; common practice, no
source.
"""

from __future__ import annotations

import re

from halfsplit.circuit.model import Model, Part
from halfsplit.circuit.naming import part_of

PANELS = [
    "tailgate",
    "boot lid",
    "bootlid",
    "trunk lid",
    "hatch",
    "bonnet",
    "sliding door",
    "door",
    "tilt cab",
]
"""Names of what moves, the longer before the shorter that they hold."""
FIXED = ("pillar", "sill", "frame", "floor", "fuse box", "kick panel", "step")
"""Words that make a place near a moving panel one of the body: 'door pillar', 'boot floor'."""
SIDE = re.compile(r"([\w' ]+?)[ -]side\b")
CROSSING = ("gaiter", "hinge", "door loom", "grommet")
"""What stands between the two: which side a plug there is on, its words must tell."""


def moves_with(part: Part | None) -> str | None:
    """What a part moves with: a panel's name, '' for the body, None where its place does not tell."""
    panels = [_panel(text.lower()) for text in (part.place, part.words)] if part is not None else []
    return next((panel for panel in panels if panel is not None), None)


def _panel(text: str) -> str | None:
    if not text:
        return None
    side = SIDE.search(text)
    if side is not None and (named := _named(side.group(1))) is not None:
        return named
    if side is not None and re.search(r"\b(body|car|vehicle|chassis|cab)\b", side.group(1)):
        return ""
    if any(word in text for word in CROSSING):
        return None
    if any(word in text for word in FIXED):
        return ""
    named = _named(text)
    return "" if named is None else named


def _named(text: str) -> str | None:
    return next((panel for panel in PANELS if re.search(rf"\b{panel}s?\b", text)), None)


def crossing_wires(model: Model) -> dict[str, bool]:
    """Names of the wires that are taken to bend, and whether both ends' places say so.

    Where one end is on a panel and nobody says where the other is, the wire may cross or not.
    """
    crossing = {}
    for wire in model.wires:
        parts = [model.parts.get(part_of(end)) for end in wire.ends]
        ends = [moves_with(part) for part in parts]
        # A splice is wherever its wires are.
        may_cross = all(part is not None and part.kind != "splice" for part in parts)
        if None not in ends and ends[0] != ends[1]:
            crossing[wire.name] = True
        elif None in ends and any(ends) and may_cross:
            crossing[wire.name] = False
    return crossing
