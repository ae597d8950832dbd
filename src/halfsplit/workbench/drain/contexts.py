"""What the page of the parasitic draw knows."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from halfsplit.job import Job
from halfsplit.job.drains import DrainView


@dataclass(frozen=True)
class DrainPage:
    """The drain of a job. ``problem``: why something was not stored; ``typed``: what was sent with it.

    ``wrong``: field → sentence. ``kinds``: types of battery; ``instruments``: what a current is measured with.
    """

    job: Job
    view: DrainView
    kinds: Sequence[str]
    instruments: Sequence[str]
    problem: str = ""
    typed: Mapping[str, str] = field(default_factory=dict)
    wrong: Mapping[str, str] = field(default_factory=dict)
