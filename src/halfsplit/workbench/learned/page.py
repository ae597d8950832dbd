"""What our jobs say: what closed jobs taught about causes, and the switch that lets the engine use it or not."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from fastapi import APIRouter, Request
from fastapi.responses import RedirectResponse, Response

from halfsplit.errors import InputError
from halfsplit.job import learned_file
from halfsplit.job.learned_file import CircuitSaid, Share
from halfsplit.job.views import shown_as
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
class LearnedPage:
    """``sources``: who, when, how many jobs; ``used``: whether the engine uses it; ``largest``: the scale's end.

    ``besides``: what was learned besides causes: (what, how often, what is believed now). ``most``: parts of a circuit
    that are named, the most frequent ones; the rest are others.
    """

    sources: Sequence[tuple[str, datetime, int]]
    used: bool
    kinds: Sequence[KindRow]
    circuits: Sequence[CircuitSaid]
    largest: float
    problem: str = ""
    besides: Sequence[tuple[str, str, str]] = ()
    most: int = 8


router = APIRouter(include_in_schema=False, prefix="/learned")


@router.get("")
def learned_page(request: Request, store: Store, person: Reader) -> Response:
    """The shares of the causes with their intervals, beside the shipped ones, and what was found in known circuits."""
    learned, problem = None, ""
    try:
        learned = learned_file.present()
    except InputError as error:
        problem = str(error)
    if learned is None:
        return render(request, "learned/learned.html", LearnedPage((), False, (), (), 1.0, problem))
    kinds = learned_file.kinds_said(learned)
    largest = max((share.high for _, share in kinds), default=1.0)
    page = LearnedPage(
        learned.sources,
        learned.used,
        [_row(kind, share, 100.0 / largest) for kind, share in kinds],
        learned_file.circuits_said(learned, store),
        largest,
        besides=learned_file.circumstances_said(learned.tally.circumstances),
    )
    return render(request, "learned/learned.html", page)


def _row(kind: str, share: Share, scale: float) -> KindRow:
    return shown_as(
        KindRow,
        share,
        name=kind,
        at_shipped=round(share.shipped * scale - 0.2, 2),
        at_share=round(share.share * scale - 0.6, 2),
        from_low=round(share.low * scale, 2),
        width=round((share.high - share.low) * scale, 2),
    )


@router.post("")
def switch(person: Owner, form: Form) -> Response:
    """Let the engine use what was learned, or leave it alone."""
    learned_file.switched(used=form.get("use") == "1")
    return RedirectResponse("/learned", 303)
