"""An exercise as the store keeps it, and back: what is hidden, what was done, and the paths once they are judged."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any

from halfsplit.circuit.circuit import Circuit
from halfsplit.diagnosis.words import evidence_words
from halfsplit.errors import HalfsplitError, InputError
from halfsplit.job.entering import OVER_RANGE, shown_value
from halfsplit.job.kinds import own_unit
from halfsplit.job.places import from_json, to_json
from halfsplit.notation.checked import check_text
from halfsplit.practice import Exercise, Hidden, Path, Worth, hidden_again
from halfsplit.practice.exercise import Taken
from halfsplit.quantities import QUANTITIES
from halfsplit.store import Practice


def hidden_json(hidden: Hidden) -> dict[str, Any]:
    """What is hidden, by the names of its faults."""
    return {
        "faults": [fault.name for fault in hidden.faults],
        "complaints": [list(complaint) for complaint in hidden.complaints],
        "history": list(hidden.history),
    }


def taken_json(taken: Taken) -> dict[str, Any]:
    """A test that was made."""
    value = taken.reading.value
    return {
        "do": "measure",
        "place": to_json(taken.reading.measurement),
        "value": OVER_RANGE if isinstance(value, float) and math.isinf(value) else value,
        "present": taken.reading.present,
        "minutes": taken.minutes,
    }


def worth_json(worth: Worth) -> dict[str, Any]:
    """A test with what it is worth."""
    return {
        "place": to_json(worth.measurement),
        "sentence": worth.sentence,
        "minutes": worth.minutes,
        "bits": worth.bits,
        "cautions": list(worth.cautions),
        "means": [list(mean) for mean in worth.means],
    }


def path_json(path: Path, circuit: Circuit) -> dict[str, Any]:
    """A path that was judged, in words and numbers."""
    return {
        "steps": [
            {
                "said": reading_said(step.reading.measurement, step.reading.value, circuit),
                "test": worth_json(step.test),
                "best": worth_json(step.best),
                "gained": step.gained,
                "wasted": step.wasted,
            }
            for step in path.steps
        ],
        "minutes": path.minutes,
        "proven": path.proven,
        "question": list(path.question),
    }


def reading_said(place: Any, value: float | str, circuit: Circuit) -> str:
    """A reading in one line, a stage or gauge in the unit of the circuit."""
    if place.quantity in ("stage", "gauge") and not isinstance(value, str):
        return f"{value_said(place, value, circuit)} at {place.at} ({place.state})"
    return evidence_words(place, value, circuit)


def value_said(place: Any, value: float | str, circuit: Circuit) -> str:
    """What the instrument shows."""
    if place.quantity in ("stage", "gauge") and not isinstance(value, str):
        return f"{value:.4g} {own_unit(place.at, circuit)}".rstrip()
    if place.quantity == "works" and isinstance(value, str):
        return QUANTITIES["works"].said[value]
    return shown_value(place.quantity, OVER_RANGE if value == math.inf else value)


def revived(practice: Practice) -> Exercise:
    """The exercise as it stood, with a vehicle that goes on where it was left.

    Raises InputError where this release cannot read it.
    """
    circuit = check_text(practice.circuit).circuit
    if circuit is None:
        raise InputError(
            "the circuit of this exercise can no longer be read", remedy="begin another exercise"
        )
    said = practice.record.get("hidden", {})
    hidden = hidden_again(
        circuit,
        tuple(said.get("faults", ())),
        tuple((load, works, state) for load, works, state in said.get("complaints", ())),
        tuple(said.get("history", ())),
    )
    exercise = Exercise(circuit, practice.difficulty, practice.seed, hidden=hidden)
    for act in practice.record.get("acts", ()):
        _redo(exercise, act)
    return exercise


def _redo(exercise: Exercise, act: Mapping[str, Any]) -> None:
    """Do again what was done; an act of a later release is passed over."""
    match act.get("do"):
        case "measure":
            value, present = act["value"], act.get("present")
            exercise.take_up(
                from_json(act["place"]),
                math.inf if value == OVER_RANGE else value,
                present if exercise.intermittent and present in ("yes", "no") else None,
                float(act["minutes"]),
            )
        case "hint":
            exercise.hints += 1
        case "name":
            try:
                exercise.condemn(str(act["name"]))
            except HalfsplitError as error:
                raise InputError(str(error), remedy="begin another exercise") from error
        case "give up":
            exercise.give_up()
