"""From a store's closed jobs to what they teach.

From a job goes its circuit's digest, the part that was the cause and how it was broken, and how looks at it went:
no name, no number, no vehicle, no text.
"""

from __future__ import annotations

import math
from collections import Counter, deque
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass, field
from datetime import UTC, datetime
from functools import lru_cache
from typing import Any, Final

import halfsplit
from halfsplit.circuit.circuit import Circuit
from halfsplit.circuit.faults import NOT_IN_MODEL, NOTHING_WRONG
from halfsplit.circuit.moving import crossing_wires
from halfsplit.diagnosis.conditions import (
    KM_IN_A_MILE,
    Circumstances,
    Condition,
    Slips,
    Visits,
    at_place,
    bands,
    class_of_part,
    exact,
    in_band,
    place_class,
    together,
)
from halfsplit.diagnosis.cost import reach_minutes
from halfsplit.diagnosis.diagnosis import Diagnosis
from halfsplit.diagnosis.learned import (
    EARLIER_WORK,
    Cause,
    CircuitTally,
    Tally,
    cause_of,
    digest,
    merged,
    shipped_chances,
    shipped_shares,
)
from halfsplit.diagnosis.measurement import NUMERIC
from halfsplit.diagnosis.predictions import Predictions
from halfsplit.diagnosis.priors import default_priors
from halfsplit.diagnosis.suspects import slipped
from halfsplit.errors import HalfsplitError
from halfsplit.job.learned_file import Learned
from halfsplit.job.places import from_json
from halfsplit.job.replay import begin, chapters, tell
from halfsplit.job.spread import each
from halfsplit.notation.checked import check_text
from halfsplit.store import ClosedJob, EvidenceEntry, Intake, JobStore, Vehicle, struck_ids
from halfsplit.vin import model_years

Told = tuple[str, Intake, tuple[EvidenceEntry, ...]]
"""A job as it is worked out again: the circuit's text, the intake without complaint and vehicle, the entries."""
PAGE: Final = 200
"""Jobs that are read at a time."""
BATCH: Final = 50
"""Jobs that are worked out together. It must not depend on the workers: jobs of a batch share what they solve."""
CIRCUITS: Final = 4
"""Circuits whose predictions are kept within a batch."""
SORTS: Final = 5_000
"""Sorts of job that are counted before they are added up."""


@dataclass(frozen=True)
class Lesson:
    """What a job taught. ``fault``: the cause that was proven, '' for none; ``looks``: at its part, (bad, good)."""

    fault: str = ""
    looks: tuple[int, int] = (0, 0)
    visits: Mapping[str, Visits] = field(default_factory=dict)
    slips: Mapping[str, Slips] = field(default_factory=dict)

    def document(self) -> dict[str, Any]:
        """As the store keeps it; nothing but the fault where none was proven."""
        if not self.fault:
            return {}
        return {
            "fault": self.fault,
            "looks": list(self.looks),
            "visits": {place: [visit.count, visit.log] for place, visit in self.visits.items()},
            "slips": {name: [slip.wrong, slip.of] for name, slip in self.slips.items()},
        }

    @staticmethod
    def of(document: Mapping[str, Any]) -> Lesson:
        """From what the store has kept."""
        if not document:
            return Lesson()
        return Lesson(
            document["fault"],
            tuple(document["looks"]),
            {place: Visits(*visit) for place, visit in document["visits"].items()},
            {name: Slips(*slip) for name, slip in document["slips"].items()},
        )


def learn(
    store: JobStore, who: str, *, cluster: str = "", progress: Callable[[int], object] = lambda _jobs: None
) -> tuple[Learned, int]:
    """What the closed jobs of a store teach, and how many were closed; those without a proven cause teach nothing.

    Each job is worked out once by a release, and again where it has changed; the store keeps what it taught.
    ``cluster``: see `spread`. The result is the same on any number of workers and in any order, and there are never
    more jobs in memory than are being worked on. ``progress`` is told how many are done.
    """
    counted, going = _Counted(), deque[Sequence[ClosedJob]]()
    for made in each(taught_by, _new(store, counted, going, progress), cluster=cluster):
        batch = going.popleft()
        for job, lesson in zip(batch, made, strict=True):
            counted.add(job, lesson)
        taught = [(job, lesson.document()) for job, lesson in zip(batch, made, strict=True)]
        # A store that cannot be written teaches too, and is worked out again next time.
        with suppress(HalfsplitError):
            store.keep_lessons(taught, halfsplit.__version__)
        progress(counted.jobs)
    tally = counted.tally()
    return Learned(tally, ((who, datetime.now(UTC).replace(microsecond=0), tally.jobs),)), counted.jobs


def _new(
    store: JobStore,
    counted: _Counted,
    going: deque[Sequence[ClosedJob]],
    progress: Callable[[int], object],
) -> Iterator[tuple[Told, ...]]:
    """The jobs that have to be worked out, in batches of few circuits; those that were are counted at once."""
    after = 0
    while page := store.closed_jobs(after, halfsplit.__version__, limit=PAGE):
        after = page[-1].number
        for job in page:
            if job.lesson is not None:
                counted.add(job, Lesson.of(job.lesson))
        progress(counted.jobs)
        new = sorted((job for job in page if job.lesson is None), key=lambda job: job.circuit)
        for first in range(0, len(new), BATCH):
            batch = new[first : first + BATCH]
            going.append(batch)
            yield tuple(
                (
                    job.circuit,
                    Intake(earlier_work=job.intake.earlier_work, settings=job.intake.settings),
                    store.evidence(job.job_id),
                )
                for job in batch
            )


class _Counted:
    """What jobs taught, counted: those with the same circuit, cause, vehicle and hands are worked out together."""

    def __init__(self) -> None:
        self.jobs = 0
        self._sorts: Counter[tuple[str, Hands, tuple[str, ...], str]] = Counter()
        self._looks: Counter[tuple[str, str, int]] = Counter()
        self._around: list[Circumstances] = []
        self._tally = Tally()

    def add(self, job: ClosedJob, lesson: Lesson) -> None:
        """Count a job and what it taught."""
        self.jobs += 1
        if not lesson.fault:
            return
        vehicle = vehicle_bands(job.intake.vehicle, job.opened_at)
        self._sorts[job.circuit, hands_of(job.intake), vehicle, lesson.fault] += 1
        for number, count in enumerate(lesson.looks):
            if count:
                self._looks[job.circuit, lesson.fault, number] += count
        self._around.append(Circumstances(visits=lesson.visits, slips=lesson.slips))
        if len(self._sorts) >= SORTS or len(self._around) >= SORTS:
            self.tally()

    def tally(self) -> Tally:
        """What was counted so far."""
        sorts = sorted(self._sorts.items())  # by circuit: each is read once
        looks: Counter[tuple[str, int]] = Counter()
        for (text, fault, number), count in self._looks.items():
            known = _known(text)
            if known is not None and fault in known.causes:
                looks[known.causes[fault].kind, number] += count
        rest = Tally(
            looks={kind: (looks[kind, 0], looks[kind, 1]) for kind in sorted({kind for kind, _ in looks})},
            circumstances=together(self._around),
        )
        self._tally = merged([self._tally, rest, *(_tally_of(sort, count) for sort, count in sorts)])
        self._sorts.clear()
        self._looks.clear()
        self._around.clear()
        return self._tally


def _tally_of(key: tuple[str, Hands, tuple[str, ...], str], jobs: int) -> Tally:
    """So many jobs of one sort; none where its circuit has no such fault, as in a damaged store."""
    text, hands, vehicle, fault = key
    known = _known(text)
    if known is None or fault not in known.causes:
        return Tally()
    cause = known.causes[fault]
    conditions = conditions_of(known.circuit, hands, cause, known.shares, vehicle)
    return Tally(
        {known.digest: CircuitTally(known.shares, {cause: jobs})},
        circumstances=Circumstances({name: condition * jobs for name, condition in conditions.items()}),
    )


@dataclass(frozen=True)
class _Known:
    """A circuit with what is counted of it. ``causes``: what each fault is counted as."""

    circuit: Circuit
    digest: str
    shares: Mapping[str, float]
    causes: Mapping[str, Cause]


@lru_cache(maxsize=64)
def _known(text: str) -> _Known | None:
    circuit = check_text(text).circuit
    if circuit is None:
        return None
    bending = crossing_wires(circuit.model)
    causes = {
        fault.name: cause_of(fault, bending, default_priors())
        for fault in circuit.faults.values()
        if fault.name not in (NOTHING_WRONG, NOT_IN_MODEL)
    }
    return _Known(circuit, digest(circuit.model), shipped_shares(circuit), causes)


def taught_by(batch: Sequence[Told]) -> tuple[Lesson, ...]:
    """What some jobs teach; those on the same circuit solve it once."""
    solved: dict[tuple[str, int], Predictions] = {}
    return tuple(lesson_of(closed, solved) for closed in batch)


def lesson_of(closed: Told, solved: dict[tuple[str, int], Predictions]) -> Lesson:
    """A job worked out again by the shipped priors alone.

    ``solved``: the predictions of jobs before it, by circuit and seed.
    """
    text, intake, entries = closed
    circuit = check_text(text).circuit
    before = chapters(entries)[0]
    if circuit is None or not any(entry.kind == "reading" for entry in before):
        return Lesson()
    key = text, intake.settings.seed
    job = begin(circuit, intake, priors=default_priors(), predictions=solved.get(key))
    while len(solved) >= CIRCUITS and key not in solved:
        del solved[next(iter(solved))]
    solved[key] = job.diagnosis.predictions
    visits: list[tuple[str, Visits]] = []
    last: EvidenceEntry | None = None
    for entry in before:
        visits += visited(job.diagnosis, entry, last)
        tell(job, entry)
        last = entry
    finding = job.diagnosis.finding()
    fault = circuit.faults.get(finding.cause) if finding is not None and finding.proven else None
    if fault is None:
        return Lesson()
    part = fault.part
    looks = Counter(
        entry.payload.get("value")
        for entry in before
        if entry.kind == "reading"
        and entry.payload.get("quantity") == "inspection"
        and entry.payload.get("at") == part
    )
    return Lesson(
        fault.name,
        (looks["bad"], looks["good"]),
        together(Circumstances(visits={place: visit}) for place, visit in visits).visits,
        slips_of(job.diagnosis, entries),
    )


# What a closed job tells besides its cause: earlier work, places, the vehicle's age, minutes, slips; no names

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
