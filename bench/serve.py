"""Many technicians at once: clients that enter readings into jobs, against a server of its own process on loopback.

Each does what the page does: it sends the reading, has the answer that it is stored, fetches the bench with the new
test, and then, unless told otherwise, what that page fetches late: the drawing and the free looks.
"""

from __future__ import annotations

import argparse
import http.client
import json
import os
import random
import re
import signal
import subprocess
import sys
import threading
import time
import urllib.error
import urllib.request
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from html import unescape
from pathlib import Path
from tempfile import TemporaryDirectory
from urllib.parse import urlencode
from uuid import uuid4

import numpy as np

from bench.shared import free_port
from bench.vehicle import vehicle
from bench.web import told
from halfsplit import job as jobs
from halfsplit.circuit.circuit import Circuit
from halfsplit.circuit.kinds import LOADS
from halfsplit.diagnosis.measurement import Measurement
from halfsplit.job.open_job import OpenJob
from halfsplit.job.places import to_json
from halfsplit.notation.checked import check_text
from halfsplit.notation.library import sample
from halfsplit.notation.write import write
from halfsplit.practice.vehicle import Vehicle

AIM = 0.5
"""Seconds within which 95 of 100 readings are stored, and have their new test."""
START = "from halfsplit.cli import main; main()"


def circuit_text(pattern: str, branches: int) -> str:
    """A pattern that comes with the program, or a made-up vehicle of so many branches."""
    return write(vehicle(branches)) if branches else sample(pattern).text


def prepared(store: jobs.JobStore, text: str, number: int) -> list[tuple[str, list[dict[str, str]]]]:
    """Job id and the readings to enter, for so many jobs of which each has another fault."""
    circuit = check_text(text).circuit
    assert circuit is not None
    draw = random.Random(7)
    state = list(circuit.states)[-1]
    loads = [part.name for part in circuit.parts.values() if part.kind in LOADS]
    faults = [one for one in circuit.faults.values() if one.name.startswith("wire") and "open" in one.name]
    found = []
    for count in range(number):
        job_id = f"job-{count}"
        jobs.open_job(store, jobs.Intake(), who="bench", job_id=job_id, circuit=text)
        jobs.complain_all(OpenJob(store, job_id, "bench"), [(draw.choice(loads), "no", state)])
        found.append((job_id, readings(circuit, draw.choice(faults), state, draw)))
    return found


def readings(circuit: Circuit, fault: object, state: str, draw: random.Random) -> list[dict[str, str]]:
    """The forms that a browser sends: volts at points of the circuit, as the vehicle with the fault has them."""
    simulated = Vehicle(circuit, fault, np.random.default_rng(1), noise=False)  # type: ignore[arg-type]
    points = [point for point in circuit.points if not point.startswith("G1")]
    places = [
        Measurement("volts", point, state, None, "meter")
        for point in draw.sample(points, min(60, len(points)))
    ]
    return [
        {
            "kind": "reading",
            "place": json.dumps(to_json(one)),
            "typed": f"{simulated.answer(one):.2f}",
            "confirmed": "1",
        }
        for one in places
    ]


@contextmanager
def server(url: str, workers: int) -> Iterator[tuple[int, subprocess.Popen[bytes]]]:
    """`halfsplit serve` on a free port, until the block ends."""
    port = free_port()
    command = [sys.executable, "-c", START, "serve", "--port", str(port), "--store", url]
    command += ["--workers", str(workers)] if workers >= 0 else []
    with subprocess.Popen(command, stderr=subprocess.DEVNULL) as process:
        try:
            while True:
                try:
                    urllib.request.urlopen(f"http://127.0.0.1:{port}/jobs", timeout=60).read()
                    break
                except urllib.error.URLError:
                    time.sleep(0.1)
            yield port, process
        finally:
            process.send_signal(signal.SIGTERM)


def memory(process_id: int) -> float:
    """Megabytes that a process and its children hold in memory, each page that is shared counted once (PSS)."""
    total = 0.0
    for line in Path(f"/proc/{process_id}/smaps_rollup").read_text().splitlines():
        if line.startswith("Pss:"):
            total += int(line.split()[1]) / 1024
    for task in Path(f"/proc/{process_id}/task").iterdir():
        total += sum(memory(int(child)) for child in (task / "children").read_text().split())
    return total


def processor_seconds(process_id: int) -> float:
    """What a process and its children have used of the processors so far; those that have ended are left out."""
    fields = Path(f"/proc/{process_id}/stat").read_text().rpartition(")")[2].split()
    own = (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")
    tasks = Path(f"/proc/{process_id}/task").iterdir()
    children = [child for task in tasks for child in (task / "children").read_text().split()]
    return own + sum(processor_seconds(int(child)) for child in children)


class Client(threading.Thread):
    """Enters readings one after another until ``end``; every ``pause`` s, or at once where the last took longer.

    ``taken``: seconds from the tap until it was stored, the new test was there, the drawing was there.
    """

    def __init__(
        self,
        port: int,
        job_id: str,
        forms: Sequence[dict[str, str]],
        end: float,
        pause: float,
        seed: int,
        *,
        late: bool,
    ) -> None:
        super().__init__(daemon=True)
        self.line = http.client.HTTPConnection("127.0.0.1", port, timeout=120)
        self.job_id, self.forms, self.end, self.pause = job_id, forms, end, pause
        self.draw, self.late = random.Random(seed), late
        self.taken: dict[str, list[float]] = {STORED: [], SHOWN: [], DRAWN: []}
        self.failed = 0

    def run(self) -> None:
        due = time.monotonic() + self.pause * self.draw.random()
        while due < self.end:
            time.sleep(max(0.0, due - time.monotonic()))
            if time.monotonic() >= self.end:
                return
            self.enter(self.draw.choice(self.forms) | {"entry_id": str(uuid4())})
            due = max(due + self.pause, time.monotonic())

    def enter(self, form: dict[str, str]) -> None:
        """One reading, as the page sends it."""
        start, address = time.perf_counter(), f"/jobs/{self.job_id}"
        self.ask("POST", f"{address}/evidence", urlencode(form))
        self.taken[STORED].append(time.perf_counter() - start)
        page = self.ask("GET", address)
        self.taken[SHOWN].append(time.perf_counter() - start)
        if self.late:
            late = {what: unescape(found) for found, what in FETCHED_LATE.findall(page)}
            if "drawing" in late:
                self.ask("GET", late["drawing"])
                self.taken[DRAWN].append(time.perf_counter() - start)
            if "looks" in late:
                self.ask("GET", late["looks"])

    def ask(self, method: str, address: str, body: str | None = None) -> str:
        self.line.request(method, address, body, HEADERS)
        answer = self.line.getresponse()
        self.failed += answer.status not in (200, 201)
        return answer.read().decode()


FETCHED_LATE = re.compile(r'hx-get="(/jobs/[^"/]+/(drawing|looks)[^"]*)" hx-trigger="load"')
"""What a page fetches once the new test stands on it."""
HEADERS = {
    "HX-Request": "true",
    "Accept": "application/json, text/html",
    "Content-Type": "application/x-www-form-urlencoded",
}
STORED, SHOWN, DRAWN = "until it is stored", "until the new test is there", "until the drawing is there"


def main(arguments: list[str]) -> int:
    """Enter readings for so many seconds; the exit status is 1 where 95 of 100 took longer than the aim."""
    parser = argparse.ArgumentParser(prog="python -m bench serve", description=__doc__)
    parser.add_argument("--clients", type=int, default=50)
    parser.add_argument("--jobs", type=int, default=10)
    parser.add_argument("--circuit", default="relay-load", help="a pattern")
    parser.add_argument("--branches", type=int, default=0, help="a made-up vehicle instead of a pattern")
    parser.add_argument("--workers", type=int, default=2)
    parser.add_argument("--seconds", type=float, default=20.0)
    parser.add_argument(
        "--rate", type=float, default=14.0, help="readings a second of all clients; 0: no pause"
    )
    parser.add_argument("--test-alone", action="store_true", help="fetch neither drawing nor looks")
    parser.add_argument("--store", default="", help="an empty PostgreSQL; a file of SQLite if not given")
    given = parser.parse_args(arguments)
    with TemporaryDirectory() as folder:
        url = given.store or f"sqlite:///{folder}/jobs.db"
        with jobs.JobStore(url) as store:
            work = prepared(store, circuit_text(given.circuit, given.branches), given.jobs)
        with server(url, given.workers) as (port, process):
            before = memory(process.pid)
            for job_id, _ in work:  # each bench was opened once before anybody measures
                urllib.request.urlopen(f"http://127.0.0.1:{port}/jobs/{job_id}", timeout=120).read()
            busy = processor_seconds(process.pid)
            end = time.monotonic() + given.seconds
            pause = given.clients / given.rate if given.rate else 0.0
            clients = [
                Client(port, *work[number % len(work)], end, pause, number, late=not given.test_alone)
                for number in range(given.clients)
            ]
            for client in clients:
                client.start()
            for client in clients:
                client.join()
            after, busy = memory(process.pid), processor_seconds(process.pid) - busy
    taken = {
        what: sorted(one for client in clients for one in client.taken[what])
        for what in (STORED, SHOWN, DRAWN)
    }
    print(
        f"{given.clients} clients, {given.jobs} jobs, {given.workers} workers, {given.rate:g} readings a second wanted"
    )
    print(f"{'':52}{'n':>6}{'median':>10}{'95 %':>10}")
    for what, seconds in taken.items():
        if seconds:
            told(f"a reading entered, {what} (s)", seconds)
    count = len(taken[SHOWN])
    print(f"a second: {count / given.seconds:.1f}; refused: {sum(client.failed for client in clients)}")
    print(f"processor seconds of the server for a reading: {busy / max(count, 1):.2f}")
    print(f"memory: {before:.0f} MB at the start, {after:.0f} MB at the end")
    return 0 if count and all(taken[what][int(0.95 * count)] <= AIM for what in (STORED, SHOWN)) else 1
