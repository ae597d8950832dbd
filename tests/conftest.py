"""What all tests share: how a test says what it needs from outside, and that none touches the user's files.

    @pytest.mark.requires("ngspice")         # an outside program or library, by its name in PROGRAMS
    def test_rest_voltage(outside_data):
        folder = outside_data("battery")     # a folder of open data

A test whose program is absent is skipped with the reason. In CI (CI=true) it fails instead, since there
`make test` has installed everything. Outside data is not part of the project, so its absence always skips.
"""

import ctypes.util
import fcntl
import gc
import importlib.util
import os
import re
import shutil
import tempfile
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import TYPE_CHECKING

import pytest
from hypothesis import settings

if TYPE_CHECKING:
    from halfsplit.job import JobStore
    from tests.postgresql import PostgreSQL

ROOT = Path(__file__).parents[1]
PROGRAMS: dict[str, tuple[Callable[[], object], str]] = {
    "ngspice": (lambda: shutil.which("ngspice"), "apt install ngspice"),
    "libngspice": (lambda: ctypes.util.find_library("ngspice"), "apt install libngspice0"),
    "chromium": (
        lambda: shutil.which("chromium-headless-shell") or shutil.which("chromium"),
        "apt install chromium-headless-shell",
    ),
    "postgresql": (lambda: list(Path("/usr/lib/postgresql").glob("*/bin/initdb")), "apt install postgresql"),
    "pdftotext": (lambda: shutil.which("pdftotext"), "apt install poppler-utils"),
    "pdftoppm": (lambda: shutil.which("pdftoppm"), "apt install poppler-utils"),
    "bundle": ((ROOT / "src/halfsplit/workbench/static/dist/main.js").exists, "make check"),
    "pyagrum": (lambda: importlib.util.find_spec("pyagrum"), "make .venv/.test"),
    "distributed": (lambda: importlib.util.find_spec("distributed"), "make .venv/.test"),
    "asammdf": (lambda: importlib.util.find_spec("asammdf"), "make .venv/.test"),
}
"""Name -> (whether it is here, how to get it)."""

settings.register_profile("halfsplit", deadline=None, derandomize=True, print_blob=True)
settings.load_profile("halfsplit")


OUTSIDE = "outside data"

os.environ.setdefault("OMP_NUM_THREADS", "1")  # the workers share the cores: threads would only wait
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")


@pytest.hookimpl(wrapper=True, tryfirst=True)
def pytest_terminal_summary(terminalreporter: pytest.TerminalReporter) -> Iterator[None]:
    """The last line for a fresh clone: what was not checked since the open data are not here, and how to get them."""
    yield
    skipped = [str(report.longrepr) for report in terminalreporter.getreports("skipped")]
    names = {found[1] for text in skipped if (found := re.search(rf"{OUTSIDE} '([^']+)'", text))}
    missing = sum(OUTSIDE in text for text in skipped)
    if missing:
        terminalreporter.write_line(
            f"Not checked: {missing} tests against open data ({', '.join(sorted(names))}). "
            "docs/sources.md says where each comes from; set HALFSPLIT_DATA to the folder that holds them."
        )


TOGETHER = ("tests/workbench", "tests/browser")
"""Folders whose tests share servers, a browser or answers: each goes to one worker whole, before all other files.

In this order, for what drives the browser keeps its event loop to the end, and `asyncio.run` refuses beside it.
"""


def _shared_with(nodeid: str) -> str:
    """The folder or the file whose tests stay with one worker, for the sake of their fixtures."""
    file = nodeid.partition("::")[0]
    folder = file.rpartition("/")[0]
    return folder if folder in TOGETHER else file


@pytest.hookimpl(optionalhook=True)
def pytest_xdist_make_scheduler(config: pytest.Config, log: object) -> object:
    """Hands the tests out to the workers."""
    from xdist.scheduler import LoadFileScheduling

    class ByFolder(LoadFileScheduling):
        def _split_scope(self, nodeid: str) -> str:
            return _shared_with(nodeid)

    return ByFolder(config, log)


@pytest.hookimpl(wrapper=True)
def pytest_collection() -> Iterator[None]:
    """One worker after the other: what the first compiles of a fresh clone, the others find compiled."""
    with Path(__file__).open(encoding="utf-8") as turn:
        fcntl.flock(turn, fcntl.LOCK_EX)
        return (yield)


@pytest.hookimpl(tryfirst=True)
def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    def rank(item: pytest.Item) -> int:
        shared = _shared_with(item.nodeid)
        return (*TOGETHER, shared).index(shared)

    items.sort(key=rank)


def pytest_collection_finish() -> None:
    """What is loaded by now stays: the garbage collector need not go through it again and again, a tenth of the run."""
    gc.collect()
    gc.freeze()
    gc.set_threshold(20_000, 20, 50)


def pytest_runtest_setup(item: pytest.Item) -> None:
    for mark in item.iter_markers("requires"):
        for name in mark.args:
            _require(name)


def _require(name: str) -> None:
    present, remedy = PROGRAMS[name]
    if present():
        return
    reason = f"{name} is not installed here: {remedy}"
    if os.environ.get("CI") == "true":
        pytest.fail(reason)
    pytest.skip(reason)


@pytest.fixture(scope="session")
def outside_data() -> Callable[[str], Path]:
    """A function from the name of a folder of outside data to its path; skips where it is absent."""
    root = Path(os.environ.get("HALFSPLIT_DATA", ROOT.parent / "shared" / "data"))

    def folder(name: str) -> Path:
        if not (root / name).exists():
            pytest.skip(
                f"{OUTSIDE} '{name}' is not in {root}: set HALFSPLIT_DATA to the folder that holds it"
            )
        return root / name

    return folder


@pytest.fixture(scope="session")
def migrated_file(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A store of the present schema, to be copied: much faster than migrating for every test."""
    from halfsplit.job import JobStore

    path = tmp_path_factory.mktemp("migrated") / "jobs.db"
    JobStore(f"sqlite:///{path}").close()
    return path


@pytest.fixture
def store(tmp_path: Path, migrated_file: Path) -> Iterator["JobStore"]:
    """An empty store of jobs, in a file."""
    from halfsplit.job import JobStore

    shutil.copy(migrated_file, tmp_path / "jobs.db")
    with JobStore(f"sqlite:///{tmp_path}/jobs.db") as store:
        yield store


@pytest.fixture(autouse=True, scope="session")
def _own_home(tmp_path_factory: pytest.TempPathFactory) -> None:
    """No test reads or writes the jobs, settings and caches of whoever runs it."""
    home = tmp_path_factory.mktemp("home")
    for name in ("XDG_DATA_HOME", "XDG_CONFIG_HOME", "XDG_CACHE_HOME", "XDG_STATE_HOME"):
        os.environ[name] = str(home / name.lower())


@pytest.fixture(scope="session")
def postgresql() -> "Iterator[PostgreSQL]":
    """One server for all tests of a run."""
    from tests.postgresql import PostgreSQL

    server = PostgreSQL(Path(tempfile.mkdtemp(prefix="halfsplit-")))
    server.start()
    yield server
    server.stop()
    shutil.rmtree(server.folder, ignore_errors=True)


@pytest.fixture(scope="session")
def migrated(postgresql) -> str:
    """The same on PostgreSQL."""
    from halfsplit.store import JobStore

    name = postgresql.new_database()
    JobStore(postgresql.url(name), files=Path("/nonexistent")).close()
    return name
