"""Practice: choose, measure, name the cause, and see the paths side by side. Everybody sees their own exercises."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import fields as fields_of
from urllib.parse import quote, urlencode

from fastapi import APIRouter, Request
from fastapi.responses import RedirectResponse, Response

from halfsplit import job as jobs
from halfsplit.errors import HalfsplitError
from halfsplit.job import JobStore, practice_views, practising
from halfsplit.job.practice_form import AskedForm
from halfsplit.job.practising import DIFFICULTIES, Practice
from halfsplit.workbench.access import Form, Reader, Store
from halfsplit.workbench.accounts import Person
from halfsplit.workbench.practice.contexts import EndPage, ExercisePage, PracticePage
from halfsplit.workbench.rendering import render

router = APIRouter(include_in_schema=False, prefix="/practice")
USUAL = "pattern:relay-load"
WIDTH = 760.0
OPEN_JOBS = 30


def _name(request: Request, person: Person, asked: str = "") -> str:
    """Whose exercises these are. Where nobody signs in, the name is asked for on the page."""
    if request.app.state.accounts:
        return person.name
    return " ".join(asked.replace("\x00", "").split())[:60] or person.name


def _own(request: Request, store: JobStore, person: Person, practice_id: str) -> Practice:
    return practising.practice_of(store, person.name if request.app.state.accounts else "", practice_id)


@router.get("")
def practice_page(
    request: Request, store: Store, person: Reader, person_name: str = "", source: str = ""
) -> Response:
    """What to practise on, and how it went so far."""
    name = _name(request, person, person_name)
    return render(request, "practice/practice.html", _choice(store, name, {"source": source}))


def _choice(store: JobStore, name: str, typed: Mapping[str, str], problem: str = "") -> PracticePage:
    open_jobs = [job for job in store.list_jobs("", limit=OPEN_JOBS) if store.circuit(job.job_id) is not None]
    return PracticePage(
        practice_views.results(store, name),
        practising.to_practise_on("pattern"),
        practising.to_practise_on("demo"),
        open_jobs,
        DIFFICULTIES,
        {
            "source": typed.get("source") or USUAL,
            "difficulty": typed.get("difficulty") or "single",
            "text": typed.get("text", ""),
        },
        problem,
        typed.get("practice_id") or jobs.new_id(),
    )


@router.post("")
def begin(request: Request, store: Store, person: Reader, form: Form) -> Response:
    """Hide a fault. What cannot be used is told, and what was pasted stays."""
    name = _name(request, person, form.get("person_name", ""))
    try:
        text = practising.practice_text(store, form.get("source", USUAL), form.get("text", ""))
        begun = practising.begin_practice(
            store,
            name,
            text,
            form.get("difficulty", "single"),
            practice_id=form.get("practice_id", "")[:60],
        )
    except HalfsplitError as error:
        return render(request, "practice/practice.html", _choice(store, name, form, str(error)), status=422)
    return RedirectResponse(f"/practice/{quote(begun.practice_id)}", 303)


@router.get("/{practice_id}")
def exercise_page(
    request: Request, practice_id: str, store: Store, person: Reader, again: str = ""
) -> Response:
    """The exercise as it stands, or its end."""
    practice = _own(request, store, person, practice_id)
    if practice.ended_at is not None:
        return render(request, "practice/practice_end.html", _end(store, practice, again=bool(again)))
    return render(
        request,
        "practice/practice_exercise.html",
        _page(store, practice, dict(request.query_params)),
    )


def _page(store: JobStore, practice: Practice, asked: Mapping[str, str], notice: str = "") -> ExercisePage:
    view = practice_views.exercise_view(store, practice, asked, width=WIDTH)
    return ExercisePage(view, notice, jobs.new_id())


def _end(store: JobStore, practice: Practice, *, again: bool = False) -> EndPage:
    return EndPage(practice_views.end_view(store, practice, again=again, width=WIDTH))


@router.get("/{practice_id}/judged")
def judged(request: Request, practice_id: str, store: Store, person: Reader) -> Response:
    """The judgement alone, asked for until it is there."""
    practice = _own(request, store, person, practice_id)
    return render(request, "practice/_judged.html", _end(store, practice))


@router.post("/{practice_id}/judged/stop")
def stop_judging(request: Request, practice_id: str, store: Store, person: Reader) -> Response:
    """Stop judging; the cause is shown anyway."""
    practising.stop_judging(store, _own(request, store, person, practice_id))
    return RedirectResponse(f"/practice/{quote(practice_id)}", 303)


@router.post("/{practice_id}/measure")
def measure(request: Request, practice_id: str, store: Store, person: Reader, form: Form) -> Response:
    """Make the test on the vehicle."""

    def do(practice: Practice) -> Practice:
        return practising.measure(
            store, practice, practice_views.asked_of(store, practice, form), form.get("act_id", "")[:60]
        )

    return _done(request, store, person, practice_id, form, do)


@router.post("/{practice_id}/hint")
def hint(request: Request, practice_id: str, store: Store, person: Reader, form: Form) -> Response:
    """The best test now, for points."""
    return _done(
        request,
        store,
        person,
        practice_id,
        form,
        lambda practice: practising.hint(store, practice, form.get("act_id", "")[:60]),
    )


@router.post("/{practice_id}/cause")
def name_cause(request: Request, practice_id: str, store: Store, person: Reader, form: Form) -> Response:
    """Name the place that is to be repaired."""
    return _done(
        request,
        store,
        person,
        practice_id,
        form,
        lambda practice: practising.name_cause(
            store, practice, form.get("cause", ""), form.get("act_id", "")[:60]
        ),
    )


@router.post("/{practice_id}/give-up")
def give_up(request: Request, practice_id: str, store: Store, person: Reader, form: Form) -> Response:
    """End it without the cause."""
    return _done(
        request,
        store,
        person,
        practice_id,
        form,
        lambda practice: practising.give_up(store, practice, form.get("act_id", "")[:60]),
    )


ASKED = tuple(field.name for field in fields_of(AskedForm) if field.name != "lead")


def _done(
    request: Request,
    store: JobStore,
    person: Person,
    practice_id: str,
    form: Mapping[str, str],
    do: Callable[[Practice], Practice],
) -> Response:
    """Do it, then the page; where it cannot be done the page says why and nothing was counted."""
    practice = _own(request, store, person, practice_id)
    try:
        do(practice)
    except HalfsplitError as error:
        practice = _own(request, store, person, practice_id)
        if practice.ended_at is not None:
            return RedirectResponse(f"/practice/{quote(practice_id)}", 303)
        return render(
            request,
            "practice/practice_exercise.html",
            _page(store, practice, form, str(error)),
            status=422,
        )
    asked = {name: form[name] for name in ASKED if form.get(name)}
    where = f"?{urlencode(asked)}" if asked else ""
    return RedirectResponse(f"/practice/{quote(practice_id)}{where}", 303)
