"""Column types that read the same from SQLite and PostgreSQL, and the check of a value before it is bound."""

import json
import math
from datetime import UTC, datetime
from decimal import Decimal
from functools import cache
from typing import Any

from pydantic import ConfigDict, TypeAdapter
from sqlalchemy import BigInteger, Column, DateTime, Integer, String, Text
from sqlalchemy.engine import Dialect
from sqlalchemy.types import TypeDecorator

from halfsplit.errors import InputError

DEEPEST_JSON = 40
LARGEST_AMOUNT = Decimal(10) ** 12
EARLIEST = datetime(1900, 1, 1, tzinfo=UTC)
LATEST = datetime(3000, 1, 1, tzinfo=UTC)


class Moment(TypeDecorator[datetime]):
    """A moment in UTC: timestamptz on PostgreSQL, text without a zone on SQLite, always with one here."""

    impl = DateTime(timezone=True)
    cache_ok = True

    def process_bind_param(self, value: datetime | None, dialect: Dialect) -> datetime | None:
        if value is None:
            return None
        moment = value.astimezone(UTC)
        return moment.replace(tzinfo=None) if dialect.name == "sqlite" else moment

    def process_result_value(self, value: datetime | None, _dialect: Dialect) -> datetime | None:
        if value is None:
            return None
        return value.replace(tzinfo=UTC) if value.tzinfo is None else value.astimezone(UTC)


class Amount(TypeDecorator[Decimal]):
    """A decimal amount as text, since SQLite has no exact decimals of its own."""

    impl = String(32)
    cache_ok = True

    def process_bind_param(self, value: Decimal | None, _dialect: Dialect) -> str | None:
        return None if value is None else format(value, "f")

    def process_result_value(self, value: str | None, _dialect: Dialect) -> Decimal | None:
        return None if value is None else Decimal(value)


class Json(TypeDecorator[Any]):
    """JSON of a stated Python type, as text. `limit` is in characters."""

    impl = Text
    cache_ok = True

    def __init__(self, kept_type: Any, limit: int) -> None:
        super().__init__()
        self.kept_type = kept_type
        self.limit = limit

    def process_bind_param(self, value: Any, _dialect: Dialect) -> str | None:
        return None if value is None else self.text(value)

    def process_result_value(self, value: str | None, _dialect: Dialect) -> Any:
        return None if value is None else adapter(self.kept_type).validate_json(value)

    def text(self, value: Any) -> str:
        """The JSON text of a value.

        Raises:
            InputError: it is no JSON.
        """
        return canonical_json(plain(self.kept_type, value))


@cache
def adapter(python_type: Any) -> TypeAdapter[Any]:
    """The validator of a type, made once."""
    return TypeAdapter(python_type)


def plain(python_type: Any, value: Any) -> Any:
    """A value as lists, objects, texts and numbers. NaN stays NaN, to be refused: never quietly a null.

    Raises:
        InputError: it holds what has no such form, or itself.
    """
    try:
        return _plain_adapter(python_type).dump_python((value,), mode="json", warnings=False)[0]
    except (ValueError, RecursionError) as error:
        raise _no_json(error) from error


@cache
def _plain_adapter(python_type: Any) -> TypeAdapter[Any]:
    return TypeAdapter(tuple[python_type], config=ConfigDict(ser_json_inf_nan="constants"))


def canonical_json(value: Any) -> str:
    """The one JSON text of a value: sorted keys, no spaces, so that equal values have equal texts.

    Raises:
        InputError: the value is no JSON (NaN and infinity are not), is nested too deeply or holds half a
        character.
    """
    try:
        text = json.dumps(value, sort_keys=True, separators=(",", ":"), ensure_ascii=False, allow_nan=False)
        text.encode()
        depth = _depth(value)
    except (TypeError, ValueError, RecursionError) as error:
        raise _no_json(error) from error
    if depth > DEEPEST_JSON:
        raise InputError(f"this is nested more than {DEEPEST_JSON} deep", remedy="send flatter data")
    return text


def _no_json(error: Exception) -> InputError:
    return InputError(
        f"this cannot be kept as JSON: {error}", remedy="send numbers, texts, lists and objects"
    )


def _depth(value: Any) -> int:
    inside = value.values() if isinstance(value, dict) else value if isinstance(value, list | tuple) else ()
    return 1 + max((_depth(item) for item in inside), default=0)


def check_value(column: Column[Any], value: Any) -> None:
    """Refuse what the two databases would keep differently or not at all.

    Raises:
        InputError: names the column, what was found and what is accepted.
    """
    problem = _problem(column, value)
    if problem:
        raise InputError(problem, where=column.name.replace("_", " "))


def _problem(column: Column[Any], value: Any) -> str | None:
    if value is None:
        return None if column.nullable else "nothing was given, but this is needed"
    if isinstance(column.type, Json):
        # What is kept as JSON is counted as its text.
        length, limit = len(column.type.text(value)), column.type.limit
        return None if length <= limit else f"takes {length:,} characters as JSON, at most {limit:,} are kept"
    choices = column.info.get("choices")
    if choices and value not in choices:
        return f"found {value!r}, expected one of {', '.join(choices)}"
    expected = _TYPES.get(type(column.type)) or column.type.python_type
    if type(value) not in (expected, int if expected is float else expected):
        return f"found {value!r}, expected a {_NAMES[expected]}"
    check = _CHECKS.get(type(value))
    return check(column, value) if check else None


def _text_problem(column: Column[Any], value: str) -> str | None:
    limit = getattr(column.type, "length", None)
    if limit and len(value) > limit:
        return f"{len(value):,} characters long, at most {limit:,} are kept"
    if "\0" in value or any("\ud800" <= character <= "\udfff" for character in value):
        return "holds a character that is no text (NUL or half a pair)"
    if column.info.get("filled") and not value.strip():
        return "is empty, but this is needed"
    return None


def _integer_problem(column: Column[Any], value: int) -> str | None:
    bits = 63 if isinstance(column.type, BigInteger) else 31 if isinstance(column.type, Integer) else None
    return f"{value} is too large" if bits and not -(2**bits) <= value < 2**bits else None


def _float_problem(column: Column[Any], value: float) -> str | None:
    return None if math.isfinite(value) else f"{value} is no finite number"


def _decimal_problem(column: Column[Any], value: Decimal) -> str | None:
    # The exponent of a finite Decimal is an int; 'n', 'N' and 'F' mark NaN and infinity.
    exponent = value.as_tuple().exponent
    if isinstance(exponent, int) and abs(value) < LARGEST_AMOUNT and exponent >= -9:
        return None
    return f"{value} is no amount below {LARGEST_AMOUNT:,} with at most 9 decimals"


def _moment_problem(column: Column[Any], value: datetime) -> str | None:
    if value.tzinfo is None:
        return f"{value} has no time zone"
    if EARLIEST <= value <= LATEST:
        return None
    return f"{value} is outside the years {EARLIEST.year} to {LATEST.year}"


# Column type -> the Python type that it takes, where that is not the type of what is stored.
_TYPES: dict[type, type] = {Moment: datetime, Amount: Decimal}
_NAMES = {str: "text", int: "whole number", float: "number", bool: "yes or no", Decimal: "decimal amount"}
_NAMES |= {datetime: "moment"}
_CHECKS: dict[type, Any] = {
    str: _text_problem,
    int: _integer_problem,
    float: _float_problem,
    Decimal: _decimal_problem,
    datetime: _moment_problem,
}
