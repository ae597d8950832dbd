"""Nothing that was acknowledged is lost: killed at any moment, disk full, read-only, locked, damaged.

The disk is a small tmpfs where the user may mount one, and else a limit on the size of files; both are the kernel's.
"""

import os
import random
import resource
import signal
import sqlite3
import subprocess
import tempfile
import time
from collections.abc import Callable
from contextlib import closing
from dataclasses import replace
from io import BytesIO
from itertools import islice
from pathlib import Path

import pytest

from halfsplit.errors import HalfsplitError, StorageError
from halfsplit.store import BusyError, DamagedError, DiskFullError, JobStore, ReadOnlyError, UnreachableError
from tests.store.conftest import BACKENDS
from tests.store.samples import JPEG, NOW, intake, photo, reading


class Child:
    """A process of its own that does `work(say)`; a line that it has said is here even if it is killed then.

    Forked, so that it starts at once: the store that it opens is its own.
    """

    def __init__(self, work: Callable[[Callable[[str], None]], None]) -> None:
        reader, writer = os.pipe()
        self.process = os.fork()
        if self.process == 0:
            try:
                work(lambda line: os.write(writer, f"{line}\n".encode()))
            finally:
                os._exit(0)
        os.close(writer)
        self.output = os.fdopen(reader)

    def lines(self, count: int | None = None) -> list[str]:
        """The next lines, at most `count`, fewer when the process has ended."""
        return [line.rstrip("\n") for line in islice(self.output, count)]

    def kill(self) -> bool:
        """SIGKILL; whether it was still running."""
        os.kill(self.process, signal.SIGKILL)
        return self.wait() == signal.SIGKILL

    def wait(self) -> int:
        """The signal that ended the process, 0 if it ended by itself."""
        return os.WTERMSIG(os.waitpid(self.process, 0)[1])


def write_entries(url: str, files: Path, numbers: range) -> Callable[[Callable[[str], None]], None]:
    """Writes entries and says each id, but only after the store has returned: from then on it must never be lost."""

    def work(say: Callable[[str], None]) -> None:
        try:
            with JobStore(url, files=files) as store:
                for number in numbers:
                    say(store.record("job-1", reading(f"entry-{number}", number / 100)).entry_id)
        except HalfsplitError as error:
            say(f"{type(error).__name__}: {error}")

    return work


def new_job(url: str, files: Path) -> None:
    with JobStore(url, files=files) as store:
        store.open_job("job-1", intake(), who="Ada", at=NOW)


@pytest.mark.parametrize("backend", BACKENDS)
def test_killed_during_hundreds_of_writes(backend, new_url, tmp_path):
    """SIGKILL at random moments, twenty times and more, half of them while a write is under way.

    The next writer begins with the last entry once more, as an outbox does that has not heard back.
    """
    url, rng = new_url(backend), random.Random(20260302)
    new_job(url, tmp_path)
    kept, kills = 0, 0
    while kept < 400 or kills < 20:  # on a busy machine a child may write many before its end comes
        child = Child(write_entries(url, tmp_path, range(max(kept - 1, 0), kept + 10_000)))
        lines = child.lines(rng.randrange(2, 40))
        time.sleep(rng.random() * 0.004)
        kills += child.kill()
        lines += child.lines()
        assert lines == [
            f"entry-{number}" for number in range(max(kept - 1, 0), max(kept - 1, 0) + len(lines))
        ]
        kept = int(lines[-1].removeprefix("entry-")) + 1
        child.output.close()
    with JobStore(url, files=tmp_path) as store:
        assert store.check() == ()
        entries = store.evidence("job-1")
        assert [entry.entry_id for entry in entries[:kept]] == [f"entry-{number}" for number in range(kept)]
        assert len(entries) - kept in (0, 1), "at most the entry that was about to be acknowledged"
        assert [entry.sequence for entry in entries] == list(range(2, len(entries) + 2))


def test_a_killed_writer_leaves_whole_entries_in_the_file(tmp_path):
    """The file as it lies there after the kill, read by SQLite alone."""
    url = f"sqlite:///{tmp_path}/jobs.db"
    new_job(url, tmp_path)
    child = Child(write_entries(url, tmp_path, range(1000)))
    said = child.lines(40)
    child.kill()
    said += child.lines()
    child.output.close()
    with closing(sqlite3.connect(tmp_path / "jobs.db")) as connection:
        assert connection.execute("PRAGMA integrity_check").fetchall() == [("ok",)]
        stored = [row[0] for row in connection.execute("SELECT entry_id FROM evidence ORDER BY sequence")]
    assert stored[: len(said)] == said
    assert len(stored) - len(said) in (0, 1), "at most the entry that was about to be acknowledged"


# Disk full


@pytest.fixture
def small_disk(tmp_path):
    folder = tmp_path / "disk"
    folder.mkdir()
    command = ["mount", "-t", "tmpfs", "-o", "size=5m", "tmpfs", str(folder)]
    if os.geteuid() != 0 or subprocess.run(command, capture_output=True, check=False).returncode != 0:
        pytest.skip(
            "mounting a small disk needs root with the right to mount; the file size limit is tested anyway"
        )
    yield folder
    subprocess.run(["umount", "--lazy", str(folder)], check=True)


def test_a_full_disk_is_said_and_loses_nothing(small_disk, tmp_path):
    store = JobStore(f"sqlite:///{small_disk}/jobs.db", files=tmp_path / "files")
    store.open_job("job-1", intake(), who="Ada", at=NOW)
    stored = []

    def write_until_full():
        for number in range(5000):
            note = {"note": "rear wiper " * 1000}
            entry = replace(reading(f"entry-{number}"), payload=note)
            stored.append(store.record("job-1", entry))

    message = r"full\. Everything acknowledged before is kept.*Free some space"
    with pytest.raises(DiskFullError, match=message):
        write_until_full()
    assert len(stored) > 50
    assert store.evidence("job-1") == tuple(stored), "reading goes on"
    store.close()
    with JobStore(f"sqlite:///{small_disk}/jobs.db", files=tmp_path / "files") as again:
        assert again.evidence("job-1") == tuple(stored)
        assert again.check() == ()
        subprocess.run(["mount", "-o", "remount,size=20m", str(small_disk)], check=True)
        again.record("job-1", reading(f"entry-{len(stored)}"))
        assert len(again.evidence("job-1")) == len(stored) + 1


def test_an_attachment_that_does_not_fit_leaves_nothing_behind(small_disk, tmp_path):
    with JobStore(f"sqlite:///{tmp_path}/jobs.db", files=small_disk / "files") as store:
        store.open_job("job-1", intake(), who="Ada", at=NOW)
        store.attach("job-1", photo("small"), BytesIO(JPEG))
        with pytest.raises(DiskFullError, match="full"):
            store.attach("job-1", photo("large"), BytesIO(JPEG * 4000))
        assert [attachment.attachment_id for attachment in store.attachments("job-1")] == ["small"]
        assert len([path for path in (small_disk / "files").rglob("*") if path.is_file()]) == 1
        assert store.check() == ()


def test_a_limit_on_file_sizes_is_said_and_loses_nothing(tmp_path):
    """As a quota would: the kernel refuses to let any file of the writer's grow beyond 2 MB."""
    url = f"sqlite:///{tmp_path}/jobs.db"
    new_job(url, tmp_path)

    def limited(say: Callable[[str], None]) -> None:
        resource.setrlimit(resource.RLIMIT_FSIZE, (2_000_000, 2_000_000))
        write_entries(url, tmp_path, range(5000))(say)

    child = Child(limited)
    *said, last = child.lines()
    child.wait()
    child.output.close()
    assert last.startswith(("StorageError: The disk reported an error", "DiskFullError: The disk"))
    assert "Everything acknowledged before is kept" in last
    assert len(said) > 20
    with JobStore(url, files=tmp_path) as store:
        stored = [entry.entry_id for entry in store.evidence("job-1")]
        assert stored[: len(said)] == said
        assert len(stored) - len(said) in (0, 1)
        assert store.check() == ()


# Read-only


def test_a_folder_without_the_right_to_write_is_said():
    with tempfile.TemporaryDirectory(prefix="halfsplit-") as name:
        folder = Path(name)
        url = f"sqlite:///{folder}/jobs.db"
        new_job(url, folder)
        (folder / "jobs.db").chmod(0o444)
        folder.chmod(0o555)

        def as_somebody_else(say: Callable[[str], None]) -> None:
            if os.geteuid() == 0:  # root may write anywhere
                os.setgid(65534)
                os.setuid(65534)
            write_entries(url, folder, range(1))(say)

        child = Child(as_somebody_else)
        (said,) = child.lines()
        child.wait()
        child.output.close()
        assert said.startswith(("ReadOnlyError", "UnreachableError"))
        assert "Everything acknowledged before is kept" in said
        assert "write to" in said
        folder.chmod(0o755)


def test_a_disk_that_turns_read_only_is_said_and_loses_nothing(small_disk, tmp_path):
    with JobStore(f"sqlite:///{small_disk}/jobs.db", files=small_disk / "files") as store:
        store.open_job("job-1", intake(), who="Ada", at=NOW)
        stored = store.record("job-1", reading("entry-0"))
    subprocess.run(["mount", "-o", "remount,ro", str(small_disk)], check=True)
    with pytest.raises((ReadOnlyError, UnreachableError), match="Everything acknowledged before is kept"):
        JobStore(f"sqlite:///{small_disk}/jobs.db")
    subprocess.run(["mount", "-o", "remount,rw", str(small_disk)], check=True)
    with JobStore(f"sqlite:///{small_disk}/jobs.db", files=small_disk / "files") as store:
        assert store.evidence("job-1") == (stored,)


@pytest.mark.parametrize("backend", BACKENDS)
def test_a_database_that_may_only_be_read_is_said(backend, new_url, tmp_path):
    """The server's or the connection's own setting, with the store already open."""
    url = new_url(backend)
    with JobStore(url, files=tmp_path / "files") as store:
        store.open_job("job-1", intake(), who="Ada", at=NOW)
        read_only = {
            "sqlite": "PRAGMA query_only = ON",
            "postgresql": "SET SESSION CHARACTERISTICS AS TRANSACTION READ ONLY",
        }
        with store._database.engine.connect() as connection:
            connection.connection.driver_connection.execute(read_only[backend])
            if backend == "postgresql":
                connection.connection.driver_connection.commit()
        with pytest.raises(ReadOnlyError, match=r"read-only\. Everything acknowledged before is kept"):
            store.record("job-1", reading("entry-0"))
        assert store.evidence("job-1") == ()


def test_a_folder_for_attachments_that_is_a_file_is_said(tmp_path):
    (tmp_path / "files").write_text("in the way")
    with JobStore(f"sqlite:///{tmp_path}/jobs.db", files=tmp_path / "files") as store:
        store.open_job("job-1", intake(), who="Ada", at=NOW)
        with pytest.raises(StorageError, match="disk reported an error"):
            store.attach("job-1", photo("photo-1"), BytesIO(JPEG))
        assert store.attachments("job-1") == ()


# Locked, damaged, gone


@pytest.mark.parametrize("backend", BACKENDS)
def test_a_store_that_somebody_else_holds_is_said(backend, new_url, tmp_path):
    url = new_url(backend)
    with JobStore(url, files=tmp_path) as holder, JobStore(url, files=tmp_path, busy_seconds=0.1) as waiting:
        holder.open_job("job-1", intake(), who="Ada", at=NOW)
        with holder._database.writing() as connection:
            connection.exec_driver_sql("UPDATE jobs SET last_change = last_change")
            with pytest.raises(BusyError, match=r"Another program is holding the job store\. Everything"):
                waiting.record("job-1", reading("entry-0"))
        assert waiting.record("job-1", reading("entry-0")).sequence == 2


def test_a_damaged_database_is_said(tmp_path):
    path = tmp_path / "jobs.db"
    with JobStore(f"sqlite:///{path}") as store:
        store.open_job("job-1", intake(), who="Ada", at=NOW)
        store.record_all("job-1", [reading(f"entry-{number}") for number in range(200)])
    with closing(sqlite3.connect(path)) as connection:
        where = "SELECT rootpage FROM sqlite_master WHERE name = 'evidence'"
        (page,), (size,) = (
            connection.execute(where).fetchone(),
            connection.execute("PRAGMA page_size").fetchone(),
        )
    with path.open("r+b") as file:
        file.seek((page - 1) * size)
        file.write(b"\xff" * size)
    with JobStore(f"sqlite:///{path}") as store:
        assert store.check()
        with pytest.raises(DamagedError, match=r"damaged or is not a Halfsplit database.*copy the file"):
            store.evidence("job-1")


def test_another_sort_of_file_is_said(tmp_path):
    (tmp_path / "jobs.db").write_text("Complaint: rear wiper.\n" * 100)
    with pytest.raises(DamagedError, match="is not a Halfsplit database"):
        JobStore(f"sqlite:///{tmp_path}/jobs.db")


def test_damaged_and_missing_attachments_are_found(tmp_path):
    with JobStore(f"sqlite:///{tmp_path}/jobs.db") as store:
        store.open_job("job-1", intake(), who="Ada", at=NOW)
        first = store.attach("job-1", photo("a"), BytesIO(JPEG))
        second = store.attach("job-1", photo("b"), BytesIO(JPEG + b"x"))
        store.files.path(first.sha256).write_bytes(JPEG[:-1] + b"?")
        store.files.path(second.sha256).unlink()
        problems = sorted(store.check())
        assert len(problems) == 2
        assert any("is not what was stored" in problem for problem in problems)
        assert any("the file of an attachment is missing" in problem for problem in problems)
        with pytest.raises(StorageError, match="missing"):
            store.open_attachment("job-1", "b")


@pytest.mark.requires("postgresql")
def test_a_server_that_was_killed_has_kept_what_it_acknowledged(postgresql, migrated, tmp_path):
    url = postgresql.url(postgresql.new_database(migrated))
    with JobStore(url, files=tmp_path) as store:
        store.open_job("job-1", intake(), who="Ada", at=NOW)
        stored = [store.record("job-1", reading(f"entry-{number}")) for number in range(20)]
        postgresql.stop()
        with pytest.raises(UnreachableError, match="does not answer"):
            store.record("job-1", reading("entry-20"))
        postgresql.restart()
        assert store.evidence("job-1") == tuple(stored)
        assert store.record("job-1", reading("entry-20")).sequence == 22
