"""Paths to the cause, judged test by test: what each test could tell, what it told, and what the best one could have.

Judging asks the engine for its best test at every step, so it takes seconds; it is done when an exercise is over.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass

from halfsplit.circuit.circuit import Circuit
from halfsplit.diagnosis.diagnosis import Diagnosis
from halfsplit.diagnosis.measurement import Measurement, Present, Reading
from halfsplit.diagnosis.predictions import Predictions
from halfsplit.diagnosis.propose import Test
from halfsplit.diagnosis.results import round_reading
from halfsplit.diagnosis.words import reading_words
from halfsplit.practice.hiding import Hidden
from halfsplit.practice.vehicle import Vehicle

INSTRUMENTS = ("meter", "test lamp", "clamp")
MOST_STEPS = 40
WASTED = 0.3
"""A test that told less than this share of what the best one would have told in a minute was wasted."""
MEANINGS = 3
"""Results of a test that are told, the likeliest ones."""

Progress = Callable[[int], None]


@dataclass(frozen=True, slots=True)
class Worth:
    """What a test is worth at one moment.

    ``bits``: what it tells about the repair on average; ``minutes`` with getting there; ``means``: (result, repair that
    would lead then) of its likeliest results.
    """

    measurement: Measurement
    sentence: str
    minutes: float
    bits: float
    cautions: tuple[str, ...] = ()
    means: tuple[tuple[str, str], ...] = ()

    @property
    def rate(self) -> float:
        """Bits in a minute."""
        return self.bits / max(self.minutes, 0.1)


@dataclass(frozen=True, slots=True)
class Step:
    """One test as it was made: what was to be expected of it, what it read, and the best test at that moment.

    ``gained``: bits by which the question which repair it is became smaller; below 0 where a reading, true or slipped,
    opened it up again.
    """

    test: Worth
    reading: Reading
    best: Worth
    gained: float

    @property
    def wasted(self) -> bool:
        """Whether the minutes could have told far more."""
        return self.test.rate < WASTED * self.best.rate


@dataclass(frozen=True, slots=True)
class Path:
    """A walk: its steps and minutes in all. ``question``: bits in question at the beginning and after each step."""

    steps: tuple[Step, ...]
    minutes: float
    proven: bool
    question: tuple[float, ...]


def worth(test: Test) -> Worth:
    """What a proposed test is worth, without what only the bench needs."""
    likely = sorted(test.outcomes, key=lambda outcome: -outcome.probability)[:MEANINGS]
    means = []
    for outcome in (outcome for outcome in likely if outcome.leaves):
        # As a meter shows it.
        shown = reading_words(test.measurement, round_reading(outcome.typical, test.quantity))
        means.append((outcome.word or f"about {shown}", outcome.leaves[0][0]))
    return Worth(test.measurement, test.sentence, test.minutes, test.bits, test.cautions, tuple(means))


def one_who_listened(
    circuit: Circuit, hidden: Hidden, *, intermittent: bool, seed: int, predictions: Predictions | None = None
) -> Diagnosis:
    """A diagnosis that has heard what the trainee was told at the beginning, and nothing else."""
    job = Diagnosis(circuit, INSTRUMENTS, intermittent=intermittent, seed=seed, predictions=predictions)
    for load, works, state in hidden.complaints:
        job.complain(load, works=works, state=state)
    if hidden.history:
        job.earlier_work(hidden.history)
    return job


def heard(job: Diagnosis, asked: Measurement, value: float | str, present: Present | None) -> Reading:
    """Tell a diagnosis what was read, odd or not: it is what the instrument showed."""
    return job.measure(
        asked.quantity,
        asked.at,
        to=asked.to,
        state=asked.state,
        value=value,
        instrument=asked.instrument,
        changes=asked.changes,
        detail=asked.detail,
        sure=True,
        present=present,
    )


def judged(job: Diagnosis, readings: Iterable[Reading], progress: Progress | None = None) -> Path:
    """The path of one who made these readings, judged by a diagnosis that has heard nothing of them yet."""

    def made() -> Iterator[Made]:
        for reading in readings:
            test = worth(job.rank(reading.measurement))
            best = next((worth(test) for test in job.next_tests(1)), test)
            yield test, best, reading.value, reading.present

    return _path(job, made(), progress)


def walked(job: Diagnosis, car: Vehicle, progress: Progress | None = None) -> Path:
    """The best path: what the engine proposes, on this vehicle, until the cause is proven."""

    def made() -> Iterator[Made]:
        for _ in range(MOST_STEPS):
            finding = job.finding()
            tests = () if finding and finding.proven else job.next_tests(1)
            if not tests:
                return
            best = worth(tests[0])
            yield best, best, car.answer(best.measurement), getattr(car, "present", None)

    return _path(job, made(), progress)


Made = tuple[Worth, Worth, float | str, Present | None]
"""A test, the best one then, what was read, and whether the fault was there."""


def _path(job: Diagnosis, made: Iterable[Made], progress: Progress | None) -> Path:
    """The path of these tests, each of which the diagnosis hears before the next is asked for."""
    steps: list[Step] = []
    question = [entropy(job.posterior().probability)]
    for test, best, value, present in made:
        reading = heard(job, test.measurement, value, present)
        question.append(entropy(job.posterior().probability))
        steps.append(Step(test, reading, best, question[-2] - question[-1]))
        if progress:
            progress(len(steps))
    finding, minutes = job.finding(), sum(step.test.minutes for step in steps)
    return Path(tuple(steps), minutes, bool(finding and finding.proven), tuple(question))


def entropy(shares: Mapping[str, float]) -> float:
    """How many bits are in question: the entropy over the repairs.

    >>> entropy({"a": 0.5, "b": 0.25, "c": 0.25})
    1.5
    """
    return -math.fsum(share * math.log2(share) for share in shares.values() if share > 0.0)
