"""What the tests of a run share: the same question about the same job is answered once, and routes are built once.

Passwords are hashed with hardly any work: what the product's own hashes cost is a test of its own.
"""

from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

import pytest
from argon2 import PasswordHasher
from fastapi import FastAPI

from halfsplit.diagnosis import answers
from halfsplit.diagnosis.diagnosis import Diagnosis
from halfsplit.job import replay
from halfsplit.workbench import accounts
from halfsplit.workbench import app as workbench

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


class SharedApps:
    """Gives an application a store that is its own for one test; its routes are those of a test before."""

    def __init__(self) -> None:
        self._free: dict[tuple[bool, bool], list[FastAPI]] = {}
        self._used: list[FastAPI] = []
        self._make = workbench.pages

    def __call__(self, store, *, accounts, secure) -> FastAPI:
        free = self._free.setdefault((accounts, secure), [])
        app = free.pop() if free else self._make(store, accounts=accounts, secure=secure)
        app.state.store, app.state.stopping = store, False
        self._used.append(app)
        return app

    def give_back(self) -> None:
        """The test is over."""
        while self._used:
            app = self._used.pop()
            self._free[app.state.accounts, app.state.secure].append(app)


@contextmanager
def shared() -> Iterator[SharedApps]:
    """Share them until the end of the block."""
    apps = SharedApps()
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(answers, "KEPT", ROOM)
        patch.setattr(replay, "Diagnosis", SharedAnswers())
        patch.setattr(workbench, "pages", apps)
        patch.setattr(accounts, "_HASHER", PasswordHasher(time_cost=1, memory_cost=64, parallelism=1))
        yield apps
