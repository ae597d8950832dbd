"""Entries of a job in words, as (what, value): where it was measured, in which state, and what was seen."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from halfsplit.circuit.circuit import Circuit
from halfsplit.diagnosis.cost import stateless
from halfsplit.diagnosis.measurement import Measurement
from halfsplit.diagnosis.words import change_words, point_words
from halfsplit.errors import HalfsplitError
from halfsplit.job.entering import shown_value
from halfsplit.job.places import change_from_json
from halfsplit.quantities import QUANTITIES

Words = tuple[str, str]
STATE_WORDS: Mapping[str, Mapping[str, str]] = {
    "works": {"yes": "works", "weak": "weak", "no": "off"},
    "answers": {"yes": "answers", "no": "silent"},
}


def complaint_words(payload: Mapping[str, Any], circuit: Circuit | None) -> Words:
    """'H1 bench lamp, on', 'does not work'."""
    words = QUANTITIES["works"].said
    state = f", {payload['state']}" if payload.get("state") else ""
    return f"{part_named(payload.get('load', ''), circuit)}{state}", words.get(str(payload.get("works")), "")


def part_named(name: str, circuit: Circuit | None) -> str:
    """A part with what it is."""
    part = circuit.parts.get(name) if circuit else None
    return f"{name} {part.words}" if part and part.words else name


def reading_words(payload: Mapping[str, Any], circuit: Circuit | None) -> Words:
    """Where, how and in which state it was read; and the value."""
    quantity = str(payload.get("quantity"))
    value = payload.get("value", "")
    if quantity in ("stage", "gauge") and not isinstance(value, str):
        unit = own_unit(str(payload.get("at")), circuit)
        return place_words(payload, circuit), f"{float(value):.6g} {unit}".rstrip()
    shown = state_word(value, quantity) if isinstance(value, str) else value
    return place_words(payload, circuit), shown_value(quantity, shown)


def state_word(word: str, quantity: str) -> str:
    """What a load or a unit does, in a word; what is measured otherwise stands as it is.

    >>> state_word("no", "works"), state_word("no", "answers"), state_word("12.3 V", "volts")
    ('off', 'silent', '12.3 V')
    """
    return STATE_WORDS.get(quantity, {}).get(word, word)


def own_unit(at: str, circuit: Circuit | None) -> str:
    """The unit that the circuit file gives to a stage or a gauge."""
    named = (circuit.model.stages.get(at) or circuit.model.gauges.get(at)) if circuit else None
    return named.unit if named else ""


def place_words(payload: Mapping[str, Any], circuit: Circuit | None) -> str:
    """Where and how something was measured."""
    quantity, at, to = str(payload.get("quantity")), str(payload.get("at")), payload.get("to")
    where = QUANTITIES[quantity].place if quantity in QUANTITIES else "{at}"
    where = where.format(at=_point(at, circuit), part=part_named(at, circuit))
    if quantity in QUANTITIES and QUANTITIES[quantity].leads:
        where += f" to {_point(to, circuit)}" if to else " to battery negative"
    detail = " ".join(str(word) for word in payload.get("detail") or ())
    told = quantity not in ("inspection", "ohms")
    if quantity == "ohms" and circuit is not None:
        told = not stateless(Measurement(quantity, at, str(payload.get("state"))), circuit.model)
    state = f"“{payload['state']}”" if payload.get("state") and told else ""
    changes = []
    for change in payload.get("changes") or ():
        try:
            words = change_words(change_from_json(change), circuit).rstrip(".")
            changes.append(words[:1].lower() + words[1:])
        except HalfsplitError:
            changes.append(str(change))
    return ", ".join(part for part in (where, detail, state, "; ".join(changes)) if part)


def _point(name: Any, circuit: Circuit | None) -> str:
    return point_words(str(name), circuit) if circuit else str(name)


def cannot_words(payload: Mapping[str, Any], circuit: Circuit | None) -> Words:
    """What cannot be done, and why."""
    why = f": {payload['why']}" if payload.get("why") else ""
    return f"Cannot be done: {place_words(payload, circuit)}{why}", ""


def code_words(payload: Mapping[str, Any], circuit: Circuit | None) -> Words:
    """The unit, the kind of failure, the pin; and whether it is set."""
    pin = f", pin {payload['pin']}" if payload.get("pin") else ""
    return (
        f"Code in {part_named(str(payload.get('module', '')), circuit)}: {payload.get('failure', '')}{pin}",
        "set" if payload.get("set", True) else "not set",
    )
