"""What the bench knows: frozen records, one for each template."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from halfsplit.job import BenchView, EvidenceLine, TestCard, TryCard
from halfsplit.job.asides import AlibiCard, TrapCard
from halfsplit.job.pictures import BenchDrawing


@dataclass(frozen=True)
class Entry:
    """What is being entered on the bench. ``question`` stands where a reading is asked about before it is stored."""

    entry_id: str
    typed: str = ""
    unit: str = ""
    question: str = ""
    sure: bool = False


@dataclass(frozen=True)
class DrawingFragment:
    """The drawing alone."""

    view: BenchView
    drawing: BenchDrawing | None


@dataclass(frozen=True)
class LooksFragment:
    """What is seen in seconds, alone."""

    job_id: str
    looks: Sequence[TestCard]
    entry: Entry


@dataclass(frozen=True)
class Asides:
    """What was asked for besides: each None until it is. ``problem``: why one cannot be told."""

    alibi: AlibiCard | None = None
    trap: TrapCard | None = None
    tried: TryCard | None = None
    typed: Mapping[str, str] = field(default_factory=dict)
    problem: str = ""


@dataclass(frozen=True)
class BenchPage:
    """The bench of one job. ``test``: the one that is asked now; ``own``: whether the technician chose it.

    ``expected``: (assumption, volts) at the test's point, healthy and for each leading suspect. ``last``: the last
    entry, as long as one tap takes it back; ``seconds``: how long that is. ``late``: the drawing and
    the ``looks`` (what is seen in seconds) are fetched once the test stands there, so that nobody waits for them.
    ``lines``: the latest entries of the record; ``earlier``: how many more there are. ``telling``: whether it is said
    what else works or does not, before the next test.
    """

    view: BenchView
    test: TestCard | None
    own: bool
    others: Sequence[TestCard]
    show_others: bool
    entry: Entry
    drawing: BenchDrawing | None
    notice: str = ""
    expected: Sequence[tuple[str, str]] = ()
    asides: Asides = field(default_factory=Asides)
    last: EvidenceLine | None = None
    seconds: int = 0
    looks: Sequence[TestCard] = ()
    late: bool = False
    lines: Sequence[EvidenceLine] = ()
    earlier: int = 0
    telling: bool = False
