"""What the pages of captures know: frozen records, one for each template."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from halfsplit.job import EvidenceLine, Job, SuspectCard
from halfsplit.job.capture_evidence import Offer, Places
from halfsplit.job.capture_measuring import Measuring
from halfsplit.job.captures import CaptureLine, CaptureView, Reading


@dataclass(frozen=True)
class CapturesPage:
    """The captures of a job. ``largest``: megabytes of a file at most. ``problem``: why the last one was refused.

    ``readings``: files that are being read now, with their ids.
    """

    job: Job
    captures: Sequence[CaptureLine]
    largest: int
    problem: str = ""
    readings: Sequence[tuple[str, Reading]] = ()


@dataclass(frozen=True)
class Kept:
    """What was just made evidence, and the suspects after it."""

    line: EvidenceLine
    suspects: Sequence[SuspectCard]


@dataclass(frozen=True)
class Question:
    """A reading that is asked about before it is stored. ``form``: what was sent, to be sent again with a yes."""

    text: str
    sure: bool
    form: Mapping[str, str]


@dataclass(frozen=True)
class CapturePage:
    """One capture. ``fields``: what the form of the analysis holds; ``viewer``: what the viewer in the browser is told.

    ``others``: captures that can lie behind as (address, name). ``cursors``: seconds where they stand at first.
    """

    job: Job
    view: CaptureView
    offers: Sequence[Offer]
    between: Sequence[Offer]
    places: Places
    fields: Mapping[str, str]
    roles: Sequence[str]
    paths: Sequence[str]
    cursors: tuple[float, float]
    entry_id: str
    viewer: Mapping[str, Any]
    others: Sequence[tuple[str, str]]
    behind: str = ""
    reference_job: str = ""
    problem: str = ""
    question: Question | None = None
    kept: Kept | None = None
    cautions: Sequence[str] = field(default=())
    measuring: Measuring | None = None


@dataclass(frozen=True)
class MeasuringFragment:
    """How far the measuring of a long capture is."""

    job: Job
    capture_id: str
    measuring: Measuring | None
