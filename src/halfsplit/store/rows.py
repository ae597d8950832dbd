"""From a record to a row and back: a record inside another is flattened, its field's name in front."""

from collections.abc import Callable, Iterator, Mapping
from dataclasses import fields, is_dataclass
from functools import cache
from typing import Any, TypeVar, get_args, get_origin, get_type_hints

from sqlalchemy import Table

from halfsplit.store.columns import check_value

R = TypeVar("R")


def to_row(record: Any) -> dict[str, Any]:
    """The columns of a record.

    >>> from halfsplit.store.records import Complaint, Intake
    >>> to_row(Intake(complaint=Complaint(text="wiper stops")))["complaint_text"]
    'wiper stops'
    """
    return dict(_flat(type(record), record))


def _flat(record_type: type, record: Any) -> Iterator[tuple[str, Any]]:
    for name, inner in shape(record_type).items():
        value = None if record is None else getattr(record, name)
        if inner is None:
            yield name, value
        else:
            yield from ((f"{name}_{key}", part) for key, part in _flat(inner, value))


def from_row(record_type: Callable[..., R], row: Mapping[Any, Any], prefix: str = "") -> R:
    """The record of a row; a record inside it of which every column is NULL is None."""
    values: dict[str, Any] = {}
    for name, inner in shape(record_type).items():
        column = prefix + name
        if inner is not None:
            empty = all(row.get(f"{column}_{key}") is None for key in dict(_flat(inner, None)))
            values[name] = None if empty else from_row(inner, row, f"{column}_")
        elif column in row:  # of what it does not say (the links of an entry) the field keeps its default
            values[name] = row[column]
    return record_type(**values)


@cache
def shape(record_type: Any) -> dict[str, type | None]:
    """Field name -> the record type that it holds, or None for a plain value."""
    hints, inside = get_type_hints(record_type), {}
    for field in fields(record_type):
        hint = hints[field.name]
        candidates = () if get_origin(hint) is tuple else (hint, *get_args(hint))
        records = (kind for kind in candidates if isinstance(kind, type) and is_dataclass(kind))
        inside[field.name] = next(records, None)
    return inside


def checked(table: Table, row: Mapping[str, Any]) -> dict[str, Any]:
    """The row's values that the table has columns for, each checked.

    Raises:
        InputError: a value that cannot be kept; says which and why.
    """
    kept = {name: value for name, value in row.items() if name in table.c}
    for name, value in kept.items():
        check_value(table.c[name], value)
    return kept
