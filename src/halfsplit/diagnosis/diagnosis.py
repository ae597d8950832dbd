"""Diagnosis: the public object that joins evidence, suspects, next test and finding.

job = hs.Diagnosis(circuit)
job.complain("M9", works="no", state="wiper on")
test = job.next_tests(limit=1)[0]
job.record(test, 0.02)
job.suspects()[0], job.finding()
"""

from __future__ import annotations

import math
from collections.abc import Callable, Hashable, Mapping, Sequence
from copy import copy
from dataclasses import replace

import numpy as np

from halfsplit.circuit.circuit import Circuit
from halfsplit.circuit.interventions import Intervention
from halfsplit.circuit.kinds import LOADS
from halfsplit.diagnosis import looking, proof, suspects
from halfsplit.diagnosis.after_repair import to_verify
from halfsplit.diagnosis.answers import Answer, Answers
from halfsplit.diagnosis.codes import check_code
from halfsplit.diagnosis.cost import Bay
from halfsplit.diagnosis.doubt import Doubt, doubt
from halfsplit.diagnosis.gauge_course import course_of
from halfsplit.diagnosis.measurement import NUMERIC, UNITS, Measurement, Present, Reading, answers_for
from halfsplit.diagnosis.posterior import Inference, Posterior
from halfsplit.diagnosis.predictions import Predictions
from halfsplit.diagnosis.priors import Priors, default_priors
from halfsplit.diagnosis.propose import Test, candidates_for, describe, propose
from halfsplit.diagnosis.situation import Situation
from halfsplit.diagnosis.suspects import Expected, Replacement, Suspect
from halfsplit.diagnosis.there import check_gauge, check_measurement, check_part, plain_place
from halfsplit.errors import ConflictError, InputError, NotFoundError
from halfsplit.quantities import QUANTITIES
from halfsplit.units import plausible

FOUND = 0.95
"""A cause is found when its repair group has at least this."""
DRAWS = 16
YES_NO = {"y": "yes", "yes": "yes", "n": "no", "no": "no", "true": "yes", "false": "no"}
"""How yes and no are typed."""


class ImplausibleReadingError(InputError):
    """A reading that a vehicle can hardly give. Ask, then record it again with ``sure=True`` if it stands."""


class Diagnosis:
    """One job on one circuit.

    ``instruments``: what is at hand (names of ``circuit.instruments.INSTRUMENTS``). ``intermittent``: the fault may be
    away during a test. ``seed``: of the parameter draws; the same seed and readings give the same answers.
    ``predictions``: those of another job on the same circuit, so that nothing is solved twice.
    """

    def __init__(
        self,
        circuit: Circuit,
        instruments: Sequence[str] = ("meter", "test lamp"),
        *,
        intermittent: bool = False,
        seed: int = 0,
        priors: Priors | None = None,
        draws: int = DRAWS,
        found_at: float = FOUND,
        predictions: Predictions | None = None,
    ) -> None:
        self.circuit = circuit
        self.instruments = tuple(instruments)
        self.intermittent = intermittent
        self.found_at = found_at
        self.predictions = predictions or Predictions(circuit, draws=draws, seed=seed)
        self._priors = priors or default_priors()
        self._touched: dict[str, float] = {}
        self._readings: list[Reading] = []
        self._refused: dict[Measurement, str] = {}
        self._courses: dict[str, Mapping[str, float]] = {}
        self._bay = Bay(circuit.model)
        self._inference: Inference | None = None
        self._known = Answers()

    # Evidence.

    @property
    def readings(self) -> tuple[Reading, ...]:
        """All evidence in the order in which it came, what was struck out included."""
        return tuple(self._readings)

    def complain(self, load: str, works: str = "no", state: str | None = None) -> Reading:
        """The customer's complaint: a load that does not work as it should ('no', 'weak'; 'yes' when it should not).

        Or a stage that does not hold, or a unit that does not answer. The state is the one in which the load has most
        volts when healthy, unless it is given.
        """
        part = self.circuit.parts.get(load)
        unit = part is not None and part.kind == "module"
        quantity = "stage" if load in self.circuit.model.stages else "answers" if unit else "works"
        if not state and quantity == "works" and check_part(self.circuit, load).kind in LOADS:
            state = max(self.circuit.states, key=lambda state: self.circuit.solve(state).across(load))
        measurement = Measurement(quantity, load, state or self._default_state())
        return self._take(measurement, works, "yes", source="complaint")

    def observe(
        self,
        name: str,
        *,
        works: str | None = None,
        answers: bool | str | None = None,
        blown: bool | str | None = None,
        stage: float | str | None = None,
        state: str | None = None,
        present: Present | None = None,
    ) -> tuple[Reading, ...]:
        """Something seen: whether a load works, a unit answers, a fuse is blown, a stage holds.

        Yes and no as True and False, or in words.
        """
        chosen = state or self._default_state()
        given = [("works", works), ("answers", answers), ("blown", blown), ("stage", stage)]
        return tuple(
            self._take(Measurement(quantity, name, chosen), value, present, source="observation")
            for quantity, value in given
            if value is not None
        )

    def code(
        self,
        unit: str,
        kind: str,
        pin: int | str | None = None,
        *,
        state: str | None = None,
        is_set: bool = True,
    ) -> Reading:
        """A fault code of a unit, mapped to a pin and a kind of failure (one of ``evidence.CODE_KINDS``)."""
        check_code(self.circuit, unit, kind, None if pin is None else str(pin))
        detail = (kind,) if pin is None else (kind, str(pin))
        measurement = Measurement("code", unit, state or self._default_state(), detail=detail)
        return self._take(measurement, "set" if is_set else "not set", "yes", source="code")

    def measure(
        self,
        quantity: str,
        at: str,
        *,
        state: str | None = None,
        value: float | str,
        to: str | None = None,
        instrument: str | None = None,
        changes: Sequence[Intervention] = (),
        present: Present | None = None,
        detail: Sequence[str] = (),
        sure: bool = False,
    ) -> Reading:
        """A test of one's own choice."""
        if instrument is None and quantity in (*NUMERIC, "lamp") and not QUANTITIES[quantity].from_the_seat:
            instrument = QUANTITIES[quantity].instrument or "meter"
        measurement = Measurement(
            quantity, at, state or self._default_state(), to, instrument, tuple(changes), tuple(detail)
        )
        return self._take(measurement, value, present, sure=sure)

    def record(
        self,
        test: Test,
        value: float | str,
        *,
        present: Present | None = None,
        sure: bool = False,
        id: str | None = None,
    ) -> Reading:
        """The result of a proposed test: SI unit of its quantity, or one of its words."""
        return self._take(test.measurement, value, present, sure=sure, id=id)

    def imagined(self, test: Test, value: float | str) -> Diagnosis:
        """This job as it would stand after a result of a proposed test; the job itself is left as it is.

        What is solved for the one is solved for the other.
        """
        other = copy(self)
        vars(other).update(
            _readings=list(self._readings), _refused=dict(self._refused), _inference=copy(self._infer())
        )
        other.record(test, value, sure=True)
        return other

    def prepare(self, state: str) -> None:
        """Solve what the first complaint in an operating state will ask for. Raises UnknownNameError for no state."""
        self._infer().prepare(state)

    def prepare_doubt(self) -> None:
        """Solve what a reading will ask for that nothing drawn explains."""
        self._infer().prepare_doubt(self.readings)

    def event(self, place: str, what: str) -> Reading:
        """'It came (or went) when I touched this': a new regime begins, and the place is raised."""
        measurement = Measurement("event", place, self._default_state())
        return self._take(measurement, "yes", "yes", source="event", words=what)

    def earlier_work(self, places_touched: Sequence[str], *, began_then: bool = False) -> None:
        """Where hands have been: raises every fault there, more so if the complaint began at that visit."""
        factor = self._priors.factors["began at that visit" if began_then else "disturbed"]
        known = {*self.circuit.parts, *(point.partition(":")[0] for point in self.circuit.points)}
        for name in places_touched:
            if name not in known and not name.startswith("wire "):
                raise NotFoundError(f"there is no part or connector {name!r} in this circuit")
            self._touched[name] = factor
        self._inference = None
        self._known.clear()

    def strike(self, reading: Reading, why: str) -> None:
        """Strike a reading out; it stays readable, and the suspects are as if it had never been."""
        for number, kept in enumerate(self._readings):
            if kept.id == reading.id:
                if kept.struck is not None:
                    raise ConflictError("this reading is struck out already")
                self._readings[number] = replace(kept, struck=why)
                return
        raise NotFoundError("this reading is none of this job")

    def cannot(self, test: Test | Measurement, why: str) -> None:
        """Not to be proposed again, nor anything else at a place that cannot be reached for it; no evidence."""
        self._refused[test if isinstance(test, Measurement) else test.measurement] = why

    def can(self, test: Test) -> None:
        """What could not be done can be done after all: it is proposed again, and so is what else is at its place."""
        self._refused.pop(test.measurement, None)

    # Answers.

    def suspects(self) -> tuple[Suspect, ...]:
        """Suspects by the repair that cures them, most probable first."""
        ranked, courses = suspects.suspects(self.situation()), self._courses
        if not courses:
            return ranked
        modes = {gauge: next(iter(course)) for gauge, course in courses.items()}
        return tuple(replace(each, mode=modes.get(each.part, each.mode)) for each in ranked)

    def course(
        self, gauge: str, seconds: Sequence[float], shown: Sequence[float], since: float
    ) -> Mapping[str, float]:
        """How a gauge lies, by its samples: stuck, drift, offset or intermittent offset, likeliest first.

        ``seconds``, ``shown``: times and what it shows; ``since``: when it began to lie. The suspect of this gauge is
        told with that mode from then on; whether it lies at all, its readings say. Raises UnknownNameError for what is
        no gauge, InputError for fewer than a dozen samples before or after.
        """
        check_gauge(self.circuit, gauge)
        read = course_of(np.asarray(seconds, dtype=float), np.asarray(shown, dtype=float), since)
        self._courses[gauge] = read
        return read

    def finding(self) -> proof.Finding | None:
        """None, or what was found, whether it is proven, and what proof is missing."""
        return self._answer("finding", lambda: proof.finding(self.situation(), self.found_at))

    def doubt(self) -> Doubt | None:
        """What does not fit although something leads, or that nothing drawn explains the evidence; None if all fits."""
        return doubt(self.situation(), self.found_at)

    def next_tests(self, limit: int = 5) -> tuple[Test, ...]:
        """The tests worth their minutes, best first.

        What tells the suspects apart; once a cause is found, what its proof still lacks.
        """

        def work_out() -> tuple[Test, ...]:
            return propose(self.situation(), limit, self.found_at, self.odd_reading())

        return self._answer(("tests", limit), work_out)

    def rank(self, measurement: Measurement) -> Test:
        """What a test that the technician prefers is worth."""
        return describe(self.situation(), [measurement])[0]

    def cost(self, measurement: Measurement) -> tuple[float, tuple[str, ...]]:
        """Minutes of a test as things stand, and the places that it opens; what it would tell is not weighed.

        Raises UnknownNameError for what is not in the circuit.
        """
        check_measurement(self.circuit, measurement)
        return self._bay.minutes(measurement), self._bay.opens(measurement)

    def odd_reading(self) -> Reading | None:
        """The reading that fits worst, where it fits badly: to be repeated before two faults are believed."""
        return self._answer("odd reading", lambda: suspects.odd_reading(self.situation()))

    def replacement(self, part: str, price: float, minutes: float, hourly: float) -> Replacement:
        """What fitting a part on suspicion would cost: the chance that it cures, and the money per cure."""
        return suspects.replacement(self.situation(), part, price, minutes, hourly)

    def expected(self, point: str, state: str | None = None) -> tuple[Expected, ...]:
        """'What should I see here?': healthy, and under each leading suspect."""
        return suspects.expected_at(self.situation(), point, state or self._default_state())

    def audit(self, reading: Reading) -> str:
        """What a good reading could not have seen ('a 5 W lamp there sees nothing under 7.2 ohm'), or nothing."""
        return looking.unseen(self.situation(), reading)

    def free_looks(self) -> tuple[Test, ...]:
        """Symptoms nobody has asked about yet that tell the suspects apart and cost seconds."""
        situation = self.situation()
        return describe(situation, looking.free_looks(situation)[:6])

    def alibi(self) -> looking.Alibi:
        """Every other repair that gives the same readings, and a cheap set of tests that excludes them all."""
        situation = self.situation()
        return looking.alibi(situation, candidates_for(situation))

    def trap(self, state: str | None = None, channels: int = looking.CHANNELS) -> looking.Trap:
        """Where to leave channels connected on a road test, for a fault that comes and goes."""
        return looking.trap(self.situation(), state or self._default_state(), channels)

    def verify(self) -> tuple[tuple[Test, float | str], ...]:
        """After the repair: the tests to make again, and what each must read now."""
        situation = self.situation()
        asked = to_verify(situation)
        tests = describe(situation, [measurement for measurement, _ in asked])
        return tuple((test, value) for test, (_, value) in zip(tests, asked, strict=True))

    # What the answers above are worked out from; for the plan and the workbench.

    def situation(self) -> Situation:
        """All that is known now, as one value that later readings do not change."""
        return Situation(
            self.circuit,
            self.instruments,
            self.intermittent,
            self._infer(),
            self.posterior(),
            tuple(self._readings),
            dict(self._refused),
            self._bay,
        )

    def _infer(self) -> Inference:
        if self._inference is None:
            known, comes_and_goes = (self.predictions, self._priors, self._touched), self.intermittent
            self._inference = Inference(*known, intermittent=comes_and_goes)
        return self._inference

    def posterior(self) -> Posterior:
        """The posterior over all hypotheses."""
        return self._answer("posterior", lambda: self._infer().posterior(self._readings))

    def _answer(self, what: Hashable, work_out: Callable[[], Answer]) -> Answer:
        return self._known.answer(what, self._readings, self._refused, work_out)

    def _take(
        self,
        measurement: Measurement,
        value: float | str,
        present: Present | None,
        *,
        source: str = "reading",
        sure: bool = False,
        words: str = "",
        id: str | None = None,
    ) -> Reading:
        measurement = plain_place(measurement, self.circuit)
        check_measurement(self.circuit, measurement)
        checked = _checked(measurement, value, self.circuit.model.net_volts, sure=sure)
        usual: Present = "unknown" if self.intermittent and source == "reading" else "yes"
        name, shown = id or f"{len(self._readings) + 1:05d}", _present(present) or usual
        reading = Reading(name, measurement, checked, shown, source, None, words)
        if any(known.id == reading.id for known in self._readings):
            raise ConflictError(f"a reading {reading.id} is there already")
        self._readings.append(reading)
        self._bay = self._bay.after(measurement)
        return reading

    def _default_state(self) -> str:
        return self._bay.state or next(reversed(list(self.circuit.states)))


def _present(given: str | None) -> Present | None:
    """Whether the fault was there, as it may be typed. Raises InputError for anything else."""
    if given is None:
        return None
    word = YES_NO.get(given.strip().casefold(), given.strip().casefold())
    answers: dict[str, Present] = {"yes": "yes", "no": "no", "unknown": "unknown"}
    if word not in answers:
        raise InputError(
            f"{given!r} does not say whether the fault was there", remedy="use yes, no or unknown"
        )
    return answers[word]


def _checked(measurement: Measurement, value: float | str, net_volts: float, *, sure: bool) -> float | str:
    """The value as it is kept. Raises InputError for what cannot be, ImplausibleReadingError for what can hardly."""
    words = answers_for(measurement)
    if isinstance(value, str):
        value = YES_NO.get(value.strip().casefold(), value) if "yes" in words else value
        if value not in words:
            raise InputError(
                f"{value!r} is no answer to {measurement.quantity!r}",
                remedy=f"use {', '.join(words)}" if words else "give a number",
            )
        return value
    if isinstance(value, bool) and words:
        return words[0] if value else words[-1]
    if words and measurement.quantity != "stage":
        raise InputError(f"{measurement.quantity!r} is answered in words", remedy=f"use {', '.join(words)}")
    number = float(value)
    if math.isnan(number) or (math.isinf(number) and measurement.quantity != "ohms"):
        raise InputError(f"{number} is no reading", remedy="give the number that the instrument shows")
    unit = UNITS.get(measurement.quantity)
    question = plausible(number, unit, net_volts) if unit and math.isfinite(number) and not sure else ""
    if question:
        raise ImplausibleReadingError(question, remedy="record it again as sure if it stands")
    return number
