"""Found, proven, what proof is missing, and what to verify after the repair.

A cause is *found* when its repair group holds at least 0.95. It is *proven* when, besides, direct tests at the place
say so. A proof is a list of requirements; each is a measurement with a condition that its reading must meet. What is
missing is told in words and proposed as the next tests; one that cannot be done leaves the cause 'found, not proven'.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import partial

from halfsplit.circuit.faults import SPECIAL, Fault
from halfsplit.diagnosis.after_repair import to_verify, verify_words
from halfsplit.diagnosis.candidates import at_hand
from halfsplit.diagnosis.doubt import agree, explained, quarrels, unexplained
from halfsplit.diagnosis.measurement import NUMERIC, Measurement
from halfsplit.diagnosis.proof_parts import requirements
from halfsplit.diagnosis.requirement import RIVAL, Met, Requirement, same_test
from halfsplit.diagnosis.situation import Situation
from halfsplit.diagnosis.suspects import fitted_fault, hanging
from halfsplit.diagnosis.words import evidence_words

HANGS = 0.8
"""A cause that holds less than this without one reading hangs on it: a proof asks for that once more."""
CARRIES = 0.01
"""Amps from which a fuse feeds something."""


@dataclass(frozen=True, slots=True)
class Finding:
    """A cause that was found, and how far it is proven.

    ``cause``: name of the fault. ``missing_proof``: what is still to be shown; empty once ``proven``. ``explains``:
    what the cause explains. ``verify``: what must read what after the repair. ``rivals``: repairs of 2 % and more.
    """

    cause: str
    part: str
    repair: str
    probability: float
    proven: bool
    missing_proof: tuple[str, ...]
    explains: tuple[str, ...]
    unexplained: tuple[str, ...]
    verify: tuple[str, ...]
    rivals: tuple[tuple[str, float], ...]


def finding(situation: Situation, found_at: float) -> Finding | None:
    """None where no repair group holds enough, or where the answer is that the model does not hold it."""
    leader = _found(situation, found_at)
    if leader is None:
        return None
    fault, share = leader
    rivals = tuple(
        (name, other)
        for name, other in situation.posterior.probability.items()
        if name != fault.group and other >= RIVAL
    )
    missing = _missing(situation, fault, rivals)
    # What was seen wrong, told or read, that the cause explains; and what it does not, which stands against it.
    seen = [which(situation, situation.posterior.leading[0]) for which in (explained, unexplained)]
    explains, leaves = (
        tuple(dict.fromkeys(evidence_words(each.measurement, each.value, situation.circuit) for each in some))
        for some in seen
    )
    verify = [verify_words(place, value, situation.circuit) for place, value in to_verify(situation)]
    verify += [
        f"the code “{' '.join(code.measurement.detail)}” in {code.measurement.at} cleared, and not set again"
        for code in situation.live
        if code.measurement.quantity == "code" and code.value == "set"
    ]
    return Finding(
        cause=fault.name,
        part=fault.part,
        repair=fault.repair,
        probability=share,
        proven=not missing,
        missing_proof=missing,
        explains=explains,
        unexplained=leaves,
        verify=(*verify, *_fuses_hold(situation, fault)),
        rivals=rivals,
    )


def _missing(situation: Situation, fault: Fault, rivals: tuple[tuple[str, float], ...]) -> tuple[str, ...]:
    missing = [requirement.text for requirement in _lacking(situation, fault)]
    if fault.kind.partition(" ")[0] == "module" and rivals:
        named = ", ".join(f"{name} {100 * other:.0f} %" for name, other in rivals)
        missing.append(f"no rival of 2 % or more: {named}")
    seen = any(reading.present == "yes" and reading.source != "complaint" for reading in situation.live)
    if situation.intermittent and not seen:
        missing.append("a reading made while the fault was present")
    return tuple(missing)


def _lacking(situation: Situation, fault: Fault) -> list[Requirement]:
    """What is still to be shown for a cause; once all is, what it hangs on made again: one reading may be a slip."""
    live = list(situation.live)
    lacks = [asked for asked in requirements(situation, fault) if not asked.met(live)]
    held = situation.posterior.probability.get(fault.group, 0.0)
    if held < HANGS or any(not asked.refuted(live) for asked in lacks):
        return lacks
    for reading in hanging(situation, fault.group, HANGS):
        if reading.measurement.quantity in NUMERIC and reading.present == "yes":
            words = evidence_words(reading.measurement, reading.value, situation.circuit)
            text = f"once more, for without it other causes are left: {words}"
            same = Met(partial(agree, other=reading.value), "as before")
            lacks.append(Requirement(text, ((reading.measurement, same),), times=2))
    return lacks


def _found(situation: Situation, found_at: float) -> tuple[Fault, float] | None:
    name, share = situation.posterior.leading
    if share < found_at or name in SPECIAL or not situation.seen_wrong:
        return None
    if found_at > 0 and quarrels(situation, name):
        return None
    return fitted_fault(situation, name), share


def missing_tests(situation: Situation, found_at: float) -> list[tuple[Measurement, str]]:
    """The tests that the proof of what was found still lacks, nearest first, each with the limit that it must keep."""
    leader = _found(situation, found_at)
    if leader is None:
        return []
    tests: dict[Measurement, str] = {}
    live = list(situation.live)
    for requirement in _lacking(situation, leader[0]):
        if requirement.refuted(live):
            continue
        possible = [
            (test, met)
            for test, met in requirement.options
            if requirement.may_be_asked(live, test)
            and not situation.barred(test)
            and at_hand(test, situation.instruments)
        ]
        ranked = [
            (
                sum(same_test(reading, test) for reading in live),
                requirement.minutes(test, situation.bay),
                number,
            )
            for number, (test, _) in enumerate(possible)
        ]
        if ranked:
            test, met = possible[min(ranked)[-1]]
            tests.setdefault(test, met.words)
    return sorted(tests.items(), key=lambda item: situation.bay.minutes(item[0]))


def _fuses_hold(situation: Situation, fault: Fault) -> tuple[str, ...]:
    """After a short: its fuse, new, in every state that it feeds, with the place moved."""
    circuit = situation.circuit
    blown = {fuse for state in circuit.states for fuse in circuit.solve(state, fault=fault).blown}
    fuses = []
    for fuse in sorted(blown):
        fed = [state for state in circuit.states if abs(circuit.solve(state).amps(fuse)) > CARRIES]
        if fed:
            states = ", ".join(f"“{state}”" for state in fed)
            fuses.append(f"a new {fuse} holds in state {states}, with the place moved")
    return tuple(fuses)
