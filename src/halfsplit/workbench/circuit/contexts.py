"""What the pages of the circuit know: frozen records, one for each template."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from halfsplit.job import Attachment, Checked, Job, Problem, Sample
from halfsplit.job.diagram_picture import PagePicture
from halfsplit.job.diagrams import DiagramView
from halfsplit.job.harness import HarnessView
from halfsplit.job.tapping import TapView


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
class CheckFragment:
    """The editor's check alone."""

    check: CheckNote


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
class HarnessPage:
    """What is plugged into a harness. ``kinds``: what can be."""

    job: Job
    view: HarnessView
    kinds: Sequence[str]
    problem: str = ""


@dataclass(frozen=True)
class DiagramPage:
    """The diagram.

    ``pages`` as SVG with their marks; ``last``: the mark from which a path goes on; ``number``: how many pages the
    file has that was laid in last.
    """

    job: Job
    view: DiagramView
    pages: Sequence[PagePicture]
    kinds: Sequence[str]
    last: str
    problem: str
    number: int
