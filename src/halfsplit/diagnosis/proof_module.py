"""The proof against a module: every letter of it.

Feeds, earths and commands proven good under load, the output missing, the wire good, latch and coding excluded.
"""

from __future__ import annotations

import math

from halfsplit.circuit.interventions import Unplug
from halfsplit.circuit.model import BODY, Behaviour, Driver, Supply
from halfsplit.circuit.module_elements import SUPPLY_LIMIT, names_state, pins_read, units_heard
from halfsplit.diagnosis.measurement import CODING, COMMAND, PIN_DRAG, TRIED_AGAIN, Measurement
from halfsplit.diagnosis.requirement import Case, Met, Requirement, asked, is_word, within

FEED_DROP, EARTH_DROP = 0.5, 0.1
"""A module's feeds within 0.5 V of the battery, its earths within 0.1 V, under load; of what a sound vehicle has."""


def module_proof(case: Case) -> list[Requirement]:
    """What must be shown before a module is condemned."""
    behaviour = case.circuit.parts[case.fault.part].behaviour
    if behaviour is None:
        return [case.looked_at()]
    # The pin that the fault is of; empty where it is of the whole unit.
    point = case.fault.mode.partition(" ")[0]
    pin = point.rpartition(".")[2] if "." in point else ""
    # The output that is at fault, or the first that follows the input that is not read; else any.
    own = [driver for driver in behaviour.drivers if pin == driver.pin or pin in pins_read(driver.when)]
    driver = next(iter((*own, *behaviour.drivers)), None)
    supply = next((supply for supply in behaviour.supplies if supply.pin == pin), None)
    letters = [*_feeds(case, behaviour), *_earths(case, behaviour)]
    if supply is not None:
        letters += [*_output(case, supply.pin), _not_pulled_down(case, supply)]
    elif driver is not None:
        letters += [*_commands(case, driver), *_output(case, driver.pin), _wire_off(case, driver)]
    return [
        *letters,
        case.ticked(case.fault.part, TRIED_AGAIN, f"(f) {TRIED_AGAIN}"),
        case.ticked(case.fault.part, CODING, f"(g) {CODING}"),
    ]


def _feeds(case: Case, behaviour: Behaviour) -> list[Requirement]:
    feeds = []
    for pin in (pin for group in behaviour.feeds for pin in group):
        point = f"{case.fault.part}.{pin}"
        enough = within(case.healthy.volts(point) - FEED_DROP, math.inf)
        text = f"(b) feed {point} within 0.5 V of the battery, plugged and under load"
        feeds.append(asked(text, case.volts(point), enough))
        text = f"(b) feed {point} again under a lamp of its current"
        lamps = [name for name in case.situation.instruments if name.endswith(" lamp")] or ["test lamp"]
        tests = [Measurement("lamp", point, case.state, instrument=name) for name in lamps]
        feeds.append(Requirement(text, tuple((test, is_word("bright")) for test in tests)))
    return feeds


def _earths(case: Case, behaviour: Behaviour) -> list[Requirement]:
    battery = next((part.name for part in case.circuit.model.of_kind("battery")), "the battery")
    earths = []
    for pin in behaviour.earths:
        point = f"{case.fault.part}.{pin}"
        # What the wire drops in a sound vehicle is not the unit's fault: a load of some amperes may run through it.
        own = abs(case.healthy.volts(point))
        most = EARTH_DROP if own <= 0.5 * EARTH_DROP else math.ceil(10 * (own + EARTH_DROP)) / 10
        text = f"(b) earth {point} within {most:g} V of {battery}'s negative post"
        earths.append(asked(text, case.volts(point), within(-most, most)))
    return earths


def _commands(case: Case, driver: Driver) -> list[Requirement]:
    """What tells the unit to drive is there: at its pins, in its own mind, by bus."""
    commands, name = [], case.fault.part
    for pin in sorted(pins_read(driver.when)):
        point = f"{case.fault.part}.{pin}"
        volts = case.healthy.volts(point)
        room = 0.15 * abs(volts) + 0.5
        if abs(case.sick.volts(point) - volts) > room:
            continue  # what the unit itself gives, such as the supply of a sensor, is gone with it
        text = f"(c) the command at {point} is there: about {volts:.1f} V"
        commands.append(asked(text, case.volts(point), within(volts - room, volts + room)))
    if names_state(driver.when):
        # What comes from nowhere in the drawing is commanded by the unit itself: that it does so has to be seen.
        commands.append(case.ticked(name, COMMAND, f"(c) {name}: {COMMAND}"))
    # Where the command comes by bus, the units answer on it that would with this cause.
    for unit in filter(case.sick.answers, sorted(units_heard(driver.when))):
        test = Measurement("answers", unit, case.state)
        commands.append(asked(f"(c) {unit} answers on the bus", test, is_word("yes")))
    return commands


def _output(case: Case, pin: str) -> list[Requirement]:
    point = f"{case.fault.part}.{pin}"
    test = case.volts(point)
    return [
        asked(f"(d) the output missing at its own pin {point}", test, case.nearer(test)),
        case.ticked(point, PIN_DRAG, f"(d) terminal drag of {point} checked"),
    ]


def _wire_off(case: Case, driver: Driver) -> Requirement:
    point, off = f"{case.fault.part}.{driver.pin}", (Unplug(case.fault.part),)
    other = "body" if driver.side == "high" else None
    test = Measurement("ohms", point, case.state, to=other, instrument="meter", changes=off)
    text = f"(e) wire off at {point}: load and wire measure right, no short, no foreign supply"
    return asked(text, test, Met(lambda value: not isinstance(value, str) and value > 0.3, "over 0.3 ohm"))


def _not_pulled_down(case: Case, supply: Supply) -> Requirement:
    """What hangs on a supply does not pull it down: sensors and wires take less than it can give."""
    point = f"{case.fault.part}.{supply.pin}"
    test = Measurement("ohms", point, case.state, BODY, "meter", (Unplug(case.fault.part),))
    least = supply.volts / (supply.limit or SUPPLY_LIMIT)
    text = f"(e) wire off at {point}: nothing there pulls it down, over {least:.3g} ohm to body"
    return asked(text, test, within(least, math.inf, "ohm"))
