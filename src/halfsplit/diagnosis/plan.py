"""The plan: the decision tree of tests for a complaint, worked out before anything is measured.

    job.complain("M9", works="no", state="wiper on")
    made = plan(job)
    made.expected_minutes, made.steps[0].sentence, plan_text(made)

Each step is the test that the engine would propose there. Its readings are divided into a few ranges (or words), and
what is known in a branch is what the engine would know after a reading of which only the range is told. The tree is a
function of the job alone. Steps that are reached most often are worked out first; what is reached too rarely ends in
'use the tool from here'.
"""

from __future__ import annotations

import heapq
import math
from collections.abc import Callable, Sequence
from copy import copy
from dataclasses import dataclass, field, replace
from typing import cast

from halfsplit.circuit.faults import SPECIAL
from halfsplit.diagnosis import proof
from halfsplit.diagnosis.diagnosis import Diagnosis
from halfsplit.diagnosis.measurement import Measurement
from halfsplit.diagnosis.posterior import Posterior
from halfsplit.diagnosis.propose import WORTH_ASKING, Outcome, Test, propose
from halfsplit.diagnosis.results import range_words, results
from halfsplit.diagnosis.situation import Situation
from halfsplit.diagnosis.suspects import odd_reading
from halfsplit.diagnosis.words import evidence_words, part_words

FOUND_AT = 0.9
"""On paper a path ends a little earlier than at the bench: what proves the cause follows anyway."""
RARE = 0.01
"""A branch that fewer vehicles than this share come to is left to the tool."""
DEEPEST = 12
LARGEST = 30
"""Steps of a plan; five pages or so."""
TRIED = 4
"""Proposals that are looked at where the first tells nothing once its borders are rounded for paper."""
LEFT = 3
"""Suspects that an unfinished branch tells."""


@dataclass(frozen=True, slots=True)
class Ending:
    """Where a path ends.

    ``kind``         'found'; 'elsewhere': nothing in this circuit explains it; 'tool': use the tool from here
    ``repair``, ``cause``, ``part``   of what was found
    ``proof``        what is still to be shown before the part is condemned
    ``verify``       what must be right after the repair
    ``suspects``     the leading repairs there with their probabilities
    ``probability``  share of the vehicles that come here
    """

    kind: str
    suspects: tuple[tuple[str, float], ...]
    repair: str = ""
    cause: str = ""
    part: str = ""
    proof: tuple[str, ...] = ()
    verify: tuple[str, ...] = ()
    probability: float = 0.0


@dataclass(frozen=True, slots=True)
class Branch:
    """One result of a step and where it leads: to ``step`` (its number) or to an ``ending``.

    ``word``, or ``low`` to ``high`` in SI (infinite at the ends) with ``typical``; ``probability`` given the step.
    """

    probability: float
    text: str
    word: str = ""
    low: float = -math.inf
    high: float = math.inf
    typical: float = math.nan
    step: int | None = None
    ending: Ending | None = None


@dataclass(frozen=True, slots=True)
class Step:
    """A test of the plan, numbered from 1.

    ``minutes``: what it costs there; ``opens``: places it has to open first; ``probability``: share of the vehicles
    that come to it.
    """

    number: int
    measurement: Measurement
    sentence: str
    minutes: float
    cautions: tuple[str, ...]
    opens: tuple[str, ...]
    probability: float
    branches: tuple[Branch, ...]


@dataclass(frozen=True, slots=True)
class Plan:
    """The tree. ``steps[0]`` is the first step; there is none where nothing can be asked.

    ``expected_minutes``, ``worst_minutes``: until a path ends, proof apart. ``found``: share of the vehicles of which
    the plan finds the cause. ``found_at``: the probability that is taken for found.
    """

    title: str
    complaints: tuple[str, ...]
    instruments: tuple[str, ...]
    states: tuple[tuple[str, str], ...]
    steps: tuple[Step, ...]
    endings: tuple[Ending, ...]
    expected_minutes: float
    worst_minutes: float
    found: float
    found_at: float
    intermittent: bool


@dataclass(frozen=True, slots=True)
class Walk:
    """A walk along the plan: numbers of the steps, minutes, and where it ended."""

    steps: tuple[int, ...]
    minutes: float
    ending: Ending


def plan(
    job: Diagnosis,
    *,
    found_at: float = FOUND_AT,
    rare: float = RARE,
    deepest: int = DEEPEST,
    largest: int = LARGEST,
    progress: Callable[[int, int], None] | None = None,
) -> Plan:
    """The plan from what the job knows now; the job itself is not changed.

    ``found_at``: a path ends where one repair has this probability; its ending tells what is still to be proven.
    ``rare``: share of vehicles below which a branch is left to the tool; ``deepest``: steps on one path; ``largest``:
    steps of the whole plan. ``progress`` is told (steps made, steps at most). Readings are taken as made while the
    fault is present. Of an intermittent fault the plan says so.
    """
    situation = job.situation()
    # An inference of its own: what the plan goes through is not what the job asks for next.
    root = _Node(replace(situation, inference=copy(situation.inference)), 1.0, found_at)
    _grow(root, _Bounds(found_at, rare, deepest, largest), progress)
    steps = _numbered(root)
    ways = [(step.probability * way.probability, way.ending) for step in steps for way in step.branches]
    if not steps:
        ways = [(1.0, root.ending)]  # what is known already
    ends = [(share, ending) for share, ending in ways if ending]
    until: dict[
        int, float
    ] = {}  # minutes of the longest path from a step; the steps of a path have rising numbers
    for step in reversed(steps):
        until[step.number] = step.minutes + max(until.get(branch.step or 0, 0.0) for branch in step.branches)
    live = root.situation.live
    return Plan(
        title=job.circuit.model.title,
        complaints=tuple(evidence_words(each.measurement, each.value, job.circuit) for each in live),
        instruments=job.instruments,
        states=_states(job, steps),
        steps=steps,
        endings=tuple(dict.fromkeys(ending for _, ending in ends)),
        expected_minutes=sum(step.probability * step.minutes for step in steps),
        worst_minutes=until.get(1, 0.0),
        found=math.fsum(share for share, ending in ends if ending.kind == "found"),
        found_at=found_at,
        intermittent=job.intermittent,
    )


def follow(made: Plan, answer: Callable[[Measurement], float | str]) -> Walk:
    """Walk along the plan with what a vehicle answers: a number in SI or one of the step's words."""
    walked: list[int] = []
    minutes = 0.0
    step = made.steps[0] if made.steps else None
    ending = made.endings[0] if made.endings and not made.steps else None
    while step is not None:
        walked.append(step.number)
        minutes += step.minutes
        taken = branch_for(step, answer(step.measurement))
        ending = taken.ending
        step = made.steps[taken.step - 1] if taken.step else None
    assert ending is not None  # noqa: S101 - every path ends
    return Walk(tuple(walked), minutes, ending)


def branch_for(step: Step, value: float | str) -> Branch:
    """The branch that a reading leads into; a word that the step does not know leads into the likeliest."""
    if isinstance(value, str):
        same = [branch for branch in step.branches if branch.word == value]
        return same[0] if same else max(step.branches, key=lambda branch: branch.probability)
    return next((branch for branch in step.branches if value < branch.high), step.branches[-1])


# Growing the tree


@dataclass(slots=True)
class _Node:
    """A place in the tree while it grows: what is known there, how often one gets there, and how a path ends there."""

    situation: Situation
    reach: float
    found_at: float
    depth: int = 0
    test: Test | None = None
    ways: list[tuple[Outcome, float, _Node]] = field(default_factory=list)
    ending: Ending = field(init=False)

    def __post_init__(self) -> None:
        situation, shares = self.situation, self.situation.posterior.probability
        leaders = tuple((name, share) for name, share in list(shares.items())[:LEFT] if share >= 0.02)
        situation.posterior.belief.likelihoods(situation.live)
        finding = proof.finding(situation, self.found_at)
        if finding is not None:
            own = finding.repair, finding.cause, finding.part, finding.missing_proof, finding.verify
            self.ending = Ending("found", leaders, *own, self.reach)
        else:
            elsewhere = sum(shares.get(name, 0.0) for name in SPECIAL)
            kind = "elsewhere" if elsewhere >= self.found_at else "tool"
            self.ending = Ending(kind, leaders, probability=self.reach)

    def rest(self) -> None:
        """Let go of the posterior: many nodes wait, few are ever worked out, and it can be had again."""
        self.situation = replace(self.situation, posterior=_FORGOTTEN)

    def wake(self) -> Situation:
        if self.situation.posterior is _FORGOTTEN:
            posterior = self.situation.inference.posterior(self.situation.readings)
            self.situation = replace(self.situation, posterior=posterior)
        # Fuses that these readings have blown are blown now.
        self.situation.posterior.belief.likelihoods(self.situation.live)
        return self.situation


_FORGOTTEN = cast("Posterior", None)


@dataclass(frozen=True, slots=True)
class _Bounds:
    """When a path ends and how large the plan may get."""

    found_at: float
    rare: float
    deepest: int
    largest: int

    def ends(self, node: _Node) -> bool:
        return node.reach < self.rare or node.depth >= self.deepest or node.ending.kind != "tool"


def _grow(root: _Node, bounds: _Bounds, progress: Callable[[int, int], None] | None) -> None:
    """Work out the steps that are reached most often, until the plan is large enough."""
    waiting: list[tuple[float, int, _Node]] = [(-root.reach, 0, root)] if not bounds.ends(root) else []
    made = count = 0
    while waiting and made < bounds.largest:
        _, _, node = heapq.heappop(waiting)
        situation = node.wake()
        node.test, branches = _next(situation, bounds.found_at)
        for result, share, after in branches:
            child = _Node(after, node.reach * share, bounds.found_at, node.depth + 1)
            child.rest()
            node.ways.append((result, share, child))
            count += 1
            if not bounds.ends(child):
                heapq.heappush(waiting, (-child.reach, count, child))
        node.rest()
        made += node.test is not None
        if progress is not None:
            progress(made, bounds.largest)


def _next(
    situation: Situation, found_at: float
) -> tuple[Test | None, list[tuple[Outcome, float, Situation]]]:
    """The next test that tells anything, with its results; on paper that takes two results that can be told apart."""
    doubted = odd_reading(situation)
    for limit in (1, TRIED):
        for test in propose(situation, limit, found_at, doubted)[limit != 1 :]:
            if test.bits >= WORTH_ASKING and len(test.outcomes) > 1:
                distribution = results(situation, test)
                if len(distribution) > 1:
                    return test, distribution
    return None, []


# From the tree to numbered steps


def _numbered(root: _Node) -> tuple[Step, ...]:
    """The steps in the order in which they are read: the likeliest way on comes next."""
    nodes, waiting = list[_Node](), [root]
    while waiting:
        node = waiting.pop()
        if node.test is not None:
            nodes.append(node)
            waiting += [child for _, _, child in sorted(node.ways, key=lambda way: way[1])]
    number = {id(node): index for index, node in enumerate(nodes, 1)}
    endings = _endings([child for node in nodes for _, _, child in node.ways if child.test is None])
    return tuple(_step(node, number, endings) for node in nodes)


def _endings(leaves: Sequence[_Node]) -> dict[int, Ending]:
    """The ending of each leaf; those that say the same are one, and their probabilities add up."""
    own = {id(leaf): leaf.ending for leaf in leaves}
    together: dict[tuple[object, ...], list[Ending]] = {}
    for ending in own.values():
        together.setdefault(_same(ending), []).append(ending)
    joint = {}
    for key, some in together.items():
        likeliest = max(some, key=lambda leaf: leaf.probability)
        joint[key] = replace(likeliest, probability=math.fsum(leaf.probability for leaf in some))
    return {leaf: joint[_same(ending)] for leaf, ending in own.items()}


def _same(ending: Ending) -> tuple[object, ...]:
    if ending.kind == "found":
        return ending.kind, ending.repair, ending.proof
    return ending.kind, tuple(name for name, _ in ending.suspects)


def _step(node: _Node, number: dict[int, int], endings: dict[int, Ending]) -> Step:
    test = node.test
    assert test is not None  # noqa: S101 - only nodes with a test are numbered
    branches = []
    for way, share, child in node.ways:
        span = {} if way.word else {"low": way.low, "high": way.high, "typical": way.typical}
        leads_to = number.get(id(child)), endings.get(id(child))
        branches.append(Branch(share, way.word, way.word, **span, step=leads_to[0], ending=leads_to[1]))
    shown = []
    for branch in _merged(branches):
        words = branch.word or range_words(branch.low, branch.high, branch.typical, test.measurement)
        shown.append(replace(branch, text=words))
    own = test.measurement, test.sentence, test.minutes, test.cautions, test.opens
    return Step(number[id(node)], *own, node.reach, tuple(shown))


def _merged(branches: Sequence[Branch]) -> list[Branch]:
    """Neighbouring ranges that lead to the same ending are one."""
    merged: list[Branch] = []
    for branch in branches:
        last = merged[-1] if merged else None
        if last is None or branch.word or branch.ending is None or last.ending != branch.ending:
            merged.append(branch)
        else:
            typical = branch.typical if branch.probability > last.probability else last.typical
            share = last.probability + branch.probability
            merged[-1] = replace(last, high=branch.high, typical=typical, probability=share)
    return merged


def _states(job: Diagnosis, steps: Sequence[Step]) -> tuple[tuple[str, str], ...]:
    """How each operating state of the plan is set up."""
    states = []
    for name in dict.fromkeys(step.measurement.state for step in steps):
        state = job.circuit.states[name]
        how = [f"{part_words(each, job.circuit)} at {position}" for each, position in state.switches.items()]
        how += [f"{engine} running" for engine in sorted(state.running)]
        states.append((name, ", ".join(how) or "all switches in their first position"))
    return tuple(states)
