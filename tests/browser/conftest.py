"""The workbench in a process of its own, and real Chromium in the sizes of a tablet, a phone and a desk."""

import contextlib
import json
import os
import shutil
import signal
import subprocess
import sys
import urllib.request
from collections.abc import Iterator
from pathlib import Path
from subprocess import PIPE

import pytest
from playwright.sync_api import Browser, Page, expect, sync_playwright

from tests.browser.acts import PATIENCE
from tests.browser.chromium import launched
from tests.browser.looks import SIZES
from tests.circuits import ONE_LAMP as LAMP
from tests.waiting import reserved_port, until

expect.set_options(timeout=PATIENCE)
CODE = """
import ctypes, gc, json, os, shutil, signal, sys
import uvicorn
from fastapi.testclient import TestClient
from halfsplit import job as jobs
from halfsplit.workbench.app import create_app
store = jobs.JobStore(sys.argv[1])
job = jobs.OpenJob(store, "lamp", "Ada")
intake = jobs.Intake(complaint=jobs.Complaint(text="The work lamp stays dark"))
jobs.open_job(store, intake, who="Ada", job_id="lamp", circuit=sys.argv[2])
jobs.complain_all(job, [("H1", "no", "on")])
app = create_app(store)
client = TestClient(app, base_url="http://127.0.0.1")
for path in ("jobs", "jobs/new", "practice", *("jobs/lamp" + bay for bay in sys.argv[3].split())):
    assert client.get("/" + path).status_code == 200, path
store.close()
uvicorn.Config(app).load()
gc.collect()
gc.freeze()
signal.signal(signal.SIGCHLD, signal.SIG_IGN)
print("ready", flush=True)
for line in sys.stdin:
    url, port = json.loads(line)
    pid = os.fork()
    if pid == 0:
        ctypes.CDLL(None).prctl(1, signal.SIGKILL)  # PR_SET_PDEATHSIG: a run that is killed leaves no server behind
        signal.signal(signal.SIGCHLD, signal.SIG_DFL)
        store.__init__(url)
        uvicorn.run(app, port=port, log_level="warning", timeout_graceful_shutdown=1)
        os._exit(0)
    print(pid, flush=True)
"""
"""One process that has made every page of the job once and has it all in memory. Each server is a fork of it, on a copy
of its store."""
BAYS = " /circuit /circuit/taps /intake /captures /scan /drain /plan /report"


class Nursery:
    """Where servers come from. ``store``: the file with the job that each begins with."""

    def __init__(self, folder: Path) -> None:
        self.store = folder / "jobs.db"
        command = [sys.executable, "-c", CODE, f"sqlite:///{self.store}", LAMP, BAYS]
        environment = os.environ | {"OPENBLAS_NUM_THREADS": "1"}
        self.process = subprocess.Popen(command, env=environment, stdin=PIPE, stdout=PIPE, text=True)
        assert self._answer() == "ready"

    def _answer(self) -> str:
        assert self.process.stdout is not None
        return self.process.stdout.readline().strip()

    def new_server(self, url: str, port: int) -> int:
        """The number of its process."""
        assert self.process.stdin is not None
        print(json.dumps([url, port]), file=self.process.stdin, flush=True)
        return int(self._answer())


class Server:
    """A workbench that can be killed in the middle and started again on the same address and store."""

    def __init__(self, folder: Path, nursery: Nursery) -> None:
        self.folder, self.nursery = folder, nursery
        shutil.copy(nursery.store, folder / "jobs.db")
        self._held = contextlib.ExitStack()
        self.port = self._held.enter_context(reserved_port())
        self.url = f"http://127.0.0.1:{self.port}"
        self.start()

    def start(self) -> None:
        self.pid = self.nursery.new_server(f"sqlite:///{self.folder}/jobs.db", self.port)
        until(self._answers, "the workbench answers")

    def _answers(self) -> bool:
        assert self._lives(), "the workbench ended before it answered"
        with contextlib.suppress(OSError), urllib.request.urlopen(self.url + "/jobs", timeout=30):
            return True
        return False

    def _lives(self) -> bool:
        return Path(f"/proc/{self.pid}/stat").exists()

    def kill(self) -> None:
        with contextlib.suppress(ProcessLookupError):
            os.kill(self.pid, signal.SIGKILL)
        until(lambda: not self._lives(), "the workbench has ended")

    def close(self) -> None:
        """Kill it, and give its address back."""
        self.kill()
        self._held.close()


@pytest.fixture(scope="session")
def nursery(tmp_path_factory) -> Iterator[Nursery]:
    made = Nursery(tmp_path_factory.mktemp("nursery"))
    with made.process:
        yield made
        made.process.kill()


@pytest.fixture
def server(tmp_path, nursery) -> Iterator[Server]:
    server = Server(tmp_path, nursery)
    yield server
    server.close()


@pytest.fixture(scope="session")
def chromium() -> Iterator[Browser]:
    with sync_playwright() as player, launched(player) as browser:
        yield browser


@pytest.fixture
def open_page(chromium, server):
    """A function: size and scheme → a page that fails the test where the browser reports an error."""
    contexts, errors = [], []

    def page(size: str = "tablet", scheme: str = "light") -> Page:
        width, height = SIZES[size]
        context = chromium.new_context(
            viewport={"width": width, "height": height},
            color_scheme=scheme,
            base_url=server.url,
            service_workers="block",
        )
        context.set_default_timeout(PATIENCE)
        contexts.append(context)
        made = context.new_page()
        made.on("pageerror", lambda error: errors.append(str(error)))
        made.on(
            "console",
            lambda message: "Content Security Policy" in message.text and errors.append(message.text),
        )
        return made

    yield page
    for context in contexts:
        context.close()
    assert errors == []
