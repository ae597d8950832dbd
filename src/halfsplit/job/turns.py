"""One computation after the other: together they would all be done only when the last is. And none for nobody."""

from __future__ import annotations

import heapq
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from typing import Final

from halfsplit.errors import ConflictError

TURN: Final = 1.0
"""Seconds of work after which a computation counts as long: then it shares the processor with the next."""

LATE: Final = 3.0
"""Seconds by which what a page fetches late stands behind what was asked for at the same time."""


class Turns:
    """Turns in the order of asking, what is ``late`` as if it had been asked for `LATE` seconds later.

    Whoever has the turn for longer than `TURN` loses it and goes on beside the next. A thread that has the turn has it
    in all that it does meanwhile. ``clock``: seconds that never go backwards.
    """

    def __init__(self, clock: Callable[[], float] = time.monotonic) -> None:
        self._clock = clock
        self._changed = threading.Condition()
        self._asked = 0
        self._waiting: list[tuple[float, int]] = []
        self._holder: tuple[float, int] | None = None
        self._thread = 0
        self._since = 0.0

    @contextmanager
    def turn(self, *, wait: bool = True, late: bool = False) -> Iterator[bool]:
        """Whether the turn was had: always, unless it could not be had at once and nobody waits for it."""
        if self._holder is not None and self._thread == threading.get_ident():
            yield True
            return
        mine = self._taken(wait=wait, late=late)
        try:
            yield mine is not None
        finally:
            with self._changed:
                if mine is not None and self._holder == mine:
                    self._holder = None
                    self._changed.notify_all()

    def _taken(self, *, wait: bool, late: bool) -> tuple[float, int] | None:
        with self._changed:
            if not wait and (self._holder is not None or self._waiting):
                return None
            self._asked += 1
            mine = (self._clock() + LATE * late, self._asked)
            heapq.heappush(self._waiting, mine)
            while (left := self._left(mine)) != 0.0:
                self._changed.wait(left)
            heapq.heappop(self._waiting)
            self._holder, self._thread, self._since = mine, threading.get_ident(), self._clock()
            self._changed.notify_all()
            return mine

    def _left(self, mine: tuple[float, int]) -> float | None:
        """Seconds until it may be this one's turn; None until somebody else has begun."""
        if self._waiting[0] != mine:
            return None
        if self._holder is None:
            return 0.0
        return max(0.0, self._since + TURN - self._clock())


is_waited_for: ContextVar[Callable[[], bool]] = ContextVar("is_waited_for", default=lambda: True)
"""Whether whoever asked is still there."""


class AbandonedError(ConflictError):
    """Whoever asked has gone: nobody will see the answer."""


def check_waited_for() -> None:
    """Raise AbandonedError where nobody waits for the work that is about to begin."""
    if not is_waited_for.get()():
        raise AbandonedError("nobody waits for this any more")
