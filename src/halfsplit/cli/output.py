"""What commands write: data to standard output, messages to standard error."""

from __future__ import annotations

import json
import math
from collections.abc import Callable, Collection, Iterable, Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import IO, Any

import typer

from halfsplit.errors import InputError


def tell(message: str) -> None:
    """A message for the person, on standard error."""
    typer.echo(message, err=True)


def put(text: str) -> None:
    """Data, on standard output."""
    typer.echo(text)


def put_json(value: Any) -> None:
    """Data for a program, on standard output. Infinite numbers become null: JSON knows none."""
    typer.echo(json.dumps(_finite(value), ensure_ascii=False, indent=2))


def _finite(value: Any) -> Any:
    if isinstance(value, float):
        return value if math.isfinite(value) else None
    if isinstance(value, dict):
        return {key: _finite(item) for key, item in value.items()}
    return [_finite(item) for item in value] if isinstance(value, list | tuple) else value


def table(heads: Sequence[str], rows: Iterable[Sequence[str]], *, right: Collection[int] = ()) -> str:
    """Rows in columns, never cut off; ``right`` numbers the columns that stand flush right.

    >>> print(table(["point", "V"], [["X31.4:in", "12.4"], ["E4", "0"]], right=[1]))
    point        V
    X31.4:in  12.4
    E4           0
    """
    lines = [list(heads), *(list(row) for row in rows)]
    widths = [max(len(line[column]) for line in lines) for column in range(len(heads))]
    return "\n".join(
        "  ".join(
            cell.rjust(width) if column in right else cell.ljust(width)
            for column, (cell, width) in enumerate(zip(line, widths, strict=True))
        ).rstrip()
        for line in lines
    )


def write_new(path: Path, write: Callable[[IO[bytes]], object], *, replace: bool = False) -> None:
    """Write a file as a whole or not at all. Raises InputError where that cannot be done, or it is there already."""
    if path.exists() and not replace:
        raise InputError(f"{path} is there already", remedy="name another file")
    part = path.with_name(f".{path.name}.part")
    try:
        with part.open("wb") as stream:
            write(stream)
        part.replace(path)
    except OSError as error:
        raise InputError(f"{path} cannot be written: {error.strerror}") from None
    finally:
        part.unlink(missing_ok=True)


@contextmanager
def progress(what: str) -> Iterator[Callable[[float], None]]:
    """A bar on a terminal, nothing in a pipe. Gives a function that takes the share done, 0 to 1."""
    from rich.console import Console
    from rich.progress import Progress

    console = Console(stderr=True)
    if not console.is_terminal:
        yield lambda _: None
        return
    with Progress(console=console, transient=True) as bar:
        task = bar.add_task(what, total=1.0)
        yield lambda done: bar.update(task, completed=done)
