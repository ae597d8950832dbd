"""Waiting for what another thread or process does: for a condition, never for a time."""

import socket
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager

PATIENCE = 120.0
"""Seconds after which a condition is taken for one that never comes true; no test passes sooner or later by it."""


def until(condition: Callable[[], object], words: str) -> None:
    """Wait until a condition holds; `words` say which, where it never does."""
    end = time.monotonic() + PATIENCE
    while not condition():
        assert time.monotonic() < end, f"it never came that {words}"
        time.sleep(0.02)


@contextmanager
def reserved_port() -> Iterator[int]:
    """A port of this machine that nobody else is given meanwhile.

    It is bound, not listened on: a server that sets SO_REUSEADDR, as all do, can have it, and start on it again.
    """
    with socket.socket() as held:
        held.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        held.bind(("127.0.0.1", 0))
        yield held.getsockname()[1]
