"""The commands on a real PostgreSQL: a job goes in, is printed, goes out, and is served, by the command alone."""

from __future__ import annotations

import contextlib
import json
import subprocess
import sys
import urllib.error
import urllib.request
from io import BytesIO

import pytest
import uvicorn
from fastapi.testclient import TestClient
from PIL import Image

from halfsplit.job import Complaint, Intake, JobStore, OpenJob, add_photo, open_job
from halfsplit.job.learned_file import read_learned
from tests.store.test_learned import closed_job
from tests.waiting import reserved_port, until

pytestmark = pytest.mark.requires("postgresql")


@pytest.fixture
def address(postgresql, migrated):
    """A database of its own on the server of this run."""
    return postgresql.url(postgresql.new_database(migrated))


@pytest.fixture
def exported(run, tmp_path):
    """A job with a photo, from an SQLite store, as a file."""
    url, photo = f"sqlite:///{tmp_path}/first.db", BytesIO()
    Image.new("RGB", (40, 30), "#446688").save(photo, "PNG")
    with JobStore(url) as store:
        intake = Intake(complaint=Complaint(text="The lamp is dark."))
        open_job(store, intake, who="test", job_id="j-1")
        add_photo(OpenJob(store, "j-1", "test"), BytesIO(photo.getvalue()), name="lamp.png")
    out = tmp_path / "out.halfsplit"
    assert run("export", "1", "--store", url, "--out", out)[0] == 0
    return out


def test_a_job_goes_in_is_printed_and_goes_out(run, tmp_path, monkeypatch, address, exported):
    """Without a folder the attachments are in this user's data folder; with one they are there."""
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path / "data"))
    assert run("import", exported, "--store", address)[:2] == (0, "job 1 (j-1)\n")
    (folder,) = tmp_path.glob("data/halfsplit/*.files")
    assert [path.name for path in folder.rglob("*") if path.is_file()]
    pdf, again = tmp_path / "report.pdf", tmp_path / "again.halfsplit"
    assert run("report", "1", "--pdf", pdf, "--for", "workshop", "--store", address)[0] == 0
    assert pdf.read_bytes().startswith(b"%PDF-")
    assert run("export", "j-1", "--out", again, "--store", address)[0] == 0
    named = ("--store", address, "--attachments", tmp_path / "named")
    code, _, err = run("export", "j-1", "--out", tmp_path / "third.halfsplit", *named)
    assert (code, "missing" in err) == (1, True)
    other = f"sqlite:///{tmp_path}/second.db"
    assert run("import", again, "--store", other, "--attachments", tmp_path / "named")[0] == 0
    assert [path for path in (tmp_path / "named").rglob("*") if path.is_file()]


def test_three_servers_learn_and_their_files_are_added_up(run, tmp_path, monkeypatch, address):
    """One on PostgreSQL with two jobs, two on SQLite with one each: the chain's file counts four."""
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path / "data"))
    monkeypatch.setenv("HALFSPLIT_LEARNED", str(tmp_path / "learned.toml"))
    files = []
    for name, url, count in (
        ("north", f"sqlite:///{tmp_path}/north.db", 1),
        ("south", f"sqlite:///{tmp_path}/south.db", 1),
        ("chain", address, 2),
    ):
        with JobStore(url) as store:
            for number in range(count):
                closed_job(store, f"{name}-{number}")
        files.append(tmp_path / f"{name}.toml")
        more = [word for file in files[:-1] for word in ("--add", file)] if name == "chain" else []
        assert run("learn", "--store", url, "--by", name, "--out", files[-1], *more)[0] == 0
    found = read_learned(files[-1])
    assert [(who, jobs) for who, _, jobs in found.sources] == [("chain", 2), ("north", 1), ("south", 1)]
    assert found.tally.jobs == 4
    assert [
        (cause.part, jobs) for cause, jobs in next(iter(found.tally.circuits.values())).causes.items()
    ] == [("F1", 4)]


@pytest.fixture
def port():
    with reserved_port() as port:
        yield str(port)


def test_the_demo_is_served(run, monkeypatch, address, port):
    pages = []

    def serve(app, **settings):
        client = TestClient(app, base_url=f"http://{settings['host']}")
        pages.append(client.get("/api/v1/jobs").json())

    monkeypatch.setattr(uvicorn, "run", serve)
    assert run("demo", "--store", address, "--port", port)[0] == 0
    assert [job["job_id"] for job in pages[0]] == ["demo"]


def test_the_workbench_is_served_and_ended(address, exported, run, port):
    assert run("import", exported, "--store", address)[0] == 0
    command = [sys.executable, "-c", "from halfsplit.cli import main; main()", "serve", "--port", port]
    with subprocess.Popen([*command, "--store", address], stderr=subprocess.PIPE, text=True) as server:
        try:
            found = json.loads(fetched(f"http://127.0.0.1:{port}/api/v1/jobs", server))
        finally:
            server.terminate()
            said = server.stderr.read()
    assert [job["complaint"] for job in found] == ["The lamp is dark."]
    assert said.startswith(f"Halfsplit is at http://127.0.0.1:{port}")
    assert "Traceback" not in said


def fetched(address, server):
    """What the server answers, as soon as it does."""
    answers = []

    def asked():
        assert server.poll() is None, server.stderr.read()
        with (
            contextlib.suppress(urllib.error.URLError),
            urllib.request.urlopen(address, timeout=60) as answer,
        ):
            answers.append(answer.read())
        return answers

    until(asked, "the server answers")
    return answers[0]
