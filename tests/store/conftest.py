"""Stores to test on: SQLite in a new folder, PostgreSQL on a server of our own (or skipped, see tests/conftest.py)."""

import shutil
from collections.abc import Iterator
from itertools import count
from pathlib import Path

import pytest

from halfsplit.store import JobStore
from tests.store.samples import NOW, intake

BACKENDS = [
    pytest.param("sqlite", id="sqlite"),
    pytest.param("postgresql", id="postgresql", marks=pytest.mark.requires("postgresql")),
]
_numbers = count(1)


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
    with JobStore(new_url(request.param), files=tmp_path / "files", busy_seconds=60) as store:
        yield store


@pytest.fixture
def job_id(store) -> str:
    """A job that was just opened."""
    return store.open_job("job-1", intake(), who="Ada", at=NOW).job_id


@pytest.fixture
def sqlite_file(tmp_path, migrated_file) -> Path:
    return Path(shutil.copy(migrated_file, tmp_path / "jobs.db"))


@pytest.fixture
def sqlite_store(sqlite_file) -> Iterator[JobStore]:
    with JobStore(f"sqlite:///{sqlite_file}") as store:
        yield store
