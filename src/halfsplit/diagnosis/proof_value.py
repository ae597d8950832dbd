"""What the proof of each leading suspect would cost, so that a route is chosen by its minutes to the proof."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from halfsplit.circuit.faults import Fault
from halfsplit.diagnosis.cost import FURTHER_MINUTES, Bay, reach_minutes
from halfsplit.diagnosis.lookahead import ProofsAhead
from halfsplit.diagnosis.measurement import Measurement
from halfsplit.diagnosis.proof_parts import requirements
from halfsplit.diagnosis.requirement import Requirement
from halfsplit.diagnosis.situation import Situation
from halfsplit.diagnosis.suspects import fitted_fault

Floats = NDArray[np.float64]

LEAST, MOST = 0.01, 12
"""Suspects whose proofs are thought of: those of at least this probability, so many at most."""
HALF = 0.5
"""A reading at one end of an element is half of its drop."""


def proofs_ahead(situation: Situation, tests: Sequence[Measurement], names: Sequence[str]) -> ProofsAhead:
    """The proofs that may follow, by repair group in the order of ``names``, and what each test does of them.

    Those that are not thought of cost as much as the others do on average.
    """
    groups = {name: number for number, name in enumerate(names)}
    opened = [situation.bay.opens(test) for test in tests]
    closed = sorted({key for keys in opened for key in keys})
    opens = np.array([[key in keys for key in closed] for keys in opened], dtype=float)
    needs = np.zeros((len(closed), len(names)))
    base, cost, letter_of = np.full(len(names), np.nan), list[float](), list[int]()
    saved = list[Floats]()
    number = {test: place for place, test in enumerate(tests)}
    leaders = situation.posterior.leaders
    leading = [name for name in situation.likeliest(LEAST, MOST) if name in groups and name in leaders]
    suspected = [fitted_fault(situation, name) for name in leading]
    for state in dict.fromkeys(reading.measurement.state for reading in situation.wrong):
        situation.circuit.solve_together(state, (fault for fault in suspected if not fault.members))
    for name, fault in zip(leading, suspected, strict=True):
        group, letters = groups[name], _still_asked(situation, fault)
        paid, bay = _paid(letters, situation.bay)
        needs[[place for place, key in enumerate(closed) if key in bay.opened], group] = 1.0
        base[group] = sum(way + own for way, own in paid)
        for letter, (_, own) in zip(letters, paid, strict=True):
            cost.append(own)
            letter_of.append(group)
            saved.append(_done(letter, own, tests, number))
    known = np.isfinite(base)
    base = np.where(known, base, base[known].mean() if known.any() else 0.0)
    reach = np.array([reach_minutes(key, situation.circuit.model) for key in closed])
    return ProofsAhead(
        base,
        np.array(cost, dtype=float),
        np.array(letter_of, dtype=np.intp),
        np.array(saved, dtype=float).reshape(len(cost), len(tests)).T,
        reach,
        needs,
        opens.reshape(len(tests), len(closed)),
    )


def open_letters(situation: Situation, name: str) -> list[Requirement]:
    """What the proof of a repair group's leading fault still asks for."""
    return _still_asked(situation, fitted_fault(situation, name))


def _still_asked(situation: Situation, fault: Fault) -> list[Requirement]:
    live = list(situation.live)
    return [
        requirement
        for requirement in requirements(situation, fault)
        if not requirement.met(live) and not requirement.refuted(live)
    ]


def _paid(letters: Sequence[Requirement], bay: Bay) -> tuple[list[tuple[float, float]], Bay]:
    """Minutes of the letters, one after the other, each by its cheapest option; the vehicle afterwards.

    Of each letter the way to its places, and its own minutes.
    """
    paid = []
    for letter in letters:
        test = min((option for option, _ in letter.options), key=lambda option: letter.minutes(option, bay))
        way = sum(reach_minutes(key, bay.model) for key in bay.opens(test))
        paid.append((way, letter.minutes(test, bay) - way + (letter.times - 1) * FURTHER_MINUTES))
        bay = bay.after(test)
    return paid, bay


def _done(
    letter: Requirement, own: float, tests: Sequence[Measurement], number: dict[Measurement, int]
) -> Floats:
    """Minutes of a letter that each test does: all of it where it is asked once, (T,)."""
    saved = np.zeros(len(tests))
    minutes = own if letter.times == 1 else FURTHER_MINUTES
    for option, _ in letter.options:
        if option in number:
            # A look that misses what is there leaves the letter to be done otherwise.
            saved[number[option]] = minutes * (letter.seen if option.quantity == "inspection" else 1.0)
    if letter.bracket is not None:
        ends, state = set(letter.bracket), letter.options[0][0].state
        for place, test in enumerate(tests):
            volts = test.quantity == "volts" and test.state == state and not test.changes
            if volts and len({test.at, test.to} & ends) == 1:
                saved[place] = HALF * FURTHER_MINUTES
    return saved
