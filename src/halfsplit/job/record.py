"""The evidence list: every entry in words, in order of time, with what became of it."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from halfsplit.job.kinds import entry_words
from halfsplit.job.memory import Bench
from halfsplit.job.views import EvidenceLine
from halfsplit.store import Attachment, EvidenceEntry, struck_ids


def lines_of(bench: Bench, attachments: Sequence[Attachment], odd: str | None) -> tuple[EvidenceLine, ...]:
    """The record, the latest first. ``odd``: id of the reading that fits nothing that is believed."""
    circuit = bench.circuit
    struck = struck_ids(bench.entries)
    strikes = {
        entry.strikes: entry for entry in bench.entries if entry.strikes and entry.entry_id not in struck
    }
    by_id = {attachment.attachment_id: attachment for attachment in attachments}
    refused = bench.told.refused if bench.told else {}
    readings = bench.told.readings if bench.told else {}
    lines = []
    for entry in bench.entries:
        if entry.kind == "strike":
            continue
        reading = readings.get(entry.entry_id)
        words, value = entry_words(entry, circuit)
        shown = [by_id[attachment_id] for attachment_id in entry.attachments if attachment_id in by_id]
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
                tuple(attachment for attachment in shown if attachment.kind != "capture"),
                bench.told.audit(entry.entry_id) if bench.told and reading is not None else "",
                _place(entry),
                tuple(attachment for attachment in shown if attachment.kind == "capture"),
                strikes[entry.entry_id].entry_id if entry.entry_id in strikes else "",
            )
        )
    return tuple(reversed(lines))


def _place(entry: EvidenceEntry) -> dict[str, Any] | None:
    """What was measured, without its value: the test to make again."""
    if entry.kind != "reading":
        return None
    return {name: value for name, value in entry.payload.items() if name not in ("value", "typed")}
