"""The engine's work in processes of their own: each request about a job's bench goes to the process that knows the job.

A process keeps the jobs that it was given, with what they have heard, so that nothing is worked out twice; where it is
held up by other work, the job moves on. Everything is in the store before anybody is told of it, so a process can be
ended at any moment: it is ended when nobody waits any more for what it works on, and when it has grown too large.
"""

from __future__ import annotations

import asyncio
import multiprocessing
import re
import time
from collections import OrderedDict, deque
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any, Final

from starlette.types import ASGIApp, Message, Receive, Scope, Send

from halfsplit.workbench.pipe import forward, megabytes, serve
from halfsplit.workbench.problems import problem_response

BENCH: Final = re.compile(
    r"(?:/api/v1)?/jobs/(?!new(?:/|$)|import(?:/|$))([A-Za-z0-9_.:-]{1,60})"
    r"(?:/(?:drawing|looks|scan/cause|evidence|complaints|close|state|progress|suspects|tests|report|report\.pdf)(?:/.*)?)?"
)
"""The addresses whose answers the engine works out, with the job's id; all others are answered by the server itself."""
ENTRY: Final = re.compile(r"(?:/api/v1)?/jobs/[^/]+/evidence")
"""Where entries are sent to: the server stores them itself, for it is never busy."""
ASKED_ELSEWHERE: Final = "asked elsewhere"
"""In the request's state: a question about an entry is put with the bench, which a process of the engine makes."""
HELD_UP: Final = 1.0
"""Seconds after which a request is taken for heavy work, which no other job should wait for.

Where a process goes on answering meanwhile (`ANSWERS`), its requests only wait for each other: there is no heavy one.
"""
ANSWERS: Final = 2
ABANDONED: Final = 10.0
"""Seconds for which a process goes on with what nobody waits for: what it remembers of other jobs goes with it."""
LARGEST: Final = 1_500.0
"""Megabytes that a process may hold before another takes its place; it forgets jobs long before that."""
PRELOAD: Final = ["halfsplit.workbench.preload"]
"""Imported once, so that a new process comes up at once and shares the program's memory with the others."""
JOBS_KNOWN: Final = 2_000
PASSED_ON: Final = 421
"""What the pages answer where the engine has to (misdirected request, RFC 9110)."""
GONE: Final = (503, "The work was broken off", "What was entered is kept. Load the page again.")


@dataclass
class Going:
    """A request that a process works on. ``left``: when whoever asked went away, None while he waits."""

    job_id: str
    since: float
    left: float | None = None


@dataclass
class Process:
    """A process with its socket, what it works on and when it last answered. ``retired``: it gets nothing new."""

    process: Any
    socket: str
    lifeline: Any
    going: list[Going] = field(default_factory=list)
    answered: deque[float] = field(default_factory=lambda: deque(maxlen=ANSWERS))
    retired: bool = False

    def heavy(self, job_id: str, now: float) -> bool:
        """Whether another job has kept it for long, and from answering."""
        if len(self.answered) == ANSWERS and now - self.answered[0] < HELD_UP:
            return False
        return any(request.job_id != job_id and now - request.since > HELD_UP for request in self.going)

    def free(self, now: float) -> bool:
        """Whether nobody waits there for long: only to such a one does a job move, for it brings its work with it."""
        return all(now - request.since <= HELD_UP for request in self.going)

    def abandoned(self, now: float) -> bool:
        """Whether all that it works on is for nobody, and has been for a while."""
        waits = [request.left for request in self.going]
        return bool(waits) and all(left is not None and now - left > ABANDONED for left in waits)

    def end(self) -> None:
        """End it, whatever it does."""
        self.lifeline.close()
        self.process.kill()
        self.process.join()


class Pool:
    """An ASGI application around the server's own: sends what the engine has to work out to one of its processes.

    ``app`` answers everything else; ``start`` makes the application in a new process, where it must be importable.
    """

    def __init__(self, app: ASGIApp, start: Callable[[], ASGIApp], number: int) -> None:
        self.app, self._start = app, start
        self._folder = TemporaryDirectory(prefix="halfsplit-")
        self._context = multiprocessing.get_context("forkserver")
        self._context.set_forkserver_preload(PRELOAD)
        self._sockets = 0
        self._processes = [self._new() for _ in range(number)]
        self._places: OrderedDict[str, Process] = OrderedDict()
        self._tasks: set[asyncio.Task[None]] = set()

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        match = BENCH.fullmatch(scope["path"]) if scope["type"] == "http" else None
        if match is None:
            await self.app(scope, receive, send)
            return
        if not self._tasks:
            self._keep(self._watching())
        if scope["method"] == "POST" and ENTRY.fullmatch(scope["path"]):
            await self._entered(match[1], scope, receive, send)
        else:
            await self._answered(match[1], scope, receive, send)

    async def _entered(self, job_id: str, scope: Scope, receive: Receive, send: Send) -> None:
        """Let the server store an entry; where it has a question, the job's process gets the same request."""
        taken: list[Message] = []
        passed_on = False

        async def remembered() -> Message:
            taken.append(await receive())
            return taken[-1]

        async def watched(message: Message) -> None:
            nonlocal passed_on
            passed_on = passed_on or message.get("status") == PASSED_ON
            if not passed_on:
                await send(message)

        async def again() -> Message:
            return taken.pop(0) if taken else await receive()

        await self.app(
            dict(scope) | {"state": {**scope.get("state", {}), ASKED_ELSEWHERE: True}}, remembered, watched
        )
        if passed_on:
            await self._answered(job_id, scope, again, send)

    async def _answered(self, job_id: str, scope: Scope, receive: Receive, send: Send) -> None:
        going, begun = Going(job_id, time.monotonic()), False

        async def watched(message: Message) -> None:
            nonlocal begun
            begun = True
            await send(message)

        async def listened() -> Message:
            message = await receive()
            if message["type"] == "http.disconnect":
                going.left = time.monotonic()
            return message

        process = self._place(job_id, going.since)
        process.going.append(going)
        try:
            await forward(process.socket, scope, listened, watched)
        except (
            OSError,
            EOFError,
        ):  # it has ended; what was stored is stored, and sent again it is stored once
            if not begun and going.left is None:
                await problem_response(*GONE)(scope, receive, send)
        finally:
            process.going.remove(going)
            process.answered.append(time.monotonic())

    def close(self) -> None:
        """End every process."""
        for process in self._processes:
            process.end()
        self._folder.cleanup()

    def _place(self, job_id: str, now: float) -> Process:
        """The process that knows a job, unless that is held up by another job and there is one that is not."""
        known = self._places.get(job_id)
        if known is None or known.retired or known.heavy(job_id, now):
            best = min(
                self._processes,
                key=lambda process: (
                    process.heavy(job_id, now),
                    len(process.going),
                    sum(place is process for place in self._places.values()),
                ),
            )
            if known is None or known.retired or best.free(now):
                known = best
        self._places[job_id] = known
        self._places.move_to_end(job_id)
        while len(self._places) > JOBS_KNOWN:
            self._places.popitem(last=False)
        return known

    def _new(self) -> Process:
        self._sockets += 1
        socket = str(Path(self._folder.name) / str(self._sockets))
        theirs, ours = self._context.Pipe(duplex=False)
        made = self._context.Process(target=serve, args=(self._start, socket, theirs), daemon=True)
        made.start()
        theirs.close()
        return Process(made, socket, ours)

    def _keep(self, work: Any) -> None:
        task = asyncio.ensure_future(work)
        self._tasks.add(task)
        task.add_done_callback(self._tasks.discard)

    async def _watching(self) -> None:
        """Once in a while: replace what nobody waits for, what has died and what has grown too large."""
        while True:
            await asyncio.sleep(ABANDONED / 4)
            for number, process in enumerate(self._processes):
                now = time.monotonic()
                useless = not process.process.is_alive() or process.abandoned(now)
                if useless or megabytes(process.process.pid) > LARGEST:
                    process.retired = True
                    self._processes[number] = self._new()
                    self._keep(_ended(process, at_once=useless))


async def _ended(process: Process, *, at_once: bool) -> None:
    """End a process, at once or when the last who waits for it has his answer."""
    while process.going and not at_once:  # noqa: ASYNC110 - a process that retires may take as long as it likes
        await asyncio.sleep(0.1)
    await asyncio.get_running_loop().run_in_executor(None, process.end)
