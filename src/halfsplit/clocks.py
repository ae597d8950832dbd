"""Times of day, with or without a date, as loggers print them."""

import re
from datetime import UTC, datetime
from typing import Final

import numpy as np
from numpy.typing import NDArray

DAY: Final = 86_400.0
_CLOCK: Final = re.compile(
    r"(?:(?P<year>\d{4})[-/.](?P<month>\d\d?)[-/.](?P<day>\d\d?)[T ]+"
    r"|(?P<first>\d\d?)[./-](?P<second>\d\d?)[./-](?P<last>\d{4}|\d\d)[T ,]+)?"
    r"(?P<hour>\d{1,2}):(?P<minute>\d\d)(?::(?P<seconds>\d\d(?:[.,]\d+)?))?"
    r"\s*(?:(?P<half>[AaPp])\.?[Mm]\.?)?(?:Z|[+-]\d\d:?\d\d)?"
)


def is_clock(cell: str) -> bool:
    """Whether a cell is a time of day, with or without a date before it."""
    return bool(_CLOCK.fullmatch(cell))


def clock_seconds(cell: str) -> float | None:
    """Seconds since midnight, or since 1970 where a date stands before the time; None where there is no such day.

    Of a date with the year last, the first number is the day unless it cannot be.
    """
    match = _CLOCK.fullmatch(cell)
    if match is None:
        return None
    hour = int(match["hour"])
    hour = hour % 12 + 12 * (match["half"] in "pP") if match["half"] else hour
    seconds = hour * 3600.0 + int(match["minute"]) * 60 + float((match["seconds"] or "0").replace(",", "."))
    if match["year"]:
        year, month, day = int(match["year"]), int(match["month"]), int(match["day"])
    elif match["last"]:
        year = int(match["last"]) + 2000 * (len(match["last"]) == 2)
        day, month = int(match["first"]), int(match["second"])
        if month > 12:
            day, month = month, day
    else:
        return seconds
    try:
        return seconds + datetime(year, month, day, tzinfo=UTC).timestamp()
    except ValueError:
        return None


def past_midnight(seconds: NDArray[np.float64]) -> NDArray[np.float64]:
    """Clock times without a date start again at midnight: a fall by more than half a day is a new day.

    >>> past_midnight(np.array([86399.0, 0.0, 1.0])).tolist()
    [86399.0, 86400.0, 86401.0]
    """
    falls = np.flatnonzero(np.diff(seconds) < -DAY / 2)
    if not falls.size:
        return seconds
    days = np.zeros(seconds.size)
    days[falls + 1] = DAY
    return np.asarray(seconds + np.cumsum(days))
