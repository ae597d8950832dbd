"""A current log live from a bench meter over SCPI (IEEE 488.2), through pyvisa.

The resource is pyvisa's own word for the instrument: `TCPIP0::192.0.2.7::5025::SOCKET`, `ASRL/dev/ttyUSB0::INSTR`.
"""

from __future__ import annotations

import math
import time
from collections.abc import Callable, Iterator
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pyvisa

from halfsplit.errors import HalfsplitError, InputError

QUERY = "MEAS:CURR:DC?"
OVER_RANGE = 9.0e37
"""SCPI-99: 9.9E37 stands for a value that is out of range."""

TIMEOUT_MS = 5000
MOST_FAILURES = 5


class MeterError(HalfsplitError):
    """The meter cannot be opened, does not answer or answers nonsense again and again. Not for a single bad reading."""


@dataclass(frozen=True, slots=True)
class Sample:
    """seconds: since the start. amps: A; NaN where the meter was over its range or did not answer."""

    seconds: float
    amps: float


class Meter:
    """A meter that is open and has said who it is (`identity`); use it in a `with` statement. Raises MeterError."""

    def __init__(self, resource: str, backend: str = "@py") -> None:
        try:
            manager = pyvisa.ResourceManager(backend)
            self._instrument: Any = manager.open_resource(
                resource, read_termination="\n", write_termination="\n", open_timeout=TIMEOUT_MS
            )
            self._instrument.timeout = TIMEOUT_MS
        except (pyvisa.Error, OSError, ValueError, AttributeError) as error:
            raise MeterError(
                f"{resource} cannot be opened ({error}): write the address as pyvisa wants it, such as "
                "TCPIP0::192.0.2.7::5025::SOCKET"
            ) from error
        self.resource = resource
        self.identity = self._ask("*IDN?")

    def __enter__(self) -> Meter:  # noqa: PYI034 - never subclassed
        return self

    def __exit__(self, *_: object) -> None:
        with suppress(pyvisa.Error, OSError):
            self._instrument.close()

    def amps(self) -> float:
        """One reading in A; NaN over range. Raises MeterError."""
        answer = self._ask(QUERY)
        try:
            value = float(answer.split(",")[0])
        except ValueError:
            raise MeterError(
                f"{self.resource} answers {answer[:40]!r} to {QUERY}; a number expected"
            ) from None
        return math.nan if abs(value) >= OVER_RANGE else value

    def _ask(self, question: str) -> str:
        try:
            return str(self._instrument.query(question)).strip()
        except (pyvisa.Error, OSError, UnicodeDecodeError) as error:
            raise MeterError(
                f"{self.resource} does not answer {question} ({error}): is the meter on, is the address right, "
                "is it set to SCPI?"
            ) from error


def sample(
    meter: Meter,
    interval: float,
    *,
    clock: Callable[[], float] = time.monotonic,
    sleep: Callable[[float], None] = time.sleep,
) -> Iterator[Sample]:
    """Readings every `interval` seconds, without end: stop by leaving the loop.

    A reading that fails is a NaN, so that an hour is not lost by one bad answer; five in a row raise MeterError.
    """
    if interval <= 0:
        raise InputError(f"{interval:g} s between readings", remedy="enter more than nothing, such as 1")
    start, failures, count = clock(), 0, 0
    while True:
        moment = clock() - start
        try:
            amps, failures = meter.amps(), 0
        except MeterError:
            failures += 1
            if failures >= MOST_FAILURES:
                raise
            amps = math.nan
        yield Sample(moment, amps)
        count += 1
        sleep(max(0.0, start + count * interval - clock()))


HEAD = "seconds,amps\n"


def record(
    meter: Meter,
    path: Path,
    interval: float,
    seconds: float,
    *,
    clock: Callable[[], float] = time.monotonic,
    sleep: Callable[[float], None] = time.sleep,
    progress: Callable[[Sample], None] = lambda _: None,
) -> int:
    """Log into a new file until ``seconds`` are over; each reading is on the disk before the next. Returns how many.

    Ctrl-C ends it early, and what was logged stays. Raises InputError where the file is there already, and MeterError;
    the readings until then are in the file.
    """
    count = 0
    try:
        with path.open("x", encoding="utf-8") as file, suppress(KeyboardInterrupt):
            file.write(HEAD)
            for taken in sample(meter, interval, clock=clock, sleep=sleep):
                if taken.seconds > seconds:
                    break
                file.write(f"{taken.seconds:.3f},{taken.amps:.7g}\n")
                file.flush()
                count += 1
                progress(taken)
    except FileExistsError:
        raise InputError("is there already", remedy="name another file", where=path.name) from None
    except OSError as error:
        raise InputError(f"cannot be written ({error.strerror})", where=path.name) from error
    return count
