"""The kinds of evidence, one table: what an entry must say, how a diagnosis hears it, how it is told in words.

`KINDS` is used alike by what enters (pages, API, terminal), by the replay and by the record. Entries of other kinds are
kept by the bays themselves (`OpenJob.keep`) and told by their ``text``.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any

from halfsplit.circuit.circuit import Circuit
from halfsplit.diagnosis.cost import stateless
from halfsplit.diagnosis.diagnosis import Diagnosis
from halfsplit.diagnosis.measurement import OVER_RANGE as OPEN_OHMS
from halfsplit.diagnosis.measurement import Measurement, Reading
from halfsplit.diagnosis.words import change_words, point_words
from halfsplit.errors import HalfsplitError, InputError
from halfsplit.job.entering import OVER_RANGE, shown_value
from halfsplit.job.places import NoCircuitError, change_from_json, check_place, from_json, to_json
from halfsplit.quantities import QUANTITIES
from halfsplit.store import EvidenceEntry

REPAIR, REOPENED = "repair", "reopened"
UNPLUGGED, REFITTED, DECLINED = "unplugged", "refitted", "declined"
LONGEST_TEXT = 2_000
"""Characters of a remark, a reason, a name of a place."""

Payload = Mapping[str, Any]


@dataclass(frozen=True)
class Kind:
    """One kind of evidence.

    ``check`` gives the payload as it is stored, or raises InputError (ConflictError without a usable circuit).
    ``words`` gives (what, value). ``hear`` tells it to a diagnosis; None where it concerns people only.
    """

    check: Callable[[Payload, Circuit | None], dict[str, Any]]
    words: Callable[[Payload, Circuit | None], Words]
    hear: Callable[[Diagnosis, EvidenceEntry], Reading | None] | None = None


# What must be said


def checked_text(value: Any, where: str, *, needed: bool = True) -> str:
    """Words that somebody typed, without spaces at their ends. Raises InputError naming the field."""
    if value is None and not needed:
        return ""
    fits = isinstance(value, str) and len(value) <= LONGEST_TEXT and "\x00" not in value
    if not fits or (needed and not value.strip()):
        raise InputError(
            "a few words are expected here", remedy=f"at most {LONGEST_TEXT} characters", where=where
        )
    return str(value).strip()


def known_place(said: Payload, circuit: Circuit | None) -> Measurement:
    """What was measured. Raises ConflictError without a circuit, UnknownNameError where it holds no such place."""
    measured = from_json(said)
    if circuit is None:
        raise NoCircuitError
    check_place(circuit, measured)
    return measured


def _complaint(said: Payload, circuit: Circuit | None) -> dict[str, Any]:
    works = said.get("works")
    if works not in ("yes", "weak", "no"):
        raise InputError(f"{works!r} is no answer", remedy="one of yes, weak, no", where="works")
    load = checked_text(said.get("load"), "load")
    state = checked_text(said.get("state"), "state", needed=False)
    # a load works, a stage holds, a unit answers
    stage = circuit is not None and load in circuit.model.stages
    part = circuit.parts.get(load) if circuit else None
    quantity = "stage" if stage else "answers" if part and part.kind == "module" else "works"
    known_place({"quantity": quantity, "at": load, "state": state}, circuit)
    return {"load": load, "works": works, "state": state}


def _code(said: Payload, _: Circuit | None) -> dict[str, Any]:
    pin = said.get("pin")
    return {
        "module": checked_text(said.get("module"), "module"),
        "failure": checked_text(said.get("failure"), "failure"),
        "pin": None if pin in (None, "") else str(pin),
        "set": bool(said.get("set", True)),
        "state": checked_text(said.get("state"), "state", needed=False),
    }


def _cannot(said: Payload, circuit: Circuit | None) -> dict[str, Any]:
    return to_json(known_place(said, circuit)) | {"why": checked_text(said.get("why"), "why", needed=False)}


def _reading(said: Payload, _: Circuit | None) -> dict[str, Any]:
    raise InputError(
        "a reading is entered as it is shown", remedy="send `value` as text with the place", where="kind"
    )


def _texts(*names: str, free: tuple[str, ...] = ()) -> Callable[[Payload, Circuit | None], dict[str, Any]]:
    """Fields of words: those that are needed, and those that may be empty."""

    def check(said: Payload, _: Circuit | None) -> dict[str, Any]:
        needed = {name: checked_text(said.get(name), name) for name in names}
        return needed | {name: checked_text(said.get(name), name, needed=False) for name in free}

    return check


# How a diagnosis hears it


def _hear_complaint(diagnosis: Diagnosis, entry: EvidenceEntry) -> Reading:
    said = entry.payload
    return diagnosis.complain(said["load"], works=said["works"], state=said.get("state") or None)


def _hear_reading(diagnosis: Diagnosis, entry: EvidenceEntry) -> Reading:
    place = from_json(entry.payload)
    value = entry.payload["value"]
    # It was asked about when it was entered; what is stored stands.
    return diagnosis.measure(
        place.quantity,
        at=place.at,
        to=place.to,
        state=place.state or None,
        value=OPEN_OHMS if value == OVER_RANGE else value,
        instrument=place.instrument,
        changes=place.changes,
        detail=place.detail,
        sure=True,
        present=None if entry.present == "unknown" else entry.present,
    )


def _hear_code(diagnosis: Diagnosis, entry: EvidenceEntry) -> Reading:
    said = entry.payload
    return diagnosis.code(
        said["module"],
        said["failure"],
        pin=said.get("pin") or None,
        state=said.get("state") or None,
        is_set=said.get("set", True),
    )


def _hear_cannot(diagnosis: Diagnosis, entry: EvidenceEntry) -> None:
    diagnosis.cannot(from_json(entry.payload), why=str(entry.payload.get("why", "")))


# How it is told: as (what, value)


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
    in_a_state = quantity not in ("inspection", "ohms")
    if quantity == "ohms" and circuit is not None:
        in_a_state = not stateless(Measurement(quantity, at, str(payload.get("state"))), circuit.model)
    state = f"“{payload['state']}”" if payload.get("state") and in_a_state else ""
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


# The table


def _what(head: str) -> Callable[[Payload, Circuit | None], Words]:
    return lambda said, _: (f"{head}: {said.get('what', '')}", "")


def _part(head: str) -> Callable[[Payload, Circuit | None], Words]:
    return lambda said, circuit: (f"{head}: {part_named(str(said.get('what', '')), circuit)}", "")


def _plain(said: Payload, _: Circuit | None) -> Words:
    return str(said.get("text") or said.get("what") or ""), ""


KINDS: Mapping[str, Kind] = {
    "complaint": Kind(_complaint, complaint_words, _hear_complaint),
    "code": Kind(_code, code_words, _hear_code),
    "event": Kind(
        _texts("place", "what"),
        lambda said, circuit: (
            f"{part_named(str(said.get('place', '')), circuit)}: {said.get('what', '')}",
            "",
        ),
        lambda diagnosis, entry: diagnosis.event(entry.payload["place"], entry.payload["what"]),
    ),
    "note": Kind(_texts("text"), _plain),
    "cannot": Kind(_cannot, cannot_words, _hear_cannot),
    REPAIR: Kind(_texts("what", free=("part",)), _what("Repair")),
    REOPENED: Kind(_texts("text"), _plain),
    UNPLUGGED: Kind(_texts("what"), _part("Taken apart")),
    REFITTED: Kind(_texts("what"), _part("Back in place")),
    DECLINED: Kind(_texts("what"), _what("Declined by the customer")),
    "reading": Kind(_reading, reading_words, _hear_reading),
}
"""Name → kind, in the order in which they are told."""


def entry_words(entry: EvidenceEntry, circuit: Circuit | None) -> Words:
    """An entry of any kind as (what, value) in words."""
    kind = KINDS.get(entry.kind)
    return (kind.words if kind else _plain)(entry.payload, circuit)
