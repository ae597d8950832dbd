"""What the tests of a run share: the same question about the same job is answered once.

Passwords are hashed with hardly any work: what the product's own hashes cost is a test of its own.
"""

from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

import pytest
from argon2 import PasswordHasher

from halfsplit.diagnosis import answers
from halfsplit.diagnosis.diagnosis import Diagnosis
from halfsplit.job import replay
from halfsplit.workbench import accounts

ROOM = 2000
"""Answers that are kept of each circuit: those of a whole run."""


class _Known(answers.Answers):
    """Answers that other jobs know too, until something that is no reading makes this job another one."""

    def clear(self) -> None:
        self._known = {}


class SharedAnswers:
    """Makes diagnoses that know what was answered of the same circuit, instruments and priors before."""

    def __init__(self) -> None:
        self._first: dict[object, tuple[Diagnosis, Any]] = {}

    def __call__(self, circuit, *, priors, predictions=None, **how) -> Diagnosis:
        key = id(circuit), id(priors), *sorted((name, str(value)) for name, value in how.items())
        first, _ = self._first.setdefault(key, (Diagnosis(circuit, priors=priors, **how), priors))
        made = Diagnosis(circuit, priors=priors, predictions=predictions or first.predictions, **how)
        made._known = _Known()
        made._known._known = first._known._known
        return made


@contextmanager
def shared() -> Iterator[None]:
    """Share them until the end of the block."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(answers, "KEPT", ROOM)
        patch.setattr(replay, "Diagnosis", SharedAnswers())
        patch.setattr(accounts, "_HASHER", PasswordHasher(time_cost=1, memory_cost=64, parallelism=1))
        yield
