"""A job's entries, told again to a `Diagnosis`: suspects are recomputed from what is kept, never stored as truth.

`HEARD` is the table of what can be told: kind of entry → function. An entry that the present circuit cannot take (a
point that was renamed, say) stays in the record and is told as set aside, with the reason.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from types import SimpleNamespace
from typing import Any, cast

from halfsplit.circuit.circuit import Circuit
from halfsplit.diagnosis.diagnosis import Diagnosis
from halfsplit.diagnosis.measurement import OVER_RANGE as OPEN_OHMS
from halfsplit.diagnosis.measurement import Reading
from halfsplit.diagnosis.propose import Test
from halfsplit.errors import HalfsplitError
from halfsplit.job.entering import OVER_RANGE
from halfsplit.job.places import from_json
from halfsplit.store import EvidenceEntry, Intake, struck_ids

USUAL_INSTRUMENTS = ("meter", "test lamp")
LIKE_HEALTHY = 0.5
"""Volts within which a reading looks good: only such a one could have overlooked something."""
REPAIR, REOPENED = "repair", "reopened"


@dataclass
class Told:
    """A diagnosis, what it has heard (entry id → its reading) and what it could not take (entry id → why).

    ``unseen``: what `audit` has answered so far.
    """

    diagnosis: Diagnosis
    readings: dict[str, Reading | None] = field(default_factory=dict)
    refused: dict[str, str] = field(default_factory=dict)
    unseen: dict[str, str] = field(default_factory=dict)

    def audit(self, entry_id: str) -> str:
        """What a reading could not have seen; worked out once, for it follows from circuit and instrument."""
        reading = self.readings.get(entry_id)
        if entry_id not in self.unseen:
            good = reading is not None and _is_good(self.diagnosis, reading)
            self.unseen[entry_id] = self.diagnosis.audit(reading) if reading and good else ""
        return self.unseen[entry_id]


def _is_good(job: Diagnosis, reading: Reading) -> bool:
    """Whether a reading looks as it would in a healthy circuit: a word does for what it says, volts are compared."""
    place = reading.measurement
    if isinstance(reading.value, str) or place.quantity != "volts":
        return True
    healthy = job.circuit.solve(place.state, changes=place.changes).volts(place.at, place.to)
    return abs(healthy) > LIKE_HEALTHY and abs(reading.value - healthy) <= LIKE_HEALTHY


def begin(circuit: Circuit, intake: Intake) -> Told:
    """A diagnosis that knows the circuit and what the intake says: instruments, earlier work, always or not."""
    settings = intake.settings
    intermittent = settings.intermittent or intake.complaint.how_often == "intermittent"
    instruments = list(settings.instruments or USUAL_INSTRUMENTS)
    told = Told(Diagnosis(circuit, instruments=instruments, intermittent=intermittent, seed=settings.seed))
    touched = [(place, work.began_then) for work in intake.earlier_work for place in work.touched]
    for place, began_then in touched:
        try:
            told.diagnosis.earlier_work([place], began_then=began_then)
        except HalfsplitError as error:
            told.refused[f"earlier work at {place}"] = str(error)
    return told


def tell(told: Told, entry: EvidenceEntry) -> None:
    """Tell one entry; what the diagnosis cannot take is set aside with the reason."""
    hear = HEARD.get(entry.kind)
    if hear is None:
        return
    try:
        told.readings[entry.entry_id] = hear(told.diagnosis, entry)
    except (HalfsplitError, ValueError, KeyError, TypeError) as error:
        told.refused[entry.entry_id] = str(error) or type(error).__name__


def _complaint(job: Diagnosis, entry: EvidenceEntry) -> Reading:
    said = entry.payload
    return job.complain(said["load"], works=said["works"], state=said.get("state") or None)


def _reading(job: Diagnosis, entry: EvidenceEntry) -> Reading:
    place = from_json(entry.payload)
    value = entry.payload["value"]
    # It was asked about when it was entered; what is stored stands.
    return job.measure(
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


def _code(job: Diagnosis, entry: EvidenceEntry) -> Reading:
    said = entry.payload
    return job.code(
        said["module"],
        said["failure"],
        pin=said.get("pin") or None,
        state=said.get("state") or None,
        is_set=said.get("set", True),
    )


def _event(job: Diagnosis, entry: EvidenceEntry) -> Reading:
    return job.event(entry.payload["place"], entry.payload["what"])


def _cannot(job: Diagnosis, entry: EvidenceEntry) -> None:
    place = from_json(entry.payload)
    # Only the place is looked at; what the test would be worth need not be worked out to leave it.
    job.cannot(cast(Test, SimpleNamespace(measurement=place)), why=str(entry.payload.get("why", "")))


def first_state(circuit: Circuit) -> str:
    """The state that is meant where nobody names one: the last, in which things are usually on."""
    return list(circuit.states)[-1]


HEARD: Mapping[str, Callable[[Diagnosis, EvidenceEntry], Any]] = {
    "complaint": _complaint,
    "reading": _reading,
    "code": _code,
    "event": _event,
    "cannot": _cannot,
}
"""Kind of entry → how a diagnosis is told; notes, repairs and the like concern people only."""


def chapters(entries: Sequence[EvidenceEntry]) -> tuple[list[EvidenceEntry], list[EvidenceEntry]]:
    """The entries that count, parted at the last repair: (what led to it, what was seen after it).

    Where the suspects were reopened since, the diagnosis begins anew after the repair.
    """
    struck = struck_ids(entries)
    live = [entry for entry in entries if entry.entry_id not in struck and entry.kind != "strike"]
    marks = [number for number, entry in enumerate(live) if entry.kind == REPAIR]
    opened = [number for number, entry in enumerate(live) if entry.kind == REOPENED]
    start = max((mark for mark in marks if opened and mark < opened[-1]), default=-1)
    repair = next((mark for mark in marks if mark > start), None)
    if repair is None:
        return live[start + 1 :], []
    return live[start + 1 : repair], live[repair:]
