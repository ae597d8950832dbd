"""A measurement of the technician's own choice, asked for piece by piece and ranked like any other."""

from __future__ import annotations

from halfsplit.circuit.circuit import Circuit
from halfsplit.circuit.instruments import INSTRUMENTS
from halfsplit.cli.ask import Asker
from halfsplit.cli.session import Session
from halfsplit.diagnosis.measurement import Measurement
from halfsplit.diagnosis.propose import Test
from halfsplit.errors import HalfsplitError
from halfsplit.jobs.circuits import loads_of

QUANTITIES = ("volts", "lamp", "amps", "ohms", "works", "answers", "inspection", "wiggle", "blown", "stage")
LEADS = ("volts", "lamp", "ohms")
NEGATIVE = "battery negative"
USUAL = {"volts": "meter", "ohms": "meter", "amps": "clamp", "lamp": "test lamp"}


def own_measurement(asker: Asker, session: Session) -> Test | None:
    """The test that the answers describe, with what it is worth; None where it was given up or does not exist."""
    circuit = session.circuit
    quantity = asker.choice(f"What: {', '.join(QUANTITIES)}", QUANTITIES, "volts")
    places = places_for(quantity, circuit)
    if not places:
        asker.screen.line(f"This circuit has nothing for {quantity!r}.")
        return None
    at = asker.choice("Where (a name; Enter: leave it)", places)
    if not at:
        return None
    to = asker.choice("Against", [NEGATIVE, *circuit.points], NEGATIVE) if quantity in LEADS else NEGATIVE
    state = _state(asker, session)
    used = _instrument(asker, quantity)
    measured = Measurement(quantity, at, state, None if to == NEGATIVE else to, used)
    try:
        return session.diagnosis.rank(measured)
    except HalfsplitError as error:
        asker.screen.line(str(error))
        return None


def places_for(quantity: str, circuit: Circuit) -> list[str]:
    """The names that a quantity can be taken at."""
    if quantity in LEADS:
        return list(circuit.points)
    if quantity == "amps":
        return [wire.name for wire in circuit.model.wires] + list(circuit.parts)
    if quantity == "works":
        return [name for name, _ in loads_of(circuit)]
    if quantity == "answers":
        return [part.name for part in circuit.model.of_kind("module")]
    if quantity == "stage":
        return list(circuit.model.stages)
    if quantity == "blown":
        return [part.name for part in circuit.model.of_kind("fuse", "breaker")]
    return [*circuit.parts, *(wire.name for wire in circuit.model.wires)]


def _state(asker: Asker, session: Session) -> str:
    states = list(session.circuit.states)
    live = [one for one in session.diagnosis.readings if one.struck is None]
    usual = live[-1].measurement.state if live else states[-1]
    return (
        asker.choice(f"In which state: {', '.join(states)}", states, usual) if len(states) > 1 else states[0]
    )


def _instrument(asker: Asker, quantity: str) -> str | None:
    if quantity not in ("volts", "lamp"):
        return USUAL.get(quantity)
    names = [
        one.name
        for one in INSTRUMENTS.values()
        if one.ohms is not None and (quantity == "volts" or one.filament)
    ]
    return asker.choice(f"With: {', '.join(names)}", names, USUAL[quantity])
