"""The workbench in a process of its own, and real Chromium in the sizes of a tablet, a phone and a desk."""

import atexit
import contextlib
import json
import os
import signal
import subprocess
import sys
import urllib.request
from collections.abc import Iterator
from functools import cache
from pathlib import Path
from subprocess import PIPE

import pytest
from playwright.sync_api import Browser, Page, expect, sync_playwright

from tests.browser.acts import PATIENCE
from tests.browser.looks import SIZES
from tests.circuits import ONE_LAMP as LAMP
from tests.waiting import reserved_port, until

expect.set_options(timeout=PATIENCE)
FLAGS = [
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]
CODE = """
import json, os, signal, sys, tempfile
import uvicorn
from halfsplit import job as jobs
from halfsplit.workbench.app import create_app
def lamp(store, circuit):
    job = jobs.OpenJob(store, "lamp", "Ada")
    intake = jobs.Intake(complaint=jobs.Complaint(text="The work lamp stays dark"))
    jobs.open_job(store, intake, who="Ada", job_id="lamp", circuit=circuit)
    if not store.evidence("lamp"):
        jobs.complain_all(job, [("H1", "no", "on")])
    return job
with tempfile.TemporaryDirectory() as folder, jobs.JobStore("sqlite:///" + folder + "/warm.db") as store:
    jobs.bench_view(lamp(store, sys.argv[1]))
signal.signal(signal.SIGCHLD, signal.SIG_IGN)
print("ready", flush=True)
for line in sys.stdin:
    url, port, circuit = json.loads(line)
    pid = os.fork()
    if pid == 0:
        signal.signal(signal.SIGCHLD, signal.SIG_DFL)
        store = jobs.JobStore(url)
        lamp(store, circuit)
        uvicorn.run(create_app(store), port=port, log_level="warning", timeout_graceful_shutdown=1)
        os._exit(0)
    print(pid, flush=True)
"""
"""One process that has everything in memory; each server is a fork of it, which starts in a tenth of the time."""


@cache
def nursery() -> subprocess.Popen[str]:
    environment = os.environ | {"OPENBLAS_NUM_THREADS": "1"}
    started = subprocess.Popen(
        [sys.executable, "-c", CODE, LAMP], env=environment, stdin=PIPE, stdout=PIPE, text=True
    )
    atexit.register(_end, started)
    assert started.stdout is not None
    assert started.stdout.readline().strip() == "ready"
    return started


def _end(started: subprocess.Popen[str]) -> None:
    with started:
        started.kill()


class Server:
    """A workbench that can be killed in the middle and started again on the same address and store."""

    def __init__(self, folder: Path, circuit: str) -> None:
        self.folder, self.circuit = folder, circuit
        self._held = contextlib.ExitStack()
        self.port = self._held.enter_context(reserved_port())
        self.url = f"http://127.0.0.1:{self.port}"
        self.start()

    def start(self) -> None:
        started = nursery()
        assert started.stdin is not None
        assert started.stdout is not None
        print(
            json.dumps([f"sqlite:///{self.folder}/jobs.db", self.port, self.circuit]),
            file=started.stdin,
            flush=True,
        )
        self.pid = int(started.stdout.readline())
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


@pytest.fixture
def server(tmp_path) -> Iterator[Server]:
    server = Server(tmp_path, LAMP)
    yield server
    server.close()


@pytest.fixture(scope="session")
def chromium() -> Iterator[Browser]:
    with sync_playwright() as player:
        browser = player.chromium.launch(executable_path="/usr/bin/chromium", args=FLAGS)
        yield browser
        browser.close()


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
