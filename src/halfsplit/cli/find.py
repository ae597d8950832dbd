"""`find`: the dialogue on the terminal, from the complaint to the proven cause; or a script in its place."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path
from typing import Annotated, Any

import typer

from halfsplit.circuit.circuit import Circuit
from halfsplit.circuit.instruments import instrument
from halfsplit.cli.app import FAILED, app, example
from halfsplit.cli.circuit import File, Json
from halfsplit.cli.keep import KeepFile, latest_keep, new_keep
from halfsplit.cli.output import put_json, tell
from halfsplit.diagnosis.propose import Test
from halfsplit.notation.circuit import Circuit as CircuitFile


@app.command(
    epilog=example(
        "halfsplit find rear-lamps.circuit",
        "halfsplit find rear-lamps.circuit --resume",
        "halfsplit find rear-lamps.circuit --script answers.json --json",
    )
)
def find(
    file: File,
    instruments: Annotated[
        str, typer.Option(help="What is at hand, with commas between. Asked if not given.")
    ] = "",
    intermittent: Annotated[bool, typer.Option("--intermittent", help="The fault comes and goes.")] = False,
    keep: Annotated[
        Path | None, typer.Option(help="File for what is entered. In your own state folder if not given.")
    ] = None,
    resume: Annotated[
        bool, typer.Option("--resume", help="Go on with the last job on this circuit.")
    ] = False,
    script: Annotated[
        Path | None,
        typer.Option(metavar="ANSWERS.json", help="Take complaints and answers from a file; ask nobody."),
    ] = None,
    as_json: Json = False,
) -> None:
    """Find a fault: the next test worth its minutes, the reading, the suspects, until the cause is proven.

    Every entry is on the disk before the next question; after Ctrl-C, or after the power went, --resume goes on.
    With --script nobody is asked: exit status 0 if the cause was proven, else 1.
    """
    if as_json and not script:
        raise typer.BadParameter("--json needs --script: a dialogue is for people", param_hint="--json")
    circuit = CircuitFile.read(file)
    if script:
        raise typer.Exit(0 if _scripted(circuit, script, as_json=as_json) else FAILED)
    names = tuple(instrument(name.strip()).name for name in instruments.split(",") if name.strip())
    _dialogue(circuit, file, keep, names, intermittent=intermittent, resume=resume)


# With a script


def _scripted(circuit: Circuit, path: Path, *, as_json: bool) -> bool:
    """Run the script; whether the cause was proven."""
    from halfsplit.cli.script import Script, walk
    from halfsplit.cli.session import Session
    from halfsplit.cli.show import Screen

    told = Script.read(path)
    session = Session(circuit, told.settings)
    told.begin(session)
    screen = None if as_json else Screen()
    if screen:
        _opening(session, screen)
    done = walk(session, told.source(circuit), watch=lambda now, so_far: _watched(now, so_far, screen))
    found = session.diagnosis.finding()
    if as_json:
        put_json(_result(session, done))
    elif screen and found:
        screen.finding(found)
    if done.doubt:
        tell(f'{done.doubt} Give the answer "sure": true if it stands.')
    elif done.open:
        tell(f"Nothing in the script answers this test: {done.open.sentence}")
    if screen:
        screen.line(f"{len(done.steps)} tests, {session.minutes:.0f} minutes.")
    return bool(found and found.proven)


def _opening(session: Any, screen: Any) -> None:
    from halfsplit.cli.show import DEFER, reading_line

    screen.line(session.circuit.title)
    screen.line(DEFER)
    for reading in session.diagnosis.readings:
        screen.line(f"  {reading_line(reading, session.circuit)}")
    screen.suspects(session.diagnosis.suspects(), session.circuit)


def _watched(session: Any, done: Any, screen: Any) -> None:
    """Tell the test that was just made, and who is left."""
    from halfsplit.cli.show import reading_line

    if screen is None or done.open:
        return
    test, reading = done.steps[-1]
    screen.test(test, session.circuit, len(done.steps))
    screen.line(f"> {reading_line(reading, session.circuit)}")
    screen.suspects(session.diagnosis.suspects(), session.circuit)


def _result(session: Any, done: Any) -> dict[str, Any]:
    found = session.diagnosis.finding()
    finding = found and {name: getattr(found, name) for name in found.__dataclass_fields__}
    return {
        "circuit": session.circuit.title,
        "tests": [_test_json(test) | {"value": _value_json(reading.value)} for test, reading in done.steps],
        "minutes": round(session.minutes, 1),
        "suspects": [
            {
                "part": one.part,
                "cause": one.cause,
                "probability": round(one.probability, 6),
                "repair": one.repair,
            }
            for one in session.diagnosis.suspects()
            if one.probability >= 1e-4
        ],
        "finding": finding,
        "next": _test_json(done.open) if done.open else None,
        "question": done.doubt or None,
    }


def _test_json(test: Test) -> dict[str, Any]:
    from halfsplit.job.places import to_json

    return {
        **to_json(test.measurement),
        "sentence": test.sentence,
        "minutes": round(test.minutes, 2),
        "bits": round(test.bits, 4),
        "purpose": test.purpose,
        "cautions": list(test.cautions),
    }


def _value_json(value: float | str) -> float | str:
    return "OL" if value == float("inf") else value


# With a person


def _dialogue(
    circuit: Circuit,
    file: Path,
    keep: Path | None,
    instruments: tuple[str, ...],
    *,
    intermittent: bool,
    resume: bool,
) -> None:
    from halfsplit.cli.dialogue import Dialogue

    dialogue = Dialogue(circuit)
    if resume:
        found = KeepFile(keep) if keep else latest_keep(file)
        if found is None:
            tell(f"There is no job on {file.name} to go on with: start one without --resume.")
            raise typer.Exit(FAILED)
        dialogue.resume(found)
    else:
        last = None if keep else latest_keep(file)
        if last:
            tell(f"An earlier job on this circuit is kept in {last.path}; --resume goes on with it.")
        dialogue.begin(
            KeepFile(keep) if keep else new_keep(file, datetime.now(UTC)),
            instruments,
            intermittent=intermittent,
        )
    again = f"halfsplit find {file} --resume" + (f" --keep {keep}" if keep else "")
    raise typer.Exit(0 if dialogue.run(again) else FAILED)
