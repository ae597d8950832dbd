"""`practice`: a hidden fault to find, with a score beside the best path."""

from __future__ import annotations

import getpass
from collections.abc import Callable, Iterator, Mapping
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from halfsplit.circuit.circuit import Circuit
from halfsplit.cli.app import FAILED, app, example
from halfsplit.cli.ask import Asker
from halfsplit.cli.circuit import Json
from halfsplit.cli.keep import state_folder
from halfsplit.cli.output import put, put_json, table
from halfsplit.cli.own import own_measurement
from halfsplit.cli.show import DEFER, Screen, reading_line
from halfsplit.errors import HalfsplitError
from halfsplit.notation.circuit import Circuit as CircuitFile

if TYPE_CHECKING:
    from halfsplit.practice import Exercise, Score
    from halfsplit.practice import Path as Walked

USUAL = "relay-load"
SEEDS = 1_000_000
HELP = """\
  m  measure: what, where, in which state      n  name the place to be repaired
  h  a hint (10 points)                        r  what was read so far
  s  the circuit: parts and points             g  give up and see the cause"""


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
    as_json: Json = False,
) -> None:
    """Find a hidden fault: the vehicle answers what you measure, with errors, slips of the probe, and minutes.

    At the end come the cause, your path beside the best one, and what each wasted test could have told. Exit status 1
    if it was given up.
    """
    from halfsplit.practice import Exercise

    name = person or getpass.getuser()
    if scores:
        return _list_scores(person, as_json=as_json)
    if as_json:
        raise typer.BadParameter("needs --scores: an exercise is for people", param_hint="--json")
    circuit = _circuit(pattern)
    number = int(datetime.now(UTC).timestamp()) % SEEDS if seed is None else seed
    solved = Round(Exercise(circuit, difficulty, number), name).run()
    raise typer.Exit(0 if solved else FAILED)


def _circuit(name: str) -> Circuit:
    """A circuit file, or else a pattern. Raises HalfsplitError where it is neither."""
    from halfsplit.jobs import sample

    return CircuitFile.read(name) if Path(name).is_file() else CircuitFile.parse(sample(name).text)


def _scores_file() -> Path:
    return state_folder() / "practice.jsonl"


def _list_scores(person: str, *, as_json: bool) -> None:
    from halfsplit.practice import scores

    found = scores(_scores_file(), person)
    if as_json:
        return put_json([{name: getattr(one, name) for name in one.__dataclass_fields__} for one in found])
    heads = ["when", "who", "circuit", "difficulty", "points", "minutes", "best"]
    return put(table(heads, (_row(one) for one in found), right=(4, 5, 6)))


def _row(one: Score) -> list[str]:
    return [
        one.when[:16].replace("T", " "),
        one.person,
        one.circuit,
        one.difficulty,
        str(one.points),
        f"{one.minutes:.0f}",
        f"{one.best_minutes:.0f}",
    ]


class Round:
    """One exercise with a person at the terminal."""

    def __init__(self, exercise: Exercise, person: str) -> None:
        self.exercise, self.person = exercise, person
        self.screen = Screen()
        self.asker = Asker(self.screen)
        self.over = False

    def run(self) -> bool:
        """Ask until the cause is named or given up; whether it was found. Without a test nothing is scored."""
        self._opening()
        try:
            while not (self.over or self.exercise.solved):
                self._ask()
        except (KeyboardInterrupt, EOFError):
            self.screen.line()
        if self.exercise.solved or self.exercise.steps:
            self._ending()
        return self.exercise.solved

    def _opening(self) -> None:
        told = self.exercise
        self.screen.line(
            f"{told.circuit.title or 'Practice'} (exercise {told.seed}, {told.difficulty})", "bold"
        )
        self.screen.line(DEFER)
        for load, works, state in told.complaints:
            how = {"no": "does not work", "weak": "works weakly", "yes": "works, and should not"}[works]
            self.screen.line(f'  "{load} {how}, {state}."')
        if told.history:
            self.screen.line(f"  The customer says that others have worked at {', '.join(told.history)}.")
        if told.intermittent:
            self.screen.line("  It comes and goes.")
        self.help()

    def help(self) -> None:
        """The letters."""
        for line in HELP.splitlines():
            self.screen.line(line)

    def _ask(self) -> None:
        typed = self.asker.text(f"{self.exercise.minutes:.0f} min. m, n, h, r, s, g (? for more)").lower()
        try:
            ACTS.get(typed, Round.help)(self)
        except HalfsplitError as error:
            self.screen.line(str(error), "yellow")

    def measure(self) -> None:
        """One test on the vehicle."""
        asked = own_measurement(self.asker, self.exercise.referee)
        if asked is None:
            return
        step = self.exercise.measure(asked)
        for caution in step.test.cautions:
            self.screen.line(f"  Caution: {caution}", "yellow")
        self.screen.line(
            f"> {reading_line(step.reading, self.exercise.circuit)} [{step.test.minutes:.1f} min]", "bold"
        )
        if self.exercise.intermittent:
            there = "The fault was there" if step.reading.present == "yes" else "It worked as it should"
            self.screen.line(f"  {there} while you measured.")

    def name(self) -> None:
        """The place to be repaired."""
        typed = self.asker.text("Which part, joint or wire (Enter: not yet)")
        if typed and not self.exercise.condemn(typed):
            self.screen.line(f"It is not {typed}. The customer pays for a part that was good (25 points).")
        elif typed and not self.exercise.solved:
            self.screen.line(f"{typed} is right, and there is another fault.")

    def hint(self) -> None:
        """The best test now."""
        best = self.exercise.hint()
        self.screen.line(f"  {best.sentence}" if best else "  No test would tell more: name it.")

    def readings(self) -> None:
        """What was read so far."""
        for step in self.exercise.steps:
            self.screen.line(f"  {reading_line(step.reading, self.exercise.circuit)}")

    def circuit(self) -> None:
        """Parts and points."""
        for part in self.exercise.circuit.parts.values():
            points = [
                one
                for one in self.exercise.circuit.points
                if one.partition(":")[0].partition(".")[0] == part.name
            ]
            self.screen.line(f"  {part.name}  {part.words or part.kind}: {' '.join(points)}")

    def give_up(self) -> None:
        """The end."""
        self.over = True

    def _ending(self) -> None:
        told = self.exercise
        self.screen.line()
        self.screen.line(f"The cause: {told.fault.name}. Repair: {told.fault.repair}.", "bold")
        self.screen.line("Working out the best path …")
        best = told.best
        for line in (*_own_path(told), *_best_path(best, told.circuit)):
            self.screen.line(line)
        self.screen.line(
            f"{told.points} points: {told.minutes:.0f} minutes, best {best.minutes:.0f}; {told.hints} hints, "
            f"{told.wrong} named in error.",
            "bold",
        )
        self._keep(best)

    def _keep(self, best: Walked) -> None:
        from halfsplit.practice import Score, keep_score

        told = self.exercise
        when = datetime.now(UTC).isoformat(timespec="seconds")
        score = Score(
            self.person,
            when,
            told.circuit.title,
            told.difficulty,
            told.seed,
            told.solved,
            told.points,
            round(told.minutes, 1),
            len(told.steps),
            round(best.minutes, 1),
            len(best.steps),
            told.hints,
            told.wrong,
        )
        keep_score(_scores_file(), score)


def _own_path(told: Exercise) -> Iterator[str]:
    yield "Your path:"
    for step in told.steps:
        yield f"  {step.test.minutes:4.1f} min  {step.test.bits:.2f} bit  {reading_line(step.reading, told.circuit)}"
        if step.wasted:
            yield f"    could have told {step.best.bits:.2f} bit in {step.best.minutes:.1f} min: {step.best.sentence}"


def _best_path(best: Walked, circuit: Circuit) -> Iterator[str]:
    yield "The best path, proof included:" if best.proven else "The best path (it could not prove the cause):"
    for test, reading in best.steps:
        yield f"  {test.minutes:4.1f} min  {test.bits:.2f} bit  {reading_line(reading, circuit)}"


ACTS: Mapping[str, Callable[[Round], None]] = {
    "m": Round.measure,
    "n": Round.name,
    "h": Round.hint,
    "r": Round.readings,
    "s": Round.circuit,
    "g": Round.give_up,
    "q": Round.give_up,
}
"""Letter → what it does."""
