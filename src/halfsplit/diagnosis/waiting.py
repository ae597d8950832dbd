"""The tests that could be made now: in the states in which it fails, at hand, within reach, and not made already."""

from __future__ import annotations

from collections import Counter
from collections.abc import Hashable

from halfsplit.circuit.interventions import Intervention, Jump, Replace
from halfsplit.diagnosis.candidates import at_hand, candidates, lamps, looks
from halfsplit.diagnosis.cost import part_of
from halfsplit.diagnosis.evidence import fuse_seen
from halfsplit.diagnosis.measurement import Measurement
from halfsplit.diagnosis.proof_value import open_letters
from halfsplit.diagnosis.situation import Situation
from halfsplit.diagnosis.unplugging import SHORT_SUSPECTED, unplugged

CLOSING_IN = 8
"""Interventions and ohms are weighed once so few suspects hold most of the probability: each asks for a solution of
its own."""
CLOSE_SHARE = 0.8
WAITS = 6
"""Times that a test is made again while a fault that comes and goes is away."""
LETTERS_OF, LETTERS_FROM = 4, 0.1
"""The proofs of so many suspects of at least this probability are tests among the others."""


def waiting(situation: Situation, *, everywhere: bool = False) -> list[Measurement]:
    """The tests that could be made now and were not made yet."""
    made, blown = _made(situation), _looked_at(situation, blown="yes")
    return [
        candidate
        for candidate in _candidates(situation, everywhere=everywhere)
        if _asked_for(candidate) not in made
        and not (candidate.quantity == "blown" and candidate.at in blown)
        and at_hand(candidate, situation.instruments)
        and not situation.barred(candidate)
        and not (candidate.changes and _costs_a_fuse(situation, candidate))
    ]


def _costs_a_fuse(situation: Situation, test: Measurement) -> bool:
    """A new fuse, or a lead over it, where a short may still be behind it, with a lamp at hand that costs none."""
    whole = _looked_at(situation, blown="no")
    parts = situation.circuit.parts
    fuses = [
        name
        for name in map(_put_in_or_bridged, test.changes)
        if name in parts and name not in whole and parts[name].kind == "fuse"
    ]
    if not fuses or not lamps(situation.instruments):
        return False
    shorts = sum(
        share
        for name, share in situation.posterior.probability.items()
        if (leader := situation.posterior.leaders.get(name)) is not None and leader.mode.startswith("short")
    )
    dark = any(
        reading.measurement.quantity == "lamp"
        and reading.measurement.state == test.state
        and reading.measurement.at in [f"{fuse}.1" for fuse in fuses]
        and reading.measurement.changes
        and reading.value == "dark"
        for reading in situation.live
    )
    return shorts >= SHORT_SUSPECTED and not dark


def _put_in_or_bridged(change: Intervention) -> str:
    """The part that an intervention makes good or joins from pin to pin; empty where it does neither."""
    if isinstance(change, Replace):
        return change.name
    return part_of(change.a) if isinstance(change, Jump) and part_of(change.a) == part_of(change.b) else ""


def _looked_at(situation: Situation, *, blown: str) -> set[str]:
    """Fuses that were seen to be blown, or not to be."""
    return {
        name
        for reading in situation.live
        if (name := part_of(reading.measurement.at)) and fuse_seen(reading, situation.circuit) == blown
    }


def _made(situation: Situation) -> set[Hashable]:
    """What was asked for already: nobody measures or looks twice, but where the fault was away."""
    there: set[Hashable] = set()
    times = Counter[Hashable]()
    for reading in situation.live:
        asked = _asked_for(reading.measurement)
        once = reading.measurement.quantity in ONCE
        if once or reading.present == "yes" or not situation.intermittent:
            there.add(asked)
        times[asked] += 1
    return there | {asked for asked, count in times.items() if count >= WAITS}


def _asked_for(test: Measurement) -> Hashable:
    return (test.quantity, test.place) if test.quantity in ONCE else test


ONCE = ("inspection", "wiggle")
"""Asked for once at a place: by the same eyes and hands a second time is no new evidence."""


def _candidates(situation: Situation, *, everywhere: bool) -> list[Measurement]:
    circuit = situation.circuit
    complaints = situation.complaints
    told_of = situation.wrong or situation.live
    failing = (
        list(dict.fromkeys(reading.measurement.state for reading in told_of)) or list(circuit.states)[:1]
    )
    others = [state for state in circuit.states if state not in failing]
    leading = situation.places()
    shares = list(situation.posterior.probability.values())
    close = sum(shares[:CLOSING_IN]) >= CLOSE_SHARE
    loads = list(dict.fromkeys(reading.measurement.at for reading in complaints))
    measurements = candidates(
        circuit,
        situation.instruments,
        failing + (others if everywhere else []),
        leading if close else [],
        loads,
        intermittent=situation.intermittent,
    )
    for state in others:
        measurements += looks(circuit, state)
    if close:
        measurements += _letters(situation)
    else:
        measurements += candidates(circuit, (), failing[:1], leading, [], intermittent=situation.intermittent)
    return list(dict.fromkeys([*measurements, *unplugged(situation)]))


def _letters(situation: Situation) -> list[Measurement]:
    """What the proofs of the leading suspects ask for: a proof tells as well."""
    leading = situation.likeliest(LETTERS_FROM, LETTERS_OF)
    return [
        test
        for name in leading
        if name in situation.posterior.leaders
        for letter in open_letters(situation, name)
        for test, _ in letter.options
    ]
