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
from playwright.sync_api import Browser, ConsoleMessage, Error, Page, expect, sync_playwright

from tests.browser.acts import PATIENCE
from tests.browser.chromium import launched
from tests.browser.looks import SIZES
from tests.circuits import ONE_LAMP as LAMP
from tests.waiting import reserved_port, until

expect.set_options(timeout=PATIENCE)
CODE = """
import ctypes, gc, json, os, shutil, signal, sys
from multiprocessing import forkserver
import uvicorn
from fastapi.testclient import TestClient
from halfsplit import job as jobs
from halfsplit.job.working import PRELOAD
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
forkserver.set_forkserver_preload(PRELOAD)
forkserver.ensure_running()
forkserver._forkserver.ensure_running = lambda: None
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
of its store; the long work of all of them is forked from one process."""
LIGHT = "/drawing.css"
"""An address of the workbench at which no code runs."""
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

    def __init__(self, folder: Path, nursery: Nursery, port: int) -> None:
        self.folder, self.nursery, self.port = folder, nursery, port
        shutil.copy(nursery.store, folder / "jobs.db")
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


@pytest.fixture(scope="session")
def nursery(tmp_path_factory) -> Iterator[Nursery]:
    made = Nursery(tmp_path_factory.mktemp("nursery"))
    with made.process:
        yield made
        made.process.kill()


@pytest.fixture(scope="session")
def port() -> Iterator[int]:
    with reserved_port() as port:
        yield port


@pytest.fixture
def server(tmp_path, nursery, port) -> Iterator[Server]:
    server = Server(tmp_path, nursery, port)
    yield server
    server.kill()


@pytest.fixture(scope="session")
def chromium() -> Iterator[Browser]:
    with sync_playwright() as player, launched(player) as browser:
        yield browser


@pytest.fixture(scope="session")
def idle(chromium) -> Iterator[list[Page]]:
    """Pages at which nobody sits, each of a browser of its own that remembers nothing.

    A new one for each test would have a new process, which takes as long as what most tests do in it.
    """
    pages: list[Page] = []
    yield pages
    for page in pages:
        page.context.close()


def forgets(page: Page) -> bool:
    """Leave what the page shows and forget all that it stored; whether it is now as good as a new one."""
    if page.is_closed() or len(page.context.pages) > 1:
        return False
    try:
        page.unroute_all()
        page.evaluate("sessionStorage.clear()")
        page.goto(LIGHT)
        devtools = page.context.new_cdp_session(page)
        origin = page.url.removesuffix(LIGHT)
        devtools.send("Storage.clearDataForOrigin", {"origin": origin, "storageTypes": "all"})
        devtools.send("Network.clearBrowserCache")
        devtools.detach()
        page.context.clear_cookies()
    except Error:
        return False
    return True


@pytest.fixture
def open_page(chromium, server, idle):
    """A function: size and scheme → a page that fails the test where the browser reports an error.

    Each is a browser of its own: what one stores the others do not know.
    """
    taken, errors = [], []

    def failed(error: Error) -> None:
        errors.append(str(error))

    def said(message: ConsoleMessage) -> None:
        if "Content Security Policy" in message.text:
            errors.append(message.text)

    def page(size: str = "tablet", scheme: str = "light") -> Page:
        made = (
            idle.pop()
            if idle
            else chromium.new_context(base_url=server.url, service_workers="block").new_page()
        )
        width, height = SIZES[size]
        made.set_viewport_size({"width": width, "height": height})
        made.emulate_media(media="null", color_scheme=scheme)
        made.context.set_default_timeout(PATIENCE)
        made.on("pageerror", failed)
        made.on("console", said)
        taken.append(made)
        return made

    yield page
    for made in taken:
        made.remove_listener("pageerror", failed)
        made.remove_listener("console", said)
        if forgets(made):
            idle.append(made)
        else:
            made.context.close()
    assert errors == []
