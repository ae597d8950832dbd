"""An exercise: a vehicle with a hidden fault that answers what is measured, and the end of it, judged.

exercise = Exercise(circuit, "high resistance", seed=3)
exercise.complaints
exercise.measure(Measurement("volts", "H1.1", "on", instrument="meter"))
exercise.condemn("E1"), exercise.points
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from halfsplit.circuit.circuit import Circuit
from halfsplit.circuit.faults import Fault
from halfsplit.diagnosis.cost import cautions, never_probed, part_of
from halfsplit.diagnosis.diagnosis import Diagnosis
from halfsplit.diagnosis.measurement import Measurement, Present, Reading
from halfsplit.diagnosis.words import sentence
from halfsplit.errors import ConflictError, InputError, NotFoundError
from halfsplit.practice.hiding import Complaints, Hidden, hide
from halfsplit.practice.paths import Path, Worth, heard, judged, one_who_listened, walked, worth
from halfsplit.practice.vehicle import ANSWERS, Vehicle, vehicle
from halfsplit.quantities import QUANTITIES

SLIPS = 0.02
HINT_POINTS, WRONG_POINTS = 10, 25
MOST_TESTS = 100
DELICATE = ("module", "sensor")
LAMP_CAUTION = "A test lamp can destroy a unit's output, a sensor or a bus: take a meter there."


@dataclass(frozen=True, slots=True)
class Quote:
    """What a test will take, before it is made: minutes as things stand, places that it opens, cautions."""

    sentence: str
    minutes: float
    opens: tuple[str, ...]
    cautions: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Taken:
    """A test that was made: what it read and what it cost."""

    reading: Reading
    minutes: float


class Exercise:
    """One hidden fault. The same circuit, difficulty and seed give the same exercise.

    ``complaints``: (load, works, state) as the customer tells them. ``history``: where hands have been, if it is known.
    ``hidden``: what was hidden before, of an exercise that goes on. Raises InputError where the circuit has no fault of
    that difficulty that a customer would notice.
    """

    def __init__(
        self,
        circuit: Circuit,
        difficulty: str = "single",
        seed: int = 0,
        *,
        slips: float = SLIPS,
        hidden: Hidden | None = None,
    ) -> None:
        self.hidden = hidden or hide(circuit, difficulty, seed)
        self.circuit, self.difficulty, self.seed, self.slips = circuit, difficulty, seed, slips
        self.intermittent = difficulty == "intermittent"
        self.vehicle = self._vehicle()
        self.referee = self._listener()
        self.taken: list[Taken] = []
        self.hints = self.wrong = 0
        self.solved = self.given_up = False
        self.named: list[str] = []
        self._right: set[str] = set()
        self._paths: dict[str, Path] = {}

    @property
    def fault(self) -> Fault:
        """What is hidden."""
        return self.hidden.fault

    @property
    def complaints(self) -> Complaints:
        """What the customer tells."""
        return self.hidden.complaints

    @property
    def history(self) -> tuple[str, ...]:
        """Where others have worked, as far as the customer tells."""
        return self.hidden.history

    def _vehicle(self) -> Vehicle:
        return vehicle(self.circuit, self.fault, self.seed, slips=self.slips, intermittent=self.intermittent)

    def _listener(self, shared: Diagnosis | None = None) -> Diagnosis:
        predictions = shared.predictions if shared else None
        return one_who_listened(
            self.circuit, self.hidden, intermittent=self.intermittent, seed=self.seed, predictions=predictions
        )

    # While it goes on

    @property
    def over(self) -> bool:
        """Whether the cause was named, or given up."""
        return self.solved or self.given_up

    @property
    def minutes(self) -> float:
        """What the trainee's tests cost so far."""
        return sum(step.minutes for step in self.taken)

    def quote(self, measurement: Measurement) -> Quote:
        """What a test will take. Raises NotFoundError or InputError where it cannot be made."""
        self._open()
        if len(self.taken) >= MOST_TESTS:
            raise ConflictError(f"{MOST_TESTS} tests have been made: name the cause, or give up")
        if measurement.quantity not in ANSWERS:
            raise InputError(f"a vehicle does not answer {measurement.quantity!r}")
        self.referee.cost(measurement)
        for name in (measurement.at, measurement.to or ""):
            if QUANTITIES[measurement.quantity].leads and never_probed(self.circuit.parts.get(part_of(name))):
                raise ConflictError(
                    f"{name} belongs to a restraint or high-voltage circuit: it is never probed, nor in practice"
                )
        minutes, opens = self.referee.cost(measurement)
        part = self.circuit.parts.get(part_of(measurement.at))
        tags = cautions(measurement, self.circuit.model)
        delicate = measurement.quantity == "lamp" and part is not None and part.kind in DELICATE
        return Quote(
            sentence(measurement, self.circuit), minutes, opens, (*tags, LAMP_CAUTION) if delicate else tags
        )

    def measure(self, measurement: Measurement) -> Taken:
        """Make a test on the vehicle. Raises as `quote`, and ConflictError where the exercise is over."""
        quote = self.quote(measurement)
        value = self.vehicle.answer(measurement)
        reading = heard(self.referee, measurement, value, getattr(self.vehicle, "present", None))
        self.taken.append(Taken(reading, quote.minutes))
        return self.taken[-1]

    def take_up(
        self, measurement: Measurement, value: float | str, present: Present | None, minutes: float
    ) -> Taken:
        """Make a test again that was made before the exercise was put away: what it read then stands."""
        self.vehicle.answer(measurement)
        reading = heard(self.referee, measurement, value, present)
        self.taken.append(Taken(reading, minutes))
        return self.taken[-1]

    def hint(self) -> Worth | None:
        """The best test now; it costs points. None where nothing would tell more."""
        self._open()
        self.hints += 1
        return next((worth(test) for test in self.referee.next_tests(1)), None)

    def condemn(self, name: str) -> bool:
        """Name the place that is to be repaired: whether it is one. Of a pair both have to be named.

        Raises NotFoundError, and nothing is counted, where the circuit has no such place.
        """
        self._open()
        if not any(name.casefold() in _names(fault.part) for fault in self.circuit.faults.values()):
            raise NotFoundError(f"there is nothing called {name!r} in this circuit; it was not counted")
        parts = self._found(name)
        self._right |= parts
        self.wrong += not parts
        self.named.append(name)
        self.solved = self._right == {fault.part for fault in self.hidden.faults}
        return bool(parts)

    def is_right(self, name: str) -> bool:
        """Whether a place is one that has to be repaired; tells what is hidden."""
        return bool(self._found(name))

    def _found(self, name: str) -> set[str]:
        return {fault.part for fault in self.hidden.faults if name.casefold() in _names(fault.part)}

    def give_up(self) -> None:
        """End it without the cause."""
        self._open()
        self.given_up = True

    def _open(self) -> None:
        if self.over:
            raise ConflictError("this exercise is over: begin another")

    # Judged

    @property
    def path(self) -> Path:
        """The trainee's own path, judged; takes about a second a test."""
        return self.own_path()

    @property
    def best(self) -> Path:
        """The best path on the same vehicle: the engine's own, until the cause is proven."""
        return self.best_path()

    def own_path(self, progress: Callable[[int], None] | None = None) -> Path:
        """The trainee's own path; ``progress`` is told how many steps are judged."""
        if "own" not in self._paths or len(self._paths["own"].steps) != len(self.taken):
            readings = [step.reading for step in self.taken]
            self._paths["own"] = judged(self._listener(self.referee), readings, progress)
        return self._paths["own"]

    def best_path(self, progress: Callable[[int], None] | None = None) -> Path:
        """The best path; ``progress`` is told how many steps are walked."""
        if "best" not in self._paths:
            self._paths["best"] = walked(self._listener(self.referee), self._vehicle(), progress)
        return self._paths["best"]

    def judge(self, own: Path, best: Path) -> None:
        """Take both paths as they were judged elsewhere."""
        self._paths = {"own": own, "best": best}

    @property
    def points(self) -> int:
        """100 for the minutes of the best path or fewer; hints and parts condemned in error cost. 0 if not solved."""
        if not self.solved:
            return 0
        return points(self.minutes, self.best.minutes, self.hints, self.wrong)


def points(minutes: float, best_minutes: float, hints: int, wrong: int) -> int:
    """Points of an exercise that was solved.

    >>> points(20.0, 10.0, 1, 0)
    40
    """
    share = min(1.0, best_minutes / minutes) if minutes else 1.0
    return max(0, round(100 * share) - HINT_POINTS * hints - WRONG_POINTS * wrong)


def _names(place: str) -> set[str]:
    """What a place may be called: a cavity by its connector as well, a wire by its whole name only."""
    own = {place.casefold()}
    return own if place.startswith("wire ") else own | {part_of(place).casefold()}
