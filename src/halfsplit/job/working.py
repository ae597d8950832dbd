"""Long work in a process of its own: a page asks how far it is, and nothing else waits for it.

One piece is worked out at a time on each server; the others wait their turn. Where there is a cluster, pieces that
need nothing of this machine are worked out there, `ON_A_CLUSTER` at a time. What it gives is kept by whoever asked
for it before the work is told as done. When the program ends, unfinished work ends with it, and is asked for again.
"""

from __future__ import annotations

import contextlib
import multiprocessing
import os
import signal
import threading
from collections.abc import Callable
from dataclasses import dataclass, field
from functools import partial
from multiprocessing.connection import Connection
from typing import Any, Literal

from halfsplit.errors import HalfsplitError
from halfsplit.job.spread import one

ON_A_CLUSTER = 8
"""Pieces of one server that a cluster works on at a time; its scheduler shares them out."""
State = Literal["waiting", "working", "done", "failed", "stopped"]
Progress = Callable[[int, int], None]
Task = Callable[..., Any]
"""A function that a new process can import; its last argument is a `Progress`."""
PRELOAD = ["halfsplit.job.replay"]
"""Imported once by the process that the others are forked from; where the workbench's pool has one, that serves."""
KEPT = 40
"""Pieces of work that are remembered once they are over."""


@dataclass
class Work:
    """A piece of work: ``made`` of ``most`` steps (0 where nobody knows how many); ``problem``: why it failed."""

    state: State = "waiting"
    made: int = 0
    most: int = 0
    problem: str = ""
    process: Any = field(default=None, repr=False)
    ended: threading.Event = field(default_factory=threading.Event, repr=False)

    @property
    def going(self) -> bool:
        return self.state in ("waiting", "working")


class Workers:
    """The long work of one server, by name."""

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._here, self._there = threading.Semaphore(1), threading.Semaphore(ON_A_CLUSTER)
        self.cluster = ""
        self._works: dict[str, Work] = {}

    def of(self, name: str) -> Work | None:
        """The last piece of work of this name."""
        with self._lock:
            return self._works.get(name)

    def start(
        self,
        name: str,
        task: Task,
        arguments: tuple[Any, ...],
        keep: Callable[[Any], object],
        *,
        anywhere: bool = False,
    ) -> Work:
        """Begin it, unless it is going on already.

        ``keep`` stores what it gives; ``anywhere``: it needs nothing but its arguments, no file of this machine.
        """
        with self._lock:
            known = self._works.get(name)
            if known is not None and known.going:
                return known
            work = self._works[name] = Work()
            for old in [key for key, work in self._works.items() if not work.going][:-KEPT]:
                del self._works[old]
        cluster = self.cluster if anywhere else ""
        begun = partial(_work, task=task, arguments=arguments, cluster=cluster)
        turn = self._there if cluster else self._here
        threading.Thread(target=self._run, args=(work, begun, keep, turn), daemon=True).start()
        return work

    def stop(self, name: str) -> None:
        """End it, if it is going on; nothing is kept."""
        with self._lock:
            work = self._works.get(name)
            if work is None or not work.going:
                return
            work.state = "stopped"
            if work.process is not None:
                work.process.terminate()

    def _run(
        self,
        work: Work,
        begun: Callable[[Connection], None],
        keep: Callable[[Any], object],
        turn: threading.Semaphore,
    ) -> None:
        try:
            with turn:
                if work.going:
                    self._listen(work, begun, keep)
        except HalfsplitError as error:
            self._end(work, "failed", str(error))
        except Exception as error:  # noqa: BLE001 - nobody else would ever hear of it
            self._end(work, "failed", f"{type(error).__name__}: {error}")
        finally:
            work.ended.set()

    def _listen(self, work: Work, begun: Callable[[Connection], None], keep: Callable[[Any], object]) -> None:
        context = multiprocessing.get_context("forkserver")
        context.set_forkserver_preload(PRELOAD)
        ours, theirs = context.Pipe(duplex=False)
        process = context.Process(target=begun, args=(theirs,), daemon=True)
        with self._lock:
            if not work.going:
                return
            work.state, work.process = "working", process
            process.start()
        theirs.close()
        try:
            self._hear(work, ours, keep)
        finally:
            process.terminate()
            process.join()
            ours.close()

    def _hear(self, work: Work, ours: Connection, keep: Callable[[Any], object]) -> None:
        while True:
            try:
                what, message = ours.recv()
            except EOFError:
                return self._end(work, "failed", "it ended before it was done")
            if what == "progress":
                work.made, work.most = message
            elif what == "failed":
                return self._end(work, "failed", message)
            else:
                if work.going:
                    keep(message)
                return self._end(work, "done", "")

    def _end(self, work: Work, state: State, problem: str) -> None:
        with self._lock:
            if work.going:
                work.state, work.problem = state, problem


def _work(pipe: Connection, *, task: Task, arguments: tuple[Any, ...], cluster: str) -> None:
    """What the process does. Ctrl-C at the server is the server's to answer."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    with contextlib.suppress(AttributeError, OSError):
        os.nice(5)  # whoever measures comes first

    def progress(made: int, most: int) -> None:
        pipe.send(("progress", (made, most)))

    try:
        made = one(task, arguments, progress, cluster=cluster) if cluster else task(*arguments, progress)
        pipe.send(("done", made))
    except HalfsplitError as error:
        pipe.send(("failed", str(error)))
    except Exception as error:  # noqa: BLE001 - told on the page instead of in a traceback that nobody sees
        pipe.send(("failed", f"{type(error).__name__}: {error}"))


workers = Workers()
"""Those of this program. Names tell stores apart (`name_of`)."""


def name_of(store: object, *words: str) -> str:
    """A name for a piece of work of this store."""
    return " ".join((str(id(store)), *words))
