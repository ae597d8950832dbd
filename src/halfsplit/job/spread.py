"""Long work in many pieces: one after the other here, or on the workers of a Dask cluster.

What comes back has the order of the pieces, so the result is the same on any number of workers. A piece whose worker
is lost is given to another (Dask does so three times).
"""

from __future__ import annotations

from collections import deque
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager
from itertools import islice
from typing import Any, TypeVar
from uuid import uuid4

from halfsplit.errors import InputError, MissingProgramError

Progress = Callable[[int, int], None]
A = TypeVar("A")
B = TypeVar("B")
LOCAL = "local"
AHEAD = 4
"""Pieces that are on their way for each thread of a worker."""
PATIENCE = 20
"""Seconds in which a cluster must answer."""


def each(work: Callable[[A], B], pieces: Iterable[A], *, cluster: str = "") -> Iterator[B]:
    """Do the work for every piece, each as soon as it and those before it are done.

    No more pieces are taken than are being worked on, and `AHEAD` for each worker.

    Args:
        work: a function that a new process can import; it must depend on its piece alone.
        pieces: what it is done for.
        cluster: '' in this process; 'local' on every processor of this machine; else the address of a Dask scheduler.

    Raises:
        InputError: no cluster answers at this address.
        MissingProgramError: Dask is not installed.
    """
    if not cluster:
        yield from map(work, pieces)
        return
    coming, going = iter(pieces), deque[Any]()
    with _client(cluster) as client:
        while True:
            room = AHEAD * max(1, sum(client.nthreads().values())) - len(going)
            going += [client.submit(work, piece, pure=False) for piece in islice(coming, max(0, room))]
            if not going:
                return
            made = going.popleft()
            yield made.result()
            made.release()


def one(work: Callable[..., B], given: tuple[Any, ...], progress: Progress, *, cluster: str) -> B:
    """Do one piece of work on a cluster; ``work`` takes what is given, and a progress, which is told here.

    Raises as `each`.
    """
    topic = f"halfsplit {uuid4()}"
    with _client(cluster) as client:
        client.subscribe_topic(topic, lambda event: progress(*event[1]))
        made: B = client.submit(_told_of, work, given, topic, pure=False).result()
        return made


def _told_of(work: Callable[..., B], given: tuple[Any, ...], topic: str) -> B:
    from distributed import get_worker

    worker = get_worker()
    return work(*given, lambda made, most: worker.log_event(topic, (made, most)))


@contextmanager
def _client(cluster: str) -> Iterator[Any]:
    try:
        from distributed import Client, LocalCluster
    except ImportError:
        raise MissingProgramError("--cluster needs Dask: install halfsplit[cluster]") from None
    if cluster == LOCAL:
        with (
            LocalCluster(host="127.0.0.1", threads_per_worker=1, dashboard_address="127.0.0.1:0") as here,  # type: ignore[no-untyped-call]
            Client(here) as client,  # type: ignore[no-untyped-call]
        ):
            yield client
        return
    try:
        client = Client(cluster, timeout=PATIENCE)  # type: ignore[no-untyped-call]
    except (OSError, ValueError) as error:
        raise InputError(
            f"no cluster answers at {cluster[:120]!r} ({error})",
            remedy="start one with `dask scheduler` and `dask worker ADDRESS`, or write local",
        ) from None
    with client:
        yield client
