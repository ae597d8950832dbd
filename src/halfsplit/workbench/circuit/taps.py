"""The circuit by taps: parts and wires picked with a finger, the photo of the diagram beside them.

Every tap stores the text that it makes. *Undo* goes back one text at a time; nothing is ever lost, for each is kept.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from urllib.parse import urlencode

from fastapi import APIRouter, Request
from fastapi.responses import RedirectResponse, Response

from halfsplit import job as jobs
from halfsplit.errors import ConflictError, HalfsplitError, InputError
from halfsplit.job import Attachment, Job, Sheet
from halfsplit.job.open_job import OpenJob
from halfsplit.job.tapping import TapView
from halfsplit.workbench.access import Files, Form, JobToMeasure, JobToRead
from halfsplit.workbench.circuit.page import CheckFragment, CheckNote, check_note, diagram_of
from halfsplit.workbench.forms import chosen, whole
from halfsplit.workbench.rendering import render

router = APIRouter(include_in_schema=False, prefix="/jobs/{job_id}/circuit")


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


@router.get("/taps")
def taps_page(request: Request, job: JobToRead) -> Response:
    """The sheet as it stands."""
    asked = dict(request.query_params)
    page = _page(job, _sheet(asked), undo=whole(asked.get("undo", ""), -1))
    return render(request, "circuit/taps.html", page)


def _sheet(fields: Mapping[str, str]) -> Sheet:
    return Sheet(
        part=fields.get("part", "")[:40],
        wire=whole(fields.get("wire", ""), -1),
        end=fields.get("end", "")[:60],
        pin=fields.get("pin", "")[:20],
    )


def _page(
    job: OpenJob,
    sheet: Sheet,
    *,
    undo: int = -1,
    problem: str = "",
    typed: Mapping[str, str] | None = None,
    drawn: bool = True,
) -> TapsPage:
    """``undo``: the version to which *Undo* goes back; -1 for the one before the present."""
    record, version = job.record, job.store.circuit(job.job_id)
    text = version.text if version else ""
    number = version.version if version else 0
    try:
        view = jobs.tap_view(text, sheet) if text.strip() else None
    except HalfsplitError as error:
        view, problem = None, problem or str(error)
    return TapsPage(
        record,
        view,
        check_note(jobs.check_text(text), drawn=drawn),
        number,
        number - 1 if undo < 0 else undo,
        diagram_of(job),
        problem,
        typed or {},
    )


@router.post("/taps")
def tap(request: Request, job: JobToMeasure, form: Form) -> Response:
    """One tap: the changed text is stored, and the sheet shown as it is then."""
    sheet, undo, act = _sheet(form), whole(form.get("undo", ""), -1), form.get("act", "keep")
    drawn = not request.headers.get("HX-Request")  # else the page fetches its drawing when the taps pause
    version = job.store.circuit(job.job_id)
    number, text = (version.version, version.text) if version else (0, "")
    try:
        if act == "undo":
            earlier = job.store.circuit(job.job_id, undo) if undo > 0 else None
            changed, sheet, undo = (earlier.text if earlier else ""), Sheet(), max(0, undo - 1)
        else:
            text = text if text.strip() else jobs.EMPTY_SHEET
            changed, sheet = jobs.tapped(text, sheet, act, form)
            undo = undo if changed == text and number else number
        based_on = whole(form.get("based_on", ""), number)
        jobs.save_circuit(job, changed, based_on=based_on)
    except ConflictError as error:
        return _shown(request, _page(job, sheet, problem=str(error), typed=form, drawn=drawn), 409)
    except InputError as error:
        return _shown(request, _page(job, sheet, undo=undo, problem=str(error), typed=form, drawn=drawn), 422)
    if not request.headers.get("HX-Request"):
        asked = {"part": sheet.part, "wire": sheet.wire, "end": sheet.end, "pin": sheet.pin, "undo": undo}
        return RedirectResponse(f"/jobs/{job.job_id}/circuit/taps?{urlencode(asked)}", 303)
    return _shown(request, _page(job, sheet, undo=undo, drawn=drawn), 200)


def _shown(request: Request, page: TapsPage, status: int) -> Response:
    inside = bool(request.headers.get("HX-Request"))
    # htmx swaps what is answered with a problem too, if it comes as a page that was asked for
    headers = {"HX-Trigger": "circuit-changed"} if inside else {}
    template = "circuit/_taps.html" if inside else "circuit/taps.html"
    return render(request, template, page, status=200 if inside else status, headers=headers)


@router.get("/drawn")
def drawn(request: Request, job: JobToRead) -> Response:
    """What the stored text says, with its drawing: fetched after a tap, so that the tap itself is not kept waiting."""
    version = job.store.circuit(job.job_id)
    note = check_note(jobs.check_text(version.text if version else ""))
    return render(request, "circuit/_drawn.html", CheckFragment(note))


@router.post("/diagram")
def diagram(job: JobToMeasure, files: Files, then: str = "") -> Response:
    """A photo of the wiring diagram, to be entered from."""
    photo = chosen(files, "photo", remedy="choose one, or take it", where="photo")
    name = f"{jobs.DIAGRAM} {photo.filename or ''}".strip()
    jobs.add_photo(job, photo.file, name=name, kind="document")
    return RedirectResponse(f"/jobs/{job.job_id}/circuit{'/taps' if then == 'taps' else ''}", 303)
