"""The form by which a trainee chooses a test: what it offers in this circuit, and the measurement that it describes."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any

from halfsplit.circuit.circuit import Circuit
from halfsplit.circuit.naming import part_of
from halfsplit.errors import InputError, NotFoundError
from halfsplit.job.places import NAMED
from halfsplit.practice import Exercise
from halfsplit.quantities import QUANTITIES

HOW: Mapping[str, tuple[str, str | None, str]] = {
    "volts": ("volts", "meter", "volts"),
    "lamp": ("lamp", "test lamp", "test lamp, 5 W"),
    "lamp 21": ("lamp", "21 W lamp", "lamp, 21 W"),
    "lamp 55": ("lamp", "load lamp", "load lamp, 55 W"),
    "amps": ("amps", "clamp", "amps, clamp"),
    "ohms": ("ohms", "meter", "ohms, feed off"),
    "works": ("works", None, "does it work"),
    "answers": ("answers", None, "does it answer"),
    "blown": ("blown", None, "is the fuse blown"),
    "inspection": ("inspection", None, "a close look"),
    "wiggle": ("wiggle", None, "move it, and watch"),
    "stage": ("stage", None, "a stage"),
    "gauge": ("gauge", None, "a gauge"),
}
"""Choice of the form → quantity, instrument, words."""


@dataclass(frozen=True)
class AskedForm:
    """What the form holds: names as they stand in the page. ``lead``: which one a tap sets, 'at' or 'to'."""

    how: str = "volts"
    at: str = ""
    to: str = ""
    state: str = ""
    unplug: str = ""
    jump_from: str = ""
    jump_to: str = ""
    lamp: str = ""
    fit: str = ""
    lead: str = "at"


def form_of(asked: Mapping[str, str], exercise: Exercise) -> AskedForm:
    """What the form holds, from what was sent; the names are looked at when the test is quoted."""
    known = {name: asked.get(name, "").strip()[:120] for name in AskedForm.__dataclass_fields__}
    circuit, states = exercise.circuit, list(exercise.circuit.states)
    if known["state"] not in states:
        known["state"] = exercise.complaints[0][2] if exercise.complaints else states[-1]
    if known["how"] not in HOW:
        known["how"] = "volts"
    known["lead"] = "to" if known["lead"] == "to" else "at"
    known["at"] = _fitting(known["at"], HOW[known["how"]][0], circuit)
    known["to"] = _fitting(known["to"], "volts", circuit)
    return AskedForm(**known)


def _fitting(at: str, quantity: str, circuit: Circuit) -> str:
    """The place of this quantity that is meant by a tap: a part where a part is asked, a pin of it where a point is."""
    places = PLACES[quantity](circuit)
    if not at or at in places:
        return at
    part = part_of(at)
    near = [place for place in places if place.partition(":")[0] in (at, at.partition(":")[0])]
    near += [place for place in places if part_of(place) == part]
    return near[0] if near else at


def points_of(circuit: Circuit) -> list[str]:
    """The points that a lead can be put on: the sides of a cavity, pins; not the inside of a part."""
    return [point for point in circuit.points if not point.endswith(":part")]


def _wires(circuit: Circuit) -> list[str]:
    return [wire.name for wire in circuit.model.wires]


def _contacts(circuit: Circuit) -> list[str]:
    pins = dict.fromkeys(point.partition(":")[0] for point in points_of(circuit))
    return [name for name in pins if name in circuit.network.element_index]


def _looked_at(circuit: Circuit) -> list[str]:
    return [*circuit.parts, *_contacts(circuit), *_wires(circuit)]


PLACES: Mapping[str, Callable[[Circuit], list[str]]] = {
    **NAMED,
    "volts": points_of,
    "lamp": points_of,
    "ohms": points_of,
    "amps": lambda circuit: [*_wires(circuit), *_contacts(circuit)],
    "inspection": _looked_at,
    "wiggle": _looked_at,
}


FIELDS: Mapping[str, tuple[str, ...]] = {
    "unplug": ("unplug",),
    "replace": ("fit",),
    "lamp for": ("lamp",),
    "jump": ("jump_from", "jump_to"),
}
"""Change → the fields of the form that name what is changed."""


def place_asked(form: AskedForm) -> dict[str, Any]:
    """The measurement that the form describes, as the store keeps one."""
    quantity, instrument, _ = HOW[form.how]
    return {
        "quantity": quantity,
        "at": form.at,
        "to": form.to or None if QUANTITIES[quantity].leads else None,
        "state": form.state,
        "instrument": instrument,
        "changes": [
            [change, *(getattr(form, field) for field in fields)]
            for change, fields in FIELDS.items()
            if any(getattr(form, field) for field in fields)
        ],
        "detail": [],
    }


def checked_place(circuit: Circuit, form: AskedForm) -> None:
    """Raise UnknownNameError where this quantity cannot be taken at the place of the form."""
    quantity = HOW[form.how][0]
    if form.at not in PLACES[quantity](circuit):
        raise NotFoundError(f"{HOW[form.how][2]}: there is no {form.at!r} for that in this circuit")
    if bool(form.jump_from) != bool(form.jump_to):
        raise InputError("a jump lead has two ends", remedy="name the point at the other end")


def form_for(place: Mapping[str, Any]) -> AskedForm | None:
    """The form that measures this; None where the form has no words for it."""
    how = next(
        (
            name
            for name, (quantity, used, _) in HOW.items()
            if quantity == place["quantity"] and used == (place.get("instrument") or used)
        ),
        None,
    )
    if how is None or place.get("detail"):
        return None
    fields: dict[str, str] = {}
    for change in place.get("changes") or ():
        fields |= dict(zip(FIELDS.get(change[0], ()), change[1:], strict=False))
        if change[0] not in FIELDS:
            return None
    known = {"how": how, "at": place["at"], "to": place.get("to") or "", "state": place["state"]}
    return AskedForm(**(known | {name: str(value) for name, value in fields.items()}))
