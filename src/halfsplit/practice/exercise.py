"""An exercise: a vehicle with a hidden fault, a referee who knows what each test would tell, and the best path.

exercise = Exercise(circuit, "high resistance", seed=3)
exercise.complaints
exercise.measure(Measurement("volts", "H1.1", "on", instrument="meter"))
exercise.condemn("E1"), exercise.points
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass

import numpy as np

from halfsplit.circuit.circuit import Circuit
from halfsplit.circuit.faults import NOT_IN_MODEL, NOTHING_WRONG, Fault, pair
from halfsplit.circuit.kinds import LOADS
from halfsplit.diagnosis.cost import part_of
from halfsplit.diagnosis.diagnosis import Diagnosis
from halfsplit.diagnosis.measurement import Measurement, Reading
from halfsplit.diagnosis.priors import default_priors
from halfsplit.diagnosis.propose import Test
from halfsplit.errors import ConflictError, InputError
from halfsplit.practice.hidden import vehicle
from halfsplit.practice.vehicle import Vehicle

DIFFICULTIES: Mapping[str, str] = {
    "single": "one fault, of any kind",
    "high resistance": "a bad joint or wire that an unloaded meter hardly sees",
    "intermittent": "one fault that comes and goes",
    "pair": "two faults at once",
    "misleading history": "one fault, and earlier work at another place",
}
TRIES = 300
MOST_COMPLAINTS = 3
MOST_STEPS = 40
SLIPS = 0.02
HINT_POINTS, WRONG_POINTS = 10, 25
WASTED = 0.3
"""A test that told less than this share of what the best one would have told in a minute was wasted."""
INSTRUMENTS = ("meter", "test lamp", "clamp")


@dataclass(frozen=True, slots=True)
class Step:
    """One test as it was made, and the best one at that moment; ``bits`` are what was to be expected of each."""

    test: Test
    reading: Reading
    best: Test

    @property
    def wasted(self) -> bool:
        """Whether the minutes could have told far more."""
        return _rate(self.test) < WASTED * _rate(self.best)


@dataclass(frozen=True, slots=True)
class Path:
    """A walk to the cause: its steps, and minutes in all."""

    steps: tuple[tuple[Test, Reading], ...]
    minutes: float
    proven: bool


class Exercise:
    """One hidden fault. The same circuit, difficulty and seed give the same exercise.

    ``complaints``: (load, works, state) as the customer tells them. ``history``: where hands have been, if it is known.
    Raises InputError where the circuit has no fault of that difficulty that a customer would notice.
    """

    def __init__(
        self, circuit: Circuit, difficulty: str = "single", seed: int = 0, *, slips: float = SLIPS
    ) -> None:
        if difficulty not in DIFFICULTIES:
            raise InputError(
                f"{difficulty!r} is no difficulty", remedy=f"use one of {', '.join(DIFFICULTIES)}"
            )
        generator = np.random.default_rng(seed)
        self.circuit, self.difficulty, self.seed, self.slips = circuit, difficulty, seed, slips
        self.intermittent = difficulty == "intermittent"
        self.fault, self.complaints = _hidden(circuit, difficulty, generator)
        self.history = (
            _misleading(circuit, self.fault, generator) if difficulty == "misleading history" else ()
        )
        self.vehicle = self._vehicle()
        self.referee = self._diagnosis()
        self.steps: list[Step] = []
        self.hints = self.wrong = 0
        self.solved = False
        self._named: set[str] = set()
        self._best: Path | None = None

    def _vehicle(self) -> Vehicle:
        return vehicle(self.circuit, self.fault, self.seed, slips=self.slips, intermittent=self.intermittent)

    def _diagnosis(self, shared: Diagnosis | None = None) -> Diagnosis:
        """One who has heard what the trainee was told at the beginning."""
        job = Diagnosis(
            self.circuit,
            INSTRUMENTS,
            intermittent=self.intermittent,
            seed=self.seed,
            predictions=shared.predictions if shared else None,
        )
        for load, works, state in self.complaints:
            job.complain(load, works=works, state=state)
        if self.history:
            job.earlier_work(self.history)
        return job

    @property
    def minutes(self) -> float:
        """What the trainee's tests cost so far."""
        return sum(step.test.minutes for step in self.steps)

    def measure(self, measurement: Measurement) -> Step:
        """Make a test on the vehicle. Raises as `Diagnosis.measure` for places that are not there."""
        self._open()
        test = self.referee.rank(measurement)
        best = next(iter(self.referee.next_tests(1)), test)
        step = Step(test, _made(self.referee, self.vehicle, measurement), best)
        self.steps.append(step)
        return step

    def hint(self) -> Test | None:
        """The best test now; it costs points. None where nothing would tell more."""
        self._open()
        self.hints += 1
        return next(iter(self.referee.next_tests(1)), None)

    def condemn(self, name: str) -> bool:
        """Name the place that is to be repaired: whether it is one. Of a pair both have to be named."""
        self._open()
        wanted = {one.part for one in (self.fault.members or (self.fault,))}
        found = {one for one in wanted if name.casefold() in (one.casefold(), part_of(one).casefold())}
        self._named |= found
        self.wrong += not found
        self.solved = self._named == wanted
        return bool(found)

    def _open(self) -> None:
        if self.solved:
            raise ConflictError("this exercise is solved: begin another")

    @property
    def best(self) -> Path:
        """The best path: the engine's own, on the same vehicle, until the cause is proven."""
        if self._best is None:
            self._best = _walked(self._diagnosis(self.referee), self._vehicle())
        return self._best

    @property
    def points(self) -> int:
        """100 for the minutes of the best path or fewer; hints and parts condemned in error cost. 0 if not solved."""
        if not self.solved:
            return 0
        share = min(1.0, self.best.minutes / self.minutes) if self.minutes else 1.0
        return max(0, round(100 * share) - HINT_POINTS * self.hints - WRONG_POINTS * self.wrong)


def _rate(test: Test) -> float:
    return test.bits / max(test.minutes, 0.1)


def _made(job: Diagnosis, car: Vehicle, asked: Measurement) -> Reading:
    """Measure on the vehicle and tell the diagnosis, odd or not: it is what the instrument shows."""
    value = car.answer(asked)
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
        present=getattr(car, "present", None),
    )


def _walked(job: Diagnosis, car: Vehicle) -> Path:
    steps: list[tuple[Test, Reading]] = []
    while len(steps) < MOST_STEPS and not ((found := job.finding()) and found.proven):
        tests = job.next_tests(1)
        if not tests:
            break
        steps.append((tests[0], _made(job, car, tests[0].measurement)))
    found = job.finding()
    return Path(tuple(steps), sum(test.minutes for test, _ in steps), bool(found and found.proven))


# What is hidden

Complaints = tuple[tuple[str, str, str], ...]


def _hidden(circuit: Circuit, difficulty: str, generator: np.random.Generator) -> tuple[Fault, Complaints]:
    """A fault drawn from the priors among those of the difficulty, that a customer notices."""
    faults = [one for one in circuit.faults.values() if one.name not in (NOTHING_WRONG, NOT_IN_MODEL)]
    faults = [one for one in faults if FITS.get(difficulty, _any)(one)]
    if faults:
        priors = default_priors()
        weights = np.array([priors.rate(one) for one in faults])
        for _ in range(TRIES):
            drawn = [faults[int(n)] for n in generator.choice(len(faults), 2, p=weights / weights.sum())]
            fault = drawn[0] if difficulty != "pair" else pair(*drawn)
            told = _noticed(circuit, fault)
            if told and (difficulty != "pair" or _both_noticed(circuit, drawn)):
                order = generator.permutation(len(told))[:MOST_COMPLAINTS]
                return fault, tuple(told[int(n)] for n in sorted(order))
    raise InputError(
        f"this circuit has no fault for {difficulty!r} that a customer would notice",
        remedy="choose another circuit or difficulty",
    )


def _any(fault: Fault) -> bool:
    return True


FITS: Mapping[str, Callable[[Fault], bool]] = {
    "high resistance": lambda fault: fault.mode == "high resistance"
}


def _noticed(circuit: Circuit, fault: Fault) -> list[tuple[str, str, str]]:
    """What works otherwise than it should: (load, works, state)."""
    return [
        (load, works, state)
        for state in circuit.states
        for load, works in _differences(circuit, fault, state)
    ]


def _differences(circuit: Circuit, fault: Fault, state: str) -> Iterator[tuple[str, str]]:
    solution = circuit.solve(state, fault=fault)
    for part in circuit.parts.values():
        if part.kind in LOADS and (works := solution.works(part.name)) != circuit.healthy_word(
            part.name, state
        ):
            yield part.name, works


def _both_noticed(circuit: Circuit, faults: list[Fault]) -> bool:
    return faults[0].part != faults[1].part and all(_noticed(circuit, one) for one in faults)


def _misleading(circuit: Circuit, fault: Fault, generator: np.random.Generator) -> tuple[str, ...]:
    """A place where hands have been, and where the fault is not."""
    near = {part_of(name) for one in (fault.members or (fault,)) for name in (one.part, *one.touches)}
    others = [
        part.name
        for part in circuit.parts.values()
        if part.name not in near and part.kind not in ("splice", "battery")
    ]
    return (str(generator.choice(others)),) if others else ()


__all__ = ["DIFFICULTIES", "INSTRUMENTS", "Exercise", "Path", "Step"]
