"""The customer's words: parts by what they are, faults by what is wrong, readings without false exactness.

The workshop's record keeps the technician's words; here nothing is told that a customer would have to look up.
"""

from __future__ import annotations

import re
from collections.abc import Mapping

from halfsplit.circuit.circuit import Circuit
from halfsplit.circuit.instruments import METER_MOST_OHMS
from halfsplit.circuit.interventions import Intervention, Jump, LampFor, Replace, StandInFor, Unplug
from halfsplit.circuit.model import BODY
from halfsplit.circuit.naming import side_words, thing_words
from halfsplit.diagnosis.cost import stateless
from halfsplit.diagnosis.measurement import Measurement
from halfsplit.errors import HalfsplitError
from halfsplit.job.entering import OVER_RANGE
from halfsplit.quantities import QUANTITIES
from halfsplit.units import format_quantity

JOINTS = ("ground", "cavity", "contact", "splice", "joint")
MODES: tuple[tuple[str, Mapping[str, str]], ...] = (
    ("coil open", {"": "its coil is interrupted"}),
    ("contact open", {"": "its contact does not close"}),
    ("contact welded", {"": "its contact does not open any more"}),
    ("high resistance", {"": "poor connection", "wire": "damaged inside", "battery": "worn out"}),
    ("short to body", {"": "touches the metal of the body"}),
    ("short to supply", {"": "touches another live wire"}),
    ("short to", {"": "touches the contact beside it"}),
    ("signal", {"": "its signal is wrong"}),
    ("shorted", {"": "short-circuited inside"}),
    ("stalled", {"": "does not turn"}),
    ("never on", {"": "one of its outputs does not switch on"}),
    ("always on", {"": "one of its outputs does not switch off"}),
    ("not read", {"": "does not see one of its inputs"}),
    ("missing", {"": "one of its supplies is missing", "bus terminator": "terminator missing"}),
    ("dead", {"": "does not work, though it has its supply and ground"}),
    ("low", {"": "weak"}),
    ("closed", {"": "does not open any more"}),
    ("open", {"": "interrupted inside", "wire": "broken", "fuse": "blown", "lamp": "burnt out"}),
)
"""End or part of a mode → words by kind of fault, '' for all others; the first that fits counts."""


# What it is


def described(name: str | None, circuit: Circuit) -> str:
    """``X40.5:out`` → 'contact 5 of the plug of the right rear lamp, ground side (X40.5)'.

    None is the battery's negative post.
    """
    if name is None:
        return "the battery's negative terminal"
    if name == BODY:
        return "the bare metal of the body"
    if name.startswith("wire "):
        ends = [_core(end.partition(".")[0], circuit) for end in name.split()[1:3]]
        return f"the wire from the {ends[0]} to the {ends[1]}"
    point = name.partition(":")[0]
    head, _, pin = point.partition(".")
    if head not in circuit.parts:
        stage = circuit.model.stages.get(head)
        return stage.words if stage and stage.words else name
    word = "contact" if circuit.parts[head].kind == "connector" else "terminal"
    at = f"{word} {pin} of the " if pin else ""
    side = side_words(name, circuit.model)
    return f"{at}{_core(head, circuit)}{', ' + side if side else ''} ({point})"


def _core(name: str, circuit: Circuit) -> str:
    part = circuit.parts.get(name)
    return thing_words(part) if part else name


def cause_words(name: str, circuit: Circuit) -> str:
    """``E5 high resistance 10 ohm`` → 'Ground point behind the right rear lamp (E5): poor connection'."""
    try:
        fault = circuit.fault(name)
    except HalfsplitError:
        return name
    if fault is None or fault.failure or fault.members or fault.kind in ("unknown", "nothing"):
        return name
    if fault.kind.startswith("bus"):
        return f"Data line {fault.part}: {fault.mode}"
    kind, said = "joint" if fault.kind in JOINTS else fault.kind, fault.mode
    for word, by_kind in MODES:
        if word in fault.mode:
            said = "no connection" if (word, kind) == ("open", "joint") else by_kind.get(kind, by_kind[""])
            break
    whole = f"{described(fault.part, circuit)}: {said}".removeprefix("the ")
    return whole[:1].upper() + whole[1:]


def repair_words(name: str, circuit: Circuit) -> str:
    """``clean and tighten E5`` → 'Clean and tighten the ground point behind the right rear lamp (E5)'."""
    try:
        fault = circuit.fault(name)
    except HalfsplitError:
        return ""
    if fault is None or fault.failure or fault.members:
        return fault.repair if fault else ""
    plain = re.sub(r"\b(?:cavity|contact|joint|splice) (?=[A-Za-z]+\w*)", "", fault.repair)
    names = [fault.part, *sorted(circuit.parts, key=len, reverse=True)]
    named = next((name for name in names if re.search(rf"(?<!\S){re.escape(name)}(?!\S)", plain)), "")
    if named:
        thing = described(named, circuit)
        plain = plain.replace(named, _the(thing), 1)
    return plain[:1].upper() + plain[1:]


DONE = (
    ("Clean and tighten", "Cleaned and tightened"),
    ("Dry and repair", "Dried and repaired"),
    ("Repair", "Repaired"),
    ("Replace", "Replaced"),
)


def done_words(repair: str) -> str:
    """What is to be done, as done.

    >>> done_words("Replace the rear wiper motor (M9)")
    'Replaced the rear wiper motor (M9)'
    """
    for ask, done in DONE:
        if repair.startswith(f"{ask} "):
            return done + repair[len(ask) :]
    return repair


# What was done and seen


def asked_words(place: Measurement, circuit: Circuit) -> str:
    """What was done, as one would say it: 'Voltage from … to … (brake)'."""
    quantity = QUANTITIES[place.quantity]
    part = described(place.at, circuit)
    asked = quantity.for_customer.format(
        part=part,
        the_part=_the(part),
        leads=f"{_the(part)} to {_the(described(place.to, circuit))}",
        look=f"{place.detail[0]} of" if place.detail else "a close look at",
    )
    if not asked:
        return ""
    made = [_change(change, circuit) for change in place.changes]
    still = len(circuit.states) == 1 or stateless(place, circuit.model)
    state = "" if still else f"in state “{place.state}”"
    whole = ", ".join(word for word in (asked, *made, state) if word)
    return whole[:1].upper() + whole[1:]


def _the(words: str) -> str:
    return words if words.startswith(("the ", "contact ", "terminal ")) else f"the {words}"


def _change(change: Intervention, circuit: Circuit) -> str:
    match change:
        case Unplug(name):
            return f"with the {_core(name, circuit)} unplugged"
        case Jump(a, b):
            return f"with a bridge from {_the(described(a, circuit))} to {_the(described(b, circuit))}"
        case LampFor(fuse):
            return f"with a lamp in place of the {_core(fuse, circuit)}"
        case Replace(name) if name.startswith("wire "):
            return f"with {described(name, circuit)} cut off and another laid past it"
        case Replace(name) if "." in name:
            return f"with a new {described(name, circuit)}"
        case Replace(name):
            return f"with another {_core(name, circuit)} fitted"
        case StandInFor(stage):
            return f"with {stage} stood in for"


def seen_words(place: Measurement, value: float | str, healthy: str = "") -> str:
    """What was seen, to a tenth of a volt; ``healthy``: the word that a healthy circuit gives."""
    if place.quantity == "ohms" and (
        value == OVER_RANGE or (isinstance(value, float) and value >= METER_MOST_OHMS)
    ):
        return "no connection"
    if not isinstance(value, str):
        unit = QUANTITIES[place.quantity].unit
        if unit in ("V", "A"):
            return f"under 0.1 {unit}" if abs(value) < 0.05 else f"{value:.1f} {unit}"
        if place.quantity == "ohms":
            return format_quantity(value, "ohm", 2)
        return f"{value:.3g}"
    as_should = AS_SHOULD.get((value, healthy)) if place.quantity == "works" else None
    return as_should or QUANTITIES[place.quantity].said.get(value, value)


AS_SHOULD = {
    ("no", "no"): "stays off, as it should",
    ("yes", "no"): "works, though it should be off",
    ("weak", "no"): "glows or turns, though it should be off",
}
"""What a load did, what a healthy one does → how that is put."""


def right_words(place: Measurement, allowed: str) -> str:
    """What would have been right, as it is told: the range stays, a word becomes a sentence."""
    if place.quantity == "works":
        return {"yes": "works", "weak": "works at part power", "no": "stays off"}.get(allowed, allowed)
    return seen_words(place, allowed) if place.quantity == "answers" else allowed
