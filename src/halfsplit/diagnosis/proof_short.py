"""What must be shown for a short of a wire: ohms to where it must not be, and the place, seen or measured."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import replace

from halfsplit.circuit.interventions import Intervention, Replace, Unplug
from halfsplit.circuit.model import Wire
from halfsplit.diagnosis.candidates import has_plug
from halfsplit.diagnosis.cost import part_of
from halfsplit.diagnosis.measurement import ENDS, MILLIVOLTS, Measurement
from halfsplit.diagnosis.requirement import (
    RIVAL,
    WORD_OF,
    Case,
    Option,
    Requirement,
    asked,
    at_least,
    is_word,
    within,
)
from halfsplit.diagnosis.unplugging import (
    COLLAPSED,
    LEAST_VOLTS,
    along,
    may_be_cut,
    sound,
    splice_wires,
    still_there,
    with_plugs_off,
)


def short_proof(case: Case) -> list[Requirement]:
    """A short: low ohms to where it must not be with both ends unplugged, and the place seen."""
    wire = wire_of(case)
    start, other = _short_ends(case, wire)
    limit = 3.0 * (case.fault.severity or 0.05) + 1.0
    off = unplugged_ends(case, wire.ends if wire else ())
    ohms = Measurement("ohms", start, case.state, to=other, instrument="meter", changes=off)
    text = f"at most {limit:.3g} ohm from {start} to {other} with the wire unplugged"
    few = within(-math.inf, limit, "ohm")
    seen = case.looked_at()
    if wire is None or len(ohms.changes) < len({*map(part_of, wire.ends)}):
        return [asked(text, ohms, few), _seen_or_along(case, seen)]
    # Taken off at both ends, it reads the same from either only where they are the ends of one wire; another wire in
    # its cavity goes with it, and has to be looked for.
    far = wire.a if start == wire.b else wire.b
    turned = seen.or_else(f"the same from its other end {far}", (replace(ohms, at=far), few))
    alone = case.ticked(wire.name, ENDS, f"{seen.text}, or {ENDS}")
    return [asked(text, ohms, few), turned, replace(alone, options=(*seen.options, *alone.options))]


def come_back(case: Case, changes: Iterable[Intervention]) -> list[Option]:
    """What showed the fault, once more with a plug off, a lead or another wire laid: it reads as in a sound vehicle."""
    # A fuse that has blown lets nothing come back.
    watched = [] if case.sick.blown else still_there(case.situation, with_plugs_off)
    options: list[Option] = []
    for test in (replace(each, changes=(*each.changes, change)) for change in changes for each in watched):
        if test.quantity in WORD_OF:
            options.append((test, is_word(WORD_OF[test.quantity](case.circuit.solve(test.state), test.at))))
        elif (volts := sound(case.situation, test)) > LEAST_VOLTS:
            options.append((test, at_least(COLLAPSED * volts)))
    return options


def _seen_or_along(case: Case, seen: Requirement) -> Requirement:
    """A short behind a splice: seen, gone with another wire, or what a lamp in place of the fuse drives along it."""
    ends, wire = case.ends(), wire_of(case)
    if ends is None or wire is None:
        return seen
    lamps = [reading for reading in case.situation.live if reading.measurement.quantity == "lamp"]
    lit = [reading for reading in lamps if reading.value != "dark"]
    gone = come_back(case, [Replace(wire.name)]) if may_be_cut(case.situation, wire.name) else []
    if gone:
        # A look finds too much now and then: while another wire of the splice is a rival, it is no proof.
        shares = case.situation.posterior.probability
        rivals = [name for name in splice_wires(case.situation) if shares.get(name, 0.0) >= RIVAL]
        cured = "the short gone with another wire in its place"
        if rivals != [wire.name]:
            return replace(seen, text=cured, options=tuple(gone))
        return seen.or_else(cured, *gone)
    for lamp in reversed(lit):
        test = along(lamp.measurement, *ends)
        if not test.in_millivolts:
            continue
        least = 0.5 * abs(case.circuit.solve(test.state, fault=case.fault, changes=test.changes).volts(*ends))
        if least >= 2 * MILLIVOLTS:
            text = f"at least {1000 * least:.0f} mV along it with the lamp in place of the fuse"
            return seen.or_else(text, (test, at_least(least)))
    return seen


def _short_ends(case: Case, wire: Wire | None) -> tuple[str, str]:
    """Where the ohms of the short are measured, and to what."""
    if wire is None:
        return f"{case.fault.part}:in", f"{case.fault.mode.rpartition(' ')[2]}:in"
    battery = next((f"{part.name}.+" for part in case.circuit.model.of_kind("battery")), "body")
    start = next((end for end in wire.ends[::-1] if has_plug(case.circuit.parts.get(part_of(end)))), wire.b)
    return start, "body" if "body" in case.fault.mode else battery


def wire_of(case: Case) -> Wire | None:
    """The wire that the cause is in."""
    return case.circuit.model.wire(case.fault.part)


def unplugged_ends(case: Case, ends: Sequence[str]) -> tuple[Unplug, ...]:
    """What is unplugged at these ends of a wire."""
    plugs = map(part_of, ends)
    return tuple(Unplug(name) for name in dict.fromkeys(plugs) if has_plug(case.circuit.parts.get(name)))
