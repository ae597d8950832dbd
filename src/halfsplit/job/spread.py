"""Long work in many pieces: one after the other here, or on the workers of a Dask cluster.

What comes back has the order of the pieces, so the result is the same on any number of workers. A piece whose worker
is lost is given to another (Dask does so three times).
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from typing import Any, TypeVar

from halfsplit.errors import InputError, MissingProgramError

A = TypeVar("A")
B = TypeVar("B")
LOCAL = "local"
BATCH = 8
"""Pieces that travel together: each journey has its price."""
PATIENCE = 20
"""Seconds in which a cluster must answer."""


def spread(work: Callable[[A], B], pieces: Sequence[A], *, cluster: str = "") -> list[B]:
    """Do the work for every piece; see `each`."""
    return list(each(work, pieces, cluster=cluster))


def each(
    work: Callable[[A], B], pieces: Sequence[A], *, cluster: str = "", batch: int = BATCH
) -> Iterator[B]:
    """Do the work for every piece, each as soon as it and those before it are done.

    Args:
        work: a function that a new process can import; it must depend on its piece alone.
        pieces: what it is done for.
        cluster: '' in this process; 'local' on every processor of this machine; else the address of a Dask scheduler.
        batch: pieces that travel together.

    Raises:
        InputError: no cluster answers at this address.
        MissingProgramError: Dask is not installed.
    """
    if not cluster:
        yield from map(work, pieces)
        return
    batches = [pieces[start : start + batch] for start in range(0, len(pieces), batch)]
    with _client(cluster) as client:
        for made in client.map(_together, batches, work=work, pure=False):
            yield from made.result()
            made.release()


def _together(batch: Sequence[A], *, work: Callable[[A], B]) -> list[B]:
    return [work(piece) for piece in batch]


@contextmanager
def _client(cluster: str) -> Iterator[Any]:
    try:
        from distributed import Client, LocalCluster
    except ImportError:
        raise MissingProgramError("--cluster needs Dask: install halfsplit[cluster]") from None
    if cluster == LOCAL:
        with (
            LocalCluster(host="127.0.0.1", threads_per_worker=1, dashboard_address=None) as here,  # type: ignore[no-untyped-call]
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
