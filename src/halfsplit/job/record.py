"""The evidence list: every entry in words, in order of time, with what became of it."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from typing import Any

from halfsplit.circuit.circuit import Circuit
from halfsplit.diagnosis.words import change_words, point_words
from halfsplit.errors import HalfsplitError
from halfsplit.job.entering import shown_value
from halfsplit.job.memory import Bench
from halfsplit.job.places import change_from_json
from halfsplit.job.views import EvidenceLine
from halfsplit.store import Attachment, EvidenceEntry, struck_ids


def lines_of(bench: Bench, attachments: Sequence[Attachment], odd: str | None) -> tuple[EvidenceLine, ...]:
    """The record, the latest first. ``odd``: id of the reading that fits nothing that is believed."""
    circuit = bench.checked.circuit if bench.checked else None
    struck = struck_ids(bench.entries)
    strikes = {
        entry.strikes: entry for entry in bench.entries if entry.strikes and entry.entry_id not in struck
    }
    by_id = {one.attachment_id: one for one in attachments}
    refused = bench.told.refused if bench.told else {}
    readings = bench.told.readings if bench.told else {}
    lines = []
    for entry in bench.entries:
        if entry.kind == "strike":
            continue
        reading = readings.get(entry.entry_id)
        words, value = said(entry, circuit)
        shown = [by_id[one] for one in entry.attachments if one in by_id]
        lines.append(
            EvidenceLine(
                entry.entry_id,
                entry.kind,
                words,
                value,
                entry.at,
                entry.who,
                entry.instrument,
                entry.present,
                strikes[entry.entry_id].reason if entry.entry_id in strikes else "",
                refused.get(entry.entry_id, ""),
                reading is not None and reading.id == odd,
                tuple(one for one in shown if one.kind != "capture"),
                bench.told.audit(entry.entry_id) if bench.told and reading is not None else "",
                _place(entry),
                tuple(one for one in shown if one.kind == "capture"),
                strikes[entry.entry_id].entry_id if entry.entry_id in strikes else "",
            )
        )
    return tuple(reversed(lines))


def _place(entry: EvidenceEntry) -> dict[str, Any] | None:
    """What was measured, without its value: the test to make again."""
    if entry.kind != "reading":
        return None
    return {name: value for name, value in entry.payload.items() if name not in ("value", "typed")}


def said(entry: EvidenceEntry, circuit: Circuit | None) -> tuple[str, str]:
    """An entry as (what, value) in words."""
    return WORDS.get(entry.kind, _plain)(entry.payload, circuit)


def _plain(payload: Mapping[str, Any], _: Circuit | None) -> tuple[str, str]:
    return str(payload.get("text") or payload.get("what") or ""), ""


def _complaint(payload: Mapping[str, Any], circuit: Circuit | None) -> tuple[str, str]:
    words = {"yes": "works", "weak": "works weakly", "no": "does not work"}
    state = f", {payload['state']}" if payload.get("state") else ""
    return f"{_part(payload.get('load', ''), circuit)}{state}", words.get(str(payload.get("works")), "")


def _part(name: str, circuit: Circuit | None) -> str:
    part = circuit.parts.get(name) if circuit else None
    return f"{name} {part.words}" if part and part.words else name


def _reading(payload: Mapping[str, Any], circuit: Circuit | None) -> tuple[str, str]:
    quantity = str(payload.get("quantity"))
    value = payload.get("value", "")
    if quantity in ("stage", "gauge") and not isinstance(value, str):
        return place_words(payload, circuit), f"{float(value):.6g} {_own_unit(payload, circuit)}".rstrip()
    return place_words(payload, circuit), shown_value(quantity, value)


def _own_unit(payload: Mapping[str, Any], circuit: Circuit | None) -> str:
    """The unit that the circuit file gives to a stage or a gauge."""
    at = str(payload.get("at"))
    one = (circuit.model.stages.get(at) or circuit.model.gauges.get(at)) if circuit else None
    return one.unit if one else ""


def place_words(payload: Mapping[str, Any], circuit: Circuit | None) -> str:
    """Where and how something was measured."""
    quantity, at, to = str(payload.get("quantity")), str(payload.get("at")), payload.get("to")
    where = AT.get(quantity, "{at}").format(at=_point(at, circuit), part=_part(at, circuit))
    if quantity in ("volts", "ohms", "lamp"):
        where += f" to {_point(to, circuit)}" if to else " to battery negative"
    detail = " ".join(str(word) for word in payload.get("detail") or ())
    state = f"“{payload['state']}”" if payload.get("state") and quantity not in ("inspection", "ohms") else ""
    return ", ".join(part for part in (where, detail, state, _changes(payload)) if part)


AT = {
    "works": "{part} works",
    "answers": "{part} answers",
    "inspection": "look at {part}",
    "blown": "{part} blown",
    "wiggle": "move {at}: the reading jumps",
    "amps": "current in {at}",
    "duty": "duty cycle at {at}",
    "hertz": "frequency at {at}",
    "code": "code in {part}",
}


def _point(name: Any, circuit: Circuit | None) -> str:
    return point_words(str(name), circuit) if circuit else str(name)


def _changes(payload: Mapping[str, Any]) -> str:
    told = []
    for change in payload.get("changes") or ():
        try:
            words = change_words(change_from_json(change)).rstrip(".")
            told.append(words[:1].lower() + words[1:])
        except HalfsplitError:
            told.append(str(change))
    return "; ".join(told)


def _cannot(payload: Mapping[str, Any], circuit: Circuit | None) -> tuple[str, str]:
    why = f": {payload['why']}" if payload.get("why") else ""
    return f"Cannot be done: {place_words(payload, circuit)}{why}", ""


def _event(payload: Mapping[str, Any], circuit: Circuit | None) -> tuple[str, str]:
    return f"{_part(str(payload.get('place', '')), circuit)}: {payload.get('what', '')}", ""


def _code(payload: Mapping[str, Any], circuit: Circuit | None) -> tuple[str, str]:
    pin = f", pin {payload['pin']}" if payload.get("pin") else ""
    return (
        f"Code in {_part(str(payload.get('module', '')), circuit)}: {payload.get('failure', '')}{pin}",
        "set" if payload.get("set", True) else "not set",
    )


def _repair(payload: Mapping[str, Any], circuit: Circuit | None) -> tuple[str, str]:
    return f"Repair: {payload.get('what', '')}", ""


def _named(payload: Mapping[str, Any], circuit: Circuit | None) -> tuple[str, str]:
    return _part(str(payload.get("what", "")), circuit), ""


WORDS: Mapping[str, Callable[[Mapping[str, Any], Circuit | None], tuple[str, str]]] = {
    "complaint": _complaint,
    "reading": _reading,
    "cannot": _cannot,
    "event": _event,
    "code": _code,
    "repair": _repair,
    "unplugged": lambda payload, circuit: (f"Taken apart: {_named(payload, circuit)[0]}", ""),
    "refitted": lambda payload, circuit: (f"Back in place: {_named(payload, circuit)[0]}", ""),
    "declined": lambda payload, _: (f"Declined by the customer: {payload.get('what', '')}", ""),
}
