"""Hidden faults, how a customer tells of them, and the vehicle that answers: what all strategies are given alike."""

from __future__ import annotations

import zlib
from collections.abc import Iterator, Mapping
from dataclasses import dataclass

import numpy as np

from bench.jobs import SLIPS, hidden_faults
from halfsplit import Circuit, Diagnosis
from halfsplit.circuit.faults import Fault
from halfsplit.circuit.kinds import LOADS
from halfsplit.notation.library import samples
from halfsplit.practice.vehicle import Vehicle

MOST_TOLD = 2
"""A customer tells of one or two things that do not work; what else does not, a look must find."""
TRIES = 400
LONG_LINES = (16, 24, 32)
"""Measuring points in line of the long circuits."""


@dataclass(frozen=True)
class Told:
    """One thing told on arrival. ``kind``: works, stage, answers or code; ``detail``: of a code."""

    kind: str
    name: str
    value: str
    state: str
    detail: tuple[str, ...] = ()

    def to(self, job: Diagnosis) -> None:
        """Enter it in a job."""
        if self.kind == "works":
            job.complain(self.name, works=self.value, state=self.state)
        elif self.kind == "stage":
            job.observe(self.name, stage=self.value, state=self.state)
        elif self.kind == "answers":
            job.observe(self.name, answers=self.value == "yes", state=self.state)
        else:
            job.code(self.name, self.detail[0], self.detail[1], state=self.state)


@dataclass(frozen=True)
class Case:
    """One vehicle as it comes in. ``seed``: of the vehicle, so that each strategy gets the same one."""

    circuit: Circuit
    fault: Fault
    told: tuple[Told, ...]
    seed: int

    def vehicle(self, slips: float = SLIPS) -> Vehicle:
        """The vehicle anew, its fuses as they were on arrival."""
        return arrived(self.circuit, self.fault, self.seed, slips)

    def job(self, shared: Diagnosis | None = None) -> Diagnosis:
        """A diagnosis that has heard what was told."""
        job = Diagnosis(self.circuit, seed=1, predictions=shared.predictions if shared else None)
        for one in self.told:
            one.to(job)
        return job


def arrived(circuit: Circuit, fault: Fault, seed: int, slips: float = SLIPS) -> Vehicle:
    """A vehicle that has been used in every state before it came: fuses that blow in any are blown."""
    vehicle = Vehicle(circuit, fault, np.random.default_rng(seed), slips=slips)
    for state in circuit.states:
        vehicle.solution(state)
    return vehicle


def told_by(vehicle: Vehicle, generator: np.random.Generator) -> tuple[Told, ...]:
    """What is told: loads that do not work as they should; where all do, what does not happen, a unit, a code."""
    loads = list(_loads(vehicle))
    if loads:
        some = generator.permutation(len(loads))[:MOST_TOLD]
        return tuple(loads[number] for number in sorted(some))
    for way in (_stages, _units, _codes):
        found = list(way(vehicle))
        if found:
            return (found[-1],) if way is _stages else (found[int(generator.integers(len(found)))],)
    return ()


def _loads(vehicle: Vehicle) -> Iterator[Told]:
    circuit = vehicle.circuit
    seen = [part.name for part in circuit.parts.values() if part.kind in LOADS and part.kind != "resistor"]
    seen = seen or [part.name for part in circuit.parts.values() if part.kind in LOADS]
    for state in circuit.states:
        solution = vehicle.solution(state)
        for name in seen:
            word = solution.works(name)
            if word != circuit.healthy_word(name, state):
                yield Told("works", name, word, state)


def _stages(vehicle: Vehicle) -> Iterator[Told]:
    """Stages that do not hold in the last state in which they should; the last is what a customer notices."""
    from halfsplit.diagnosis.measurement import Measurement

    model = vehicle.circuit.model
    sound = Vehicle(vehicle.circuit, vehicle.fault, np.random.default_rng(0), noise=False)
    sound.repair(vehicle.fault.part)
    for stage in model.stages.values():
        if stage.good is None:
            state = (stage.states or tuple(vehicle.circuit.states))[-1]
            asked = Measurement("stage", stage.name, state)
            if vehicle.answer(asked) != sound.answer(asked):
                yield Told("stage", stage.name, "no", state)


def _units(vehicle: Vehicle) -> Iterator[Told]:
    circuit = vehicle.circuit
    for state in circuit.states:
        healthy, now = circuit.solve(state), vehicle.solution(state)
        for part in circuit.model.of_kind("module"):
            if healthy.answers(part.name) and not now.answers(part.name):
                yield Told("answers", part.name, "no", state)


def _codes(vehicle: Vehicle) -> Iterator[Told]:
    """What a unit that is awake would store about its inputs and supplies."""
    from halfsplit.diagnosis.measurement import Measurement

    circuit = vehicle.circuit
    for state in circuit.states:
        now = circuit.solve(state)
        for part in circuit.model.of_kind("module"):
            made = part.behaviour
            if made is None or not now.fed(part.name):
                continue
            pins = [("circuit", one.pin) for one in made.inputs] + [
                ("supply", one.pin) for one in made.supplies
            ]
            for kind, pin in pins:
                for way in ("low", "high"):
                    detail = (f"{kind} {way}", pin)
                    asked = Measurement("code", part.name, state, detail=detail)
                    if vehicle.answer(asked) == "set":
                        yield Told("code", part.name, "set", state, detail)


def case(circuit: Circuit, seed: int, number: int) -> Case | None:
    """The case of a number: a fault drawn from the priors, of those that anyone notices; None where none is."""
    generator = np.random.default_rng([seed, number, zlib.crc32(circuit.title.encode())])
    hidden = hidden_faults(circuit, generator)
    for _ in range(TRIES):
        fault, own = next(hidden), int(generator.integers(1 << 30))
        told = told_by(arrived(circuit, fault, own), generator)
        if told:
            return Case(circuit, fault, told, own)
    return None


def circuits() -> Mapping[str, Circuit]:
    """The circuits of the bench by name: every pattern, then the long lines."""
    told = {one.name: Circuit.parse(one.text) for one in samples()}
    return told | {f"line-{points}": Circuit.parse(long_line(points)) for points in LONG_LINES}


PLACES = ("engine bay", "pedal box", "sill", "load space, left", "rear bumper")


def long_line(points: int) -> str:
    """A motor at the end of a long harness: ``points`` measuring points from the battery to the motor and back.

    Battery, fuse, switch, and connectors one after the other on the feed side (three in four) and the ground side.
    Invented; places and minutes are common practice, no source.
    """
    fixed = 9
    """Of the battery's post, fuse and switch (two each), motor (two), ground and battery's ground lead."""
    pairs = (points - fixed) // 2
    feed = [f"X{number}" for number in range(1, pairs - pairs // 4 + 1)]
    back = [f"X{number}" for number in range(pairs - pairs // 4 + 1, pairs + 1)]
    lines = [f"title  Long line of {points} points", "", 'battery G1 at "engine bay"']
    lines += ['fuse F1 20 A at "engine bay fuse box"', 'switch S1 off on at "steering column"']
    lines += ['motor M1 8 A at "rear bumper"', 'ground E1 at "engine bay"', 'ground E2 at "load space, left"']
    spread = [*feed, *back]
    for number, name in enumerate(feed):
        lines.append(f'connector {name} at "{PLACES[number * len(PLACES) // max(len(feed), 1)]}"')
    lines += [f'connector {name} at "{PLACES[-1 - number % 2]}"' for number, name in enumerate(back)]
    wire = "--[2.5mm2 1m]--"
    lines += ["", "G1.- --[16mm2 0.5m]-- E1"]
    lines.append(f" {wire} ".join(["G1.+", "F1", "S1", *(f"{name}.1" for name in feed), "M1.1"]))
    lines.append(f" {wire} ".join(["M1.2", *(f"{name}.1" for name in back), "E2"]))
    lines += ["", 'state "off"', 'state "on" S1 on', ""]
    minutes = dict(zip(PLACES, (2, 5, 12, 6, 4), strict=True))
    lines += [f"reach {name} {minutes[_place(lines, name)]} min" for name in spread[::3]]
    return "\n".join(lines) + "\n"


def _place(lines: list[str], name: str) -> str:
    line = next(line for line in lines if line.startswith(f"connector {name} "))
    return line.split('"')[1]
