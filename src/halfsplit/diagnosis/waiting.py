"""The tests that could be made now: in the states in which it fails, at hand, within reach, and not made already."""

from __future__ import annotations

from collections import Counter
from collections.abc import Hashable

from halfsplit.circuit.interventions import Jump, Replace
from halfsplit.diagnosis.candidates import at_hand, candidates, kind_at, lamps, looks
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
    """The tests that could be made now and were not made yet.

    Nobody measures or looks twice, but where the fault was away.
    """
    times, blown = Counter[Hashable](), _looked_at(situation, blown="yes")
    made = set[Hashable]()
    for reading in situation.live:
        asked = _asked_for(reading.measurement)
        times[asked] += 1
        there = reading.present == "yes" or not situation.intermittent
        if there or reading.measurement.quantity in ONCE or times[asked] >= WAITS:
            made.add(asked)
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
    circuit, whole, names = situation.circuit, _looked_at(situation, blown="no"), set[str]()
    for change in test.changes:
        match change:
            case Replace(name):
                names.add(name)
            case Jump(a, b) if part_of(a) == part_of(b):
                names.add(part_of(a))
    fuses = {name for name in names - whole if name in circuit.parts and kind_at(circuit, name) == "fuse"}
    if not fuses or not lamps(situation.instruments):
        return False
    leaders, shares = situation.posterior.leaders, situation.posterior.probability.items()
    shorts = sum(
        share for name, share in shares if name in leaders and leaders[name].mode.startswith("short")
    )
    sockets = {f"{fuse}.1" for fuse in fuses}
    dark = any(
        (lit.quantity, lit.state, value) == ("lamp", test.state, "dark") and lit.at in sockets and lit.changes
        for lit, value in ((reading.measurement, reading.value) for reading in situation.live)
    )
    return shorts >= SHORT_SUSPECTED and not dark


def _looked_at(situation: Situation, *, blown: str) -> set[str]:
    """Fuses that were seen to be blown, or not to be."""
    return {
        name
        for reading in situation.live
        if (name := part_of(reading.measurement.at)) and fuse_seen(reading, situation.circuit) == blown
    }


def _asked_for(test: Measurement) -> Hashable:
    return (test.quantity, test.place) if test.quantity in ONCE else test


ONCE = ("inspection", "wiggle")
"""Asked for once at a place: by the same eyes and hands a second time is no new evidence."""


def _candidates(situation: Situation, *, everywhere: bool) -> list[Measurement]:
    circuit, leading = situation.circuit, situation.places()
    told_of = (reading.measurement.state for reading in situation.wrong or situation.live)
    failing = list(dict.fromkeys(told_of)) or list(circuit.states)[:1]
    others = [state for state in circuit.states if state not in failing]
    states = failing + others if everywhere else failing
    shares = list(situation.posterior.probability.values())
    close = sum(shares[:CLOSING_IN]) >= CLOSE_SHARE
    loads = list(dict.fromkeys(reading.measurement.at for reading in situation.complaints))
    suspects, away = leading if close else [], situation.intermittent
    measurements = candidates(circuit, situation.instruments, states, suspects, loads, intermittent=away)
    for state in others:
        measurements += looks(circuit, state)
    if close:
        # What the proofs of the leading suspects ask for: a proof tells as well.
        for name in situation.likeliest(LETTERS_FROM, LETTERS_OF):
            if name in situation.posterior.leaders:
                letters = open_letters(situation, name)
                measurements += [test for letter in letters for test, _ in letter.options]
    else:
        measurements += candidates(circuit, (), failing[:1], leading, [], intermittent=away)
    return list(dict.fromkeys([*measurements, *unplugged(situation)]))
