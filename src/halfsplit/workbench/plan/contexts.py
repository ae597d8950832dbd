"""What the page of the plan knows: frozen records, one for each template."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from halfsplit.job.planning import PlanView


@dataclass(frozen=True)
class PlanPage:
    """The plan of a job. ``sizes``: steps at most → what that is called."""

    view: PlanView
    sizes: Mapping[int, str]
    pdf: bool
