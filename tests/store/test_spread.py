"""Long work on a Dask cluster: the same on any number of workers, and whole though a worker is killed."""

import os

import pytest

from halfsplit.diagnosis.measurement import Measurement
from halfsplit.job.practising import judge_on
from halfsplit.job.spread import each, one
from halfsplit.job.working import Workers
from halfsplit.notation.circuit import Circuit as CircuitFile
from halfsplit.practice import Exercise
from tests.circuits import ONE_LAMP
from tests.store.pieces import squared
from tests.waiting import PATIENCE

pytestmark = pytest.mark.requires("distributed")


def test_a_worker_is_killed_and_nothing_is_lost(tmp_path):
    from distributed import LocalCluster  # slow to import

    pieces = [(number, str(tmp_path / "killed")) for number in range(40)]
    with LocalCluster(
        n_workers=2, threads_per_worker=1, host="127.0.0.1", dashboard_address="127.0.0.1:0"
    ) as cluster:
        found = list(each(squared, pieces, cluster=cluster.scheduler_address))
    assert (tmp_path / "killed").exists()
    assert found == [number * number for number in range(40)]


@pytest.fixture(scope="module")
def scheduler():
    """The address of a scheduler with two workers in this process."""
    from distributed import LocalCluster

    with LocalCluster(
        n_workers=2,
        threads_per_worker=1,
        processes=False,
        host="127.0.0.1",
        protocol="tcp://",
        dashboard_address="127.0.0.1:0",
    ) as cluster:
        yield cluster.scheduler_address


def test_no_more_pieces_are_taken_than_are_worked_on(scheduler):
    taken = []

    def pieces():
        for number in range(100):
            taken.append(number)
            yield number, "nobody is killed"

    made = each(squared, ((number + 100, mark) for number, mark in pieces()), cluster=scheduler)
    assert next(made) == 100 * 100
    assert len(taken) < 20
    assert list(made) == [(number + 100) ** 2 for number in range(1, 100)]


def counted(most, progress):
    """Tell how far it is."""
    for made in range(most):
        progress(made, most)
    return most


def test_one_piece_tells_how_far_it_is(scheduler):
    heard = []
    assert one(counted, (3,), lambda *so_far: heard.append(so_far), cluster=scheduler) == 3
    assert set(heard) <= {(0, 3), (1, 3), (2, 3)}


def test_a_servers_long_work_goes_to_the_cluster_where_another_machine_can_do_it(scheduler):
    kept = []
    works = Workers()
    works.cluster = scheduler
    there = works.start("there", where, (), kept.append, anywhere=True)
    here = works.start("here", where, (), kept.append)
    for work in (there, here):
        assert work.ended.wait(PATIENCE)
        assert work.state == "done", work.problem
    assert os.getpid() in kept  # the workers of this cluster are threads of this process
    assert len(set(kept)) == 2


def where(progress):
    """The process that it is done in."""
    progress(1, 1)
    return os.getpid()


def test_an_exercise_is_judged_the_same_on_a_cluster(scheduler):
    paths = []
    for cluster in ("", scheduler):
        exercise = Exercise(CircuitFile.parse(ONE_LAMP), "single", 3)
        exercise.measure(Measurement("volts", "F1.2", "on", None, "meter"))
        exercise.give_up()
        if cluster:
            judge_on(exercise, ONE_LAMP, cluster)
        paths.append((exercise.path, exercise.best))
    assert paths[0] == paths[1]
    assert paths[0][1].steps
