"""Answers to the same evidence, worked out once: what was imagined and then came true is known already."""

from __future__ import annotations

from collections.abc import Callable, Hashable, Iterable
from typing import Any, TypeVar

from halfsplit.diagnosis.measurement import Between, Measurement, Reading

KEPT = 16
"""Answers that are kept: those of the job as it stands and of what was imagined last."""
Answer = TypeVar("Answer")


class Answers:
    """What was worked out, by what was asked, what was read and what cannot be done."""

    def __init__(self) -> None:
        self._known: dict[Hashable, Any] = {}

    def answer(
        self,
        what: Hashable,
        readings: Iterable[Reading],
        refused: Iterable[Measurement],
        work_out: Callable[[], Answer],
    ) -> Answer:
        """The answer, worked out if it was not yet. How readings are named makes no difference."""
        key = what, tuple(map(_but_for_its_name, readings)), tuple(refused)
        if key not in self._known:
            while len(self._known) >= KEPT:
                self._known.pop(next(iter(self._known)))
            self._known[key] = work_out()
        known: Answer = self._known[key]
        return known

    def clear(self) -> None:
        """Forget all: something else than a reading has changed."""
        self._known.clear()


def _but_for_its_name(reading: Reading) -> tuple[Hashable, ...]:
    value = reading.value
    said = (value.low, value.high, float(value)) if isinstance(value, Between) else value
    return reading.measurement, said, reading.present, reading.source, reading.struck
