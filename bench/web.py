"""From a reading to the bench page: one job on a made-up vehicle of 60 branches, open in 20 browsers, on loopback.

Between a test and its reading the technician walks, and the bench thinks ahead; ``--walk 0`` takes that away.
"""

from __future__ import annotations

import argparse
import html
import importlib
import json
import re
import statistics
import threading
import time
import urllib.error
import urllib.request
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from pathlib import Path
from tempfile import TemporaryDirectory
from urllib.parse import urlencode
from uuid import uuid4

import numpy as np
import uvicorn

from bench.shared import free_port
from bench.vehicle import vehicle
from halfsplit import job as jobs
from halfsplit.circuit.circuit import Circuit
from halfsplit.circuit.kinds import LOADS
from halfsplit.job.ahead import start_thinking_ahead
from halfsplit.job.open_job import OpenJob
from halfsplit.job.places import from_json
from halfsplit.notation.write import write
from halfsplit.practice.vehicle import Vehicle
from halfsplit.workbench.app import create_app

PLACE = re.compile(r'class="entry".*?name="place" value="([^"]*)"', re.DOTALL)
AIM = 0.5
"""Seconds from the entry of a reading to the new bench, on this machine."""


@contextmanager
def served(store: jobs.JobStore, *, accounts: bool = False) -> Iterator[str]:
    """The workbench on a free port of loopback, in a thread, until the block ends."""
    port = free_port()
    server = uvicorn.Server(
        uvicorn.Config(
            create_app(store, accounts=accounts), port=port, log_level="warning", timeout_graceful_shutdown=1
        )
    )
    thread = threading.Thread(target=server.run, daemon=True)
    thread.start()
    while not server.started:
        time.sleep(0.05)
    yield f"http://127.0.0.1:{port}"
    server.should_exit = True
    thread.join()


def asked(url: str, form: dict[str, str] | None = None) -> tuple[float, str]:
    """Seconds until the whole answer is there, and the answer."""
    data = urlencode(form).encode() if form else None
    request = urllib.request.Request(url, data, {"HX-Request": "true"})
    start = time.perf_counter()
    try:
        with urllib.request.urlopen(request, timeout=120) as answer:
            text = answer.read().decode()
    except urllib.error.HTTPError as error:
        text = error.read().decode()
    return time.perf_counter() - start, text


def job_on(circuit: Circuit, store: jobs.JobStore) -> Vehicle:
    """Open the job; the vehicle that it is about carries a bad contact."""
    loads = [part.name for part in circuit.parts.values() if part.kind in LOADS]
    state, load = list(circuit.states)[-1], loads[len(loads) // 2]
    wanted = [one for one in circuit.faults.values() if one.part.startswith(load) and "open" in one.name]
    jobs.open_job(store, jobs.Intake(), who="bench", job_id="j", circuit=write(circuit.model))
    jobs.complain_all(OpenJob(store, "j", "bench"), [(load, "no", state)])
    return Vehicle(circuit, wanted[0], np.random.default_rng(1), noise=False)


def reading_of(page: str, answer: Callable[[dict[str, object]], float | str]) -> dict[str, str]:
    """The form that a browser sends for the test that the page asks."""
    found = PLACE.search(page)
    if found is None:
        return {}
    place = json.loads(html.unescape(found[1]))
    value = answer(place)
    typed = "OL" if value == float("inf") else str(value)
    return {
        "kind": "reading",
        "entry_id": str(uuid4()),
        "place": json.dumps(place),
        "typed": typed,
        "confirmed": "1",
    }


def told(what: str, seconds: Sequence[float]) -> None:
    """One line of the table."""
    if not seconds:
        print(f"{what:52}{'none':>10}")
        return
    ordered = sorted(seconds)
    high = ordered[min(len(ordered) - 1, int(0.95 * len(ordered)))]
    print(f"{what:52}{len(ordered):>6}{statistics.median(ordered):>10.2f}{high:>10.2f}")


def main(arguments: list[str]) -> int:
    """Enter readings one after another; after each, every browser fetches the bench at once."""
    parser = argparse.ArgumentParser(prog="python -m bench web", description=__doc__)
    parser.add_argument("--branches", type=int, default=60)
    parser.add_argument("--browsers", type=int, default=20)
    parser.add_argument("--readings", type=int, default=6)
    parser.add_argument("--walk", type=float, default=15.0, help="seconds from a test to its reading")
    given = parser.parse_args(arguments)
    importlib.import_module(
        "halfsplit.workbench.preload"
    )  # as the served processes: a small job is worked out first
    circuit = Circuit(vehicle(given.branches))
    with TemporaryDirectory() as folder, jobs.JobStore(f"sqlite:///{Path(folder) / 'jobs.db'}") as store:
        simulated = job_on(circuit, store)
        with served(store) as address, ThreadPoolExecutor(given.browsers) as browsers:
            bench = f"{address}/jobs/j"
            end = start_thinking_ahead(store)
            first, page = asked(bench)
            entered: list[float] = []
            shown: list[float] = []
            for _ in range(given.readings):
                time.sleep(given.walk)
                form = reading_of(page, lambda place: simulated.answer(from_json(place)))
                if not form:
                    break
                seconds, page = asked(f"{bench}/evidence", form)
                entered.append(seconds)
                shown += [one for one, _ in browsers.map(asked, [bench] * given.browsers)]
            end.set()
    print(f"{given.branches} branches, {given.browsers} browsers, {given.walk:g} s to walk; seconds")
    print(f"{'':52}{'n':>6}{'median':>10}{'95 %':>10}")
    told("first page after the complaint", [first])
    told("a reading entered, until the new bench is there", entered)
    told(f"the bench fetched by {given.browsers} browsers at once", shown)
    return 0 if entered and statistics.median(entered) <= AIM else 1
