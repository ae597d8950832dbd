"""Time and memory of `learn` on a store of closed jobs, with so many workers of a Dask cluster.

New jobs: a few are worked on by the engine on simulated vehicles until the cause is proven; the store holds copies of
them, each of which is worked out again. Known jobs: causes, vehicles and slips are drawn from hidden rates, and the
store is written as a `learn` of the nights before has left it. The same has to come out on any number of workers.
"""

from __future__ import annotations

import argparse
import json
import os
import signal
import sqlite3
import time
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from pathlib import Path
from tempfile import TemporaryDirectory

import numpy as np

import halfsplit
from bench.learn import NAMES, Floats, Sheet, covered, sheet, world
from halfsplit import job as jobs
from halfsplit.circuit.kinds import LOADS
from halfsplit.circuit.moving import crossing_wires
from halfsplit.diagnosis.conditions import exact
from halfsplit.diagnosis.hypotheses import families
from halfsplit.diagnosis.learned import Tally, cause_of
from halfsplit.diagnosis.priors import default_priors
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
TABLES = ("jobs", "intakes", "circuits", "evidence", "closings")
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


def closed(store: JobStore, template: Template, job_id: str) -> str:
    """A closed job with the entries of a template, some minutes between them."""
    text, entries = template
    jobs.open_job(store, jobs.Intake(), who="bench", job_id=job_id, circuit=text)
    for minute, entry in enumerate(entries):
        store.record(job_id, replace(entry, at=BEGUN + timedelta(minutes=6 * minute)))
    jobs.close(OpenJob(store, job_id, "bench"), complaint="dark", cause="it", correction="mended")
    return job_id


def copied(file: Path, originals: Sequence[str], count: int) -> None:
    """So many more jobs, each a copy of one of the originals, which stand in for them in the order given."""
    with sqlite3.connect(file) as database:
        first = database.execute("SELECT max(number) FROM jobs").fetchone()[0] + 1
        for table in TABLES:
            columns = [row[1] for row in database.execute(f"PRAGMA table_info({table})")]
            rows = {
                job_id: database.execute(f"SELECT * FROM {table} WHERE job_id = ?", [job_id]).fetchall()
                for job_id in originals
            }
            at, number = columns.index("job_id"), columns.index("number") if "number" in columns else None
            database.executemany(
                f"INSERT INTO {table} VALUES ({', '.join('?' * len(columns))})",
                (
                    _renamed(row, at, number, first + copy)
                    for copy in range(count)
                    for row in rows[originals[copy % len(originals)]]
                ),
            )
    database.close()


def _renamed(row: tuple[object, ...], at: int, number: int | None, copy: int) -> list[object]:
    changed = list(row)
    changed[at] = f"copy-{copy:08}"
    if number is not None:
        changed[number] = copy
    return changed


def known(
    file: Path, sheets: Sequence[Sheet], true: Sequence[Floats], generator: np.random.Generator
) -> None:
    """What each copy taught, drawn: its cause by the hidden chances of its circuit, and a few readings and visits."""
    faults = [
        {
            cause_of(family[0], crossing_wires(one.circuit.model), default_priors()): family[0].name
            for family in reversed(families(one.circuit.faults))
        }
        for one in sheets
    ]
    with sqlite3.connect(file) as database:
        ids = [
            row[0]
            for row in database.execute("SELECT job_id FROM jobs WHERE job_id LIKE 'copy-%' ORDER BY 1")
        ]
        for number, one in enumerate(sheets):
            mine = ids[number :: len(sheets)]
            drawn = generator.choice(len(one.causes), size=len(mine), p=true[number])
            slipped = generator.binomial(9, 0.03, size=len(mine)).tolist()
            late = np.round(generator.normal(0.2, 0.5, size=len(mine)), 3).tolist()
            names = [faults[number][cause] for cause in one.causes]
            rows = (
                (
                    job_id,
                    halfsplit.__version__,
                    json.dumps(
                        {
                            "fault": names[cause],
                            "looks": [1, 0],
                            "slips": {"meter": [slips, 9]},
                            "visits": {"other places": [1, exact(log)]},
                        }
                    ),
                )
                for job_id, cause, slips, log in zip(mine, drawn.tolist(), slipped, late, strict=True)
            )
            database.executemany(
                "INSERT INTO lessons (job_id, engine_version, after, document)"
                " SELECT ?1, ?2, last_change, ?3 FROM jobs WHERE job_id = ?1",
                rows,
            )
    database.close()


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

    from halfsplit.job.replay import warm

    warm()
    return os.getpid()


@dataclass(frozen=True)
class Run:
    """A `learn`: seconds, the most memory that it took here and in a worker (MB), and what was learned."""

    seconds: float
    here: float
    worker: float
    jobs: int
    tally: Tally


def learned(store: JobStore, number: int, *, kill: bool = False) -> Run:
    """`learn` on so many workers; ``kill``: one of them is killed over its first jobs."""
    with workers(number) as (address, ids):
        held, doomed = [megabytes(os.getpid())], ids[:1] if kill else []

        def progress(_jobs: int) -> None:
            held.append(megabytes(os.getpid()))
            while doomed:
                os.kill(doomed.pop(), signal.SIGKILL)

        start = time.perf_counter()
        found, closed_jobs = learn(store, "bench", cluster=address, progress=progress)
        took = time.perf_counter() - start
        largest = max((megabytes(one) for one in ids if Path(f"/proc/{one}").exists()), default=0.0)
    return Run(took, max(held) - held[0], largest, closed_jobs, found.tally)


def _said(name: str, run: Run) -> None:
    row = f"{name:>16}{run.jobs:>10,}{run.seconds:>8.1f}{run.jobs / run.seconds:>15.1f}{run.tally.jobs:>10,}"
    print(f"{row}{run.here:>14.0f}{run.worker:>11.0f}", flush=True)


HEAD = f"{'workers':>16}{'jobs':>10}{'s':>8}{'jobs a second':>15}{'taught':>10}{'more here MB':>14}{'worker MB':>11}"


def main(arguments: list[str]) -> int:
    """Print a row for each number of workers; the exit status is 1 where the lessons differ."""
    parser = argparse.ArgumentParser(prog="python -m bench learn_stored", description=__doc__)
    parser.add_argument("--jobs", type=int, default=400, help="new ones")
    parser.add_argument("--known", type=int, default=0, help="instead: jobs that were worked out before")
    parser.add_argument("--workers", type=int, nargs="*", default=[0, 1, 2, 4, 8])
    parser.add_argument(
        "--kill", action="store_true", help="again on the most workers, of which one is killed"
    )
    parser.add_argument("--templates", type=int, default=9)
    given = parser.parse_args(arguments)
    with TemporaryDirectory() as folder, JobStore(f"sqlite:///{folder}/jobs.db") as store:
        file = Path(folder) / "jobs.db"
        if given.known:
            return _known(store, file, given.known, given.workers)
        with JobStore(f"sqlite:///{folder}/templates.db") as drafts:
            made = (
                worked_on(drafts, PATTERNS[seed % len(PATTERNS)], seed)
                for seed in range(1, given.templates + 1)
            )
            originals = [
                closed(store, template, f"first-{number}") for number, template in enumerate(made) if template
            ]
        copied(file, originals, given.jobs - len(originals))
        print(f"{given.jobs} new jobs, copies of {len(originals)}\n{HEAD}", flush=True)
        tallies = []
        runs = [(number, False) for number in given.workers] + [(max(given.workers), True)] * given.kill
        for number, kill in runs:
            with sqlite3.connect(file) as database:
                database.execute("DELETE FROM lessons")
            database.close()
            run = learned(store, number, kill=kill)
            _said(f"{number or 'none'}{', one killed' if kill else ''}", run)
            tallies.append(run.tally)
        again = learned(store, 0)
        _said("known by now", again)
        return _same([*tallies, again.tally])


def _same(tallies: Sequence[Tally]) -> int:
    same = all(tally == tallies[0] for tally in tallies)
    print("the same lessons on any number of workers" if same else "THE LESSONS DIFFER")
    return 0 if same else 1


def _known(store: JobStore, file: Path, count: int, numbers: Sequence[int]) -> int:
    generator = np.random.default_rng(1)
    sheets = [sheet(name) for name in NAMES]
    true = world(sheets, generator).true
    note = EvidenceEntry(entry_id="note", kind="note", payload={"text": "bench"}, at=BEGUN, who="bench")
    start = time.perf_counter()
    originals = [closed(store, (sample(name).text, (note,)), f"first-{name}") for name in NAMES]
    copied(file, originals, count - len(originals))
    known(file, sheets, true, generator)
    size = sum(path.stat().st_size for path in file.parent.glob("jobs.db*")) / 1e6
    print(
        f"{count:,} jobs written in {time.perf_counter() - start:.0f} s, {size:,.0f} MB\n{HEAD}", flush=True
    )
    tallies = []
    for number in numbers:
        run = learned(store, number)
        _said(str(number or "none"), run)
        tallies.append(run.tally)
    held = covered(sheets, true, tallies[0])
    print(f"{np.mean(held):.1%} of {len(held)} hidden shares are within their 90 % interval")
    return _same(tallies)
