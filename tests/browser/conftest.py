"""The workbench in a process of its own, and real Chromium in the sizes of a tablet, a phone and a desk."""

import os
import signal
import socket
import subprocess
import sys
import time
import urllib.request
from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Browser, Page, sync_playwright

FLAGS = [
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]
SIZES = {"tablet": (1280, 800), "phone": (390, 844), "desk": (1920, 1080)}
CODE = """
import sys, uvicorn
from halfsplit import job as jobs
from halfsplit.workbench.app import create_app
store = jobs.JobStore(sys.argv[1])
if len(sys.argv) > 3:
    intake = jobs.Intake(complaint=jobs.Complaint(text="The work lamp stays dark"))
    jobs.open_job(store, intake, who="Ada", job_id="lamp", circuit=open(sys.argv[3]).read())
    if not store.evidence("lamp"):
        jobs.complain_all(jobs.OpenJob(store, "lamp", "Ada"), [("H1", "no", "on")])
uvicorn.run(create_app(store), port=int(sys.argv[2]), log_level="warning", timeout_graceful_shutdown=1)
"""


class Server:
    """A workbench that can be killed in the middle and started again on the same address and store."""

    def __init__(self, folder: Path, circuit: str) -> None:
        self.folder = folder
        (folder / "lamp.circuit").write_text(circuit)
        with socket.socket() as found:
            found.bind(("127.0.0.1", 0))
            self.port = found.getsockname()[1]
        self.url = f"http://127.0.0.1:{self.port}"
        self.start()

    def start(self) -> None:
        arguments = [f"sqlite:///{self.folder}/jobs.db", str(self.port), str(self.folder / "lamp.circuit")]
        environment = os.environ | {"OPENBLAS_NUM_THREADS": "1"}
        self.process = subprocess.Popen([sys.executable, "-c", CODE, *arguments], env=environment)
        for _ in range(900):
            try:
                urllib.request.urlopen(self.url + "/jobs", timeout=2).close()
            except OSError:
                time.sleep(0.1)
            else:
                return
        self.kill()
        raise AssertionError("the workbench did not start")

    def kill(self) -> None:
        self.process.send_signal(signal.SIGKILL)
        self.process.wait()


LAMP = """title  One lamp
battery G1
fuse F1 10 A
switch S1 off on
lamp H1 21 W "work lamp"
ground E1
connector X1
G1.+ -- F1 -- S1 -- X1.1 -- H1 -- E1
G1.- --[16mm2]-- E1
state "off"
state "on" S1 on
"""


@pytest.fixture
def server(tmp_path) -> Iterator[Server]:
    server = Server(tmp_path, LAMP)
    yield server
    server.kill()


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
            viewport={"width": width, "height": height}, color_scheme=scheme, base_url=server.url
        )
        contexts.append(context)
        made = context.new_page()
        made.set_default_timeout(15_000)
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
