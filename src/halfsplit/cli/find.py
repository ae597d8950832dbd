"""`find`: the dialogue on the terminal, from the complaint to the proven cause; or a script in its place."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from halfsplit.circuit.instruments import instrument
from halfsplit.cli.app import FAILED, app, example
from halfsplit.cli.circuit import File, Json
from halfsplit.cli.workbench import Store, opened
from halfsplit.errors import InputError


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
        Path | None, typer.Option(help="A file of its own for the job. With your other jobs if not given.")
    ] = None,
    store: Store = "",
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

    It is a job like any other: `serve` shows it, `report` prints it, `export` takes it along. Every entry is on
    the disk before the next question; after Ctrl-C, or after the power went, --resume goes on.
    With --script nobody is asked and nothing is kept: exit status 0 if the cause was proven, else 1.
    """
    if as_json and not script:
        raise typer.BadParameter("--json needs --script: a dialogue is for people", param_hint="--json")
    if keep and store:
        raise typer.BadParameter("name one place, by --keep or by --store", param_hint="--keep")
    from halfsplit.cli.finding import Beginning, scripted, self_contained, with_a_person

    text = self_contained(file)
    if script:
        raise typer.Exit(0 if scripted(text, script, as_json=as_json) else FAILED)
    names = tuple(instrument(name.strip()).name for name in instruments.split(",") if name.strip())
    if keep and keep.exists() and not resume:
        raise InputError(f"{keep} is there already", remedy="go on with it by --resume, or name another file")
    again = f"halfsplit find {file} --resume" + (
        f" --keep {keep}" if keep else f" --store {store}" if store else ""
    )
    with opened(f"sqlite:///{keep.absolute()}" if keep else store) as jobs:
        beginning = Beginning(jobs, file, text, names, intermittent=intermittent)
        raise typer.Exit(0 if with_a_person(beginning, again, resume=resume) else FAILED)
