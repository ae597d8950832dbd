"""Work that nobody waits for any more: what serves a request says how to tell, and long work looks before it begins."""

from __future__ import annotations

from collections.abc import Callable
from contextvars import ContextVar

from halfsplit.errors import ConflictError

is_waited_for: ContextVar[Callable[[], bool]] = ContextVar("is_waited_for", default=lambda: True)
"""Whether whoever asked is still there."""


class AbandonedError(ConflictError):
    """Whoever asked has gone: nobody will see the answer."""


def check_waited_for() -> None:
    """Raise AbandonedError where nobody waits for the work that is about to begin."""
    if not is_waited_for.get()():
        raise AbandonedError("nobody waits for this any more")
