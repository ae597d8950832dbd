"""What a closed job tells besides its cause: earlier work, places, the vehicle's age, minutes, slips; no names."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from datetime import datetime

from halfsplit.circuit.circuit import Circuit
from halfsplit.diagnosis.conditions import (
    KM_IN_A_MILE,
    Condition,
    Slips,
    Visits,
    at_place,
    bands,
    class_of_part,
    exact,
    in_band,
    place_class,
)
from halfsplit.diagnosis.cost import reach_minutes
from halfsplit.diagnosis.diagnosis import Diagnosis
from halfsplit.diagnosis.learned import EARLIER_WORK, Cause, shipped_chances
from halfsplit.diagnosis.measurement import NUMERIC
from halfsplit.diagnosis.suspects import slipped
from halfsplit.errors import HalfsplitError
from halfsplit.job.places import from_json
from halfsplit.store import EvidenceEntry, Intake, Vehicle, struck_ids
from halfsplit.vin import model_years

Hands = tuple[tuple[str, bool], ...]
"""Places where hands have been before, and whether it began then."""
LIKELY = 0.02
"""A condition that the shipped priors hold for hardly possible, or for nearly certain, teaches nothing."""
VIN_LENGTH = 17
LONGEST, SHORTEST = 240.0, 0.25
"""Minutes between two entries that are taken for work: longer is a break, shorter was entered afterwards."""
HAND = ("probe slipped", "wrong point", "wrong state", "wrong range or unit", "mistyped")
"""Reasons for which a reading was struck out as an error of the hand, as the page offers them."""


def vehicle_bands(vehicle: Vehicle, opened: datetime) -> tuple[str, ...]:
    """How far it was driven and how old it was when the job was opened, in coarse words."""
    distance = vehicle.odometer
    km = None if distance is None else distance * (KM_IN_A_MILE if vehicle.odometer_unit == "mi" else 1.0)
    year = _model_year(vehicle.vin.strip().upper())
    return bands(km, None if year is None else max(0, opened.year - year))


def _model_year(vin: str) -> int | None:
    """By 49 CFR 565.15(b), which holds in North America alone: a letter in position 7 means 2010 and later."""
    if len(vin) != VIN_LENGTH or vin[0] not in "12345":
        return None
    years = model_years(vin)
    return (years[-1] if vin[6].isalpha() else years[0]) if years else None


def hands_of(intake: Intake) -> Hands:
    """Where hands have been before the job."""
    return tuple(sorted({(place, work.began_then) for work in intake.earlier_work for place in work.touched}))


def conditions_of(
    circuit: Circuit, touched_before: Hands, cause: Cause, shares: Mapping[str, float], vehicle: Sequence[str]
) -> dict[str, Condition]:
    """What the cause could have had in common with its job, whether it had it, and what the shipped priors say."""
    conditions: dict[str, Condition] = {}
    shipped = shipped_chances(circuit)
    for name in EARLIER_WORK:
        began = name == EARLIER_WORK[1]
        hands = tuple(place for place, began_then in touched_before if began_then == began)
        if hands:
            after = shipped_chances(circuit, hands, name)
            least = min(after[place] / shipped[place] for place in shipped if shipped[place])
            touched = {
                place for place in shipped if shipped[place] and after[place] / shipped[place] > 1.001 * least
            }
            _count(conditions, name, cause in touched, sum(after[place] for place in touched))
    places: Counter[str] = Counter()
    for hypothesis, chance in shipped.items():
        places[class_of_part(hypothesis.part, circuit.model)] += chance  # type: ignore[assignment]
    mine = class_of_part(cause.part, circuit.model)
    for place, expected in places.items():
        if place:
            _count(conditions, at_place(place), place == mine, float(expected))
    for band in vehicle:
        for kind, share in shares.items():
            _count(conditions, in_band(kind, band), kind == cause.kind, share)
    return conditions


def _count(conditions: dict[str, Condition], name: str, happened: bool, expected: float) -> None:
    if LIKELY <= expected <= 1.0 - LIKELY:
        conditions[name] = Condition(int(happened), 1, exact(expected))


def visited(job: Diagnosis, entry: EvidenceEntry, last: EvidenceEntry | None) -> Iterator[tuple[str, Visits]]:
    """The place that a reading opened, and how its minutes were to those expected; before it is told.

    The minutes are those since the entry before, by the same person, less what the test itself takes.
    """
    if entry.kind != "reading" or last is None or last.who != entry.who:
        return
    minutes = (entry.at - last.at).total_seconds() / 60.0
    try:
        expected, opens = job.cost(from_json(entry.payload))
    except HalfsplitError:
        return
    if len(opens) != 1 or not SHORTEST <= minutes <= LONGEST:
        return
    reach = reach_minutes(opens[0], job.circuit.model)
    took = max(minutes - (expected - reach), 0.1 * reach)
    yield place_class(opens[0]), Visits(1, exact(math.log(took / reach)) if reach else 0.0)


def slips_of(job: Diagnosis, entries: Sequence[EvidenceEntry]) -> dict[str, Slips]:
    """Instrument → readings struck out as an error of the hand, or that fit nothing now that the cause is proven."""
    struck = struck_ids(entries)
    reasons = {entry.strikes: entry.reason.strip().lower() for entry in entries if entry.strikes}
    wrong: Counter[str] = Counter(
        entry.instrument
        for entry in entries
        if entry.kind == "reading"
        and entry.instrument
        and entry.entry_id in struck
        and reasons.get(entry.entry_id) in HAND
    )
    made = Counter(wrong)
    situation = job.situation()
    odd = {reading.id for reading in slipped(situation)}
    for reading in situation.live:
        instrument = reading.measurement.instrument
        if reading.source == "reading" and instrument and reading.measurement.quantity in NUMERIC:
            made[instrument] += 1
            wrong[instrument] += reading.id in odd
    return {name: Slips(wrong[name], count) for name, count in made.items()}
