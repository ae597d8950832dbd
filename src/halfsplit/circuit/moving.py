"""Which parts of a vehicle move, and which wires cross from one that moves to one that does not.

A loom bends where it crosses, and breaks there. Decided by the places of both ends of a wire; common practice, no
source.
"""

from __future__ import annotations

import re

from halfsplit.circuit.model import Model, Part, Wire

PANELS = (
    "tailgate",
    "boot lid",
    "bootlid",
    "trunk lid",
    "hatch",
    "bonnet",
    "sliding door",
    "door",
    "tilt cab",
)
"""Names of what moves, the longer before the shorter that they hold."""
FIXED = ("pillar", "sill", "frame", "floor", "fuse box", "kick panel", "step")
"""Words that make a place near a moving panel one of the body: 'door pillar', 'boot floor'."""
SIDE = re.compile(r"([\w' ]+?)[ -]side\b")
CROSSING = ("gaiter", "hinge", "door loom", "grommet")
"""What stands between the two: which side a plug there is on, its words must tell."""


def moves_with(part: Part | None) -> str | None:
    """What a part moves with: a panel's name, '' for the body, None where its place does not tell."""
    if part is None:
        return None
    return next(
        (panel for text in (part.place, part.words) if (panel := _panel(text.lower())) is not None), None
    )


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
        ends = _end(wire.a, model), _end(wire.b, model)
        if None not in ends and ends[0] != ends[1]:
            crossing[wire.name] = True
        elif None in ends and any(ends) and _may_cross(wire, model):
            crossing[wire.name] = False
    return crossing


def _end(point: str, model: Model) -> str | None:
    return moves_with(model.parts.get(point.partition(":")[0].partition(".")[0]))


def _may_cross(wire: Wire, model: Model) -> bool:
    """Neither end is a splice, which is wherever its wires are."""
    names = (point.partition(":")[0].partition(".")[0] for point in (wire.a, wire.b))
    return all((part := model.parts.get(name)) is not None and part.kind != "splice" for name in names)
