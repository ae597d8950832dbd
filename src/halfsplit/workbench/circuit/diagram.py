"""The diagram itself becomes the circuit: its pages, what is marked on them, corrections, and taking it over."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from fastapi import APIRouter, Request
from fastapi.responses import RedirectResponse, Response

from halfsplit.errors import ConflictError, HalfsplitError, InputError, NotFoundError
from halfsplit.job import Job, diagrams
from halfsplit.job.diagram_picture import PagePicture
from halfsplit.job.diagrams import DiagramView
from halfsplit.job.open_job import OpenJob
from halfsplit.workbench.access import Files, Form, JobToMeasure, JobToRead
from halfsplit.workbench.forms import chosen, content, whole
from halfsplit.workbench.rendering import render

router = APIRouter(include_in_schema=False, prefix="/jobs/{job_id}/circuit/diagram")
LARGEST_PAGE = 50_000_000
"""Bytes of a file that a page is taken from."""
FIELDS = "key page name kind value x y x2 y2 before joined end colour mm2".split()  # noqa: SIM905 - names, as they are sent
"""What an act may be told."""


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


def _page(job: OpenJob, *, last: str = "", problem: str = "", number: int = 0) -> DiagramPage:
    view = diagrams.diagram_view(job)
    return DiagramPage(
        job.record, view, diagrams.marked_pages(job, view, last), diagrams.PART_KINDS, last, problem, number
    )


@router.get("")
def diagram_page(request: Request, job: JobToRead, pages: int = 0) -> Response:
    """The pages with what is marked on them."""
    diagrams.warm_reader()
    return render(request, "circuit/diagram.html", _page(job, number=min(pages, 9_999)))


@router.get("/pages/{key}")
def picture(job: JobToRead, key: str, whole: bool = False) -> Response:
    """A page as a picture, without what is marked on it; ``whole``: a photo as it was taken."""
    data, media_type = diagrams.page_picture(job, key, whole=whole)
    return Response(data, media_type=media_type, headers={"Cache-Control": "private, max-age=3600"})


@router.post("/pages")
def add_page(job: JobToMeasure, form: Form, files: Files) -> Response:
    """A PDF page, an SVG or a photo: read as far as it can be."""
    chosen(files, remedy="choose a PDF, an SVG or a picture", where="file")
    data, name = content(files, LARGEST_PAGE)
    if len(data) > LARGEST_PAGE:
        raise InputError(f"the file has more than {LARGEST_PAGE // 1_000_000} MB", where="file")
    asked = (form.get("number") or "1").strip()
    number = whole(asked, None)
    if number is None:
        raise InputError(f"{asked[:20]!r} is no number of a page", where="number")
    pages = diagrams.add_page(job, data, name[-60:], number)
    return RedirectResponse(f"/jobs/{job.job_id}/circuit/diagram?pages={pages}", 303)


@router.post("/act")
def act(request: Request, job: JobToMeasure, form: Form) -> Response:
    """One act on the marks: stored, and the pages shown as they are then."""
    fields: dict[str, Any] = {name: form[name][:80] for name in FIELDS if form.get(name)}
    verb, last, problem = form.get("act", ""), "", ""
    try:
        last = diagrams.change_marks(job, verb, fields, based_on=form.get("based_on", ""))
    except (ConflictError, InputError, NotFoundError) as error:
        problem, last = str(error), form.get("before", "")[:20]
    return _shown(request, job, last, problem)


def _shown(request: Request, job: OpenJob, last: str, problem: str) -> Response:
    inside = bool(request.headers.get("HX-Request"))
    template = "circuit/_marks.html" if inside else "circuit/diagram.html"
    page = _page(job, last=last, problem=problem)
    return render(request, template, page, status=422 if problem and not inside else 200)


@router.post("/corners")
def corners(job: JobToMeasure, form: Form) -> Response:
    """The corners of the paper in a photo."""
    try:
        numbers = [float(text) for text in form.get("corners", "").split(",")]
    except ValueError:
        numbers = []
    if len(numbers) != 8 or any(abs(number) > 1e5 for number in numbers):
        raise InputError(
            "a page has four corners", remedy="drag each onto a corner of the paper", where="corners"
        )
    diagrams.set_corners(job, form.get("page", ""), tuple(zip(numbers[::2], numbers[1::2], strict=True)))
    return RedirectResponse(f"/jobs/{job.job_id}/circuit/diagram", 303)


@router.post("/take")
def take(request: Request, job: JobToMeasure) -> Response:
    """What is confirmed becomes the circuit."""
    try:
        diagrams.take_circuit(job)
    except HalfsplitError as error:
        return _shown(request, job, "", str(error))
    return RedirectResponse(f"/jobs/{job.job_id}/circuit", 303)
