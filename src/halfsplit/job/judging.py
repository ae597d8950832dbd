"""What a reading is judged by in the reports: the range that is right, what was read before, and whether it decided."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import fields
from typing import Any

from halfsplit.diagnosis.after_repair import allowed_words
from halfsplit.diagnosis.measurement import Measurement
from halfsplit.errors import HalfsplitError
from halfsplit.job.bench import reading_text, same
from halfsplit.job.kinds import entry_words
from halfsplit.job.memory import Bench
from halfsplit.job.places import from_json
from halfsplit.job.plain import asked_words, right_words, seen_words
from halfsplit.job.views import BenchView
from halfsplit.store import EvidenceEntry, struck_ids

SOURCE = "calculated for the healthy circuit"
"""Who says what is right."""


def allowed(bench: Bench, entry: EvidenceEntry) -> str:
    """What a healthy circuit gives there, with the tolerance; '' where it cannot be told."""
    place = _place(entry)
    circuit = bench.circuit
    if place is None or circuit is None or place.changes or place.state not in circuit.states:
        return ""
    try:
        if place.quantity == "works":
            return circuit.healthy_word(place.at, place.state)
        if place.quantity != "volts":
            return ""
        return allowed_words(circuit.solve(place.state).volts(place.at, place.to))
    except HalfsplitError:
        return ""


def before(bench: Bench, wanted: Mapping[str, Any], healthy: str = "") -> tuple[str, str]:
    """The last that was read at a place before the repair, in words and in the customer's; '' where nothing was."""
    place = from_json(wanted)
    after = {entry.entry_id for entry in bench.after_repair}
    struck = struck_ids(bench.entries)
    circuit = bench.circuit
    for entry in reversed(bench.entries):
        made = None if entry.entry_id in after or entry.entry_id in struck else _place(entry)
        if made is not None and same(made, place):
            words = (
                str(entry.payload["works"]) if entry.kind == "complaint" else entry_words(entry, circuit)[1]
            )
            return words, seen_words(place, value_of(entry), healthy)
    return "", ""


def value_of(entry: EvidenceEntry) -> float | str:
    """What was read, or said of a load."""
    value: float | str = entry.payload.get("value", entry.payload.get("works", ""))
    return value


def plain_of(bench: Bench, entry: EvidenceEntry) -> tuple[str, str, str]:
    """An entry in the customer's words: what was done, what was seen, what would be right; empty where it has none."""
    place, circuit = _place(entry), bench.circuit
    if place is None or circuit is None:
        return "", "", ""
    right = allowed(bench, entry)
    return asked_words(place, circuit), seen_words(place, value_of(entry), right), right_words(place, right)


def decisive(bench: Bench, view: BenchView, entry: EvidenceEntry) -> bool:
    """Whether a reading was made at what was found, speaks for it, was made after the repair, or has a photo."""
    if entry.kind != "reading" or bench.told is None or view.finding is None:
        return False
    reading = bench.told.readings.get(entry.entry_id)
    if entry.attachments or any(later.entry_id == entry.entry_id for later in bench.after_repair):
        return True
    if any(point.partition(":")[0] == view.finding.part for point in _points(entry)):
        return True
    leading = view.suspects[0].for_ if view.suspects else ()
    return reading is not None and reading_text(reading, bench.told.diagnosis.circuit) in leading


def _points(entry: EvidenceEntry) -> list[str]:
    """Where the leads were, and what was joined or fitted for it."""
    place = _place(entry)
    if place is None:
        return []
    touched = [str(getattr(change, field.name)) for change in place.changes for field in fields(change)]
    return [place.at, *([place.to] if place.to else []), *touched]


def _place(entry: EvidenceEntry) -> Measurement | None:
    """What was measured, for a reading or a complaint."""
    try:
        if entry.kind == "reading":
            return from_json(entry.payload)
        if entry.kind == "complaint":
            return Measurement("works", str(entry.payload["load"]), str(entry.payload.get("state") or ""))
    except (HalfsplitError, KeyError):
        pass
    return None
