"""`harness`: a wiring harness in KBL or VEC as a circuit."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from halfsplit.cli.app import app, example
from halfsplit.cli.output import put, put_json, tell
from halfsplit.errors import InputError
from halfsplit.harness.build import build
from halfsplit.harness.data import Harness
from halfsplit.harness.document import LARGEST
from halfsplit.harness.read import read


def read_file(path: Path) -> Harness:
    """The harness in a file. Raises InputError where it cannot be read."""
    try:
        with path.open("rb") as stream:
            return read(stream.read(LARGEST + 1), path.name)
    except OSError as error:
        raise InputError(f"{path} cannot be read: {error.strerror}") from None


@app.command(epilog=example("halfsplit harness body.kbl > body.circuit"))
def harness(
    file: Annotated[
        Path, typer.Argument(metavar="FILE", help="A harness in KBL or VEC.", show_default=False)
    ],
    as_json: Annotated[bool, typer.Option("--json", help="Write JSON for a program.")] = False,
) -> None:
    """Make a circuit of a wiring harness in the open standards KBL (2.3 to 2.5) or VEC (1.2 and 2).

    Such files lack what is plugged in. It is proposed by names and signals, and marked in the circuit.
    """
    told = read_file(file)
    built = build(told)
    for note in told.notes:
        tell(f"{file.name}: {note}")
    if as_json:
        return put_json({"circuit": built.text, "notes": list(told.notes), "assumed": list(built.assumed)})
    return put(built.text.rstrip("\n"))
