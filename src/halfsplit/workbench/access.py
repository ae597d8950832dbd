"""What every page asks of a request: the store, and the person with the right that it needs."""

from __future__ import annotations

from collections.abc import Awaitable, Callable
from typing import Annotated

from fastapi import Depends, Request

from halfsplit.job import JobStore
from halfsplit.workbench.accounts import Person, right
from halfsplit.workbench.forms import fields


def _store(request: Request) -> JobStore:
    store: JobStore = request.app.state.store
    return store


def _with(wanted: str) -> Callable[[Request], Awaitable[Person]]:
    check = right(wanted)

    async def person(request: Request) -> Person:
        request.state.person = await check(request)
        found: Person = request.state.person
        return found

    return person


Form = Annotated[dict[str, str], Depends(fields)]
"""The text fields of the form that was sent."""
Store = Annotated[JobStore, Depends(_store)]
Reader = Annotated[Person, Depends(_with("read"))]
Taker = Annotated[Person, Depends(_with("intake"))]
Cashier = Annotated[Person, Depends(_with("money"))]
Technician = Annotated[Person, Depends(_with("measure"))]
Owner = Annotated[Person, Depends(_with("manage"))]
