"""What our jobs say: what closed jobs taught about causes, and the switch that lets the engine use it or not."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from fastapi import APIRouter, Request
from fastapi.responses import RedirectResponse, Response

from halfsplit.errors import InputError
from halfsplit.job import learned_file
from halfsplit.job.learned_file import KindSaid
from halfsplit.workbench.access import Form, Owner, Reader, Store
from halfsplit.workbench.rendering import render


@dataclass(frozen=True)
class KindRow:
    """One kind of cause. ``jobs`` of ``of``; the rest are shares of all causes, and where they are drawn (0 to 100)."""

    name: str
    jobs: int
    of: int
    shipped: float
    share: float
    at_shipped: float
    at_share: float
    from_low: float
    width: float


@dataclass(frozen=True)
class CircuitRow:
    """What was the cause in one circuit before: (part, jobs), the most frequent first; ``others``: jobs of the rest."""

    title: str
    jobs: int
    parts: Sequence[tuple[str, int]]
    others: int


@dataclass(frozen=True)
class LearnedPage:
    """``sources``: who, when, how many jobs; ``used``: whether the engine uses it; ``largest``: the scale's end.

    ``besides``: what was learned besides causes: (what, how often, what is believed now).
    """

    sources: Sequence[tuple[str, datetime, int]]
    used: bool
    kinds: Sequence[KindRow]
    circuits: Sequence[CircuitRow]
    largest: float
    problem: str = ""
    besides: Sequence[tuple[str, str, str]] = ()


router = APIRouter(include_in_schema=False, prefix="/learned")


@router.get("")
def learned_page(request: Request, store: Store, person: Reader) -> Response:
    """The shares of the causes with their intervals, beside the shipped ones, and what was found in known circuits."""
    try:
        learned = learned_file.present()
    except InputError as error:
        page = LearnedPage((), False, (), (), 1.0, str(error))
        return render(request, "learned/learned.html", page)
    if learned is None:
        return render(request, "learned/learned.html", LearnedPage((), False, (), (), 1.0))
    kinds = learned_file.kinds_said(learned)
    largest = max((kind.high for _, kind in kinds), default=1.0)
    page = LearnedPage(
        learned.sources,
        learned.used,
        [_row(said, largest) for said in kinds],
        [
            CircuitRow(said.title, said.jobs, said.parts[:PARTS], sum(jobs for _, jobs in said.parts[PARTS:]))
            for said in learned_file.circuits_said(learned, store)
        ],
        largest,
        besides=learned_file.circumstances_said(learned.tally.circumstances),
    )
    return render(request, "learned/learned.html", page)


def _row(said: KindSaid, largest: float) -> KindRow:
    kind, share = said
    scale = 100.0 / largest
    return KindRow(
        kind,
        share.jobs,
        share.of,
        share.shipped,
        share.share,
        round(share.shipped * scale - 0.2, 2),
        round(share.share * scale - 0.6, 2),
        round(share.low * scale, 2),
        round((share.high - share.low) * scale, 2),
    )


PARTS = 8
"""Of a circuit, the most frequent ones."""


@router.post("")
def switch(person: Owner, form: Form) -> Response:
    """Let the engine use what was learned, or leave it alone."""
    learned_file.switched(used=form.get("use") == "1")
    return RedirectResponse("/learned", 303)
