"""What was taken apart for the tests, and what is back in place: 'you broke it' is answered from this."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

from halfsplit.circuit.circuit import Circuit
from halfsplit.job.kinds import DECLINED, REFITTED, UNPLUGGED
from halfsplit.job.plain import described
from halfsplit.store import EvidenceEntry, struck_ids

TAKES_APART: Mapping[str, str] = {"unplug": "", "lamp for": "", "replace": ""}
"""Changes for a test after which something has to be put back."""


def taken_apart(entries: tuple[EvidenceEntry, ...]) -> tuple[str, ...]:
    """Parts that were unplugged or taken out, in order: told, or made for a test; each once."""
    return tuple(dict.fromkeys(name for entry in _live(entries) for name in _names(entry)))


def put_back(entries: tuple[EvidenceEntry, ...]) -> tuple[str, ...]:
    """Parts that are said to be back in place."""
    refitted = (str(entry.payload.get("what", "")) for entry in _live(entries) if entry.kind == REFITTED)
    return tuple(dict.fromkeys(refitted))


def declined(entries: tuple[EvidenceEntry, ...]) -> tuple[str, ...]:
    """What the customer did not want done."""
    return tuple(str(entry.payload.get("what", "")) for entry in _live(entries) if entry.kind == DECLINED)


def apart_words(name: str, circuit: Circuit | None) -> str:
    """A part as the customer knows it."""
    return described(name, circuit) if circuit and name in circuit.parts else name


def _live(entries: tuple[EvidenceEntry, ...]) -> list[EvidenceEntry]:
    struck = struck_ids(entries)
    return [entry for entry in entries if entry.entry_id not in struck]


def _names(entry: EvidenceEntry) -> Iterator[str]:
    payload: Mapping[str, Any] = entry.payload
    if entry.kind == UNPLUGGED:
        yield str(payload.get("what", ""))
    if entry.kind != "reading":
        return
    for change in payload.get("changes") or ():
        if isinstance(change, list | tuple) and len(change) > 1 and change[0] in TAKES_APART:
            yield str(change[1])
    if payload.get("quantity") == "inspection" and not payload.get("detail"):
        yield str(payload.get("at", "")).partition(":")[0]
