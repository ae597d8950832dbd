"""Server-sent events: a page is told when its job has changed, whoever changed it and on whichever machine.

The job's last change is looked up twice a second: one look-up in an index, the same with SQLite and PostgreSQL, so that
several servers on one database tell each other's pages as well.
"""

from __future__ import annotations

from collections.abc import AsyncIterator
from typing import Final

import anyio
from fastapi import APIRouter, Request
from fastapi.concurrency import run_in_threadpool
from fastapi.responses import StreamingResponse

from halfsplit.errors import StorageError
from halfsplit.job import JobStore
from halfsplit.workbench.access import Reader, Store

router = APIRouter(include_in_schema=False)
LOOKS_EVERY: Final = 0.5
"""Seconds."""
ALIVE_EVERY: Final = 20
"""Looks after which a comment is sent, so that nothing between closes the line."""


@router.get("/jobs/{job_id}/changes")
def changes(request: Request, job_id: str, store: Store, person: Reader, after: int = 0) -> StreamingResponse:
    """`event: change` with the sequence number and who made it, for each change after ``after``."""
    store.job(job_id)
    since = after
    sent = request.headers.get("last-event-id", "")
    if sent.isascii() and sent.isdigit() and len(sent) < 12:
        since = int(sent)
    headers = {"X-Accel-Buffering": "no"}
    return StreamingResponse(
        _stream(request, store, job_id, since), media_type="text/event-stream", headers=headers
    )


async def _stream(request: Request, store: JobStore, job_id: str, since: int) -> AsyncIterator[str]:
    yield "retry: 1000\n\n"
    looks = 0
    while not await request.is_disconnected() and not request.app.state.stopping:
        try:
            changes = await run_in_threadpool(store.changes_since, job_id, since)
        except StorageError:
            changes = ()
        if changes:
            since = changes[-1].sequence
            yield f"id: {since}\nevent: change\ndata: {since} {changes[-1].what}\n\n"
        looks += 1
        if looks % ALIVE_EVERY == 0:
            yield ": alive\n\n"
        await anyio.sleep(LOOKS_EVERY)
