"""A small job worked out for nobody: what it needs is loaded then."""

from __future__ import annotations

from datetime import UTC, datetime

from halfsplit.diagnosis.priors import default_priors
from halfsplit.job.places import loads_of
from halfsplit.job.replay import begin, tell
from halfsplit.notation.checked import check_text
from halfsplit.notation.library import sample
from halfsplit.store import EvidenceEntry, Intake

PATTERN = "relay-load"


def warm() -> None:
    """Work out a job of a complaint and a reading: about two seconds in a program that has just begun."""
    circuit = check_text(sample(PATTERN).text).circuit
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
