"""Work shared out among the processor's cores, for what is compiled; memory given back when it is done."""

from __future__ import annotations

import contextlib
import ctypes
import os
from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor
from functools import cache
from typing import TypeVar

Room = TypeVar("Room")

THREADS = min(4, len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else 2)
"""Threads among which work is shared out: two do nearly twice as much, more than four hardly more than four."""


@cache
def _threads() -> ThreadPoolExecutor:
    return ThreadPoolExecutor(THREADS, "halfsplit")


if hasattr(os, "register_at_fork"):
    os.register_at_fork(after_in_child=_threads.cache_clear)  # the threads stay behind in the parent


def share_out(
    work_on: Callable[[Room, int, int], None], rooms: Sequence[Room], count: int, fewest: int
) -> None:
    """Work on items 0 to ``count`` - 1 in stretches of at least ``fewest``: each a thread, in a room of its own.

    Raises what the work raises.
    """
    parts = max(1, min(len(rooms), count // fewest))
    ends = [count * part // parts for part in range(parts + 1)]
    own, *others = zip(rooms[:parts], ends[:-1], ends[1:], strict=True)
    waiting = [_threads().submit(work_on, *stretch) for stretch in others]
    work_on(*own)
    for each in waiting:
        each.result()


def give_memory_back() -> None:
    """Return freed memory to the system, where the C library can: it keeps large arrays of each thread for later."""
    with contextlib.suppress(AttributeError, OSError):
        ctypes.CDLL(None).malloc_trim(0)
