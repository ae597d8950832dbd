"""`check`, `expect` and `patterns`: circuits as files, without a job."""

from __future__ import annotations

import textwrap
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Annotated, Any

import typer

from halfsplit.circuit.circuit import Circuit, Solution
from halfsplit.circuit.kinds import LOADS
from halfsplit.circuit.moving import crossing_wires
from halfsplit.circuit.network import UnknownNameError
from halfsplit.circuit.problems import CircuitError, Problem, did_you_mean
from halfsplit.cli.app import FAILED, app, example
from halfsplit.cli.output import put, put_json, table, tell
from halfsplit.diagnosis.cost import ways
from halfsplit.notation.circuit import Circuit as CircuitFile
from halfsplit.notation.library import Sample
from halfsplit.notation.library import sample as pattern_named
from halfsplit.notation.library import samples as all_patterns

File = Annotated[Path, typer.Argument(metavar="FILE", help="A circuit file.", show_default=False)]
Json = Annotated[bool, typer.Option("--json", help="Write JSON for a program.")]

TOLD = ("severity", "kind", "file", "line", "column", "text", "message", "remedy")
"""What `check --json` tells of a problem."""
LIST_WIDTH = 90
CHANGED = 0.1
"""Volts from which a reading counts as changed by a fault; a meter shows less, but nobody acts on it."""


# check


@app.command(epilog=example("halfsplit check rear-lamps.circuit"))
def check(file: File, as_json: Json = False) -> None:
    """Read a circuit file and tell every problem in it.

    Each problem comes with its line, what is wrong and what to write instead. Warnings alone end with exit status 0,
    errors with 1.
    """
    circuit: Circuit | None = None
    try:
        circuit = CircuitFile.read(file)
        problems = circuit.warnings
    except CircuitError as error:
        problems = error.problems
    if as_json:
        moving = list(crossing_wires(circuit.model)) if circuit else []
        put_json(
            {
                "usable": circuit is not None,
                "problems": [{name: getattr(problem, name) for name in TOLD} for problem in problems],
                "taken_to_move": moving,
                "minutes_to_places": ways(circuit.model) if circuit else {},
            }
        )
    elif problems:
        put("\n".join(map(str, problems)))
    for line in _summary(file, circuit, problems):
        tell(line)
    raise typer.Exit(FAILED if circuit is None else 0)


def _summary(file: Path, circuit: Circuit | None, problems: Sequence[Problem]) -> Iterator[str]:
    """What is in the file, and what was guessed, to mend by ``reach``: wires that bend, and the minutes to places."""
    errors = sum(problem.severity == "error" for problem in problems)
    counts = [_count(errors, "error"), _count(len(problems) - errors, "warning")]
    summary = " and ".join(count for count in counts if not count.startswith("0 ")) or "no problems"
    if circuit is None:
        yield f"{file.name}: {summary}"
        return
    inside = f"{_count(len(circuit.parts), 'part')}, {_count(len(circuit.states), 'state')}"
    yield f"{file.name}: {inside}, {len(circuit.faults)} faults; {summary}"
    crossing = crossing_wires(circuit.model)
    for sure, words in ((True, "Taken to move"), (False, "May move, the place of one end is not given")):
        names = [name for name, known in crossing.items() if known == sure]
        if names:
            yield f"{words}: {', '.join(names)}."
    minutes = ", ".join(f"{name} {minutes:g}" for name, minutes in ways(circuit.model).items())
    if minutes:
        yield f"Minutes to get at: {minutes}."


def _count(number: int, word: str) -> str:
    return f"{number} {word}{'' if number == 1 else 's'}"


# expect


@app.command(
    epilog=example(
        'halfsplit expect rear-lamps.circuit --state "brake"',
        'halfsplit expect rear-lamps.circuit --fault "E5 open" --point H1',
    )
)
def expect(
    file: File,
    state: Annotated[
        list[str] | None, typer.Option(help="One operating state; may be given again. All if not.")
    ] = None,
    fault: Annotated[str, typer.Option(help="The name of a fault, as --faults lists them.")] = "",
    point: Annotated[
        list[str] | None,
        typer.Option(help="One point, or all points of a part; may be given again. All if not."),
    ] = None,
    faults: Annotated[bool, typer.Option("--faults", help="List the faults of the circuit instead.")] = False,
    as_json: Json = False,
) -> None:
    """Tell what every point must read, healthy or with one fault.

    Volts are against the battery's negative post, as an ideal meter shows them. Below them: which loads work, which
    units answer, which fuses blow, and what finds no rest (chattering).
    """
    circuit = CircuitFile.read(file)
    if faults:
        names = list(circuit.faults)
        return put_json(names) if as_json else put("\n".join(names))
    wanted = _known(fault, circuit)
    states = list(state or circuit.states)
    for name in states:
        if name not in circuit.states:
            known = ", ".join(f'"{state}"' for state in circuit.states)
            raise UnknownNameError(f"there is no state {name!r} in this circuit: it has {known}")
    points = _points(circuit, point or [])
    healthy = {name: circuit.solve(name) for name in states}
    broken = {name: circuit.solve(name, fault=wanted) for name in states} if wanted else {}
    if as_json:
        sets = {"states": broken, "healthy": healthy} if broken else {"states": healthy}
        solved = {
            word: {name: _solution(circuit, points, solution) for name, solution in solutions.items()}
            for word, solutions in sets.items()
        }
        put_json({"circuit": circuit.title, "fault": wanted or None} | solved)
    elif wanted:
        put("\n\n".join(_compared(circuit, points, healthy[name], broken[name]) for name in states))
    else:
        put(_expected(circuit, points, healthy))
    return None


def _known(fault: str, circuit: Circuit) -> str:
    """The name as the circuit has it. Raises UnknownNameError with the nearest."""
    if not fault:
        return ""
    try:
        return circuit.faults[fault].name
    except UnknownNameError:
        near = did_you_mean(fault, circuit.faults)
        raise UnknownNameError(
            f"there is no fault {fault!r} in this circuit: {near}list them with --faults"
        ) from None


def _points(circuit: Circuit, wanted: Sequence[str]) -> tuple[str, ...]:
    """The points asked for: each by its own name, or all of a part."""
    if not wanted:
        return circuit.points
    points: dict[str, None] = {}
    for name in wanted:
        mine = [
            point
            for point in circuit.points
            if name in (point, point.partition(":")[0], point.partition(".")[0])
        ]
        if not mine:
            raise UnknownNameError(
                f"there is no point or part {name!r}: {did_you_mean(name, circuit.points)}".rstrip(": ")
            )
        points |= dict.fromkeys(mine)
    return tuple(points)


def _expected(circuit: Circuit, points: Sequence[str], solved: dict[str, Solution]) -> str:
    heads = ["volts", *solved]
    columns = range(1, len(heads))
    parts = [
        table(
            heads,
            ([point, *(_volts(solution.volts(point)) for solution in solved.values())] for point in points),
            right=columns,
        )
    ]
    working = list(_working(circuit))
    if working:
        rows = [[name, *(solution.works(name) for solution in solved.values())] for name in working]
        parts.append(table(["works", *solved], rows))
    return "\n\n".join(
        [*parts, *(line for solution in solved.values() for line in _troubles(solution, named=True))]
    )


def _compared(circuit: Circuit, points: Sequence[str], healthy: Solution, broken: Solution) -> str:
    rows = [
        [point, _volts(before), _volts(now), "*" if abs(now - before) >= CHANGED else ""]
        for point, before, now in ((point, healthy.volts(point), broken.volts(point)) for point in points)
    ]
    fault = broken.fault.name if broken.fault else ""
    words = [(name, healthy.works(name), broken.works(name)) for name in _working(circuit)]
    working = [[name, before, now, "*" if before != now else ""] for name, before, now in words]
    heads = ["healthy", fault, "changed"]
    parts = [f'State "{healthy.state}"\n' + table(["volts", *heads], rows, right=(1, 2))]
    if working:
        parts.append(table(["works", *heads], working))
    return "\n\n".join([*parts, *_troubles(broken, named=False)])


def _volts(value: float) -> str:
    return f"{value + 0.0:.2f}".replace("-0.00", "0.00")


def _working(circuit: Circuit) -> Iterator[str]:
    return (part.name for part in circuit.parts.values() if part.kind in (*LOADS, "module"))


def _troubles(solution: Solution, *, named: bool) -> Iterator[str]:
    """Blown fuses and restless devices, each in a line of its own."""
    where = f' in state "{solution.state}"' if named else ""
    if solution.blown:
        yield f"Blown{where}: {', '.join(solution.blown)}"
    if solution.chattering:
        yield f"Chattering{where} (held released here): {', '.join(solution.chattering)}"


def _solution(circuit: Circuit, points: Sequence[str], solution: Solution) -> dict[str, Any]:
    return {
        "volts": {point: round(solution.volts(point), 4) for point in points},
        "works": {name: solution.works(name) for name in _working(circuit)},
        "blown": list(solution.blown),
        "chattering": list(solution.chattering),
    }


# patterns


@app.command(epilog=example("halfsplit patterns", "halfsplit patterns relay-load > wiper.circuit"))
def patterns(
    name: Annotated[
        str, typer.Argument(metavar="[PATTERN]", help="The pattern to print.", show_default=False)
    ] = "",
    as_json: Json = False,
) -> None:
    """List the circuits to start from with when to use each, or print one."""
    if name:
        pattern = pattern_named(name)
        whole = _told(pattern) | {"text": pattern.text}
        return put_json(whole) if as_json else put(pattern.text.rstrip("\n"))
    if as_json:
        return put_json([_told(pattern) for pattern in all_patterns()])
    for pattern in all_patterns():
        put(f"{pattern.name:25} {pattern.title}")
        for line in textwrap.wrap(pattern.use, LIST_WIDTH, break_on_hyphens=False):  # their names stay whole
            put(f"{'':25} {line}")
    return None


def _told(pattern: Sample) -> dict[str, str]:
    """A pattern without its text."""
    return {"name": pattern.name, "title": pattern.title, "use": pattern.use, "caution": pattern.caution}
