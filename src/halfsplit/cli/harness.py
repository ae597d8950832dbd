"""`harness`: a wiring harness in KBL or VEC as a circuit."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from halfsplit.cli.app import app, example
from halfsplit.cli.circuit import Json
from halfsplit.cli.output import put, put_json, tell
from halfsplit.errors import InputError
from halfsplit.harness.answers import answer, answers, known, table
from halfsplit.harness.cut import configured, near
from halfsplit.harness.document import LARGEST
from halfsplit.harness.read import read


@app.command(
    epilog=example(
        "halfsplit harness body.kbl > body.circuit",
        "halfsplit harness body.kbl --near X.H1 --joints 2 --table > plugged.csv",
        'halfsplit harness body.kbl --near X.H1 --plugged "X.H1=motor 5 A" > horn.circuit',
    )
)
def harness(
    file: Annotated[
        Path, typer.Argument(metavar="FILE", help="A harness in KBL or VEC.", show_default=False)
    ],
    near_to: Annotated[
        str, typer.Option("--near", metavar="PLUG", help="Only what lies near this connector.")
    ] = "",
    joints: Annotated[
        int, typer.Option(min=1, max=50, help="With --near: so many splices and connectors away.")
    ] = 2,
    configuration: Annotated[
        str, typer.Option(metavar="NAME", help="Only the wires of one configuration.")
    ] = "",
    plugged: Annotated[
        list[str] | None,
        typer.Option(metavar="PLUG=KIND", help="What hangs on a connector; may be given again."),
    ] = None,
    answered: Annotated[
        Path | None, typer.Option("--answers", metavar="TABLE.csv", help="The table, filled in.")
    ] = None,
    as_table: Annotated[
        bool, typer.Option("--table", help="Write the table of connectors (CSV) instead.")
    ] = False,
    as_json: Json = False,
) -> None:
    """Make a circuit of a wiring harness in the open standards KBL (2.3 to 2.5) or VEC (1.2 and 2).

    Such files lack what is plugged in, and the battery. Both are proposed by names and signals, and marked in the
    circuit; the table asks about each connector.
    """
    from halfsplit.harness.build import build, plugs  # slow to import

    drawn = read(_bytes(file), file.name)
    drawn = configured(drawn, configuration) if configuration else drawn
    drawn = near(drawn, near_to, joints) if near_to else drawn
    asked = plugs(drawn)
    given = answers(_bytes(answered).decode("utf-8", "replace")) if answered else {}
    given |= dict(map(answer, plugged or []))
    known(given, asked)
    built = build(drawn, given)
    for note in drawn.notes:
        tell(f"{file.name}: {note}")
    if as_json:
        return put_json(
            {
                "circuit": built.text,
                "connectors": [
                    {
                        "connector": plug.name,
                        "words": plug.words,
                        "signals": dict(plug.signals),
                        "plugged_in": built.plugged[plug.name].kind,
                        "value": built.plugged[plug.name].value,
                        "why": built.plugged[plug.name].why,
                    }
                    for plug in asked
                ],
                "configurations": list(drawn.configurations),
                "assumed": list(built.assumed),
                "notes": list(drawn.notes),
            }
        )
    return put(table(asked, built.plugged).rstrip("\n") if as_table else built.text.rstrip("\n"))


def _bytes(path: Path) -> bytes:
    try:
        with path.open("rb") as stream:
            return stream.read(LARGEST + 1)
    except OSError as error:
        raise InputError(f"{path} cannot be read: {error.strerror}") from None
