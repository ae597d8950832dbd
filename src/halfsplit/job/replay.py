"""A job's entries, told again to a `Diagnosis`: suspects are recomputed from what is kept, never stored as truth.

How each kind is heard stands in `kinds`. An entry that the present circuit cannot take (a point that was renamed, say)
stays in the record and is told as set aside, with the reason.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime

from halfsplit.circuit.circuit import Circuit
from halfsplit.diagnosis.diagnosis import Diagnosis
from halfsplit.diagnosis.measurement import Reading
from halfsplit.diagnosis.predictions import Predictions
from halfsplit.diagnosis.priors import Priors, default_priors
from halfsplit.errors import HalfsplitError
from halfsplit.job.kinds import KINDS, REOPENED, REPAIR
from halfsplit.job.learned_file import priors_for
from halfsplit.job.places import loads_of
from halfsplit.notation.checked import check_text
from halfsplit.notation.library import sample
from halfsplit.store import EvidenceEntry, Intake, counting

USUAL_INSTRUMENTS = ("meter", "test lamp")
LIKE_HEALTHY = 0.5
"""Volts within which a reading looks good: only such a one could have overlooked something."""


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


def begin(
    circuit: Circuit,
    intake: Intake,
    *,
    priors: Priors | None = None,
    vehicle: Sequence[str] = (),
    predictions: Predictions | None = None,
) -> Told:
    """A diagnosis that knows the circuit and what the intake says: instruments, earlier work, always or not.

    ``priors``: the shipped ones moved by what closed jobs taught, if not given; ``vehicle``: its age and distance in
    coarse words, which these go by; ``predictions``: those of another job on this circuit with the same seed.
    """
    settings = intake.settings
    diagnosis = Diagnosis(
        circuit,
        instruments=list(settings.instruments or USUAL_INSTRUMENTS),
        intermittent=settings.intermittent or intake.complaint.how_often == "intermittent",
        seed=settings.seed,
        priors=priors or priors_for(circuit, vehicle),
        predictions=predictions,
    )
    heard = Told(diagnosis)
    for work in intake.earlier_work:
        for place in work.touched:
            try:
                diagnosis.earlier_work([place], began_then=work.began_then)
            except HalfsplitError as error:
                heard.refused[f"earlier work at {place}"] = str(error)
    return heard


def tell(heard: Told, entry: EvidenceEntry) -> None:
    """Tell one entry; what the diagnosis cannot take is set aside with the reason."""
    kind = KINDS.get(entry.kind)
    if kind is None or kind.hear is None:
        return
    try:
        heard.readings[entry.entry_id] = kind.hear(heard.diagnosis, entry)
    except (HalfsplitError, ValueError, KeyError, TypeError) as error:
        heard.refused[entry.entry_id] = str(error) or type(error).__name__


def first_state(circuit: Circuit) -> str:
    """The state that is meant where nobody names one: the last, in which things are usually on."""
    return list(circuit.states)[-1]


def chapters(entries: Sequence[EvidenceEntry]) -> tuple[list[EvidenceEntry], list[EvidenceEntry]]:
    """The entries that count, parted at the last repair: (what led to it, what was seen after it).

    Where the suspects were reopened since, the diagnosis begins anew after the repair.
    """
    live = [entry for entry in counting(entries) if entry.kind != "strike"]
    marks = [number for number, entry in enumerate(live) if entry.kind == REPAIR]
    opened = [number for number, entry in enumerate(live) if entry.kind == REOPENED]
    start = max((mark for mark in marks if opened and mark < opened[-1]), default=-1)
    repair = next((mark for mark in marks if mark > start), None)
    return live[start + 1 : repair], live[repair:] if repair is not None else []


def warm() -> None:
    """Work out a job of a complaint and a reading: about two seconds in a program that has just begun."""
    circuit = check_text(sample("relay-load").text).circuit
    if circuit is None:
        return
    heard = begin(circuit, Intake(), priors=default_priors())
    state, load = list(circuit.states)[-1], loads_of(circuit)[0][0]
    for kind, payload in (
        ("complaint", {"load": load, "works": "no", "state": state}),
        ("reading", {"quantity": "volts", "at": circuit.points[0], "state": state, "value": 12.4}),
    ):
        entry = EvidenceEntry(
            entry_id=kind, kind=kind, payload=payload, at=datetime.now(UTC), who="", present="yes"
        )
        tell(heard, entry)
    job = heard.diagnosis
    job.finding()
    job.odd_reading()
    job.doubt()
    job.next_tests(limit=3)
    job.suspects()
    job.free_looks()
