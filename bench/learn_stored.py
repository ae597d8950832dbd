"""Time and memory of `learn` on a store of closed jobs, with so many workers of a Dask cluster.

A few jobs are worked on by the engine on simulated vehicles until the cause is proven; the store holds copies of them
with ids of their own, each of which is worked out again. The same lessons have to come out on any number of workers.
"""

from __future__ import annotations

import argparse
import os
import time
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from tempfile import TemporaryDirectory
from uuid import uuid4

import numpy as np

from halfsplit import job as jobs
from halfsplit.circuit.kinds import LOADS
from halfsplit.job import JobStore
from halfsplit.job.learning import learn
from halfsplit.job.open_job import OpenJob
from halfsplit.job.places import from_json
from halfsplit.job.verbs import record_value
from halfsplit.notation.checked import check_text
from halfsplit.notation.library import sample
from halfsplit.practice.hiding import hide
from halfsplit.practice.vehicle import Vehicle
from halfsplit.store import EvidenceEntry
from halfsplit.workbench.pipe import megabytes

PATTERNS = ("relay-load", "tail-lamps", "power-socket")
MOST_TESTS = 14
BEGUN = datetime(2026, 3, 2, 8, tzinfo=UTC)
Template = tuple[str, tuple[EvidenceEntry, ...]]


def worked_on(store: JobStore, pattern: str, seed: int) -> Template | None:
    """A job that the engine worked on until its cause was proven; None where it was not."""
    text = sample(pattern).text
    circuit = check_text(text).circuit
    assert circuit is not None
    hidden = hide(circuit, "single", seed)
    car = Vehicle(circuit, hidden.fault, np.random.default_rng(seed))
    job_id = f"{pattern}-{seed}"
    jobs.open_job(store, jobs.Intake(), who="bench", job_id=job_id, circuit=text)
    job = OpenJob(store, job_id, "bench")
    jobs.complain_all(job, [one for one in hidden.complaints if circuit.parts[one[0]].kind in LOADS])
    for _ in range(MOST_TESTS):
        view = jobs.bench_view(job)
        if view.finding and view.finding.proven:
            return text, store.evidence(job_id)
        if not view.tests:
            return None
        record_value(job, view.tests[0].place, car.answer(from_json(view.tests[0].place)))
    return None


def filled(store: JobStore, templates: Sequence[Template], count: int) -> None:
    """So many closed jobs, each a copy of a template with ids of its own, minutes between its entries."""
    for number in range(count):
        text, entries = templates[number % len(templates)]
        job_id = f"job-{number}"
        jobs.open_job(store, jobs.Intake(), who="bench", job_id=job_id, circuit=text)
        for minute, entry in enumerate(entries):
            at = BEGUN + timedelta(minutes=6 * minute)
            store.record(job_id, replace(entry, entry_id=str(uuid4()), at=at))
        jobs.close(OpenJob(store, job_id, "bench"), complaint="dark", cause="it", correction="mended")


@contextmanager
def workers(number: int) -> Iterator[tuple[str, list[int]]]:
    """The address of a scheduler with so many workers of one thread, and their process ids; '' for none."""
    if not number:
        yield "", []
        return
    from distributed import Client, LocalCluster

    with LocalCluster(  # type: ignore[no-untyped-call]
        n_workers=number, threads_per_worker=1, host="127.0.0.1", dashboard_address="127.0.0.1:0"
    ) as cluster:
        with Client(cluster) as client:  # type: ignore[no-untyped-call]
            ids = list(client.run(_loaded).values())
        yield cluster.scheduler_address, ids


def _loaded() -> int:
    """The id of a worker's process, with the engine loaded."""
    import os

    from halfsplit.job.warm import warm

    warm()
    return os.getpid()


def main(arguments: list[str]) -> int:
    """Print a row for each number of workers; the exit status is 1 where the lessons differ."""
    parser = argparse.ArgumentParser(prog="python -m bench learn_stored", description=__doc__)
    parser.add_argument("--jobs", type=int, default=600)
    parser.add_argument("--workers", type=int, nargs="*", default=[0, 1, 2, 4])
    parser.add_argument("--templates", type=int, default=9)
    given = parser.parse_args(arguments)
    tallies = []
    with TemporaryDirectory() as folder, JobStore(f"sqlite:///{folder}/jobs.db") as store:
        with JobStore(f"sqlite:///{folder}/templates.db") as drafts:
            made = (
                worked_on(drafts, PATTERNS[seed % len(PATTERNS)], seed)
                for seed in range(1, given.templates + 1)
            )
            templates = [template for template in made if template]
        start = time.perf_counter()
        filled(store, templates, given.jobs)
        print(
            f"{given.jobs} jobs of {len(templates)} sorts in {time.perf_counter() - start:.0f} s", flush=True
        )
        print(
            f"{'workers':>8}{'s':>8}{'jobs a second':>15}{'taught':>8}{'more here MB':>14}{'worker MB':>11}"
        )
        for number in given.workers:
            with workers(number) as (address, ids):
                held = [megabytes(os.getpid())]
                start = time.perf_counter()
                found, closed = learn(
                    store,
                    "bench",
                    cluster=address,
                    progress=lambda _jobs, held=held: held.append(megabytes(os.getpid())),  # type: ignore[misc]
                )
                took = time.perf_counter() - start
                largest, here = max(map(megabytes, ids), default=0.0), max(held) - held[0]
            tallies.append(found.tally)
            row = f"{number or 'none':>8}{took:>8.0f}{closed / took:>15.1f}{found.tally.jobs:>8}"
            print(f"{row}{here:>14.0f}{largest:>11.0f}", flush=True)
    same = all(tally == tallies[0] for tally in tallies)
    print("the same lessons on any number of workers" if same else "THE LESSONS DIFFER")
    return 0 if same else 1
