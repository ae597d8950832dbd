"""Practice: choose, measure, name the cause, and see the paths side by side. Everybody sees their own exercises."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from dataclasses import fields as fields_of
from typing import Annotated, Literal
from urllib.parse import quote, urlencode

from fastapi import APIRouter, Depends, Request
from fastapi.responses import RedirectResponse, Response

from halfsplit import job as jobs
from halfsplit.errors import HalfsplitError
from halfsplit.job import JobStore, JobSummary, Sample, practice_views, practising
from halfsplit.job.practice_form import AskedForm
from halfsplit.job.practice_views import DIFFICULTIES, EndView, ExerciseView, Practice, Results
from halfsplit.workbench.access import Form, Reader, Store
from halfsplit.workbench.accounts import Person
from halfsplit.workbench.rendering import render


@dataclass(frozen=True)
class PracticePage:
    """What to practise on, and results. ``typed``: what was chosen or pasted; ``problem``: why it cannot be begun."""

    results: Results
    patterns: Sequence[Sample]
    demos: Sequence[Sample]
    jobs: Sequence[JobSummary]
    difficulties: Mapping[str, str]
    typed: Mapping[str, str]
    problem: str
    practice_id: str


@dataclass(frozen=True)
class ExercisePage:
    """An exercise that goes on. ``act_id``: what is done next is done once."""

    view: ExerciseView
    notice: str
    act_id: str


@dataclass(frozen=True)
class EndPage:
    """An exercise that is over."""

    view: EndView


router = APIRouter(include_in_schema=False, prefix="/practice")
USUAL = "pattern:relay-load"
WIDTH = 760.0
OPEN_JOBS = 30


def _name(request: Request, person: Person, asked: str = "") -> str:
    """Whose exercises these are. Where nobody signs in, the name is asked for on the page."""
    if request.app.state.accounts:
        return person.name
    return " ".join(asked.replace("\x00", "").split())[:60] or person.name


def _own(request: Request, practice_id: str, store: Store, person: Reader) -> Practice:
    """The exercise of the address, which is the person's own."""
    return practising.practice_of(store, person.name if request.app.state.accounts else "", practice_id)


Own = Annotated[Practice, Depends(_own)]


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
            store, name, text, form.get("difficulty", "single"), practice_id=form.get("practice_id", "")[:60]
        )
    except HalfsplitError as error:
        return render(request, "practice/practice.html", _choice(store, name, form, str(error)), status=422)
    return RedirectResponse(f"/practice/{quote(begun.practice_id)}", 303)


@router.get("/{practice_id}")
def exercise_page(request: Request, store: Store, practice: Own, again: str = "") -> Response:
    """The exercise as it stands, or its end."""
    if practice.ended_at is not None:
        return render(request, "practice/practice_end.html", _end(store, practice, again=bool(again)))
    page = _page(store, practice, dict(request.query_params))
    return render(request, "practice/practice_exercise.html", page)


def _page(store: JobStore, practice: Practice, asked: Mapping[str, str], notice: str = "") -> ExercisePage:
    view = practice_views.exercise_view(store, practice, asked, width=WIDTH)
    return ExercisePage(view, notice, jobs.new_id())


def _end(store: JobStore, practice: Practice, *, again: bool = False) -> EndPage:
    return EndPage(practice_views.end_view(store, practice, again=again, width=WIDTH))


@router.get("/{practice_id}/judged")
def judged(request: Request, store: Store, practice: Own) -> Response:
    """The judgement alone, asked for until it is there."""
    return render(request, "practice/_judged.html", _end(store, practice))


@router.post("/{practice_id}/judged/stop")
def stop_judging(store: Store, practice: Own) -> Response:
    """Stop judging; the cause is shown anyway."""
    practising.stop_judging(store, practice)
    return RedirectResponse(f"/practice/{quote(practice.practice_id)}", 303)


ACTS: Mapping[str, Callable[[JobStore, Practice, Mapping[str, str], str], Practice]] = {
    "measure": lambda store, practice, form, act_id: practising.measure(
        store, practice, practice_views.asked_of(store, practice, form), act_id
    ),
    "hint": lambda store, practice, _, act_id: practising.hint(store, practice, act_id),
    "cause": lambda store, practice, form, act_id: practising.name_cause(
        store, practice, form.get("cause", ""), act_id
    ),
    "give-up": lambda store, practice, _, act_id: practising.give_up(store, practice, act_id),
}
ASKED = tuple(field.name for field in fields_of(AskedForm) if field.name != "lead")


@router.post("/{practice_id}/{act}")
def act(
    request: Request,
    store: Store,
    practice: Own,
    form: Form,
    act: Literal["measure", "hint", "cause", "give-up"],
) -> Response:
    """Make a test, have a hint, name the cause or give up; what cannot be done is told, and costs nothing."""
    address = f"/practice/{quote(practice.practice_id)}"
    try:
        ACTS[act](store, practice, form, form.get("act_id", "")[:60])
    except HalfsplitError as error:
        practice = practising.practice_of(store, "", practice.practice_id)
        if practice.ended_at is not None:
            return RedirectResponse(address, 303)
        page = _page(store, practice, form, str(error))
        return render(request, "practice/practice_exercise.html", page, status=422)
    asked = {name: form[name] for name in ASKED if form.get(name)}
    return RedirectResponse(f"{address}?{urlencode(asked)}" if asked else address, 303)
