"""Long work on a Dask cluster: the same on any number of workers, and whole though a worker is killed."""

import os
import signal
from pathlib import Path

import pytest

from halfsplit.job.spread import spread

dask = pytest.importorskip("distributed", reason="Dask is not installed: pip install halfsplit[cluster]")


def squared(piece):
    """The square of a number; whoever works on 13 first is killed over it."""
    number, mark = piece
    if number == 13 and not Path(mark).exists():
        Path(mark).touch()
        os.kill(os.getpid(), signal.SIGKILL)
    return number * number


def test_a_worker_is_killed_and_nothing_is_lost(tmp_path):
    pieces = [(number, str(tmp_path / "killed")) for number in range(40)]
    with dask.LocalCluster(
        n_workers=2, threads_per_worker=1, host="127.0.0.1", dashboard_address=None
    ) as cluster:
        found = spread(squared, pieces, cluster=cluster.scheduler_address)
    assert (tmp_path / "killed").exists()
    assert found == [number * number for number in range(40)]
