"""What the pages of practice know: frozen records, one for each template."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from halfsplit.job import JobSummary, Sample
from halfsplit.job.practice_views import EndView, ExerciseView, Results


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
