"""`halfsplit find --script`: answers from a file, or those of a simulated vehicle, for programs and for the docs."""

from __future__ import annotations

import json
import math
import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from halfsplit.circuit.circuit import Circuit
from halfsplit.diagnosis.measurement import OVER_RANGE, UNITS, Measurement
from halfsplit.errors import InputError
from halfsplit.job.bench import bench_view
from halfsplit.job.entering import OVER_RANGE as OVER_RANGE_WORD
from halfsplit.job.open_job import OpenJob
from halfsplit.job.places import from_json
from halfsplit.job.replay import USUAL_INSTRUMENTS
from halfsplit.job.verbs import add_earlier_work, record_value, take
from halfsplit.job.views import TestCard
from halfsplit.notation.circuit import Circuit as CircuitFile
from halfsplit.practice.vehicle import Vehicle
from halfsplit.practice.vehicle import vehicle as vehicle_with
from halfsplit.store import EarlierWork, JobSettings, Present
from halfsplit.units import plausible

MOST_TESTS = 60
"""A run ends here: no fault finding of a script takes longer, and no script may run for ever."""
KEYS = frozenset(
    ("complaints", "earlier_work", "codes", "instruments", "intermittent", "seed", "answers", "vehicle")
)
MATCHED = ("quantity", "at", "to", "state")

Value = float | str


@dataclass(frozen=True)
class Script:
    """What a script tells. ``answers``: values in order, or objects that say what they answer.

    ``places``: file and line of each answer; ``folder``: where the files are that it names.
    """

    settings: JobSettings
    complaints: tuple[Mapping[str, Any], ...]
    earlier_work: tuple[Mapping[str, Any], ...] = ()
    codes: tuple[Mapping[str, Any], ...] = ()
    answers: tuple[Any, ...] = ()
    places: tuple[str, ...] = ()
    vehicle: Mapping[str, Any] | None = None
    folder: Path = Path()

    @staticmethod
    def read(path: Path) -> Script:
        """Read a script. Raises InputError that names the key."""
        try:
            text = path.read_text(encoding="utf-8")
            said = json.loads(text)
        except (OSError, ValueError, RecursionError) as error:
            raise InputError(f"cannot be read as JSON ({error})", where=path.name) from error
        if not isinstance(said, dict):
            raise InputError(
                "a script is one object", remedy='write {"complaints": […], "answers": […]}', where=path.name
            )
        unknown = sorted(set(said) - KEYS)
        if unknown:
            raise InputError(
                f"{unknown[0]!r} is no key of a script",
                remedy=f"use {', '.join(sorted(KEYS))}",
                where=path.name,
            )
        vehicle = said.get("vehicle")
        if vehicle is not None and (
            not isinstance(vehicle, dict) or not isinstance(vehicle.get("fault"), str)
        ):
            raise InputError(
                "needs the name of a fault",
                remedy='write {"fault": "E5 open", "seed": 1}',
                where=f"{path.name}: vehicle",
            )
        lists = {key: tuple(_list(said, key, path.name)) for key in ("complaints", "earlier_work", "codes")}
        for key, entries in lists.items():
            if not all(isinstance(entry, dict) for entry in entries):
                raise InputError("holds something that is no object", where=f"{path.name}: {key}")
        return Script(
            settings_of(said),
            **lists,
            answers=tuple(_list(said, "answers", path.name)),
            places=_places(text, path.name, len(said.get("answers", ()))),
            vehicle=vehicle,
            folder=path.parent,
        )

    def begin(self, job: OpenJob) -> None:
        """Enter what is known before the first test. Raises InputError where the circuit has no such thing."""
        for earlier in self.earlier_work:
            touched = tuple(map(str, _needed(earlier, "places", "earlier_work")))
            work = EarlierWork(
                what="told by the script", touched=touched, began_then=bool(earlier.get("began_then"))
            )
            add_earlier_work(job, work)
        for number, earlier in enumerate(self.complaints):
            named = [key for key in ("load", "stage", "unit") if key in earlier]
            load = str(_needed(earlier, named[0] if named else "load", f"complaints, number {number + 1}"))
            said = {"load": load, "works": earlier.get("works", "no"), "state": str(earlier.get("state", ""))}
            take(job, "complaint", said, present="yes")
        for earlier in self.codes:
            unit, failure = (_needed(earlier, key, "codes") for key in ("unit", "failure"))
            take(job, "code", {"module": unit, "failure": failure, "pin": earlier.get("pin")})
        _check(job)

    def source(self, circuit: Circuit) -> Answers:
        """What answers the tests."""
        if self.vehicle is None:
            return Answers(list(zip(self.answers, self.places, strict=True)))
        said = self.vehicle
        # A vehicle that is not as it is drawn is told by a circuit of its own.
        real = CircuitFile.read(self.folder / str(said["circuit"])) if "circuit" in said else circuit
        hidden = real.faults[said["fault"]]
        made = vehicle_with(
            real,
            hidden,
            int(said.get("seed", 0)),
            slips=float(said.get("slips", 0.0)),
            intermittent=self.settings.intermittent,
        )
        return Answers([], made)


def _check(job: OpenJob, where: str = "") -> None:
    """Raise InputError where the job could not take what was entered."""
    with job.bench() as bench:
        for why in bench.told.refused.values() if bench.told else ():
            raise InputError(why, where=where)


def _places(text: str, file: str, count: int) -> tuple[str, ...]:
    """File and line of each of so many answers, in a script that was read as JSON already."""
    places, begin = list[str](), re.search(r'"answers"\s*:\s*\[', text)
    at = begin.end() if begin else len(text)
    while (more := re.compile(r"[\s,]*([^\s,\]])").match(text, at)) is not None:
        places.append(f"{file}, line {text.count(chr(10), 0, more.start(1)) + 1}")
        _, at = json.JSONDecoder().raw_decode(text, more.start(1))
    return tuple(places) if len(places) == count else (file,) * count


def settings_of(said: Mapping[str, Any]) -> JobSettings:
    """What a script says that a job begins with."""
    return JobSettings(
        instruments=tuple(said.get("instruments") or USUAL_INSTRUMENTS),
        intermittent=bool(said.get("intermittent")),
        seed=int(said.get("seed") or 0),
    )


def _list(said: Mapping[str, Any], key: str, file: str) -> list[Any]:
    entries = said.get(key, [])
    if not isinstance(entries, list):
        raise InputError("is no list", where=f"{file}: {key}")
    return entries


def _needed(said: Mapping[str, Any], key: str, where: str) -> Any:
    if key not in said:
        raise InputError(f"{key!r} is missing", where=where)
    return said[key]


@dataclass
class Answers:
    """Where a script's values come from.

    ``left``: those to be used, each with its place in the file; one that says what it answers serves again.
    """

    left: list[tuple[Any, str]]
    vehicle: Vehicle | None = None

    def value(self, asked: Measurement) -> tuple[Value, bool, str] | None:
        """What the vehicle reads, whether it stands however odd, and where it is told; None where it is not."""
        if self.vehicle is not None:
            return self.vehicle.answer(asked), True, ""
        for number, (said, where) in enumerate(self.left):
            if not isinstance(said, dict):
                del self.left[number]
                return _value(said, where), False, where
            if _fits(said, asked):
                if any(
                    isinstance(other, dict) and _fits(other, asked) for other, _ in self.left[number + 1 :]
                ):
                    del self.left[number]
                return _value(said.get("value"), where), bool(said.get("sure")), where
        return None


def _fits(said: Mapping[str, Any], asked: Measurement) -> bool:
    return all(key not in said or said[key] == getattr(asked, key) for key in MATCHED) and any(
        key in said for key in MATCHED
    )


def _value(given: Any, where: str) -> Value:
    if given == OVER_RANGE_WORD:
        return OVER_RANGE
    if isinstance(given, str | int | float) and not isinstance(given, bool):
        return given if isinstance(given, str) else float(given)
    raise InputError(
        f"{given!r} is no answer", remedy='write a number in SI units, a word, or "OL"', where=where
    )


@dataclass
class Walk:
    """What was asked and answered. ``open``: the test that nothing answered; ``doubt``: why its value was not taken."""

    steps: list[tuple[TestCard, Value]] = field(default_factory=list)
    open: TestCard | None = None
    doubt: str = ""

    @property
    def minutes(self) -> float:
        """What the tests made were expected to take."""
        return sum(test.minutes for test, _ in self.steps)


def walk(job: OpenJob, answers: Answers, *, watch: Callable[[Walk], None]) -> Walk:
    """Make the proposed tests until the cause is proven, nothing is left to ask, or nothing answers."""
    done = Walk()
    while len(done.steps) < MOST_TESTS and done.open is None:
        view = bench_view(job)
        if not view.tests or (view.finding and view.finding.proven):
            break
        test = view.tests[0]
        given = answers.value(from_json(test.place))
        value, sure, where = given or ("", False, "")
        unit = UNITS.get(test.quantity)
        if unit and not sure and isinstance(value, float) and math.isfinite(value):
            done.doubt = plausible(value, unit, job.sound_circuit.model.net_volts)
        if given is None or done.doubt:
            done.open = test
        else:
            present: Present = getattr(answers.vehicle, "present", None) or "unknown"
            record_value(job, test.place, value, minutes=test.minutes, present=present)
            _check(job, where)
            done.steps.append((test, value))
        watch(done)
    return done
