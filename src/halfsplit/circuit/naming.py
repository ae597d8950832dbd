"""Parts and points in words, as a technician says them: what it is first, the code of the diagram after it."""

from __future__ import annotations

import re
from collections.abc import Mapping

from halfsplit.circuit.model import Model, Part

KIND_WORDS: Mapping[str, str] = {
    "ground": "ground point",
    "connector": "plug",
    "splice": "joint in the wiring",
    "module": "control unit",
    "heater": "heating element",
    "solenoid": "valve",
    "mass": "metal body",
}
"""Kinds that the notation calls otherwise than people do; the others stand as they are."""
OWN_WORDS = ("lamp", "motor", "heater", "solenoid", "resistor", "module")
"""Kinds that are told by their words alone: 'rear wiper motor', not 'motor (rear wiper motor)'."""
PREPOSITION = re.compile(r"(?:behind|below|under|on|in|at|beside|by|near|above|between)\b")
SIDE_WORDS: Mapping[str, str] = {"ground": "ground", "mass": "ground", "heater": "heater"}
"""Kinds whose side of a plug is called shorter than the part itself: 'ground side', 'heater side'."""
JOINTS = ("connector", "splice")


def part_of(name: str) -> str:
    """The part or connector that a point, pin or cavity belongs to."""
    return name.partition(":")[0].partition(".")[0]


def thing_words(part: Part) -> str:
    """What a part is: its words, with its kind where the words do not tell it."""
    kind = KIND_WORDS.get(part.kind, part.kind)
    words = part.words or (part.place if part.kind == "ground" else "")
    if not words:
        return kind
    if part.kind in OWN_WORDS or kind in words.lower():
        return words
    return f"{kind} {words}" if PREPOSITION.match(words) else f"{kind} “{words}”"


def side_words(point: str, model: Model) -> str:
    """The side of a cavity by what lies there: ``X40.5:out`` → 'ground side', ``X40.5:in`` → 'lamp side'.

    Where the same kind lies on both sides the wire tells it ('side towards H2'); '' for a point without sides.
    """
    cavity, _, side = point.partition(":")
    if side not in ("in", "out"):
        return ""
    joined: dict[str, list[str]] = {}
    for wire in model.wires:
        # A cavity is left through ``:out`` and reached on ``:in``.
        a, b = _sided(wire.a, "out", model), _sided(wire.b, "in", model)
        joined.setdefault(a, []).append(b)
        joined.setdefault(b, []).append(a)
    own, other = (_first_kind(f"{cavity}:{end}", cavity, joined, model) for end in (side, _other(side)))
    if own and own != other:
        return f"{own} side"
    next_to = next(iter(joined.get(point, ())), "")
    return f"side towards {next_to.partition('.')[0]}" if next_to else "open side"


def _other(side: str) -> str:
    return "out" if side == "in" else "in"


def _sided(point: str, side: str, model: Model) -> str:
    part = model.parts.get(point.partition(".")[0])
    return f"{point}:{side}" if part and part.kind == "connector" and ":" not in point else point


def _first_kind(start: str, cavity: str, joined: Mapping[str, list[str]], model: Model) -> str:
    """The kind of the nearest part that is no joint, from one side of a cavity on; '' where there is none."""
    queue, seen = [start], {start, f"{cavity}:in", f"{cavity}:out"}
    for point in queue:
        for neighbour in joined.get(point, ()):
            part = model.parts.get(neighbour.partition(".")[0])
            if part is None or neighbour in seen:
                continue
            if part.kind not in JOINTS:
                return SIDE_WORDS.get(part.kind) or KIND_WORDS.get(part.kind, part.kind)
            head, _, side = neighbour.partition(":")
            onward = {neighbour, f"{head}:{_other(side)}" if side else neighbour}
            seen |= onward
            queue += sorted(onward)
    return ""
