"""Practice as the pages and the terminal use it: begun, measured, ended and judged, each step stored when it is told.

What is hidden lies in the store and in this program's memory; no view holds it before the exercise is over.
"""

from __future__ import annotations

import re
import secrets
import threading
from collections import OrderedDict
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, field, replace
from typing import Any
from weakref import WeakKeyDictionary

from halfsplit.circuit.kinds import LOADS
from halfsplit.circuit.problems import CircuitError
from halfsplit.errors import HalfsplitError, InputError, NotFoundError
from halfsplit.job.open_job import new_id, now
from halfsplit.job.places import from_json
from halfsplit.job.practice_record import hidden_json, path_json, revived, taken_json, worth_json
from halfsplit.job.spread import each
from halfsplit.job.verbs import LONGEST_CIRCUIT
from halfsplit.job.working import Work, name_of, workers
from halfsplit.notation.checked import check_text
from halfsplit.notation.library import Sample, sample, samples
from halfsplit.practice import Exercise, Path, points
from halfsplit.practice.paths import MOST_STEPS
from halfsplit.store import JobStore, Practice

SEEDS = 1_000_000
KEPT = 8
"""Exercises that are kept in memory, the latest used."""
LONGEST_NAME = 100
PRACTICE = "practice"
_A_LOAD = re.compile(rf"^\s*(?:{'|'.join(LOADS)})\s", re.MULTILINE)


@dataclass
class _Live:
    """An exercise that goes on, and the version that it stands at; to be used under its ``lock``."""

    lock: threading.RLock = field(default_factory=threading.RLock)
    version: int = -1
    exercise: Exercise | None = None


_MEMORIES: WeakKeyDictionary[JobStore, OrderedDict[str, _Live]] = WeakKeyDictionary()
_MAKING = threading.Lock()


def begin_practice(
    store: JobStore,
    person: str,
    text: str,
    difficulty: str,
    *,
    seed: int | None = None,
    practice_id: str = "",
) -> Practice:
    """Hide a fault in the circuit of this text. A repeat with the same id begins it once.

    Raises CircuitError for mistakes in the text, InputError where there is no such difficulty or no fault for it.
    """
    if len(text) > LONGEST_CIRCUIT:
        raise InputError(f"the circuit has more than {LONGEST_CIRCUIT:,} characters")
    checked = check_text(text)
    if checked.circuit is None:
        raise CircuitError(checked.problems)
    if not checked.usable:
        raise InputError("there is no circuit to practise on", remedy="choose a pattern, or paste a circuit")
    number = secrets.randbelow(SEEDS) if seed is None else seed
    exercise = Exercise(checked.circuit, difficulty, number)
    hidden = {"hidden": hidden_json(exercise.hidden), "acts": []}
    begun = _practice(exercise, person, text, practice_id=practice_id or new_id(), record=hidden)
    return store.practices.begin(begun)


def _practice(exercise: Exercise, person: str, text: str, **more: Any) -> Practice:
    return Practice(
        person=person,
        title=(exercise.circuit.title or "A circuit of one's own")[:300],
        difficulty=exercise.difficulty,
        seed=exercise.seed,
        begun_at=now(),
        circuit=text,
        **more,
    )


def to_practise_on(kind: str) -> tuple[Sample, ...]:
    """The patterns (or demos) in which a customer notices something: those with a load."""
    return tuple(sample for sample in samples(kind) if _A_LOAD.search(sample.text))


def practice_text(store: JobStore, source: str, pasted: str = "") -> str:
    """The circuit that was chosen: 'pattern:NAME', 'demo:NAME', 'job:ID', or what was pasted."""
    kind, _, name = source.partition(":")
    if kind in ("pattern", "demo"):
        return sample(name, kind).text
    if kind == "job":
        version = store.circuit(store.job(name).job_id)
        if version is None:
            raise NotFoundError("this job has no circuit yet")
        return version.text
    return pasted.replace("\r\n", "\n")


def practice_of(store: JobStore, person: str, practice_id: str) -> Practice:
    """An exercise of this person's ('' for whoever sits at the machine). Raises NotFoundError."""
    practice = store.practices.get(practice_id)
    if person and practice.person != person:
        raise NotFoundError("there is no such exercise")
    return practice


@contextmanager
def exercising(store: JobStore, practice: Practice) -> Iterator[Exercise]:
    """The exercise as it stands; nobody else works on it until the block ends."""
    live = _live(store, practice.practice_id)
    with live.lock:
        if live.exercise is None or live.version != practice.version:
            live.version, live.exercise = practice.version, revived(practice)
        yield live.exercise


def _live(store: JobStore, name: str) -> _Live:
    with _MAKING:
        memory = _MEMORIES.setdefault(store, OrderedDict())
        living = memory.setdefault(name, _Live())
        memory.move_to_end(name)
        while len(memory) > KEPT:
            memory.popitem(last=False)
        return living


def _act(
    store: JobStore, practice: Practice, act_id: str, do: Callable[[Exercise], dict[str, Any]]
) -> Practice:
    """Do something once and store it. Where it cannot be stored it has not happened."""
    acts = list(practice.record.get("acts", ()))
    if act_id and any(act.get("id") == act_id for act in acts):
        return practice
    live = _live(store, practice.practice_id)
    with live.lock, exercising(store, practice) as exercise:
        try:
            act = do(exercise) | {"id": act_id or new_id()}
            saved = store.practices.save(_summed(practice, exercise, [*acts, act]))
        except HalfsplitError:
            live.exercise = None  # it may have gone half-way: made again from what is stored
            raise
        live.version = saved.version
    return saved


def _summed(practice: Practice, exercise: Exercise, acts: list[dict[str, Any]]) -> Practice:
    return replace(
        practice,
        record={**practice.record, "acts": acts},
        minutes=exercise.minutes,
        tests=len(exercise.taken),
        hints=exercise.hints,
        wrong=exercise.wrong,
        solved=exercise.solved,
        ended_at=now() if exercise.over else None,
    )


def measure(store: JobStore, practice: Practice, place: Mapping[str, Any], act_id: str = "") -> Practice:
    """Make a test on the vehicle. Raises as `Exercise.measure`."""
    asked = from_json(place)
    return _act(store, practice, act_id, lambda exercise: taken_json(exercise.measure(asked)))


def hint(store: JobStore, practice: Practice, act_id: str = "") -> Practice:
    """The best test now; takes seconds the first time."""

    def do(exercise: Exercise) -> dict[str, Any]:
        best = exercise.hint()
        return {"do": "hint", "test": worth_json(best) if best else None}

    return _act(store, practice, act_id, do)


def name_cause(store: JobStore, practice: Practice, name: str, act_id: str = "") -> Practice:
    """Name the place that is to be repaired."""
    named = name.strip()[:LONGEST_NAME]
    if not named:
        raise InputError("nothing was named", remedy="name a part, a cavity or a wire", where="cause")

    return _act(
        store,
        practice,
        act_id,
        lambda exercise: {"do": "name", "name": named, "right": exercise.condemn(named)},
    )


def give_up(store: JobStore, practice: Practice, act_id: str = "") -> Practice:
    """End it without the cause."""

    def do(exercise: Exercise) -> dict[str, Any]:
        exercise.give_up()
        return {"do": "give up"}

    return _act(store, practice, act_id, do)


# At the end


def judging(store: JobStore, practice: Practice, *, again: bool = False) -> Work | None:
    """Have an exercise that is over judged in a process of its own; None once that is done.

    Where that has failed or was stopped it is left so, unless it is asked for ``again``.
    """
    if practice.ended_at is None or "best" in practice.record:
        return None
    name = name_of(store, PRACTICE, practice.practice_id)
    work = workers.of(name)
    if work is not None and work.state in ("failed", "stopped") and not again:
        return work

    def keep(paths: dict[str, Any]) -> None:
        keep_judged(store, practice.practice_id, paths)

    return workers.start(name, judged_paths, (practice,), keep, anywhere=True)


def stop_judging(store: JobStore, practice: Practice) -> None:
    """End the judging of an exercise, if it is going on; it can be asked for again."""
    workers.stop(name_of(store, PRACTICE, practice.practice_id))


def judged_paths(practice: Practice, progress: Callable[[int, int], None]) -> dict[str, Any]:
    """Both paths; runs in a process of its own."""
    exercise = revived(practice)
    most = len(exercise.taken) + MOST_STEPS
    own = exercise.own_path(lambda made: progress(made, most))
    best = exercise.best_path(lambda made: progress(len(exercise.taken) + made, most))
    return {"own": path_json(own, exercise.circuit), "best": path_json(best, exercise.circuit)}


def judge_on(exercise: Exercise, text: str, cluster: str) -> None:
    """Have both paths of an exercise that is over judged by workers of a cluster, each by one; see `each`."""
    practice = _practice(exercise, "", text, practice_id=new_id(), record=_acts(exercise))
    exercise.judge(
        *each(_judged_path, [(practice, Exercise.own_path), (practice, Exercise.best_path)], cluster=cluster)
    )


def _judged_path(piece: tuple[Practice, Callable[[Exercise], Path]]) -> Path:
    practice, path = piece
    return path(revived(practice))


def keep_judged(store: JobStore, practice_id: str, paths: Mapping[str, Any]) -> Practice:
    """Store the paths and what they make in points."""
    practice = store.practices.get(practice_id)
    best = float(paths["best"]["minutes"])
    made = points(practice.minutes, best, practice.hints, practice.wrong) if practice.solved else 0
    judged = replace(practice, record={**practice.record, **paths}, points=made, best_minutes=best)
    return store.practices.save(judged)


def finished(exercise: Exercise, person: str, text: str) -> Practice:
    """An exercise that was done elsewhere (at a terminal), judged, as the store keeps it."""
    done = _acts(exercise)
    paths = {
        "own": path_json(exercise.own_path(), exercise.circuit),
        "best": path_json(exercise.best_path(), exercise.circuit),
    }
    practice = _practice(
        exercise,
        person,
        text,
        practice_id=new_id(),
        record=done | paths,
        points=exercise.points,
        best_minutes=exercise.best.minutes,
    )
    return _summed(practice, exercise, done["acts"])


def _acts(exercise: Exercise) -> dict[str, Any]:
    """What is hidden in an exercise and what was done, as it is kept."""
    acts = [taken_json(step) for step in exercise.taken]
    acts += [{"do": "hint", "test": None}] * exercise.hints
    acts += [{"do": "name", "name": name, "right": exercise.is_right(name)} for name in exercise.named]
    acts += [{"do": "give up"}] if exercise.given_up else []
    return {"hidden": hidden_json(exercise.hidden), "acts": acts}
