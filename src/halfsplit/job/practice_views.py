"""What the pages of practice show: an exercise that goes on without what is hidden in it, its end, and results."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

from halfsplit.diagnosis.words import part_words
from halfsplit.errors import HalfsplitError
from halfsplit.job.pictures import circuit_drawing
from halfsplit.job.places import from_json
from halfsplit.job.practice_form import (
    HOW,
    PLACES,
    AskedForm,
    checked_place,
    form_for,
    form_of,
    place_asked,
    points_of,
)
from halfsplit.job.practice_record import value_said
from halfsplit.job.practising import exercising, judging
from halfsplit.job.working import Work
from halfsplit.notation.checked import check_text
from halfsplit.practice import (
    DIFFICULTIES,
    HINT_POINTS,
    WRONG_POINTS,
    Course,
    Exercise,
    Mark,
    Quote,
    difficulty_mark,
    paths_chart,
    results_chart,
)
from halfsplit.quantities import QUANTITIES
from halfsplit.store import JobStore, Practice

WORKS = {"no": "does not work", "weak": "weak", "yes": "works, and should not"}


@dataclass(frozen=True)
class ReadingLine:
    """A test that was made. ``there``: whether the fault was there, where that is in question."""

    number: int
    words: str
    value: str
    minutes: float
    there: str = ""


@dataclass(frozen=True)
class HintLine:
    """A hint: the best test now, and the form that measures it; no test where nothing would tell more."""

    sentence: str
    minutes: float
    form: AskedForm | None


@dataclass(frozen=True)
class ExerciseView:
    """An exercise that goes on. ``practice`` is without circuit and record: what is hidden is not in it."""

    practice: Practice
    complaints: tuple[str, ...]
    history: tuple[str, ...]
    lines: tuple[ReadingLine, ...]
    hint: HintLine | None
    named: tuple[str, ...]
    right: tuple[str, ...]
    at_most: int
    states: tuple[str, ...]
    hows: tuple[tuple[str, str], ...]
    places: tuple[str, ...]
    points: tuple[str, ...]
    parts: tuple[tuple[str, str], ...]
    fuses: tuple[str, ...]
    causes: tuple[str, ...]
    form: AskedForm
    quote: Quote | None
    problem: str
    drawing: str


@dataclass(frozen=True)
class EndView:
    """The end: the cause, and both paths once they are judged (``work`` is None then)."""

    practice: Practice
    complaints: tuple[str, ...]
    cause: str
    repair: str
    named: tuple[str, ...]
    own: Mapping[str, Any] | None
    best: Mapping[str, Any] | None
    work: Work | None
    chart: str
    drawing: str


@dataclass(frozen=True)
class Results:
    """A person's exercises: those that go on, those that are over (latest first), and their points over time."""

    person: str
    open: tuple[Practice, ...]
    over: tuple[Practice, ...]
    chart: str
    marks: tuple[tuple[str, str, str], ...]


def exercise_view(
    store: JobStore, practice: Practice, asked: Mapping[str, str], *, width: float | None = None
) -> ExerciseView:
    """The exercise as it stands, with the test that is being chosen."""
    with exercising(store, practice) as exercise:
        circuit = exercise.circuit
        form = form_of(asked, exercise)
        quote, problem = _quoted(exercise, form)
        acts = practice.record.get("acts", ())
        named = [act for act in acts if act.get("do") == "name"]
        return ExerciseView(
            replace(practice, circuit="", record={}),
            _complaints(exercise),
            tuple(part_words(name, circuit) for name in exercise.history),
            tuple(reversed(list(_lines(exercise)))),
            _hint(acts),
            tuple(act["name"] for act in named if not act["right"]),
            tuple(act["name"] for act in named if act["right"]),
            max(0, 100 - HINT_POINTS * exercise.hints - WRONG_POINTS * exercise.wrong),
            tuple(circuit.states),
            tuple((name, HOW[name][2]) for name in HOW if PLACES[HOW[name][0]](circuit)),
            tuple(PLACES[HOW[form.how][0]](circuit)),
            tuple(points_of(circuit)),
            tuple((part.name, part.words) for part in circuit.parts.values() if part.kind != "splice"),
            tuple(part.name for part in circuit.model.of_kind("fuse", "breaker")),
            tuple(sorted({fault.part for fault in circuit.faults.values() if fault.repair and fault.part})),
            form,
            quote,
            problem,
            circuit_drawing(check_text(practice.circuit), width=width, readings=_volts(exercise)),
        )


def end_view(
    store: JobStore, practice: Practice, *, again: bool = False, width: float | None = None
) -> EndView:
    """The end of an exercise that is over; the paths are worked out meanwhile."""
    work = judging(store, practice, again=again)
    own, best = practice.record.get("own"), practice.record.get("best")
    with exercising(store, practice) as exercise:
        faults = exercise.hidden.faults
        chart = paths_chart(_course(own), _course(best)) if own and best else ""
        return EndView(
            replace(practice, circuit="", record={}),
            _complaints(exercise),
            " and ".join(fault.name for fault in faults),
            "; ".join(dict.fromkeys(fault.repair for fault in faults)),
            tuple(exercise.named),
            own if best else None,
            best,
            work,
            chart,
            circuit_drawing(check_text(practice.circuit), width=width, readings=_volts(exercise)),
        )


def _course(path: Mapping[str, Any]) -> Course:
    return Course([step["test"]["minutes"] for step in path["steps"]], path["question"])


def results(store: JobStore, person: str) -> Results:
    """A person's exercises."""
    practices = store.practices.of(person)
    over = tuple(practice for practice in practices if practice.ended_at is not None)
    marks = []
    for practice in reversed(over):
        if practice.points is not None:
            ended = (practice.ended_at or practice.begun_at).astimezone()
            in_all = f"{practice.points} points in {practice.minutes:.0f} min"
            words = f"{practice.title}, {practice.difficulty}: {in_all}"
            marks.append(Mark(f"{ended.day} {ended:%b}", practice.points, practice.difficulty, words))
    used = dict.fromkeys(mark.difficulty for mark in marks)
    legend = tuple((name, DIFFICULTIES[name], difficulty_mark(name)) for name in DIFFICULTIES if name in used)
    return Results(
        person,
        tuple(practice for practice in practices if practice.ended_at is None),
        over,
        results_chart(marks),
        legend,
    )


def asked_of(store: JobStore, practice: Practice, asked: Mapping[str, str]) -> dict[str, Any]:
    """The measurement that the form describes. Raises NotFoundError where it cannot be made there."""
    with exercising(store, practice) as exercise:
        form = form_of(asked, exercise)
        checked_place(exercise.circuit, form)
    return place_asked(form)


def _quoted(exercise: Exercise, form: AskedForm) -> tuple[Quote | None, str]:
    if not form.at:
        return None, ""
    try:
        checked_place(exercise.circuit, form)
        return exercise.quote(from_json(place_asked(form))), ""
    except HalfsplitError as error:
        return None, str(error)


# What was done


def _complaints(exercise: Exercise) -> tuple[str, ...]:
    circuit = exercise.circuit
    return tuple(
        f"{part_words(load, circuit)} {WORKS[works]}: “{state}”" for load, works, state in exercise.complaints
    )


def _lines(exercise: Exercise) -> Iterator[ReadingLine]:
    for number, step in enumerate(exercise.taken, 1):
        place, value = step.reading.measurement, step.reading.value
        there = {"yes": "the fault was there", "no": "the fault was away"}.get(step.reading.present, "")
        # Where and how it was measured, in one line.
        leads = f"{place.at} to {place.to or 'battery negative'}"
        what = SHORT.get(place.quantity, "{}").format(leads if QUANTITIES[place.quantity].leads else place.at)
        used = f" ({place.instrument})" if place.quantity == "lamp" else ""
        made = "".join(f", {change}" for change in place.changes)
        state = "" if place.quantity in ("inspection", "ohms") else f", {place.state}"
        yield ReadingLine(
            number,
            f"{what}{used}{made}{state}",
            value_said(place, value, exercise.circuit),
            step.minutes,
            there if exercise.intermittent else "",
        )


SHORT = {
    "amps": "current in {}",
    "ohms": "ohms {}",
    "blown": "{} blown",
    "inspection": "look at {}",
    "wiggle": "move {}: it jumps",
    "works": "{}",
    "answers": "{} answers",
}


def _hint(acts: Sequence[Mapping[str, Any]]) -> HintLine | None:
    """The hint, as long as nothing has been done since."""
    if not acts or acts[-1].get("do") != "hint":
        return None
    test = acts[-1].get("test")
    if not test:
        return HintLine("No further test helps: name the cause.", 0.0, None)
    return HintLine(test["sentence"], test["minutes"], form_for(test["place"]))


def _volts(exercise: Exercise) -> dict[str, str]:
    """Point → the last plain reading in volts, as it stands in the drawing."""
    shown = {}
    for step in exercise.taken:
        place = step.reading.measurement
        if place.quantity == "volts" and place.to is None and not place.changes:
            shown[place.at] = value_said(place, step.reading.value, exercise.circuit)
    return shown
