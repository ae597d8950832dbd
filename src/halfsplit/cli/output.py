"""What commands write: data to standard output, messages to standard error."""

from __future__ import annotations

import json
import math
from collections.abc import Collection, Iterable, Sequence
from typing import Any

import typer


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
        return {key: _finite(one) for key, one in value.items()}
    return [_finite(one) for one in value] if isinstance(value, list | tuple) else value


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
