"""Measurements as JSON and back, and their key: the same test has the same key on every page and in the API."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Callable, Mapping, Sequence
from typing import Any, get_type_hints

from halfsplit.circuit.circuit import Circuit
from halfsplit.circuit.interventions import Intervention, Jump, LampFor, Replace, StandInFor, Unplug
from halfsplit.circuit.kinds import LOADS
from halfsplit.diagnosis.measurement import Measurement
from halfsplit.diagnosis.there import FINDERS
from halfsplit.errors import ConflictError, InputError
from halfsplit.quantities import QUANTITIES

WORDS_OF: Mapping[type, str] = {
    Unplug: "unplug",
    Jump: "jump",
    LampFor: "lamp for",
    Replace: "replace",
    StandInFor: "stand in",
}
TYPES = {word: kind for kind, word in WORDS_OF.items()}


def change_to_json(change: Intervention) -> list[Any]:
    """``["unplug", "M9"]``: a word and its names.

    >>> change_to_json(Jump("K7.30", "K7.87"))
    ['jump', 'K7.30', 'K7.87']
    """
    plain = [getattr(change, name) for name in change.__dataclass_fields__]
    # A plain lead is told as it always was.
    return [WORDS_OF[type(change)], *(plain[:2] if isinstance(change, Jump) and not change.heavy else plain)]


def change_from_json(given: Sequence[Any]) -> Intervention:
    """The intervention that a list tells. Raises InputError where it tells none."""
    kind = TYPES.get(given[0]) if given and isinstance(given[0], str) else None
    if kind is None:
        raise InputError(
            'a change is a list such as ["unplug", "M9"]', remedy=f"begin with {', '.join(TYPES)}"
        )
    types, rest = tuple(get_type_hints(kind).values()), list(given[1:])
    fits = 1 <= len(rest) <= len(types) and all(
        isinstance(item, (int, float) if wanted is float else wanted)
        for item, wanted in zip(rest, types, strict=False)
    )
    if not fits or (kind is Jump and len(rest) < 2):
        raise InputError(
            f"'{given[0]}' takes {types.count(str)} name(s)", remedy="name parts or points of the circuit"
        )
    change: Intervention = kind(*rest)
    return change


class NoCircuitError(ConflictError):
    """What was asked needs a circuit, and the job has none that can be used."""

    def __init__(self) -> None:
        super().__init__("this job has no usable circuit yet: enter one first, then measure")


def to_json(place: Measurement) -> dict[str, Any]:
    """What is measured, as the payload of an entry keeps it."""
    return {
        "quantity": place.quantity,
        "at": place.at,
        "to": place.to,
        "state": place.state,
        "instrument": place.instrument,
        "changes": [change_to_json(change) for change in place.changes],
        "detail": list(place.detail),
    }


def from_json(given: Mapping[str, Any]) -> Measurement:
    """What is measured, from a payload or a form. Raises InputError naming the field."""
    quantity, at = given.get("quantity"), given.get("at")
    if quantity not in QUANTITIES:
        raise InputError(
            f"{quantity!r} is no quantity", remedy=f"one of {', '.join(QUANTITIES)}", where="quantity"
        )
    if not isinstance(at, str) or not at.strip():
        raise InputError("the place is missing", remedy="name a point, part, cavity or wire", where="at")
    changes = given.get("changes") or []
    if not isinstance(changes, list | tuple):
        raise InputError("the changes are no list", remedy='write [["unplug", "M9"]]', where="changes")
    return Measurement(
        str(quantity),
        at.strip(),
        str(given.get("state") or ""),
        _name(given.get("to")),
        _name(given.get("instrument")),
        tuple(change_from_json(change) for change in changes),
        tuple(str(word) for word in given.get("detail") or ()),
    )


def check_place(circuit: Circuit, place: Measurement) -> None:
    """Raise UnknownNameError where the circuit has no such state, part or point."""
    if place.state:
        circuit.network.state(place.state)
    FINDERS[place.quantity](circuit, place.at)
    if place.to is not None:
        circuit.network.node(place.to)


def _name(value: Any) -> str | None:
    return value.strip() or None if isinstance(value, str) else None


def key_of(place: Measurement) -> str:
    """A short name of a test, the same wherever it is computed."""
    text = json.dumps(to_json(place), sort_keys=True, ensure_ascii=False)
    return hashlib.sha256(text.encode()).hexdigest()[:16]


def loads_of(circuit: Circuit) -> tuple[tuple[str, str], ...]:
    """(name, words) of what can be seen to work or not: loads, and modules."""
    wanted = (*LOADS, "module")
    return tuple((part.name, part.words) for part in circuit.parts.values() if part.kind in wanted)


NAMED: Mapping[str, Callable[[Circuit], list[str]]] = {
    "works": lambda circuit: [name for name, _ in loads_of(circuit)],
    "answers": lambda circuit: [part.name for part in circuit.model.of_kind("module")],
    "blown": lambda circuit: [part.name for part in circuit.model.of_kind("fuse", "breaker")],
    "stage": lambda circuit: list(circuit.model.stages),
    "gauge": lambda circuit: list(circuit.model.gauges),
}
"""Quantity that is taken at something as a whole → the names that it can be taken at."""
