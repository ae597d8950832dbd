"""Two faults at once: which pairs the evidence asks for.

To a cause that leads is joined what explains the readings that it leaves unexplained, and what lies in one line with
it: of two faults in one line each hides what the other would show.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from halfsplit.diagnosis.belief import Belief
from halfsplit.diagnosis.hypotheses import Hypothesis, joined
from halfsplit.diagnosis.measurement import Reading

Floats = NDArray[np.float64]

ODD = 3.0
"""Natural logarithm of how much better something else explains a reading that a hypothesis leaves unexplained."""
TOUCHES, AGAINST = 0.1, 4.0
"""Natural logarithm by which a fault that touches a reading moves it, and by which one measurement speaks at most
against one of two: beside another fault it may read otherwise."""
LEADERS, PARTNERS, OF_FIRST = 4, 10, 30
"""Leaders that are joined with another fault, partners tried for each, and for the first: many places explain one
complaint alike."""
LENIENT, IN_LINE = 2, 30
"""Leaders, by all readings and by a lenient count, that are joined with what is in one line with them, and how many."""
STALLED = "stalled"
SINGLE = ("nothing", "unknown", "undrawn")
"""What is no fault of a drawn part, and is not joined with one."""


def joined_pairs(
    live: Sequence[Reading], belief: Belief, log: Floats, broad: Belief, share: float
) -> list[Hypothesis]:
    """Pairs of a leader and what explains the readings that it leaves unexplained.

    belief, log  what is worked out in full, and its log weights (C, D)
    broad        all single faults, as finely as they are known
    share        probability that there are two faults
    """
    each = np.stack([log.max(axis=1) for log in broad.likelihoods(live)])
    logs = belief.likelihoods(live)
    found: dict[str, Hypothesis] = {}
    leaders, with_line = _leaders(live, belief, log, logs)
    for place, number in enumerate(leaders):
        leader, mine = belief.hypotheses[number], belief.columns.hypothesis == number
        weights = np.exp(log[mine] - log[mine].max())
        own = np.array([np.log(np.average(np.exp(log[mine]), weights=weights)) for log in logs])
        odd = each.max(axis=1) > own + ODD
        if not odd.any():
            continue
        line = _in_line(broad, each, own) if number in with_line else []
        partners = _partners(broad, each, own, odd, PARTNERS if place else OF_FIRST)
        for other in dict.fromkeys([*partners, *line]):
            partner = broad.hypotheses[other]
            if partner.part != leader.part and _can_be_joined(partner):
                both = joined(leader, partner, share)
                found[both.name] = both
    return list(found.values())


def near_a_fuse(belief: Belief) -> frozenset[str]:
    """Names of the stalled motors that blow their fuse: by so little that in some cars it holds."""
    blown = belief.context.memory.blown.any(axis=(0, 2))
    some = [belief.hypotheses[number] for number in np.unique(belief.columns.hypothesis[blown])]
    return frozenset(hypothesis.name for hypothesis in some if hypothesis.mode == STALLED)


def _leaders(
    live: Sequence[Reading], belief: Belief, log: Floats, logs: Sequence[Floats]
) -> tuple[list[int], list[int]]:
    """The hypotheses that lead, and those of them that are joined with what is in one line with them.

    Some lead by all readings, some where one measurement counts only so much.
    """
    groups: dict[object, Floats] = {}
    for reading, likelihood in zip(live, logs, strict=True):
        groups[reading.measurement] = groups.get(reading.measurement, 0.0) + likelihood.max(axis=1)
    lenient = np.log(belief.prior)
    for total in groups.values():
        lenient = lenient + np.maximum(total, total.max() - AGAINST)
    drawn = [number for number, hypothesis in enumerate(belief.hypotheses) if _can_be_joined(hypothesis)]
    leading: list[list[int]] = []
    for worth in (log.max(axis=1), np.where(np.isfinite(log[:, 0]), lenient, -np.inf)):
        best = belief.columns.highest(worth)
        possible = [number for number in drawn if np.isfinite(best[number])]
        leading.append(sorted(possible, key=lambda number: -best[number]))
    by_all, by_lenient = leading
    leaders = list(dict.fromkeys([*by_all[:LEADERS], *by_lenient[:LENIENT]]))
    return leaders, [*by_all[:LENIENT], *by_lenient[:LENIENT]]


def _partners(broad: Belief, each: Floats, own: Floats, odd: NDArray[np.bool_], most: int) -> list[int]:
    """What explains the readings that a leader leaves unexplained, best first.

    each  (R, C) log-likelihood of each reading under the others. Where a partner shows what a sound vehicle does, the
          leader alone is asked.
    own   (R,) that under the leader; odd (R,) what it leaves unexplained
    """
    touched = np.abs(each - each[:, [broad.context.healthy]]) > TOUCHES
    gain = np.where(touched, np.maximum(each - own[:, None], -AGAINST), 0.0)
    worth = np.where(gain[odd].sum(axis=0) > ODD, gain.sum(axis=0) + np.log(broad.prior), -np.inf)
    best = broad.columns.highest(worth)
    return [int(number) for number in np.argsort(-best, kind="stable")[:most] if np.isfinite(best[number])]


def _in_line(broad: Belief, each: Floats, own: Floats) -> list[int]:
    """What explains a symptom that a leader explains too, the likeliest before any evidence first."""
    healthy = each[:, broad.context.healthy]
    symptoms = own > healthy + ODD
    explains = (each[symptoms] > healthy[symptoms, None] + ODD).any(axis=0)
    numbers = np.unique(broad.columns.hypothesis[explains])
    prior = np.array([broad.hypotheses[number].prior for number in numbers])
    return [int(number) for number in numbers[np.argsort(-prior, kind="stable")[:IN_LINE]]]


def _can_be_joined(hypothesis: Hypothesis) -> bool:
    return hypothesis.first.kind not in SINGLE and not hypothesis.members
