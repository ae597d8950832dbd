"""`halfsplit find --script`: answers from a file, or those of a simulated vehicle, for programs and for the docs."""

from __future__ import annotations

import json
import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from halfsplit.circuit.circuit import Circuit
from halfsplit.cli.session import Session, Settings
from halfsplit.diagnosis.measurement import OVER_RANGE, UNITS, Measurement, Reading
from halfsplit.diagnosis.propose import Test
from halfsplit.errors import InputError
from halfsplit.job.entering import OVER_RANGE as OVER_RANGE_WORD
from halfsplit.practice.hidden import vehicle as vehicle_with
from halfsplit.practice.vehicle import Vehicle
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
    """What a script tells. ``answers``: values in order, or objects that say what they answer."""

    settings: Settings
    complaints: tuple[Mapping[str, Any], ...]
    earlier_work: tuple[Mapping[str, Any], ...] = ()
    codes: tuple[Mapping[str, Any], ...] = ()
    answers: tuple[Any, ...] = ()
    vehicle: Mapping[str, Any] | None = None

    @staticmethod
    def read(path: Path) -> Script:
        """Read a script. Raises InputError that names the key."""
        try:
            said = json.loads(path.read_text(encoding="utf-8"))
        except (OSError, ValueError) as error:
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
        lists = {key: _objects(said, key, path.name) for key in ("complaints", "earlier_work", "codes")}
        return Script(
            Settings.of(said), **lists, answers=tuple(_list(said, "answers", path.name)), vehicle=vehicle
        )

    def begin(self, session: Session) -> None:
        """Tell what is known before the first test."""
        for number, one in enumerate(self.complaints):
            where = f"complaints, number {number + 1}"
            named = [key for key in ("load", "stage", "unit") if key in one]
            load = str(_needed(one, named[0] if named else "load", where))
            session.complain(load, str(one.get("works", "no")), str(one.get("state", "")))
        for one in self.earlier_work:
            session.earlier_work(
                _needed(one, "places", "earlier_work"), began_then=bool(one.get("began_then"))
            )
        for one in self.codes:
            said = {
                "unit": _needed(one, "unit", "codes"),
                "failure": _needed(one, "failure", "codes"),
                "pin": one.get("pin"),
            }
            session.enter("code", said)

    def source(self, circuit: Circuit) -> Answers:
        """What answers the tests."""
        if self.vehicle is None:
            return Answers(list(self.answers))
        said = self.vehicle
        hidden = circuit.faults[said["fault"]]
        made = vehicle_with(
            circuit,
            hidden,
            int(said.get("seed", 0)),
            slips=float(said.get("slips", 0.0)),
            intermittent=self.settings.intermittent,
        )
        return Answers([], made)


def _list(said: Mapping[str, Any], key: str, file: str) -> list[Any]:
    found = said.get(key, [])
    if not isinstance(found, list):
        raise InputError("is no list", where=f"{file}: {key}")
    return found


def _objects(said: Mapping[str, Any], key: str, file: str) -> tuple[Mapping[str, Any], ...]:
    found = _list(said, key, file)
    if not all(isinstance(one, dict) for one in found):
        raise InputError("holds something that is no object", where=f"{file}: {key}")
    return tuple(found)


def _needed(said: Mapping[str, Any], key: str, where: str) -> Any:
    if key not in said:
        raise InputError(f"{key!r} is missing", where=where)
    return said[key]


@dataclass
class Answers:
    """Where a script's values come from. ``left``: those to be used; one that says what it answers serves again."""

    left: list[Any]
    vehicle: Vehicle | None = None

    def value(self, asked: Measurement) -> tuple[Value, bool] | None:
        """What the vehicle reads and whether it stands however odd; None where the script does not tell."""
        if self.vehicle is not None:
            return self.vehicle.answer(asked), True
        for number, one in enumerate(self.left):
            if not isinstance(one, dict):
                return _value(self.left.pop(number)), False
            if _fits(one, asked):
                again = not any(
                    isinstance(other, dict) and _fits(other, asked) for other in self.left[number + 1 :]
                )
                used = one if again else self.left.pop(number)
                return _value(used.get("value")), bool(used.get("sure"))
        return None


def _fits(one: Mapping[str, Any], asked: Measurement) -> bool:
    return all(key not in one or one[key] == getattr(asked, key) for key in MATCHED) and any(
        key in one for key in MATCHED
    )


def _value(given: Any) -> Value:
    if given == OVER_RANGE_WORD:
        return OVER_RANGE
    if isinstance(given, str | int | float) and not isinstance(given, bool):
        return given if isinstance(given, str) else float(given)
    raise InputError(
        f"{given!r} is no answer", remedy='write a number in SI units, a word, or "OL"', where="answers"
    )


@dataclass
class Walk:
    """What was asked and answered. ``open``: the test that nothing answered; ``doubt``: why its value was not taken."""

    steps: list[tuple[Test, Reading]] = field(default_factory=list)
    open: Test | None = None
    doubt: str = ""


def walk(session: Session, answers: Answers, *, watch: Watch) -> Walk:
    """Make the proposed tests until the cause is proven, nothing is left to ask, or nothing answers."""
    done = Walk()
    while len(done.steps) < MOST_TESTS and done.open is None:
        found = session.diagnosis.finding()
        tests = () if found and found.proven else session.diagnosis.next_tests(limit=1)
        if not tests:
            break
        _answer(session, tests[0], answers, done)
        watch(session, done)
    return done


Watch = Callable[[Session, Walk], None]


def _answer(session: Session, test: Test, answers: Answers, done: Walk) -> None:
    """Answer one test and record it, or leave it open."""
    given = answers.value(test.measurement)
    if given is None:
        done.open = test
        return
    value, sure = given
    unit = UNITS.get(test.quantity)
    if unit and not sure and isinstance(value, float) and math.isfinite(value):
        done.doubt = plausible(value, unit, session.net_volts)
    if done.doubt:
        done.open = test
        return
    present = getattr(answers.vehicle, "present", None)
    done.steps.append((test, session.record(test.measurement, value, minutes=test.minutes, present=present)))
