"""One plug after the other off while what shows a short is watched: whether it goes, and the supply comes back.

What is watched: a lamp or the ohms in place of a blown fuse, the volts of a supply that has collapsed, and what works,
answers or is shown in live data by what hangs on it. What was unplugged stays so; with all plugs off the short is in
the wire itself, or in the unit.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import replace

import numpy as np

from halfsplit.circuit.assembly import NOMINAL
from halfsplit.circuit.circuit import Circuit
from halfsplit.circuit.interventions import Intervention, LampFor, Replace, Unplug
from halfsplit.circuit.kinds import LOADS
from halfsplit.circuit.model import BODY, Part, Wire
from halfsplit.diagnosis.candidates import kind_at, wire_ends
from halfsplit.diagnosis.cost import never_probed, part_of
from halfsplit.diagnosis.evidence import BLOWN_OHMS, forecast_number, fuse_seen
from halfsplit.diagnosis.explaining import is_symptom
from halfsplit.diagnosis.measurement import Measurement, Reading
from halfsplit.diagnosis.situation import Situation

TEST_LAMP_WATTS = 5.0
SHORT_SUSPECTED = 0.05
"""Probability of a short from which plugs come off for it, and no new fuse is sacrificed to it."""
COLLAPSED = 0.8
"""Share of its healthy volts below which a supply has collapsed."""
HARDLY_ELSE = 0.7
"""Probability of wires that meet in a splice from which one of them is laid anew on trial."""
LEADS = 0.5
"""Probability from which one of them leads."""
MOST_CARS = 0.5
"""Share of cars in which a short blows a fuse that blows one."""
LEAST_VOLTS = 1.0
"""Volts that a supply, or what live data show of it, has at least in a sound vehicle."""
OPEN_FUSE = 0.8
"""The same of the battery's, from which volts across a fuse show that nothing passes it."""


def unplugged(situation: Situation) -> list[Measurement]:
    """What is watched again with one more plug off; with nothing off yet, in place of each fuse that is gone."""
    circuit = situation.circuit
    off = plugs(situation, situation.places())
    failing = {reading.measurement.state for reading in situation.wrong}
    tests = list[Measurement]()
    for fuse, state in _gone(situation).items():
        lamps = lamp_tests(circuit, list(circuit.states), fuse, situation.instruments)
        for ohms in ohms_behind(circuit, state, fuse):
            tests += [replace(ohms, state=each) for each in (state, *circuit.states)]
            tests += _one_more(ohms, off)
        tests += lamps
        for lamp in lamps:
            # What a load of its own draws lights a lamp as well: with all loads of the state off it tells.
            loads = drawing(circuit, fuse, lamp.state)
            tests += [without(lamp, loads)] if loads else []
            if lamp.state in failing:
                tests += [*_one_more(lamp, off), *along_wires(circuit, lamp, situation.places())]
    for watched in still_there(situation, _in_place_of_a_fuse):
        tests += _one_more(watched, off)
        if watched.quantity == "lamp":
            tests += [*along_wires(circuit, watched, situation.places()), *_laid_anew(situation, watched)]
    dragging = _dragging(situation)
    if dragging:
        off = plugs(situation, dragging)
        for watched in still_there(situation, with_plugs_off):
            tests += [*_one_more(watched, off), *_laid_anew(situation, watched)]
    return list(dict.fromkeys(tests))


def _laid_anew(situation: Situation, watched: Measurement) -> list[Measurement]:
    """Another wire in place of each that meets in a splice, once it is hardly anything else: no plug parts them."""
    wires, probability = splice_wires(situation), situation.posterior.probability
    if sum(probability.get(name, 0.0) for name in wires) < HARDLY_ELSE:
        return []
    seen = [name for name in wires if may_be_cut(situation, name)]
    return [replace(watched, changes=(*watched.changes, Replace(name))) for name in seen]


def splice_wires(situation: Situation) -> list[str]:
    """The suspected wires that meet in a splice."""
    circuit, places = situation.circuit, situation.places()
    return [wire.name for wire in circuit.model.wires if wire.name in places and _meets(circuit, wire)]


def may_be_cut(situation: Situation, wire: str) -> bool:
    """Nobody cuts a wire at which he has not looked, nor one that does not lead while others are not looked at."""
    seen = {
        reading.measurement.at for reading in situation.live if reading.measurement.quantity == "inspection"
    }
    leads = situation.posterior.probability.get(wire, 0.0) >= LEADS
    return wire in seen and (leads or set(splice_wires(situation)) <= seen)


def _one_more(watched: Measurement, plugs: Sequence[str]) -> list[Measurement]:
    return [without(watched, [plug]) for plug in plugs if Unplug(plug) not in watched.changes]


def _gone(situation: Situation) -> dict[str, str]:
    """The fuses that pass nothing, by a look, their ohms or the volts across them, each with the state of that."""
    gone = {}
    for reading in situation.live:
        test, name = reading.measurement, part_of(reading.measurement.at)
        across = test.quantity == "volts" and {test.at, test.to} == {f"{name}.1", f"{name}.2"}
        fuse = across and kind_at(situation.circuit, name) == "fuse"
        if fuse_seen(reading, situation.circuit) == "yes" or (
            fuse and abs(reading.number) > OPEN_FUSE * NOMINAL
        ):
            gone[name] = test.state
    return gone


def still_there(situation: Situation, watched: Callable[[Measurement, Circuit], bool]) -> list[Measurement]:
    """What shows the short with most plugs off so far: of each test the last one that did."""
    last = dict[Measurement, Measurement]()
    for reading in situation.live:
        test = reading.measurement
        if reading.present != "no" and watched(test, situation.circuit) and _shows_it(situation, reading):
            left = tuple(change for change in test.changes if not isinstance(change, Unplug))
            last[replace(test, changes=left)] = test
    return list(last.values())


def _in_place_of_a_fuse(test: Measurement, circuit: Circuit) -> bool:
    """A lamp, or the ohms to body, from a fuse's socket."""
    if kind_at(circuit, test.at) != "fuse" or not test.changes:
        return False
    return test.quantity == "lamp" or (test.quantity == "ohms" and test.to == BODY)


def with_plugs_off(test: Measurement, _: Circuit) -> bool:
    """A reading with nothing done to the circuit but plugs taken off."""
    plain = all(isinstance(change, Unplug) for change in test.changes)
    return plain and test.quantity in ("volts", "gauge", "works", "answers")


def _shows_it(situation: Situation, reading: Reading) -> bool:
    test = reading.measurement
    if test.quantity == "lamp":
        return reading.value != "dark"
    if test.quantity == "ohms":
        return reading.number < BLOWN_OHMS
    if isinstance(reading.value, str):
        return is_symptom(situation, reading)
    healthy = sound(situation, test)
    return healthy > LEAST_VOLTS and reading.number < COLLAPSED * healthy


def sound(situation: Situation, test: Measurement) -> float:
    """What the volts, or a gauge, show in a vehicle with nothing wrong."""
    return float(forecast_number(test, situation.choosing).value[situation.choosing.healthy].mean())


def _dragging(situation: Situation) -> list[str]:
    """The places of suspected shorts that blow no fuse, and drag down what feeds them; none where hardly likely."""
    if not situation.live:
        return []
    scene = situation.context.scene(Measurement("works", "", situation.live[0].measurement.state))
    leaders, probability = situation.posterior.leaders, situation.posterior.probability
    blows = scene.blown().any(axis=0).mean(axis=1) > MOST_CARS
    places = []
    for name in (name for name in situation.likeliest() if name in leaders):
        columns = np.flatnonzero(scene.columns.named(leaders[name].name))
        # The hardest of its severities comes first.
        if "short" in leaders[name].mode and len(columns) and not blows[columns[0]]:
            places.append(name)
    return places if sum(probability[name] for name in places) >= SHORT_SUSPECTED else []


def plugs(situation: Situation, places: Sequence[str]) -> list[str]:
    """What can be unplugged at the ends of suspected wires; suspected loads and connectors, the plugs before them."""
    parts, far_ends = situation.circuit.parts, situation.circuit.far_ends
    names = list[str]()
    for place in places:
        ends = [part_of(word) for word in place.split() if part_of(word) in parts]
        names += ends
        if not place.startswith("wire "):
            pins = [f"{end}.{pin}" for end in ends for pin in parts[end].pins]
            names += [part_of(far) for pin in pins for far in far_ends.get(pin, ())]
    return [name for name in dict.fromkeys(names) if taken_off(parts[name])]


def lamp_tests(
    circuit: Circuit, states: Sequence[str], fuse: str, instruments: Sequence[str]
) -> list[Measurement]:
    """A lamp in place of a fuse, in each state: where it is bright the short is there."""
    # 21 W where such a lamp is at hand; else a test lamp across the empty socket, which shows the same.
    lamps: dict[str, Intervention] = {"21 W lamp": LampFor(fuse, 21.0), "load lamp": LampFor(fuse, 55.0)}
    lamps["test lamp"] = Unplug(fuse)
    name = next((name for name in lamps if name in instruments), None)
    if name is None:
        return []
    at, to = f"{fuse}.1", f"{fuse}.2"
    return [Measurement("lamp", at, state, to, name, (lamps[name],)) for state in states]


def ohms_behind(circuit: Circuit, state: str, fuse: str) -> list[Measurement]:
    """Ohms to body from a socket with the fuse out: what is behind it as a whole, a short or its loads."""
    if never_probed(circuit.parts[fuse]):
        return []
    return [
        Measurement("ohms", f"{fuse}.{pin}", state, BODY, "meter", (Unplug(fuse),))
        for pin in circuit.parts[fuse].pins
    ]


def without(test: Measurement, plugs: Sequence[str]) -> Measurement:
    """The same test with more unplugged."""
    return replace(test, changes=(*test.changes, *map(Unplug, plugs)))


def taken_off(part: Part) -> bool:
    """Whether a part is unplugged to see whether the short is behind it."""
    return part.kind in ("connector", "module", "sensor", *LOADS) and not never_probed(part)


def drawing(circuit: Circuit, fuse: str, state: str) -> list[str]:
    """The loads that draw through a fuse in a state: those that have nothing with it open."""
    healthy, without_it = circuit.solve(state), circuit.solve(state, fault=circuit.faults[f"{fuse} open"])
    return [
        load.name
        for load in circuit.model.of_kind(*LOADS)
        if taken_off(load) and abs(healthy.across(load.name)) > 1.0 > abs(without_it.across(load.name))
    ]


def along_wires(circuit: Circuit, lamp: Measurement, suspects: Sequence[str]) -> Iterator[Measurement]:
    """The drop along each suspected wire that a lamp for a fuse feeds: millivolts on the way to the short.

    Of wires that meet in a splice, which no unplugging tells apart.
    """
    for wire in circuit.model.wires:
        ends = wire_ends(circuit, wire) if _meets(circuit, wire) and wire.name in suspects else None
        if ends is not None:
            yield along(lamp, *ends)


def _meets(circuit: Circuit, wire: Wire) -> bool:
    return "splice" in (kind_at(circuit, wire.a), kind_at(circuit, wire.b))


def along(lamp: Measurement, at: str, to: str) -> Measurement:
    """The drop between two points while a lamp is in place of a fuse; a test lamp across its empty socket is one."""
    fuse = part_of(lamp.at)
    changes = tuple(
        LampFor(fuse, TEST_LAMP_WATTS) if change == Unplug(fuse) else change for change in lamp.changes
    )
    return replace(lamp, quantity="volts", at=at, to=to, instrument="meter", changes=changes)
