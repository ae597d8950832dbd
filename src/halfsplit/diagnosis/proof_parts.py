"""What must be shown for each kind of cause: a table from kind to the function that asks for it."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import replace
from itertools import permutations

from halfsplit.circuit.faults import Fault
from halfsplit.circuit.interventions import Intervention, Jump, Replace, Unplug
from halfsplit.circuit.kinds import LOADS
from halfsplit.circuit.model import Part
from halfsplit.circuit.wiring import place
from halfsplit.diagnosis.candidates import itself, kind_at, open_contacts, own_ends, own_pins
from halfsplit.diagnosis.cost import QUICKLY_FITTED, part_of
from halfsplit.diagnosis.measurement import ENDS, PIN_DRAG, Measurement
from halfsplit.diagnosis.proof_module import module_proof
from halfsplit.diagnosis.proof_short import come_back, short_proof, unplugged_ends, wire_of
from halfsplit.diagnosis.requirement import (
    RIVAL,
    Case,
    Met,
    Option,
    Requirement,
    asked,
    at_least,
    is_word,
    within,
)
from halfsplit.diagnosis.situation import Situation
from halfsplit.diagnosis.unplugging import plugs
from halfsplit.diagnosis.words import sentence

DROP_SHARE = 0.7
"""A bad joint alone drops at least this share of the volts that are missing."""
LEAST_DROP = 0.05
LEAST_CLOSED = 0.5
"""Volts below which what lies between two points is closed in a sound vehicle: a relay's coil may not be bridged."""
OPEN_OHMS = 1e5
HALF_FED = 0.5
"""Share of its healthy volts from which a load's own volts tell of the load and not of its line."""
PASSES_NOTHING = 0.005
"""Amps below which a wire carries nothing that would show that its ends belong together."""
PLUGS = ("connector", "module")
LIMITS = (0.05, 0.1, 0.2, 0.5, 1.0, 2.0, 5.0, 10.0)
"""Volts that a technician would name as a limit."""


def requirements(situation: Situation, fault: Fault) -> list[Requirement]:
    """What must be shown for this cause."""
    asked_for: list[Requirement] = []
    for one, other in permutations(fault.members) if fault.members else [(fault, None)]:
        case = Case(situation, one, other)
        # The other is taken out of the way where nothing that was told shows this one behind it.
        around = _way_round(Case(situation, other)) if other and not case.functions else ()
        case = Case(situation, one, other, around) if around else case
        asked_for += PROOFS.get(one.kind.partition(" ")[0], _part)(case)
    return asked_for


def _way_round(case: Case) -> tuple[Intervention, ...]:
    """What makes good a fault for a trial; nothing where none is at hand."""
    kind, part = case.fault.kind.partition(" ")[0], case.circuit.parts.get(case.fault.part)
    if kind in ("wire", "cavity", "ground") and not case.fault.mode.startswith("short"):
        ends = case.ends()
        return (case.bridge(ends),) if ends and _may_be_joined(case, ends) else ()
    return () if part is None else _trial(case, part)


def _joint(case: Case) -> list[Requirement]:
    """A wire, cavity or ground: its own drop, repeated, with current; bridging restores the function."""
    if case.fault.mode.startswith("short"):
        return short_proof(case)
    ends = case.ends()
    if ends is None:
        return [case.looked_at()]
    own_drop = _own_drop(case, ends)
    if not own_drop:
        return [*_continuity(case), case.looked_at()]
    bridged = f"bridging {ends[0]} to {ends[1]} restores the function"
    lead = [case.bridge(ends)] if _may_be_joined(case, ends) else []
    restored = case.restored(bridged, *lead) if lead else []
    if not restored and (back := come_back(case, lead)):
        # Live data, or volts that were read, are all there is to come back.
        restored = [Requirement(bridged, tuple(back))]
    if not restored:
        # Where no lead may bridge it: the fault seen, or, where a look misses it, the ohms of the wire alone.
        seen = case.looked_at()
        restored = [seen.or_else(ohms.text, *ohms.options) for ohms in _continuity(case)] or [seen]
    return [*own_drop, *_ends_belong_together(case), *restored]


def _own_drop(case: Case, ends: tuple[str, str | None]) -> list[Requirement]:
    """The volts that a joint alone drops, twice; nothing where they are too few to be measured."""
    own = abs(case.sick.volts(*ends))
    least = DROP_SHARE * min(case.missing_volts or own, own)
    if least < LEAST_DROP:
        return []
    least = max(limit for limit in LIMITS if limit <= least)
    between = f"from {ends[0]} to {ends[1] or 'the negative post'}"
    text = f"its own voltage drop: at least {least:g} V {between} under load, twice, cleaned between"
    drop = (case.volts(*ends), at_least(least))
    return [Requirement(text, (drop,), times=2, bracket=None if case.around else ends)]


def _may_be_joined(case: Case, ends: tuple[str, str]) -> bool:
    """Feeds and grounds of a unit may be bridged; its outputs and inputs, sensor and bus pins never."""
    for end in (end for end in ends if kind_at(case.circuit, end) in ("module", "sensor")):
        behaviour, pin = case.circuit.parts[part_of(end)].behaviour, place(end).rpartition(".")[2]
        if behaviour is None or not any(pin in pins for pins in (behaviour.earths, *behaviour.feeds)):
            return False
    return True


def _ends_belong_together(case: Case) -> list[Requirement]:
    """A wire that carries nothing: that its two ends are ends of one wire has to be seen.

    Two cavities of a plug swapped give the same volts along it, and the same cure by a lead.
    """
    wire = wire_of(case)
    if wire is None or abs(case.sick.amps(wire.name)) > PASSES_NOTHING:
        return []
    parts = [case.circuit.parts.get(part_of(end)) for end in wire.ends]
    if not any(part is not None and part.kind in PLUGS and len(part.pins) > 1 for part in parts):
        return []
    return [case.ticked(wire.name, ENDS, f"{wire.name}: {ENDS}")]


def _continuity(case: Case) -> list[Requirement]:
    """Where its drop cannot be measured, the ohms of a wire that is unplugged; of a splice from the next terminal."""
    ends, own = case.ends(), case.fault.severity
    if wire_of(case) is None or ends is None or any(kind_at(case.circuit, end) == "splice" for end in ends):
        return []
    unplugged = unplugged_ends(case, ends)
    if not unplugged:
        return []
    least = OPEN_OHMS if own is None else 0.5 * own
    ohms = Measurement("ohms", ends[0], case.state, to=ends[1], instrument="meter", changes=unplugged)
    text = f"at least {least:.3g} ohm from {ends[0]} to {ends[1]} with the wire unplugged"
    return [asked(text, ohms, at_least(least, "ohm"))]


def _contact(case: Case) -> list[Requirement]:
    """A part's contact, whose far side is inside: unplugged and seen, and the part itself shown to be good."""
    text = f"the contact {case.fault.part} unplugged, its fit tried with a test pin, and found bad"
    looks = case.look(), case.look(PIN_DRAG)
    part = case.circuit.parts[part_of(case.fault.part)]
    contacts = open_contacts(case.circuit, part)
    if contacts and case.functions and "meter" in case.situation.instruments:
        # Both sides can be got at: it is measured like any joint.
        drop = _own_drop(case, next(ends for ends in contacts if case.fault.part in ends))
        # Over a fuse goes a lead, from a battery's post to its clamp a booster cable.
        clamp, post = case.fault.part, f"{case.fault.part}:part"
        round_it, cable = f"bridging {clamp} to {post} restores the function", Jump(clamp, post, heavy=True)
        if drop:
            return [*drop, *(_bridged(case) if part.kind == "fuse" else case.restored(round_it, cable))]
    renewed = _renewed(case)
    letters = renewed or [Requirement(text, looks), *_others_good(case)]
    if part.kind in ("relay", "fuse") and case.functions:
        # Volts between the part's own pins, twice: one reading may be a slip of the hand.
        drops = _direct_volts(case, part)
        letters += [_direct(case, drops, times=2)] if drops else []
        lacks = Met(lambda value: value != case.good, f"not {case.good}")
        text = f"a known-good {part.name} does not restore the function"
        return [*letters, asked(text, case.with_made(0, Replace(part.name)), lacks), *_bridged(case)]
    if part.kind in LOADS or part.kind == "sensor":
        return [*letters, _itself_good(case, part)]
    if renewed:
        return renewed
    # Nothing else tells it from the part itself, and one inspection does not prove.
    return [Requirement(f"{text}, both ways", looks, times=2), *_others_good(case)]


def _renewed(case: Case) -> list[Requirement]:
    """Where a look at a contact has shown nothing a new terminal tells: the function is back, or it is not this."""
    name = case.fault.part
    looks = [reading for reading in case.situation.live if reading.measurement.quantity == "inspection"]
    if not any(look.measurement.at == name and look.value == "good" for look in looks):
        return []
    text, new = f"a new terminal at {name} restores the function", Replace(name)
    if case.functions:
        return case.restored(text, new)
    back = come_back(case, [new])
    return [Requirement(text, tuple(back))] if back else []


def _others_good(case: Case) -> list[Requirement]:
    """The part's other contacts that are still in question are seen to be good: a look now and then finds too much."""
    own, name = case.fault.part, part_of(case.fault.part)
    rivals = [
        other
        for other, share in case.situation.posterior.probability.items()
        if share >= RIVAL and other != own and "." in other and part_of(other) == name and " " not in other
    ]
    look = case.look()[0]
    good = is_word("good")
    return [asked(f"the contact {other} found good", replace(look, at=other), good) for other in rivals]


def _bridged(case: Case) -> list[Requirement]:
    """A lead over a fuse or a relay's contact, their terminals with it, restores the function."""
    for ends in own_ends(case.circuit):
        own = case.fault.part in ends and {part_of(end) for end in ends} == {part_of(case.fault.part)}
        if own and abs(case.healthy.volts(*ends)) < LEAST_CLOSED and _may_be_joined(case, ends):
            done = f"bridging {ends[0]} to {ends[1]} restores the function"
            return case.restored(done, case.bridge(ends))
    return []


def _itself_good(case: Case, part: Part) -> Requirement:
    expected = _ohms_of(case, part.name)
    text = f"{part.name} itself measures as it should when unplugged ({expected:.3g} ohm)"
    ohms = itself(part, *own_pins(part), case.state)
    return asked(text, ohms, within(0.5 * expected, 2.0 * expected + 0.5, "ohm"))


def _ohms_of(case: Case, name: str) -> float:
    """What a part has when it is sound itself, whatever the other fault of a pair does to it."""
    network, system = case.circuit.network, case.circuit.solve(case.state).system()
    names = (name, f"{name} upper", f"{name} lower")
    elements = [network.element_index[name] for name in names if name in network.element_index]
    # Of the state: a sensor has the ohms of what it senses there.
    return float(sum(1.0 / system.conductance[element] for element in elements))


def _part(case: Case) -> list[Requirement]:
    """Any other part: a direct reading at it speaks for the fault, and so does something of another kind.

    That is a known-good part that restores the function, or its ohms beside its volts.
    """
    name = case.fault.part
    part = case.circuit.parts.get(name)
    if part is None:
        return [case.looked_at()]
    volts, ohms = _direct_volts(case, part), _direct_ohms(case, part)
    if case.fault.mode == "shorted":
        # The volts are gone wherever on the line the short is; with the part off they are back.
        volts = come_back(case, map(Unplug, plugs(case.situation, [name])))
    cure = _cured(case, part)
    # What passes current on may have another fault behind it: what was complained of has to come back.
    if volts and ohms and len(cure) < 2 and part.kind not in ("relay", "switch"):
        second = _direct(case, ohms)
        if cure:
            options = (*ohms, *cure[0].options)
            second = replace(second, text=f"{second.text} or {cure[0].text}", options=options)
        return [_direct(case, volts), second]
    direct = (*volts, *ohms)
    directly = [_direct(case, direct, times=1 if cure else 2)] if direct else []
    return [*directly, *cure] or [case.looked_at()]


def _direct(case: Case, options: tuple[Option, ...] | list[Option], times: int = 1) -> Requirement:
    words = " or ".join(sentence(test, case.circuit).rstrip(".") for test, _ in options[:2])
    again = ", twice" if times > 1 else ""
    text = f"a direct reading at {case.fault.part} that shows it{again}: {words}"
    return Requirement(text, tuple(options), times)


def _cured(case: Case, part: Part) -> list[Requirement]:
    """The function comes back with a known-good part where one goes in by hand, with a switch bridged."""
    trial = _trial(case, part)
    if not trial:
        return []
    bridge = trial[0]
    done = f"bridging {bridge.a} to {bridge.b}" if isinstance(bridge, Jump) else f"a known-good {part.name}"
    return case.restored(f"{done} restores the function", *trial)


def _trial(case: Case, part: Part) -> tuple[Intervention, ...]:
    """A known-good part that goes in by hand; a lead over a switch that does not close."""
    if part.kind in QUICKLY_FITTED:
        return (Replace(part.name),)
    if part.kind == "switch" and case.fault.mode == "open":
        pairs = _own_pairs(case, part)
        if pairs:
            lost = [abs(case.sick.volts(*ends) - case.healthy.volts(*ends)) for ends in pairs]
            return (Jump(*pairs[lost.index(max(lost))]),)
    return ()


def _own_pairs(case: Case, part: Part) -> list[tuple[str, str]]:
    """The pins of a part that a meter is put across."""
    return [(a, b) for a, b in own_ends(case.circuit) if part_of(a) == part_of(b) == part.name]


def _fuse(case: Case) -> list[Requirement]:
    """A fuse is a consequence until every state in which it feeds anything has been run with a new one."""
    name = case.fault.part
    part = case.circuit.parts[name]
    blown = Measurement("blown", name, case.state), is_word("yes")
    direct = (blown, *_direct_volts(case, part), *_direct_ohms(case, part))
    if case.fault.mode != "open":
        return [_direct(case, direct), *_cured(case, part)]
    # With a new fuse everything that it feeds works, in every state.
    holding = []
    for state in case.circuit.states:
        healthy, without = case.circuit.solve(state), case.circuit.solve(state, fault=case.fault)
        fed = [
            load.name
            for load in case.circuit.model.of_kind(*LOADS)
            if healthy.works(load.name) == "yes" and without.works(load.name) != "yes"
        ]
        if fed:
            load = case.load if case.load in fed and state == case.state else fed[0]
            test = Measurement("works", load, state, changes=(Replace(name),))
            text = f"with a new {name} {load} works in state “{state}”, and the fuse holds"
            holding.append(asked(text, test, is_word("yes")))
    held = holding or case.restored(f"a new {name} restores the function and holds", Replace(name))
    return [_direct(case, direct), *held]


def _direct_volts(case: Case, part: Part) -> list[Option]:
    """Volts between its own pins that cause and health differ in."""
    pairs = _own_pairs(case, part)
    if part.kind == "sensor":
        pairs = [(f"{part.name}.{pin}", f"{part.name}.{part.pins[-1]}") for pin in part.pins[:-1]]
    tests = [case.volts(a, b) for a, b in pairs]
    volts = {test: tuple(map(abs, case.both(test))) for test in tests}
    if case.fault.mode in ("open", "coil open") and part.kind in (*LOADS, "relay"):
        # Volts are there and nothing happens: feed and ground are good, the part is not.
        if case.fault.mode == "coil open":
            tests = [test for test in tests if {test.at, test.to} == {f"{part.name}.85", f"{part.name}.86"}]
        return [(test, at_least(0.85 * volts[test][0])) for test in tests if volts[test][0] > 1.0]
    if part.kind in LOADS:
        # What it lacks a fault in its line takes from it just as well.
        tests = [test for test, (healthy, sick) in volts.items() if sick > HALF_FED * healthy]
    return [(test, case.nearer(test)) for test in tests if case.tells(test)]


def _direct_ohms(case: Case, part: Part) -> list[Option]:
    """Ohms between its own pins, unplugged, where they show the fault."""
    if part.kind == "switch" and case.fault.mode == "open":
        # In the position in which it should join two pins.
        joined = case.joined(part.name, case.state)
        return [(itself(part, join.a, join.b, case.state), at_least(OPEN_OHMS, "ohm")) for join in joined]
    if part.kind not in (*LOADS, "fuse", "relay", "sensor"):
        return []
    relay = part.kind == "relay"
    if relay and case.fault.mode != "coil open":
        return []
    a, b = ("86", "85") if relay else own_pins(part)
    test = itself(part, a, b, case.state)
    normal = _ohms_of(case, f"{part.name} coil" if relay else part.name)
    open_over, short_under = max(OPEN_OHMS, 10.0 * normal), 0.3 * normal + 0.2
    if case.fault.mode in ("open", "coil open"):
        return [(test, at_least(open_over, "ohm"))]
    if case.fault.mode == "shorted":
        return [(test, within(-math.inf, short_under, "ohm"))]
    return []


def _battery(case: Case) -> list[Requirement]:
    name = case.fault.part
    test = case.volts(f"{name}.+", f"{name}.-")
    return [asked(f"the volts of {name} itself, twice", test, case.nearer(test), times=2)]


PROOFS: Mapping[str, Callable[[Case], list[Requirement]]] = {
    "wire": _joint,
    "cavity": _joint,
    "ground": _joint,
    "mass": _joint,
    "contact": _contact,
    "fuse": _fuse,
    "module": module_proof,
    "battery": _battery,
    "stage": lambda case: [Requirement(f"the fault seen: {case.fault.mode}", (case.look(),))],
    "bus": lambda case: [Requirement(f"the fault seen on {case.fault.part}", (case.look(),))],
}
