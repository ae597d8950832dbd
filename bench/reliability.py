"""Killed at any moment (SIGKILL): the web server with entries and uploads, imports of jobs, migrations of the store.

Whatever was acknowledged has to be there afterwards, whole and once, and the store sound. Each program is a process of
its own that is forked, so that it starts at once.
"""

from __future__ import annotations

import argparse
import gzip
import http.client
import json
import os
import random
import signal
import socket
import threading
import time
from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime
from functools import partial
from io import BytesIO
from pathlib import Path
from tempfile import TemporaryDirectory
from uuid import uuid4

import uvicorn
from PIL import Image

from bench.shared import free_port
from halfsplit import job as jobs
from halfsplit.errors import HalfsplitError
from halfsplit.job import JobStore
from halfsplit.job.open_job import OpenJob
from halfsplit.store import export_job, import_job
from halfsplit.workbench.app import create_app

OLD_STORES = Path(__file__).parents[1] / "tests" / "store" / "saved"
LONGEST = 0.3
"""Seconds after which a server is killed at the latest, once it answers."""
EARLY = 0.1
"""Share of the kills that do not wait for its first answer."""
NOW = datetime(2026, 3, 2, tzinfo=UTC)


@dataclass
class Count:
    """What came of one sort of kill."""

    kills: int = 0
    acknowledged: int = 0
    lost: list[str] = field(default_factory=list)


def forked(work: Callable[[], object]) -> int:
    """A process that does this; its number."""
    process = os.fork()
    if process == 0:
        try:
            work()
        finally:
            os._exit(0)
    return process


def killed(process: int, after: float) -> bool:
    """Kill it so many seconds from now; whether it was still at work."""
    time.sleep(after)
    os.kill(process, signal.SIGKILL)
    return os.WIFSIGNALED(os.waitpid(process, 0)[1])


def picture(size: int) -> bytes:
    """A PNG of some hundred kilobytes."""
    made = BytesIO()
    Image.effect_noise((size, size), 80).save(made, "PNG")
    return made.getvalue()


# The web server


def posted(line: http.client.HTTPConnection, path: str, body: str | bytes, kind: str) -> int:
    """The status of the answer to what is sent."""
    line.request("POST", path, body, {"Content-Type": kind})
    answer = line.getresponse()
    answer.read()
    return answer.status


def post_note(line: http.client.HTTPConnection, entry: str) -> int:
    """The status of the answer to a note with this id."""
    body = json.dumps({"kind": "note", "entry_id": entry, "payload": {"text": "seen"}})
    return posted(line, "/api/v1/jobs/j/evidence", body, "application/json")


class Sender(threading.Thread):
    """Sends notes and photos until the line breaks; remembers what was acknowledged."""

    def __init__(self, port: int, photo: bytes) -> None:
        super().__init__(daemon=True)
        self.port, self.photo = port, photo
        self.notes: list[str] = []
        self.photos = 0

    def run(self) -> None:
        try:
            line = http.client.HTTPConnection("127.0.0.1", self.port, timeout=10)
            while True:
                entry = str(uuid4())
                if post_note(line, entry) == 201:
                    self.notes.append(entry)
                self._photo(line)
        except (OSError, http.client.HTTPException):
            return

    def _photo(self, line: http.client.HTTPConnection) -> None:
        edge = "halves"
        head = f'--{edge}\r\nContent-Disposition: form-data; name="photo"; filename="a.png"\r\n\r\n'
        body = head.encode() + self.photo + f"\r\n--{edge}--\r\n".encode()
        self.photos += posted(line, "/jobs/j/photos", body, f"multipart/form-data; boundary={edge}") < 400


def server_kills(folder: Path, kills: int, draw: random.Random) -> Count:
    """Kill the server at random moments; after each kill the next one begins on what lies there."""
    url, count, photo = f"sqlite:///{folder}/jobs.db", Count(), picture(300)
    with JobStore(url) as store:
        jobs.open_job(store, jobs.Intake(), who="bench", job_id="j")
    port = free_port()
    notes: set[str] = set()
    photos = 0

    def serve() -> None:
        uvicorn.run(create_app(JobStore(url)), port=port, log_level="critical")

    while count.kills < kills:
        process = forked(serve)
        _wait_for(port)
        senders = [Sender(port, photo) for _ in range(3)]
        for sender in senders:
            sender.start()
        if draw.random() > EARLY:
            _busy(senders)
        count.kills += killed(process, draw.random() * LONGEST)
        for sender in senders:
            sender.join()
            notes.update(sender.notes)
            photos += sender.photos
    with JobStore(url) as store:
        stored = [entry.entry_id for entry in store.evidence("j")]
        count.acknowledged = len(notes) + photos
        count.lost += [f"note {one}" for one in notes - set(stored)] + list(store.check())
        count.lost += ["an entry twice"] * (len(stored) - len(set(stored)))
        missing = photos - len(store.attachments("j"))
        count.lost += [f"{missing} photos"] if missing > 0 else []
        count.lost += [f"left behind: {one.name}" for one in store.files.folder.glob("incoming-*")]
    return count


def _busy(senders: list[Sender]) -> None:
    """Wait until something was acknowledged."""
    end = time.monotonic() + 20.0
    while time.monotonic() < end and not any(sender.notes for sender in senders):
        time.sleep(0.005)


def _wait_for(port: int) -> None:
    while True:
        try:
            socket.create_connection(("127.0.0.1", port), timeout=1).close()
            return
        except OSError:
            time.sleep(0.005)


# Two servers on one store


class Writer(threading.Thread):
    """Sends notes to two servers in turn, each twice with one id, until told to end; goes on where a line breaks."""

    def __init__(self, ports: Sequence[int], over: threading.Event, seed: int) -> None:
        super().__init__(daemon=True)
        self.ports, self.over, self.draw = ports, over, random.Random(seed)
        self.notes: list[str] = []
        self.answers: Counter[int] = Counter()

    def run(self) -> None:
        while not self.over.is_set():
            entry, ports = str(uuid4()), self.draw.sample(self.ports, 2)
            statuses = [self._sent(port, entry) for port in ports]
            self.answers.update(statuses)
            if set(statuses) & {200, 201}:
                self.notes.append(entry)

    def _sent(self, port: int, entry: str) -> int:
        """The status of the answer; 0 where there was none."""
        try:
            return post_note(http.client.HTTPConnection("127.0.0.1", port, timeout=20), entry)
        except (OSError, http.client.HTTPException):
            time.sleep(0.05)
            return 0


def two_servers(folder: Path, kills: int, draw: random.Random, url: str = "") -> Count:
    """Two servers on one store, six writers to both; one of the servers is killed and begun again, in turn."""
    url, count = url or f"sqlite:///{folder}/jobs.db", Count()
    with JobStore(url, files=folder / "files") as store:
        jobs.open_job(store, jobs.Intake(), who="bench", job_id="j")
    ports = [free_port(), free_port()]

    def begun(port: int) -> int:
        def serve() -> None:
            uvicorn.run(create_app(JobStore(url, files=folder / "files")), port=port, log_level="critical")

        process = forked(serve)
        _wait_for(port)
        return process

    processes, over = [begun(port) for port in ports], threading.Event()
    writers = [Writer(ports, over, draw.randrange(1 << 30)) for _ in range(6)]
    for writer in writers:
        writer.start()
    for number in range(kills):
        which = number % 2
        count.kills += killed(processes[which], 1.0 + 2.0 * draw.random())
        processes[which] = begun(ports[which])
    over.set()
    for writer in writers:
        writer.join()
    for process in processes:
        killed(process, 0.0)
    notes = {note for writer in writers for note in writer.notes}
    answers: Counter[int] = sum((writer.answers for writer in writers), Counter())
    with JobStore(url, files=folder / "files") as store:
        stored = [entry.entry_id for entry in store.evidence("j")]
        changes = [change.sequence for change in store.changes_since("j", 0)]
        count.lost += [f"note {one}" for one in notes - set(stored)] + list(store.check())
    count.acknowledged = len(notes)
    count.lost += ["an entry twice"] * (len(stored) - len(set(stored)))
    count.lost += ["changes out of order"] * (changes != sorted(set(changes)))
    count.lost += [f"{answers[status]} answers {status}" for status in answers if status not in (0, 200, 201)]
    return count


# Imports and migrations


def import_kills(folder: Path, kills: int, draw: random.Random) -> Count:
    """Kill an import; the job is there whole or not at all, and a second import makes it whole."""
    count, archive = Count(), BytesIO()
    with JobStore(f"sqlite:///{folder}/from.db") as store:
        jobs.open_job(store, jobs.Intake(), who="bench", job_id="j")
        job = OpenJob(store, "j", "bench")
        for number in range(200):
            job.keep("note", {"text": f"note {number}"})
        for size in (200, 250, 300):
            job.keep_file("photo", picture(size), name="a.png")
        export_job(store, "j", archive)
    url = f"sqlite:///{folder}/to.db"
    JobStore(url).close()

    def work() -> None:
        with JobStore(url) as store:
            import_job(store, BytesIO(archive.getvalue()), who="bench", at=NOW, job_id=str(uuid4()))

    start = time.perf_counter()
    os.waitpid(forked(work), 0)
    whole = time.perf_counter() - start
    while count.kills < kills:
        count.kills += killed(forked(work), draw.random() * whole)
    with JobStore(url) as store:
        for summary in store.list_jobs(limit=10_000):
            count.acknowledged += 1
            if len(store.evidence(summary.job_id)) != 200 or len(store.attachments(summary.job_id)) != 3:
                count.lost.append(f"job {summary.number} is not whole")
        count.lost += store.check()
    return count


def opened(url: str) -> None:
    """Open a store of an earlier release, which brings it up to this one."""
    JobStore(url, files=OLD_STORES / "files").close()


def migration_kills(folder: Path, kills: int, draw: random.Random) -> Count:
    """Kill the opening of a store of an earlier release; it stays openable, with all that it held."""
    files = OLD_STORES / "files"
    count, saved = Count(), sorted(OLD_STORES.glob("*.db.gz"))
    trial = 0
    while count.kills < kills:
        trial += 1
        path = folder / f"{trial}.db"
        path.write_bytes(gzip.decompress(draw.choice(saved).read_bytes()))
        url = f"sqlite:///{path}"
        count.kills += killed(forked(partial(opened, url)), draw.random() * 0.25)
        try:
            with JobStore(url, files=files) as store:
                count.acknowledged += len(store.list_jobs())
                count.lost += store.check()
        except HalfsplitError as error:
            count.lost.append(str(error))
    return count


SORTS: dict[str, tuple[Callable[[Path, int, random.Random], Count], str]] = {
    "server": (server_kills, "entries and photos acknowledged"),
    "two": (two_servers, "entries acknowledged by one of two servers"),
    "import": (import_kills, "jobs whole"),
    "migration": (migration_kills, "jobs kept"),
}


def main(arguments: list[str]) -> int:
    """Kill, look, print; the exit status is 1 where something acknowledged is not there."""
    parser = argparse.ArgumentParser(prog="python -m bench reliability", description=__doc__)
    parser.add_argument("--kills", type=int, default=200)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument(
        "--store", default="", help="an empty PostgreSQL for the sort 'two'; SQLite if not given"
    )
    parser.add_argument("sorts", nargs="*", default=list(SORTS), help=", ".join(SORTS))
    given = parser.parse_args(arguments)
    lost = 0
    for name in given.sorts:
        work, words = SORTS[name]
        if name == "two":
            work = partial(two_servers, url=given.store)
        with TemporaryDirectory() as folder:
            start = time.perf_counter()
            found = work(Path(folder), given.kills, random.Random(given.seed))
            lost += len(found.lost)
            print(
                f"{name:12}{found.kills:>6} kills{found.acknowledged:>8} {words}, {len(found.lost)} lost"
                f"  ({time.perf_counter() - start:.0f} s)"
            )
            print("\n".join(found.lost[:10]), end="\n" if found.lost else "", flush=True)
    return 1 if lost else 0
