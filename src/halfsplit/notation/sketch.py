"""A circuit begun without a diagram: one load, how it is fed and earthed, as text to go on from."""

from __future__ import annotations

import re
from dataclasses import dataclass

from halfsplit.errors import InputError
from halfsplit.notation.edits import COLOURS, quotable


@dataclass(frozen=True)
class Sketch:
    """The least that a technician knows: the load, how it is fed and earthed."""

    kind: str = "lamp"
    words: str = ""
    amount: str = ""
    feed_colour: str = ""
    ground_colour: str = ""
    fuse: str = ""
    switched: str = "switch"


SKETCH_LOADS = {
    "lamp": ("H1", "21 W"),
    "motor": ("M1", "5 A"),
    "heater": ("EH1", "120 W"),
    "solenoid": ("Y1", "1 A"),
}
"""Kind → name in the sketch and what it takes where nobody says; common practice, no source."""


def sketch_text(sketch: Sketch) -> str:
    """Notation of one load with a fuse, a switch, its two wires and a ground joint: enough for the first tests.

    The feed between fuse, switch and load is a stretch that no diagram has shown yet; it is filled in as answers come.
    """
    if sketch.kind not in SKETCH_LOADS:
        raise InputError(f"{sketch.kind!r} is no load", remedy=f"choose {', '.join(SKETCH_LOADS)}")
    name, usual = SKETCH_LOADS[sketch.kind]
    words = quotable(sketch.words) or f"the {sketch.kind}"
    is_switched = sketch.switched == "switch"
    before, after = ("S1.1", "S1.2") if is_switched else ("SP1", "SP1")
    lines = [
        f"title  {words}",
        "# Begun without a diagram: fill in connectors and wires as they are found.",
        "battery G1",
        f"fuse F1 {_amount(sketch.fuse, 'A') or '10 A'}",
        f'{sketch.kind} {name} {_amount(sketch.amount, "W", "A") or usual} "{words}"',
        'ground E1 "ground of the load"',
        'ground E2 "battery ground"',
        f"F1.2 -- ? -- {before}",
        f"{after} --{_wire(sketch.feed_colour)} {name}.1",
        "G1.+ -- F1.1",
        f"{name}.2 --{_wire(sketch.ground_colour)} E1",
        "G1.- --[16mm2]-- E2",
    ]
    if is_switched:
        lines += ['switch S1 off on "what switches it"', 'state "off"', 'state "on" S1 on']
    return "\n".join(lines) + "\n"


def _wire(colour: str) -> str:
    picked = "/".join(part for part in colour.upper().split("/") if part in COLOURS)
    return f"[{picked}]--" if picked else ""


def _amount(text: str, *units: str) -> str:
    match = re.fullmatch(r"\s*(\d{1,4}(?:\.\d{1,2})?)\s*([A-Za-z]?)\s*", text)
    unit = (match[2].upper() or units[0]) if match else ""
    return f"{match[1]} {unit}" if match and unit in units else ""
