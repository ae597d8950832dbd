"""A measurement of the technician's own choice, asked for piece by piece and ranked like any other."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import replace

from halfsplit.circuit.circuit import Circuit
from halfsplit.circuit.instruments import INSTRUMENTS
from halfsplit.circuit.interventions import Intervention, Jump, LampFor, Replace, Unplug
from halfsplit.cli.ask import Asker
from halfsplit.diagnosis.measurement import CODING, COMMAND, ENDS, PIN_DRAG, TRIED_AGAIN, Measurement
from halfsplit.job.places import NAMED
from halfsplit.quantities import QUANTITIES

ASKED = tuple(name for name in QUANTITIES if name not in ("code", "event"))
LEADS = tuple(name for name, quantity in QUANTITIES.items() if quantity.leads)
NEGATIVE = "battery negative"


def own_measurement(asker: Asker, circuit: Circuit, usual_state: str = "") -> Measurement | None:
    """What the answers describe; None where it was given up. Whether it can be made is told when it is ranked."""
    quantity = asker.choice(f"What: {', '.join(ASKED)}", ASKED, "volts")
    places = places_for(quantity, circuit)
    if not places:
        asker.screen.line(f"This circuit has nothing for {quantity!r}.")
        return None
    at = asker.choice("Where (a name; Enter: leave it)", places)
    if not at:
        return None
    to = asker.choice("Against", [NEGATIVE, *circuit.points], NEGATIVE) if quantity in LEADS else NEGATIVE
    states = list(circuit.states)
    state = states[0]
    if len(states) > 1:
        state = asker.choice(f"In which state: {', '.join(states)}", states, usual_state or states[-1])
    used, look = _instrument(asker, quantity), CLOSELY
    if quantity == "inspection":
        look = asker.choice(f"At what: {', '.join(LOOKS)}", list(LOOKS), CLOSELY)
    changes = tuple(
        replace(change, watts=LAMP_WATTS.get(used or "", change.watts))
        if isinstance(change, LampFor)
        else change
        for change in _changes(asker, circuit)
    )
    return Measurement(quantity, at, state, None if to == NEGATIVE else to, used, changes, LOOKS[look])


CLOSELY = "closely"
LOOKS: Mapping[str, tuple[str, ...]] = {
    CLOSELY: (),
    "pin drag": (PIN_DRAG,),
    "ends of the wire": (ENDS,),
    "command": (COMMAND,),
    "tried again": (TRIED_AGAIN,),
    "software": (CODING,),
}
"""What a look may be about; a test that the tool proposes can be one's own as well."""


LAMP_WATTS = {"load lamp": 55.0}
"""What is in a fuse's place is the lamp that is read."""


def places_for(quantity: str, circuit: Circuit) -> list[str]:
    """The names that a quantity can be taken at."""
    if quantity in PLACES_FOR:
        return PLACES_FOR[quantity](circuit)
    # wires, contacts and whatever else a fault may be at
    return list(dict.fromkeys([*circuit.parts, *(fault.part for fault in circuit.faults.values())]))


def _drivers(circuit: Circuit) -> list[str]:
    units = circuit.model.of_kind("module")
    return [
        f"{unit.name}.{driver.pin}" for unit in units if unit.behaviour for driver in unit.behaviour.drivers
    ]


PLACES_FOR: Mapping[str, Callable[[Circuit], list[str]]] = {
    **NAMED,
    **dict.fromkeys(LEADS, lambda circuit: list(circuit.points)),
    "amps": lambda circuit: [*(wire.name for wire in circuit.model.wires), *circuit.parts],
    "duty": _drivers,
    "hertz": _drivers,
}
"""Quantity → the names that it can be taken at; others wherever a fault may be."""


def _instrument(asker: Asker, quantity: str) -> str | None:
    if quantity not in ("volts", "lamp"):
        return QUANTITIES[quantity].instrument
    names = [
        instrument.name
        for instrument in INSTRUMENTS.values()
        if instrument.ohms is not None and (quantity == "volts" or instrument.filament)
    ]
    return asker.choice(f"With: {', '.join(names)}", names, QUANTITIES[quantity].instrument or "")


def _changes(asker: Asker, circuit: Circuit) -> tuple[Intervention, ...]:
    """What is done to the circuit first; asked again until it makes sense."""
    while True:
        typed = asker.text(
            "First (unplug NAME; jump POINT POINT; cable POINT POINT; lamp FUSE; fit NAME; Enter: nothing)"
        )
        changes = [read_change(text, circuit) for text in typed.split(";") if text.strip()]
        if None not in changes:
            return tuple(change for change in changes if change is not None)
        asker.screen.line("Name parts and points of this circuit, such as: unplug H1; jump K7.30 K7.87")


def read_change(text: str, circuit: Circuit) -> Intervention | None:
    """What was meant, or None where the words or the names make no sense."""
    match text.split():
        case ["unplug", name] if name in circuit.parts:
            return Unplug(name)
        case ["fit", *words] if " ".join(words) in circuit.network.element_index:
            return Replace(" ".join(words))
        case ["lamp", name] if name in circuit.parts and circuit.parts[name].is_fuse:
            return LampFor(name)
        case ["cable", a, b] if a in circuit.points and b in circuit.points:
            return Jump(a, b, heavy=True)
        case ["jump", a, b] if a in circuit.points and b in circuit.points:
            return Jump(a, b)
        case _:
            return None
