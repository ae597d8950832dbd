"""What the list of jobs and the intake know: frozen records, one for each template."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from halfsplit.job import Customer, Intake, Job, JobSummary, Sample
from halfsplit.job.battery import BatteryState


@dataclass(frozen=True)
class JobsPage:
    """``jobs``: with how far each is, '' where that has to be worked out. ``stages``: state → what it is called."""

    jobs: Sequence[tuple[JobSummary, str]]
    search: str
    closed: bool
    stages: Mapping[str, str]


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
