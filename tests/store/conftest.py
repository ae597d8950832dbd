"""Stores to test on: SQLite in a new folder, PostgreSQL on a server of our own (or skipped, see tests/conftest.py)."""

import os
import shutil
import subprocess
import tempfile
from collections.abc import Iterator
from itertools import count
from pathlib import Path

import pytest
from sqlalchemy import create_engine, text

from halfsplit.store import JobStore
from halfsplit.store.migrations import REVISIONS
from halfsplit.store.tables import metadata

BACKENDS = [
    pytest.param("sqlite", id="sqlite"),
    pytest.param("postgresql", id="postgresql", marks=pytest.mark.requires("postgresql")),
]
_numbers = count(1)


class PostgreSQL:
    """A server on a unix socket, in a folder of its own. PostgreSQL refuses to run as root."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.free: list[str] = []
        self.programs = max(Path("/usr/lib/postgresql").glob("*/bin"), key=lambda path: int(path.parent.name))

    def run(self, program: str, *arguments: str) -> None:
        command = [str(self.programs / program), *arguments]
        if os.geteuid() == 0:
            command = ["runuser", "-u", "postgres", "--", *command]
        done = subprocess.run(command, capture_output=True, text=True, cwd="/", check=False)
        assert done.returncode == 0, done.stdout + done.stderr

    def start(self) -> None:
        data = str(self.folder / "data")
        if os.geteuid() == 0:
            shutil.chown(self.folder, "postgres")
        self.run("initdb", "--no-sync", "-A", "trust", "-U", "halfsplit", "-E", "UTF8", "-D", data)
        self.restart()

    def restart(self) -> None:
        options = f"-k {self.folder} -c listen_addresses='' -c fsync=off -c max_connections=40"
        arguments = ["-D", str(self.folder / "data"), "-w", "-o", options, "-l", str(self.folder / "log")]
        self.run("pg_ctl", *arguments, "start")

    def stop(self) -> None:
        self.run("pg_ctl", "-D", str(self.folder / "data"), "-m", "immediate", "-w", "stop")

    def new_database(self, template: str = "template0") -> str:
        name = f"job{next(_numbers)}"
        self.run("createdb", "-h", str(self.folder), "-U", "halfsplit", "-T", template, name)
        return name

    def empty(self, database: str) -> None:
        """What no program may do, a superuser can: switch the triggers off for his own session."""
        engine = create_engine(self.url(database).replace("postgresql:", "postgresql+psycopg:"))
        with engine.begin() as connection:
            connection.execute(text("SET LOCAL session_replication_role = replica"))
            connection.execute(text(f"TRUNCATE {', '.join(metadata.tables)} RESTART IDENTITY"))
            connection.execute(text("INSERT INTO workshop VALUES (1, '', '', '', '', NULL, 0)"))
            connection.execute(text(f"UPDATE alembic_version SET version_num = '{REVISIONS[-1]}'"))
        engine.dispose()

    def url(self, database: str) -> str:
        return f"postgresql://halfsplit@/{database}?host={self.folder}"


@pytest.fixture(scope="session")
def postgresql() -> Iterator[PostgreSQL]:
    server = PostgreSQL(Path(tempfile.mkdtemp(prefix="halfsplit-")))
    server.start()
    yield server
    server.stop()
    shutil.rmtree(server.folder, ignore_errors=True)


@pytest.fixture(scope="session")
def migrated(postgresql) -> str:
    """A database of the present schema, to be copied: much faster than migrating for every test."""
    name = postgresql.new_database()
    JobStore(postgresql.url(name), files=Path("/nonexistent")).close()
    return name


@pytest.fixture(scope="session")
def migrated_file(tmp_path_factory) -> Path:
    """The same for SQLite."""
    path = tmp_path_factory.mktemp("migrated") / "jobs.db"
    JobStore(f"sqlite:///{path}").close()
    return path


@pytest.fixture
def new_url(request, tmp_path, migrated_file):
    """A function: backend -> URL of an empty database with the present schema. PostgreSQL's are used again."""
    taken = []

    def url(backend: str) -> str:
        if backend == "sqlite":
            path = shutil.copy(migrated_file, tmp_path / f"jobs-{next(_numbers)}.db")
            return f"sqlite:///{path}"
        server = request.getfixturevalue("postgresql")
        template = request.getfixturevalue("migrated")
        taken.append(server.free.pop() if server.free else server.new_database(template))
        return server.url(taken[-1])

    yield url
    for database in taken:
        server = request.getfixturevalue("postgresql")
        server.empty(database)
        server.free.append(database)


@pytest.fixture(params=BACKENDS)
def store(request, new_url, tmp_path) -> Iterator[JobStore]:
    with JobStore(new_url(request.param), files=tmp_path / "files", busy_seconds=5) as store:
        yield store


@pytest.fixture
def sqlite_file(tmp_path, migrated_file) -> Path:
    return Path(shutil.copy(migrated_file, tmp_path / "jobs.db"))


@pytest.fixture
def sqlite_store(sqlite_file) -> Iterator[JobStore]:
    with JobStore(f"sqlite:///{sqlite_file}") as store:
        yield store
