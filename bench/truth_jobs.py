"""One job of `bench truth`, from what is told on arrival to the stop."""

from __future__ import annotations

import time
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np

from bench.shared import gone_on
from bench.truth_circuits import circuit_text
from bench.truth_vehicles import Car, Hidden, both, single, undrawn
from halfsplit import Circuit, Diagnosis
from halfsplit.circuit.kinds import LOADS
from halfsplit.diagnosis.measurement import Measurement, Present

KINDS = {
    "single": 0.60,
    "one wrong reading": 0.15,
    "comes and goes": 0.10,
    "pair": 0.075,
    "not in the model": 0.075,
}
MOST_TESTS = 30
TRIES = 300
FOUND = 0.95
UNKNOWN = "not in this model"


@dataclass(frozen=True)
class Told:
    """One thing told on arrival: a load's word, or a silent unit (value 'silent')."""

    name: str
    value: str
    state: str

    def to(self, job: Diagnosis) -> None:
        """Enter it."""
        if self.value == "silent":
            job.observe(self.name, answers=False, state=self.state, present="yes")
        else:
            job.complain(self.name, works=self.value, state=self.state)


def wrong(car: Car) -> list[Told]:
    """All that is not as it should be, in every state; the vehicle has been used in each, so fuses are blown."""
    circuit, found = car.circuit, []
    first = {state: car.solution(state) for state in circuit.states}
    for state in circuit.states:
        now = car.solution(state) if car.blown_fuses else first[state]
        healthy = circuit.solve(state)
        for part in circuit.parts.values():
            if part.kind in LOADS and part.kind != "resistor":
                word = now.works(part.name)
                if word != healthy.works(part.name):
                    found.append(Told(part.name, word, state))
            elif part.kind == "module" and healthy.answers(part.name) and not now.answers(part.name):
                found.append(Told(part.name, "silent", state))
    return found


def told_of(car: Car, dice: np.random.Generator, most: int) -> list[Told]:
    """What a customer tells: one or two loads, each once; a silent unit where no load is touched."""
    found = wrong(car)
    loads = [one for one in found if one.value != "silent"] or found
    names = list(dict.fromkeys(one.name for one in loads))
    told = []
    for name in dice.permutation(names)[:most]:
        some = [one for one in loads if one.name == name]
        told.append(some[int(dice.integers(len(some)))])
    return told


MAKERS = {"single": single, "one wrong reading": single, "comes and goes": single, "pair": both,
          "not in the model": undrawn}  # fmt: skip


def case(kind: str, seed: int, number: int) -> tuple[Circuit, Hidden, Car, list[Told], np.random.Generator]:
    """The case of this number: circuit, what is hidden, the vehicle, what is told."""
    dice = np.random.default_rng([seed, list(KINDS).index(kind), number])
    circuit = Circuit.parse(circuit_text(int(dice.integers(1 << 30)), (0, 3)))
    for _ in range(TRIES):
        hidden = MAKERS[kind](circuit, dice)
        car = Car(circuit, hidden, np.random.default_rng(int(dice.integers(1 << 30))))
        told = _told_of_pair(car, dice) if kind == "pair" else told_of(car, dice, 2)
        if told:
            return circuit, hidden, car, told, dice
    return case(kind, seed, number + 100_000)


def _told_of_pair(car: Car, dice: np.random.Generator) -> list[Told]:
    """Both faults are noticed: what one alone does and what the other alone does, each told once."""
    told: list[Told] = []
    for member in car.fault.members:
        alone = Car(car.circuit, Hidden("", frozenset(), member), np.random.default_rng(1))
        alone._parameters = car._parameters
        mine = told_of(alone, dice, 1)
        if not mine:
            return []
        told += mine
    there = wrong(car)
    kept = [one for one in dict.fromkeys(told) if one in there]
    return kept if len(kept) == len(car.fault.members) else []


def run(kind: str, seed: int, number: int) -> dict[str, Any]:
    """One job to its stop, as a row of the results."""
    circuit, hidden, car, told, dice = case(kind, seed, number)
    shy = kind == "comes and goes"
    car.chance = float(dice.uniform(0.5, 0.9)) if shy else 1.0
    says = bool(dice.random() < 0.5)
    slip_after = int(dice.integers(4)) if kind == "one wrong reading" else None
    job = Diagnosis(circuit, intermittent=shy, seed=1)
    for one in told:
        one.to(job)
    start, minutes, moments, numbers, slip = time.perf_counter(), 0.0, [], 0, ""
    tests = 0
    while True:
        first = job.suspects()[0]
        # Of two faults either has to be repaired: a suspect that is one of them is no wrong one.
        needed = _is(first.part, hidden, kind) or set(first.part.split(" + ")) < hidden.names
        moments.append((round(first.probability, 4), needed))
        finding, test = gone_on(job, tests, MOST_TESTS)
        if test is None:
            break
        measurement = test.measurement
        value = car.answer(measurement)
        if slip_after is not None and not slip and measurement.quantity == "volts":
            numbers += 1
            if numbers > slip_after:
                value, slip = slipped(car, measurement, float(value), dice)
        present: Present | None = None if not (shy and says) else "yes" if car.there else "no"
        job.record(test, value, present=present, sure=True)
        tests += 1
        minutes += test.minutes
    named = finding.part if finding else None
    probability = job.posterior().probability
    return {
        "kind": kind, "seed": seed, "number": number, "circuit": circuit.title, "hidden": hidden.words,
        "names": sorted(hidden.names), "told": [(one.name, one.value, one.state) for one in told],
        "named": named, "cause": finding.cause if finding else None, "proven": bool(finding and finding.proven),
        "right": bool(named and _is(named, hidden, kind)),
        "one_of": bool(named and set(named.split(" + ")) & hidden.names),
        "says_so": _says_so(job, named, hidden),
        "region": named is None and _near(job, hidden),
        "slip": slip, "tests": tests, "minutes": round(minutes, 1), "seconds": round(time.perf_counter() - start, 2),
        "moments": moments, "first": {name: round(share, 4) for name, share in list(probability.items())[:5]},
    }  # fmt: skip


def _is(part: str, hidden: Hidden, kind: str) -> bool:
    """Whether a repair is the one that cures."""
    if hidden.moves or hidden.bridges:
        return part == UNKNOWN or part in hidden.names or _same_undrawn(part, hidden)
    return set(part.split(" + ")) == hidden.names or (kind == "not in the model" and part == UNKNOWN)


def _same_undrawn(part: str, hidden: Hidden) -> bool:
    """An undrawn fault that is named outright: two points, both where the hidden one is."""
    places = part.split(" and ")
    return len(places) == 2 and all(
        one in hidden.region or one.partition(".")[0] in hidden.region for one in places
    )


def _says_so(job: Diagnosis, named: str | None, hidden: Hidden) -> bool:
    """It says that nothing drawn explains this, or names the undrawn fault itself."""
    if named is not None:
        return bool(hidden.moves or hidden.bridges) and _same_undrawn(named, hidden)
    first = job.suspects()[0]
    doubt = getattr(job, "doubt", lambda: None)()
    return first.part == UNKNOWN or _same_undrawn(first.part, hidden) or bool(doubt and doubt.nothing_drawn)


def _near(job: Diagnosis, hidden: Hidden) -> bool:
    """Undecided, and what it points at is where the fault is."""
    doubt = getattr(job, "doubt", lambda: None)()
    names = set(doubt.region) if doubt else set()
    names |= {name for name, share in job.posterior().probability.items() if share >= 0.02}
    return any(
        one in hidden.region | hidden.names
        for name in names
        for one in (name, name.partition(".")[0], *name.replace(",", " ").split())
    )


def slipped(car: Car, measurement: Measurement, value: float, dice: np.random.Generator) -> tuple[float, str]:
    """The reading as a slip of the hand gives it, of the kinds that happen at a bay, and which it was."""
    for word in dice.permutation(list(SLIPS)):
        wrong_value = SLIPS[str(word)](_Slip(car, measurement, value))
        if wrong_value is not None and abs(wrong_value - value) > 0.4:
            noise = 0.0 if word == "nothing touched" else float(dice.normal(0, 0.03))
            return round(wrong_value + noise, 3), str(word)
    return value, ""


@dataclass(frozen=True)
class _Slip:
    """The reading that was meant."""

    car: Car
    meant: Measurement
    value: float

    def volts(self, at: str, to: str | None = None, state: str | None = None) -> float:
        return self.car.solution(state or self.meant.state, self.meant.changes).volts(at, to)

    def neighbouring(self) -> float | None:
        place, colon, side = self.meant.at.partition(":")
        part, _, pin = place.partition(".")
        pins = list(self.car.circuit.parts[part].pins) if part in self.car.circuit.parts else []
        if pin not in pins or len(pins) < 2:
            return None
        return self.volts(f"{part}.{pins[pins.index(pin) - 1]}{colon}{side}", self.meant.to)

    def other_state(self) -> float:
        return self.volts(self.meant.at, self.meant.to, next(iter(self.car.circuit.states)))

    def other_unit(self) -> float:
        return 1000 * self.value if abs(self.value) < 0.02 else self.value / 1000


SLIPS: Mapping[str, Callable[[_Slip], float | None]] = {
    "nothing touched": lambda slip: 0.0 * slip.value,
    "the supply's volts": lambda slip: slip.volts("G1.+"),
    "the neighbouring pin": _Slip.neighbouring,
    "leads swapped": lambda slip: -slip.value,
    "wrong state": _Slip.other_state,
    "millivolts as volts": _Slip.other_unit,
}
