"""`practice`: a hidden fault to find, with a score beside the best path."""

from __future__ import annotations

import getpass
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from halfsplit.cli.app import FAILED, app, example
from halfsplit.cli.circuit import Json
from halfsplit.cli.learn import Cluster
from halfsplit.cli.output import put, put_json, table
from halfsplit.cli.workbench import Store, opened
from halfsplit.notation.circuit import Circuit as CircuitFile

if TYPE_CHECKING:
    from halfsplit.store import Practice

USUAL = "relay-load"
SEEDS = 1_000_000


@app.command(
    epilog=example(
        "halfsplit practice",
        'halfsplit practice head-lamps --difficulty "high resistance"',
        "halfsplit practice --scores",
    )
)
def practice(
    pattern: Annotated[
        str,
        typer.Argument(
            metavar="[PATTERN]", help="A pattern (see `patterns`) or a circuit file.", show_default=False
        ),
    ] = USUAL,
    difficulty: Annotated[
        str, typer.Option(help="single, high resistance, intermittent, pair or misleading history.")
    ] = "single",
    seed: Annotated[
        int | None, typer.Option(min=0, help="The number of an exercise, to meet it again.")
    ] = None,
    person: Annotated[str, typer.Option(help="Whose score it is; you if not given.")] = "",
    scores: Annotated[bool, typer.Option("--scores", help="List the scores instead.")] = False,
    store: Store = "",
    cluster: Cluster = "",
    as_json: Json = False,
) -> None:
    """Find a hidden fault: the vehicle answers what you measure, with errors, slips of the probe, and minutes.

    At the end come the cause, your path beside the best one, and what each wasted test could have told. Exit status 1
    if it was given up.
    """
    if scores:
        with opened(store) as jobs:
            practices = jobs.practices.of(person)
        over = [practice for practice in reversed(practices) if practice.ended_at is not None]
        if as_json:
            return put_json(
                [
                    {"when": _ended(practice).isoformat(timespec="seconds")}
                    | {name: getattr(practice, name) for name in SCORE}
                    for practice in over
                ]
            )
        heads = ["when", "who", "circuit", "difficulty", "points", "minutes", "best"]
        rows = [
            [
                f"{_ended(practice).astimezone():%Y-%m-%d %H:%M}",
                practice.person,
                practice.title,
                practice.difficulty,
                "–" if practice.points is None else str(practice.points),
                f"{practice.minutes:.0f}",
                "–" if practice.best_minutes is None else f"{practice.best_minutes:.0f}",
            ]
            for practice in over
        ]
        return put(table(heads, rows, right=(4, 5, 6)))
    if as_json:
        raise typer.BadParameter("needs --scores: an exercise is for people", param_hint="--json")
    from halfsplit.cli.exercise import Round  # slow to import
    from halfsplit.job import sample
    from halfsplit.practice import Exercise

    circuit = (
        CircuitFile.read(pattern) if Path(pattern).is_file() else CircuitFile.parse(sample(pattern).text)
    )
    number = int(datetime.now(UTC).timestamp()) % SEEDS if seed is None else seed
    turn = Round(Exercise(circuit, difficulty, number), cluster)
    turn.run()
    if turn.exercise.over and turn.exercise.taken:
        from halfsplit.job.practising import finished

        with opened(store) as jobs:  # what was seen stands on the screen even if this fails
            jobs.practices.begin(finished(turn.exercise, person or getpass.getuser(), circuit.write()))
    raise typer.Exit(0 if turn.exercise.solved else FAILED)


SCORE = ("person", "title", "difficulty", "seed", "solved", "points", "minutes", "tests", "hints", "wrong",
         "best_minutes")  # fmt: skip
"""What `--scores --json` tells of an exercise, beside when it ended."""


def _ended(practice: Practice) -> datetime:
    return practice.ended_at or practice.begun_at
