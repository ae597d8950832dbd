"""What every page asks of a request: the store, the job, and the person with the right that it needs."""

from __future__ import annotations

from collections.abc import Awaitable, Callable
from typing import Annotated

from fastapi import Depends, Path, Request

from halfsplit.job import JobStore, OpenJob
from halfsplit.workbench.accounts import Person, right
from halfsplit.workbench.forms import fields

NAME = "^[A-Za-z0-9_.:-]{1,60}$"
JobId = Annotated[str, Path(pattern=NAME, examples=["demo"])]


def _store(request: Request) -> JobStore:
    store: JobStore = request.app.state.store
    return store


def _with(wanted: str) -> Callable[[Request], Awaitable[Person]]:
    check = right(wanted)

    async def person(request: Request) -> Person:
        request.state.person = await check(request)
        user: Person = request.state.person
        return user

    return person


Form = Annotated[dict[str, str], Depends(fields)]
"""The text fields of the form that was sent."""
Store = Annotated[JobStore, Depends(_store)]
Reader = Annotated[Person, Depends(_with("read"))]
Taker = Annotated[Person, Depends(_with("intake"))]
Cashier = Annotated[Person, Depends(_with("money"))]
Technician = Annotated[Person, Depends(_with("measure"))]
Owner = Annotated[Person, Depends(_with("manage"))]


def _read(job_id: JobId, store: Store, person: Reader) -> OpenJob:
    return OpenJob(store, job_id, person.name)


def _taken_in(job_id: JobId, store: Store, person: Taker) -> OpenJob:
    return OpenJob(store, job_id, person.name)


def _charged(job_id: JobId, store: Store, person: Cashier) -> OpenJob:
    return OpenJob(store, job_id, person.name)


def _measured(job_id: JobId, store: Store, person: Technician) -> OpenJob:
    return OpenJob(store, job_id, person.name)


JobToRead = Annotated[OpenJob, Depends(_read)]
"""The job of the address, opened by a person who may read it; the next ones: who may do more."""
JobToTakeIn = Annotated[OpenJob, Depends(_taken_in)]
JobToCharge = Annotated[OpenJob, Depends(_charged)]
JobToMeasure = Annotated[OpenJob, Depends(_measured)]
