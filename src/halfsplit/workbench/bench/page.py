"""The bench: one job as it stands, a reading taken, a test chosen, an entry struck out.

Every answer is the whole bench; a page shows the same after a reload.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import Annotated, Any
from urllib.parse import quote

from fastapi import APIRouter, Query, Request
from fastapi.responses import JSONResponse, RedirectResponse, Response

from halfsplit import job as jobs
from halfsplit.errors import ConflictError, HalfsplitError, InputError, NotFoundError
from halfsplit.job import BenchView, Doubt, EvidenceLine, TestCard, asides, bench
from halfsplit.job.open_job import OpenJob
from halfsplit.quantities import QUANTITIES
from halfsplit.units import read_field
from halfsplit.workbench.access import Form, JobToMeasure, JobToRead
from halfsplit.workbench.bench.contexts import (
    Asides,
    BenchPage,
    DrawingFragment,
    Entry,
    LooksFragment,
)
from halfsplit.workbench.forms import Reader as FieldReader
from halfsplit.workbench.forms import place_of
from halfsplit.workbench.pool import ASKED_ELSEWHERE, PASSED_ON
from halfsplit.workbench.rendering import render

router = APIRouter(include_in_schema=False, prefix="/jobs/{job_id}")
PRESENT: Mapping[str, jobs.Present] = {"yes": "yes", "no": "no", "unknown": "unknown"}
Since = Annotated[int | None, Query(ge=0, le=2**53)]
"""The last change of the job that the page knows of."""
WIDTH = 760.0
"""Room for the drawing (px) beside the evidence on a tablet."""


@router.get("")
def bench_page(request: Request, job: JobToRead) -> Response:
    """The bench as it stands, or with a test that was chosen."""
    view, asked = jobs.bench_view(job), dict(request.query_params)
    job = replace(job, since=view.sequence)  # all of a page is of one moment
    test, own, notice = _chosen(job, view, asked)
    others, late = asked.get("others") == "1", bool(request.headers.get("HX-Request"))
    page = _page(
        job, view, test, own=own, others=others, notice=notice, late=late, whole=asked.get("entries") == "all"
    )
    telling = asked.get("tell") == "1"
    return render(request, "bench/bench.html", replace(page, asides=_asides(job, asked), telling=telling))


def _asides(job: OpenJob, asked: Mapping[str, str]) -> Asides:
    """What the address asks for besides the bench; what cannot be told says why."""
    show = asked.get("show", "")
    try:
        if show == "alibi":
            return Asides(alibi=jobs.alibi(job))
        if show == "trap":
            return Asides(trap=jobs.trap(job, asked.get("state", "")))
        if show == "try":
            price = jobs.read_money(asked.get("price", ""), "price")
            minutes = read_field(asked.get("fitting", "").strip() or "0", "min").value / 60.0
            return Asides(tried=jobs.try_part(job, asked.get("part", ""), price, minutes), typed=asked)
    except HalfsplitError as error:
        return Asides(typed=asked, problem=str(error))
    return Asides()


def _page(  # noqa: PLR0913 - a page has that many sides
    job: OpenJob,
    view: BenchView,
    test: TestCard | None,
    *,
    own: bool = False,
    others: bool = False,
    entry: Entry | None = None,
    notice: str = "",
    late: bool = False,
    whole: bool = False,
) -> BenchPage:
    lines = view.evidence if whole else view.evidence[:LINES]
    # The last entry that counts, as long as it is fresh.
    last = next((line for line in view.evidence if not line.struck), None)
    if last and (view.job.state == "closed" or not 0 <= _age(last) < UNDO_WITHIN):
        last = None
    return BenchPage(
        view,
        test,
        own,
        view.tests,
        others,
        entry or Entry(jobs.new_id()),
        None if late else jobs.bench_drawing(job, place=test.place if test else None, width=WIDTH),
        notice,
        asides.expected_volts(job, test),
        last=last,
        seconds=int(UNDO_WITHIN - _age(last)) if last else 0,
        looks=() if late else jobs.free_looks(job),
        late=late,
        lines=lines,
        earlier=len(view.evidence) - len(lines),
    )


LINES = 100
"""Entries of the record on the page unless all are asked for: a thousand make a page of 2 MB."""
UNDO_WITHIN = 60.0
"""Seconds in which one tap takes the last entry back."""


def _age(line: EvidenceLine) -> float:
    return (jobs.now() - line.at).total_seconds()


def _chosen(job: OpenJob, view: BenchView, asked: Mapping[str, str]) -> tuple[TestCard | None, bool, str]:
    """The test to show: the one chosen among the proposed, one of the technician's own, or the best."""
    best = view.tests[0] if view.tests else None
    key = asked.get("test", "")
    proposed = next((test for test in view.tests if test.key == key), None)
    if proposed is not None:
        return proposed, proposed is not best, ""
    if key:
        return best, False, "That test is no longer among the proposed ones: something new was read."
    if not asked.get("at") and not asked.get("place"):
        return best, False, ""
    try:
        place = place_of(asked) if asked.get("place") else _own_place(asked, view)
        return bench.own_test(job, place), True, ""
    except HalfsplitError as error:
        return best, False, f"Not measured there: {error}"


def _own_place(asked: Mapping[str, str], view: BenchView) -> dict[str, Any]:
    """What a tap in the drawing or the form of one's own test means."""
    parts = view.circuit.circuit.parts if view.circuit and view.circuit.circuit else {}
    at = asked["at"].strip()
    quantity = asked.get("quantity") or "volts"
    takes_leads = quantity in QUANTITIES and QUANTITIES[quantity].leads
    if takes_leads and at in parts and parts[at].pins:
        at = f"{at}.{parts[at].pins[0]}"
    if quantity in ("works", "answers", "blown"):
        at = at.partition(".")[0]
    if quantity == "inspection":
        at = at.partition(":")[0]
    to = asked.get("to") if takes_leads else None
    state = asked.get("state") or (view.tests[0].state if view.tests else "")
    return {
        "quantity": quantity,
        "at": at,
        "to": to or None,
        "state": state,
        "instrument": jobs.usual_instrument(quantity),
    }


@router.get("/drawing")
def drawing(
    request: Request, job: JobToRead, state: str = "", whole: str = "", since: Since = None
) -> Response:
    """The drawing alone, with what each point should read; ``whole``: the whole sheet, a page of its own."""
    job = replace(job, since=since)
    view, asked = jobs.bench_view(job), dict(request.query_params)
    drawn = jobs.bench_drawing(
        job,
        place=place_of(asked) if asked.get("place") else None,
        state=state,
        whole=bool(whole),
        opened=asked.get("opened", "")[:LONGEST_OPENED].split(),
        width=WIDTH,
        paths=bool(asked.get("paths")),
    )
    template = "bench/sheet.html" if whole else "bench/_drawing_fragment.html"
    return render(request, template, DrawingFragment(view, drawn))


@router.get("/looks")
def looks(request: Request, job: JobToRead, since: Since = None) -> Response:
    """What is seen in seconds, which is fetched once the next test stands on the page."""
    page = LooksFragment(job.job_id, jobs.free_looks(replace(job, since=since)), Entry(jobs.new_id()))
    return render(request, "bench/_looks_fragment.html", page)


LONGEST_OPENED = 4_000
"""Characters of the names of what is unfolded."""


@router.post("/evidence")
def take_evidence(request: Request, job: JobToMeasure, form: Form) -> Response:
    """Store an entry; the answer is the new bench, or the same one with a question (422) and nothing stored."""
    stored_alone = "application/json" in request.headers.get("Accept", "")
    elsewhere = getattr(request.state, ASKED_ELSEWHERE, False)
    if elsewhere and not stored_alone:
        return Response(status_code=PASSED_ON)
    place: dict[str, Any] = {}
    try:
        if form.get("kind", "reading") == "reading":
            place = place_of(form)
            present, sure = PRESENT.get(form.get("present", ""), "unknown"), form.get("confirmed") == "1"
            jobs.record(
                job,
                place,
                form.get("typed", ""),
                entry_id=form.get("entry_id", "")[:60],
                unit=form.get("unit", ""),
                confirmed=sure,
                present=present,
            )
        else:
            _take(job, form)
    except (Doubt, InputError) as error:
        return Response(status_code=PASSED_ON) if elsewhere else _asked(request, job, place, form, error)
    if stored_alone:  # what follows from it is fetched then
        return JSONResponse({"stored": form.get("entry_id", "")[:60]}, 201)
    if not request.headers.get("HX-Request"):
        return RedirectResponse(f"/jobs/{job.job_id}", 303)
    view = jobs.bench_view(job)
    job = replace(job, since=view.sequence)
    page = _page(job, view, view.tests[0] if view.tests else None, late=True)
    return render(request, "bench/_bench.html", page)


def _take(job: OpenJob, form: Mapping[str, str]) -> None:
    said: dict[str, Any] = {
        name: form[name]
        for name in ("text", "what", "why", "part", "load", "works", "state", "module", "failure", "pin")
        if name in form
    }
    if form.get("place"):
        said |= place_of(form)
    if "where" in form:
        said["place"] = form["where"]
    kind = form.get("kind", "")
    jobs.take(job, kind, said, entry_id=form.get("entry_id", "")[:60])
    if kind in STATES:
        job.store.set_state(job.job_id, STATES[kind], who=job.who, at=jobs.now())


STATES: Mapping[str, jobs.JobState] = {"repair": "repaired", "reopened": "open"}
"""Kind of entry → how far the job is after it."""


def _asked(
    request: Request, job: OpenJob, place: dict[str, Any], form: Mapping[str, str], error: InputError
) -> Response:
    view = jobs.bench_view(job)
    test, own = view.tests[0] if view.tests else None, False
    if place and not (test and dict(test.place) == place):
        try:
            test, own = bench.own_test(job, place), True
        except HalfsplitError:
            place = {}
    question = error if isinstance(error, Doubt) else None
    entry = Entry(
        form.get("entry_id", "")[:60] or jobs.new_id(),
        form.get("typed", "")[:60],
        form.get("unit", ""),
        str(error) if place else "",
        bool(question and question.sure),
    )
    page = _page(job, view, test, own=own, entry=entry, notice="" if place else f"Not stored. {error}")
    fragment = "bench/_bench.html" if request.headers.get("HX-Request") else "bench/bench.html"
    return render(request, fragment, page, status=422)


@router.post("/evidence/{entry_id}/strike")
def strike(job: JobToMeasure, entry_id: str, form: Form) -> Response:
    """Strike an entry out, with its reason."""
    jobs.strike(job, entry_id, reason=form.get("reason", ""))
    return RedirectResponse(f"/jobs/{job.job_id}", 303)


@router.post("/evidence/{entry_id}/undo")
def undo(job: JobToMeasure, entry_id: str) -> Response:
    """Take the last entry back with one tap: struck out like any other, as long as it is fresh."""
    line = next((entry for entry in jobs.bench_view(job).evidence if entry.entry_id == entry_id), None)
    if line is None:
        raise NotFoundError("there is no such entry in this job")
    if not line.struck:
        if _age(line) > UNDO_WITHIN + GRACE:
            raise ConflictError("this entry is older than a minute: strike it out with a reason instead")
        jobs.strike(job, entry_id, reason="taken back at once")
    return RedirectResponse(f"/jobs/{job.job_id}", 303)


GRACE = 5.0
"""Seconds between the tap and its arrival."""


@router.post("/close")
def close(job: JobToMeasure, form: Form) -> Response:
    """Close the job as complaint, cause, correction; what the report still lacked comes with it."""
    _fill_in(job, form)
    jobs.close(
        job,
        complaint=form.get("complaint", ""),
        cause=form.get("cause", ""),
        correction=form.get("correction", ""),
    )
    return RedirectResponse(f"/jobs/{quote(job.job_id)}", 303)


def _fill_in(job: OpenJob, form: Mapping[str, str]) -> None:
    """Vehicle, odometer and minutes, where the intake was left without them."""
    reader = FieldReader(form)
    minutes = reader.number("minutes", "min")
    odometer, vehicle = reader.whole("odometer", 9_999_999), reader.text("vehicle")
    if reader.problems:
        raise InputError(next(iter(reader.problems.values())), where=next(iter(reader.problems)))
    record = job.record
    had = record.intake.vehicle
    if vehicle or odometer is not None:
        kept = replace(
            had,
            description=had.description or vehicle,
            odometer=had.odometer if odometer is None else odometer,
        )
        intake = replace(record.intake, vehicle=kept)
        job.store.save_intake(job.job_id, intake, based_on=record.intake_version, who=job.who, at=jobs.now())
    if minutes:
        jobs.add_minutes(job, "Diagnosis and repair", minutes / 60.0)


@router.post("/state")
def open_again(job: JobToMeasure, form: Form) -> Response:
    """Open a closed job again."""
    if form.get("state") != "open":
        raise InputError("a job is only opened again here", where="state")
    job.store.set_state(job.job_id, "open", who=job.who, at=jobs.now())
    return RedirectResponse(f"/jobs/{quote(job.job_id)}", 303)
