"""What the pages of fault codes know: frozen records, one for each template."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from halfsplit.job import Job
from halfsplit.job.causes import Causes
from halfsplit.job.scan_evidence import Table
from halfsplit.job.scans import KeptReport, Line, SideBySide

if TYPE_CHECKING:
    from halfsplit.job.live_scans import ClearView, LiveRun


@dataclass(frozen=True)
class ScansPage:
    """The reports of a job, one of them line by line. ``lines``: those shown, from number ``first`` on.

    ``edited``: number of the line that is being corrected, 0 for none, and of its piece. ``pages``: first line of each
    further page. ``moment``: what a new report most likely is. ``problem``: why something was not stored; ``typed``:
    what was sent.
    """

    job: Job
    kept: Sequence[KeptReport]
    shown: KeptReport | None
    lines: Sequence[Line]
    first: int
    pages: Sequence[int]
    only: str
    edited: tuple[int, int]
    kinds: Sequence[str]
    moments: Mapping[str, str]
    moment: str
    problem: str = ""
    typed: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True)
class ComparePage:
    """Two reports side by side; ``pair`` is None where there are not two."""

    job: Job
    kept: Sequence[KeptReport]
    pair: SideBySide | None


@dataclass(frozen=True)
class CausePage:
    """One cause for many. ``table``: of the chosen report, None without report or circuit; ``left_out``: of it."""

    job: Job
    kept: Sequence[KeptReport]
    circuit: bool
    table: Table | None
    failures: Sequence[str]
    causes: Causes | None
    cautions: Sequence[str]
    problem: str = ""
    left_out: str = ""


@dataclass(frozen=True)
class LivePage:
    """Reading the vehicle. ``faults``: for the simulated vehicle. ``clearable``: units of ``report``."""

    job: Job
    run: LiveRun | None
    bit_rates: Sequence[int]
    moments: Mapping[str, str]
    moment: str
    faults: Sequence[str]
    report: KeptReport | None
    clearable: Sequence[str]
    typed: Mapping[str, str]
    problem: str = ""


@dataclass(frozen=True)
class RunFragment:
    """A live scan as it goes, alone."""

    job: Job
    run: LiveRun | None


@dataclass(frozen=True)
class ClearPage:
    """What clearing would take away, or what became of it (``done``)."""

    job: Job
    view: ClearView | None
    done: str = ""
