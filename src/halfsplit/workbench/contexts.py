"""What each page knows: frozen records, one for each template.

A template names no field that is not here.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from halfsplit.job import (
    AlibiCard,
    Attachment,
    AuditEntry,
    BatteryState,
    BenchView,
    Checked,
    Customer,
    EvidenceLine,
    Intake,
    Job,
    JobSummary,
    JobView,
    Problem,
    Sample,
    TapView,
    TestCard,
    TrapCard,
    TryCard,
    User,
    Workshop,
)
from halfsplit.job.planning import PlanView
from halfsplit.job.practice_views import EndView, ExerciseView, Results


@dataclass(frozen=True)
class JobsPage:
    """``jobs``: with how far each is."""

    jobs: Sequence[tuple[JobSummary, str]]
    search: str
    closed: bool


@dataclass(frozen=True)
class IntakePage:
    """The form of a new job, or of an intake that is changed. ``problems``: field → sentence."""

    job: Job | None
    intake: Intake
    customer: Customer
    samples: Sequence[Sample]
    problems: dict[str, str]
    job_id: str
    typed: dict[str, str]


@dataclass(frozen=True)
class VinNote:
    """What a number says as it is typed: ``kind`` is 'none', 'good', 'doubt' or 'bad'."""

    kind: str
    notes: Sequence[str]
    nearby: Sequence[str] = ()


@dataclass(frozen=True)
class BatteryNote:
    """What the battery's volts say, or a question about them."""

    state: BatteryState | None
    question: str = ""


@dataclass(frozen=True)
class CircuitPage:
    """The editor. ``drawing`` is SVG made by us, '' where there is none."""

    job: Job
    text: str
    check: CheckNote
    samples: Sequence[Sample]
    based_on: int
    asked: str = ""
    diagram: Attachment | None = None


@dataclass(frozen=True)
class TapsPage:
    """The circuit by taps. ``view`` is None before there is a text, and where the text has mistakes.

    ``undo``: the version to which *Undo* goes back. ``typed``: what stood in the fields when a tap could not be done.
    """

    job: Job
    view: TapView | None
    check: CheckNote
    based_on: int
    undo: int
    diagram: Attachment | None
    problem: str
    typed: Mapping[str, str]


@dataclass(frozen=True)
class CheckNote:
    """What the text says: problems with their lines, and its drawing."""

    checked: Checked
    errors: Sequence[Problem]
    warnings: Sequence[Problem]
    drawing: str
    parts: int
    states: Sequence[str]


@dataclass(frozen=True)
class Entry:
    """What is being entered on the bench. ``question`` stands where a reading is asked about before it is stored."""

    entry_id: str
    typed: str = ""
    unit: str = ""
    question: str = ""
    sure: bool = False


@dataclass(frozen=True)
class DrawingNote:
    """The drawing of the bench: ``state`` whose expected volts are shown ('' for none)."""

    svg: str
    state: str
    states: Sequence[str]
    whole: bool
    folded: bool = False


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

    ``expected``: (assumption, volts) at the test's point, healthy and for each leading suspect.
    """

    view: BenchView
    test: TestCard | None
    own: bool
    others: Sequence[TestCard]
    show_others: bool
    entry: Entry
    drawing: DrawingNote | None
    notice: str = ""
    expected: Sequence[tuple[str, str]] = ()
    asides: Asides = field(default_factory=Asides)


@dataclass(frozen=True)
class ReportPage:
    """The report as it will be printed. ``audience``: customer or workshop; ``lines``: the evidence in order."""

    view: BenchView
    audience: str
    told: JobView
    lines: Sequence[EvidenceLine]
    pdf: bool
    drawing: str = ""


@dataclass(frozen=True)
class ProblemPage:
    """Something that did not work, in plain words."""

    title: str
    detail: str


@dataclass(frozen=True)
class SignInPage:
    """``refused``: name or password were wrong."""

    name: str = ""
    refused: bool = False


@dataclass(frozen=True)
class OwnerPage:
    """The first owner's form."""

    token: str
    name: str = ""
    problem: str = ""


@dataclass(frozen=True)
class PeoplePage:
    """Accounts."""

    users: Sequence[User]
    roles: Sequence[str]
    problem: str = ""
    typed: dict[str, str] = field(default_factory=dict)


@dataclass(frozen=True)
class AuditPage:
    """Who did what; ``before``: number of the last line shown, for the next page."""

    entries: Sequence[AuditEntry]
    before: int | None


@dataclass(frozen=True)
class SettingsPage:
    """The workshop's settings."""

    workshop: Workshop
    serials: Mapping[str, str]
    saved: bool
    problem: str = ""


@dataclass(frozen=True)
class CheckFragment:
    """The editor's check alone."""

    check: CheckNote


@dataclass(frozen=True)
class DrawingFragment:
    """The drawing alone."""

    view: BenchView
    drawing: DrawingNote | None


# Practice and plans


@dataclass(frozen=True)
class PracticePage:
    """What to practise on, and results. ``typed``: what was chosen or pasted; ``problem``: why it cannot be begun."""

    results: Results
    patterns: Sequence[Sample]
    demos: Sequence[Sample]
    jobs: Sequence[JobSummary]
    difficulties: Mapping[str, str]
    typed: Mapping[str, str]
    problem: str
    practice_id: str


@dataclass(frozen=True)
class ExercisePage:
    """An exercise that goes on. ``act_id``: what is done next is done once."""

    view: ExerciseView
    notice: str
    act_id: str


@dataclass(frozen=True)
class EndPage:
    """An exercise that is over."""

    view: EndView


@dataclass(frozen=True)
class PlanPage:
    """The plan of a job. ``sizes``: steps at most → what that is called."""

    view: PlanView
    sizes: Mapping[int, str]
    pdf: bool
