"""What a report tells of fault codes and of the parasitic draw: frozen plain data, every word ready to be printed."""

from __future__ import annotations

from dataclasses import dataclass, field


@dataclass(frozen=True, kw_only=True)
class CodeLine:
    """A code of one unit. ``words``: what it says and whose words they are; ``status``: as the report gave it."""

    unit: str
    code: str
    words: str = ""
    status: str = ""


@dataclass(frozen=True, kw_only=True)
class ScanView:
    """One scan report: when and how it was read, its codes, the units that did not answer."""

    title: str
    read: str
    codes: tuple[CodeLine, ...] = ()
    silent: tuple[str, ...] = ()
    units: int = 0
    remarks: tuple[str, ...] = ()


@dataclass(frozen=True, kw_only=True)
class ChangeLine:
    """A code before and after: ``verdict`` in words ('gone', 'stayed', 'new')."""

    verdict: str
    unit: str
    code: str
    before: str = ""
    after: str = ""


@dataclass(frozen=True, kw_only=True)
class CodesView:
    """``scans``: the arrival first. ``compared``: which two; ``answers_now`` and ``silent`` units after the repair.

    ``cleared``: what was cleared, by whom, when, and what came of it.
    """

    scans: tuple[ScanView, ...] = ()
    compared: str = ""
    changes: tuple[ChangeLine, ...] = ()
    answers_now: tuple[str, ...] = ()
    silent: tuple[str, ...] = ()
    not_read: tuple[str, ...] = ()
    cleared: tuple[str, ...] = ()


@dataclass(frozen=True, kw_only=True)
class BranchLine:
    """A fuse that was measured: millivolts across it, and the current that they are with its range."""

    fuse: str
    rating: str
    millivolts: str
    current: str
    units: str = ""


@dataclass(frozen=True, kw_only=True)
class DrainReport:
    """The drain of a job. ``facts``: (what, value). ``plot``: a complete SVG with its styles inside."""

    log: str = ""
    verdict: str = ""
    facts: tuple[tuple[str, str], ...] = ()
    wakes: tuple[tuple[str, ...], ...] = ()
    battery: str = ""
    forecast: str = ""
    total: str = ""
    branches: tuple[BranchLine, ...] = ()
    explained: str = ""
    suspects: tuple[tuple[str, float], ...] = ()
    remarks: tuple[str, ...] = ()
    cautions: tuple[str, ...] = ()
    plot: str = field(default="", repr=False)
