"""Demo jobs: a circuit, what the customer says, what was done before, and the hidden cause. All of it is invented."""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from typing import Any

from halfsplit.errors import NotFoundError
from halfsplit.notation.library import circuit_files


@dataclass(frozen=True, slots=True)
class EarlierWork:
    """Hands that have been near ``place``, a part of the circuit; whether the complaint began at that visit."""

    place: str
    words: str
    weeks_ago: int
    complaint_began: bool


@dataclass(frozen=True, slots=True)
class Complaint:
    """What a load does in a state: ``works`` is 'yes', 'weak' or 'no'."""

    part: str
    works: str
    state: str


@dataclass(frozen=True, slots=True)
class Code:
    """A fault code on arrival: the unit, the kind of failure, and the pin that it speaks of."""

    unit: str
    kind: str
    pin: str


@dataclass(frozen=True, slots=True)
class Demo:
    """``hidden`` is the name of the fault that a simulated vehicle carries, ``explanation`` how it came about."""

    name: str
    title: str
    vehicle: str
    odometer_km: int
    customer: str
    hidden: str
    explanation: str
    earlier_work: tuple[EarlierWork, ...]
    complaints: tuple[Complaint, ...]
    codes: tuple[Code, ...]
    text: str


@cache
def demos() -> tuple[Demo, ...]:
    """All demos, in the order of ``demos/demos.toml``."""
    texts = dict(circuit_files("demos"))
    jobs: dict[str, dict[str, Any]] = tomllib.loads(
        files("halfsplit.notation").joinpath("demos", "demos.toml").read_text(encoding="utf-8")
    )
    records = {"earlier_work": EarlierWork, "complaints": Complaint, "codes": Code}
    for job in jobs.values():
        job |= {field: tuple(record(**entry) for entry in job[field]) for field, record in records.items()}
    return tuple(Demo(name=name, text=texts[name], **job) for name, job in jobs.items())


def demo(name: str) -> Demo:
    """One demo by its name. Raises `NotFoundError` with the names that there are."""
    for demo in demos():
        if demo.name == name:
            return demo
    raise NotFoundError(f"there is no demo {name!r}; there are {', '.join(demo.name for demo in demos())}")
