"""What every page asks of a request: the store, the job, and the person with the right that it needs."""

from __future__ import annotations

from collections.abc import Callable
from typing import Annotated

from fastapi import Depends, Path, Request
from starlette.datastructures import UploadFile

from halfsplit.job import JobStore, OpenJob
from halfsplit.workbench.accounts import Person, right
from halfsplit.workbench.forms import fields, files_of

NAME = "^[A-Za-z0-9_.:-]{1,60}$"
JobId = Annotated[str, Path(pattern=NAME, examples=["demo"])]


def _store(request: Request) -> JobStore:
    store: JobStore = request.app.state.store
    return store


Form = Annotated[dict[str, str], Depends(fields)]
"""The text fields of the form that was sent."""
Files = Annotated[list[UploadFile], Depends(files_of)]
"""Its files."""
Store = Annotated[JobStore, Depends(_store)]
Reader = Annotated[Person, Depends(right("read"))]
Taker = Annotated[Person, Depends(right("intake"))]
Owner = Annotated[Person, Depends(right("manage"))]


def _job(wanted: str) -> Callable[..., OpenJob]:
    def opened(job_id: JobId, store: Store, person: Person = Depends(right(wanted))) -> OpenJob:
        return OpenJob(store, job_id, person.name)

    return opened


JobToRead = Annotated[OpenJob, Depends(_job("read"))]
"""The job of the address, opened by a person who may read it; the next ones: who may do more."""
JobToTakeIn = Annotated[OpenJob, Depends(_job("intake"))]
JobToCharge = Annotated[OpenJob, Depends(_job("money"))]
JobToMeasure = Annotated[OpenJob, Depends(_job("measure"))]
