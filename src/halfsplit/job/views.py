"""What a job's pages and the API show: frozen records of words and plain numbers, nothing to be worked out further."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, fields
from datetime import datetime
from typing import Any, Literal, TypeVar

from halfsplit.circuit.problems import Problem
from halfsplit.notation.checked import Checked, check_text
from halfsplit.report import Costs
from halfsplit.store import Attachment, Job

CheckState = Literal["open", "good", "bad"]
R = TypeVar("R")


def shown_as(kind: type[R], *sources: object, **own: object) -> R:
    """A record of this kind: what ``own`` does not give it has from the first source with something of that name."""
    taken = {
        field.name: getattr(source, field.name)
        for field in fields(kind)  # type: ignore[arg-type]
        if field.name not in own
        for source in reversed(sources)
        if hasattr(source, field.name)
    }
    return kind(**taken, **own)


@dataclass(frozen=True)
class CircuitView:
    """A circuit's text and what it says. ``parts``: name → kind; empty where the text has mistakes."""

    version: int
    text: str
    problems: tuple[Problem, ...]
    parts: Mapping[str, str]
    states: tuple[str, ...]
    points: tuple[str, ...]


def circuit_said(text: str, version: int = 0) -> CircuitView:
    """What a text says; nothing need be stored."""
    checked = check_text(text)
    circuit = checked.circuit
    if circuit is None:
        return CircuitView(version, text, checked.problems, {}, (), ())
    kinds = {name: part.kind for name, part in circuit.parts.items()}
    return CircuitView(version, text, checked.problems, kinds, tuple(circuit.states), tuple(circuit.points))


@dataclass(frozen=True)
class Meaning:
    """One result of a test: its ``label`` ('over 1 V'), how likely it is, and what it would leave."""

    label: str
    share: float
    leaves: tuple[tuple[str, float], ...]


@dataclass(frozen=True)
class TestCard:
    """A test as it is shown. ``place`` is what is sent back with its result; ``words``: the answers, if not a number.

    ``red`` and ``black``: where the two leads go; '' where the instrument has none. ``red_at``, ``black_at``: what is
    there and where in the vehicle. ``unit``: what the pad shows.
    ``passes``: what a proof asks of the reading; ``beside``: how a test of one's own stands beside the proposed one.
    ``typical``: answer → value that is 'as expected', for programs. ``minutes`` includes getting there.
    """

    key: str
    sentence: str
    quantity: str
    at: str
    to: str | None
    state: str
    instrument: str | None
    minutes: float
    bits: float
    meanings: tuple[Meaning, ...]
    cautions: tuple[str, ...]
    unit: str
    words: tuple[str, ...]
    red: str
    black: str
    purpose: str
    opens: tuple[str, ...]
    place: Mapping[str, Any]
    red_at: str = ""
    black_at: str = ""
    passes: str = ""
    beside: str = ""


@dataclass(frozen=True)
class SuspectCard:
    """One repair. ``name``: with the part's words. ``for_``, ``against``: readings in words, strongest first."""

    part: str
    name: str
    mode: str
    cause: str
    probability: float
    repair: str
    for_: tuple[str, ...]
    against: tuple[str, ...]


@dataclass(frozen=True)
class FindingCard:
    """What was found. ``missing_proof``: what proof lacks; ``explains``, ``unexplained``: of what was seen.

    ``verify``: to be seen after the repair.

    ``words`` and ``repair_words``: cause and repair as a customer would understand them; ``repair_done``: once made.
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
    words: str
    repair_words: str
    repair_done: str


@dataclass(frozen=True)
class EvidenceLine:
    """One entry of the record.

    ``struck``: the reason for which it does not count, or ''; ``struck_by``: the entry that strikes it out. ``aside``:
    why it does not count, or ''. ``unseen``: what a good reading there could not have seen, or ''. ``place``: of a
    reading, to make it again. ``captures``: the recordings that it was measured from.
    """

    entry_id: str
    kind: str
    words: str
    value: str
    at: datetime
    who: str
    instrument: str
    present: str
    struck: str
    aside: str
    odd: bool
    photos: tuple[Attachment, ...]
    unseen: str = ""
    place: Mapping[str, Any] | None = None
    captures: tuple[Attachment, ...] = ()
    struck_by: str = ""


@dataclass(frozen=True)
class Check:
    """Something to be seen again after the repair. ``state``: 'open', 'good' or 'bad'; ``seen``: what it read."""

    key: str
    sentence: str
    expected: str
    state: CheckState
    seen: str
    place: Mapping[str, Any]
    unit: str
    words: tuple[str, ...]


@dataclass(frozen=True, kw_only=True)
class BenchView:
    """A job at one moment: ``sequence`` is the number of its last change.

    ``circuit`` is None before there is one. ``complaints``: whether anything is known not to work. ``suspects`` lead
    with what counts; ``out``: those below half a per cent. ``ticks``: what the proof asks to have been seen to, in
    words. ``apart``: what was taken apart, and whether it is back in place. ``doubt``: sentences about what does not
    fit, where something does not.
    """

    job: Job
    sequence: int
    circuit: Checked | None
    states: tuple[str, ...]
    loads: tuple[tuple[str, str], ...]
    complaints: bool = False
    tests: tuple[TestCard, ...] = ()
    suspects: tuple[SuspectCard, ...] = ()
    out: tuple[SuspectCard, ...] = ()
    finding: FindingCard | None = None
    evidence: tuple[EvidenceLine, ...]
    aside: tuple[str, ...] = ()
    checks: tuple[Check, ...]
    repair: str
    costs: Costs
    photos: tuple[Attachment, ...]
    ticks: tuple[TestCard, ...] = ()
    apart: tuple[tuple[str, bool], ...]
    doubt: tuple[str, ...] = ()

    @property
    def progress(self) -> str:
        """How far the job is, in a few words."""
        if self.job.state == "closed":
            return "closed"
        if self.repair:
            return f"repaired, {sum(check.state == 'open' for check in self.checks)} to check again"
        if self.finding:
            return "cause proven" if self.finding.proven else "cause found, not proven"
        if not self.complaints:
            return "complaint to enter"
        return "1 suspect left" if len(self.suspects) == 1 else f"{len(self.suspects)} suspects left"
