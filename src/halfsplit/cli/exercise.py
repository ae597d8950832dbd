"""One exercise with a person at the terminal: what `practice` asks and shows."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping

from halfsplit.circuit.circuit import Circuit
from halfsplit.circuit.naming import part_of
from halfsplit.cli.ask import Asker
from halfsplit.cli.own import own_measurement
from halfsplit.cli.show import DEFER, Screen, reading_line
from halfsplit.errors import HalfsplitError
from halfsplit.notation.write import write
from halfsplit.practice import Exercise, Step

HELP = """\
  m  measure: what, where, in which state      n  name the place to be repaired
  h  a hint (10 points)                        r  what was read so far
  s  the circuit: parts and points             g  give up and see the cause"""


class Round:
    """One exercise with a person at the terminal."""

    def __init__(self, exercise: Exercise, cluster: str = "") -> None:
        self.exercise, self.cluster = exercise, cluster
        self.screen = Screen()
        self.asker = Asker(self.screen)

    def run(self) -> None:
        """Ask until the cause is named or given up. Without a test nothing is judged."""
        self._opening()
        try:
            while not self.exercise.over:
                typed = self.asker.text(
                    f"{self.exercise.minutes:.0f} min. m, n, h, r, s, g (? for more)"
                ).lower()
                try:
                    ACTS.get(typed, Round.help)(self)
                except HalfsplitError as error:
                    self.screen.line(str(error), "yellow")
        except (KeyboardInterrupt, EOFError):
            self.screen.line()
            self.exercise.give_up()
        if self.exercise.solved or self.exercise.taken:
            self._ending()

    def _opening(self) -> None:
        exercise = self.exercise
        self.screen.line(
            f"{exercise.circuit.title or 'Practice'} (exercise {exercise.seed}, {exercise.difficulty})",
            "bold",
        )
        self.screen.line(DEFER)
        for load, works, state in exercise.complaints:
            how = {"no": "does not work", "weak": "is weak", "yes": "works, and should not"}[works]
            self.screen.line(f'  "{load} {how}, {state}."')
        if exercise.history:
            self.screen.line(f"  The customer says that others have worked at {', '.join(exercise.history)}.")
        if exercise.intermittent:
            self.screen.line("  It comes and goes.")
        self.help()

    def help(self) -> None:
        """The letters."""
        self.screen.line(HELP)

    def measure(self) -> None:
        """One test on the vehicle."""
        taken_before = self.exercise.taken
        usual = taken_before[-1].reading.measurement.state if taken_before else ""
        asked = own_measurement(self.asker, self.exercise.circuit, usual)
        if asked is None:
            return
        for caution in self.exercise.quote(asked).cautions:
            self.screen.line(f"  Caution: {caution}", "yellow")
        taken = self.exercise.measure(asked)
        self.screen.line(
            f"> {reading_line(taken.reading, self.exercise.circuit)} [{taken.minutes:.1f} min]", "bold"
        )
        if self.exercise.intermittent:
            there = "The fault was there" if taken.reading.present == "yes" else "It worked as it should"
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
        self.screen.line(f"  {best.sentence}" if best else "  No further test helps: name the cause.")

    def readings(self) -> None:
        """What was read so far."""
        for step in self.exercise.taken:
            self.screen.line(f"  {reading_line(step.reading, self.exercise.circuit)}")

    def circuit(self) -> None:
        """Parts and points."""
        for part in self.exercise.circuit.parts.values():
            points = [point for point in self.exercise.circuit.points if part_of(point) == part.name]
            self.screen.line(f"  {part.name}  {part.words or part.kind}: {' '.join(points)}")

    def give_up(self) -> None:
        """The end."""
        self.exercise.give_up()

    def _ending(self) -> None:
        exercise = self.exercise
        self.screen.line()
        self.screen.line(f"The cause: {exercise.fault.name}. Repair: {exercise.fault.repair}.", "bold")
        self.screen.line("Judging your path and working out the best one …")
        if self.cluster:
            from halfsplit.job.practising import judge_on

            judge_on(exercise, write(exercise.circuit.model), self.cluster)
        best = exercise.best
        for line in _own_path(exercise):
            self.screen.line(line)
        self.screen.line(
            "The best path, proof included:"
            if best.proven
            else "The best path (it could not prove the cause):"
        )
        for step in best.steps:
            self.screen.line(_step_line(step, exercise.circuit))
        self.screen.line(
            f"{exercise.points} points: {exercise.minutes:.0f} minutes, best {best.minutes:.0f}; "
            f"{exercise.hints} hints, {exercise.wrong} named in error.",
            "bold",
        )


def _own_path(exercise: Exercise) -> Iterator[str]:
    yield "Your path (minutes; bits to be expected; bits gained):"
    for step in exercise.path.steps:
        yield _step_line(step, exercise.circuit)
        if step.wasted:
            yield (
                f"    wasted: {step.best.bits:.2f} bit could be had in {step.best.minutes:.1f} min: "
                f"{step.best.sentence}"
            )
            yield from (f"      {result}: {repair} would lead" for result, repair in step.best.means)


def _step_line(step: Step, circuit: Circuit) -> str:
    line = f"{step.test.minutes:4.1f} min  {step.test.bits:.2f} bit  {step.gained:+.2f}"
    return f"  {line}  {reading_line(step.reading, circuit)}"


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
