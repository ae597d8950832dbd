"""Every page in real Chromium: axe-core finds nothing, nothing runs out sideways, and the task at hand is in view."""

import re
from collections.abc import Iterator
from pathlib import Path

import pytest

from halfsplit import job as jobs
from halfsplit.job import JobStore
from halfsplit.job.demo import demo_job
from halfsplit.job.open_job import OpenJob
from tests.browser.acts import PATIENCE
from tests.browser.conftest import LAMP, Server
from tests.browser.finished import finish, picture, shop
from tests.browser.looks import faults

pytestmark = pytest.mark.requires("chromium", "bundle")
ANYONE = {
    "jobs": "/jobs",
    "jobs-closed-too": "/jobs?closed=1",
    "new-job": "/jobs/new",
    "sign-in": "/sign-in",
    "settings": "/settings",
    "people": "/people",
    "audit": "/audit",
    "problem": "/jobs/nowhere",
    "practice": "/practice",
    "help": "/help",
}
LAMPS = {
    "bench": "/jobs/lamp",
    "bench-own-test": "/jobs/lamp?at=X1.1:in&quantity=volts&state=on",
    "bench-suspicion": "/jobs/lamp?show=try&part=H1&price=9.50",
    "bench-others": "/jobs/lamp?others=1",
    "bench-sheet": "/jobs/lamp/drawing?whole=1",
    "circuit-start": "/jobs/empty/circuit",
    "circuit-text": "/jobs/lamp/circuit",
    "circuit-taps": "/jobs/lamp/circuit/taps?part=X1&end=X1.1&wire=2&pin=1",
    "circuit-diagram": "/jobs/lamp/circuit/diagram",
    "circuit-harness": "/jobs/lamp/circuit/harness",
    "intake": "/jobs/lamp/intake",
    "report-open": "/jobs/lamp/report",
    "scan": "/jobs/lamp/scan",
    "captures": "/jobs/lamp/captures",
    "drain": "/jobs/lamp/drain",
    "plan": "/jobs/lamp/plan",
}
DEMOS = {
    "bench-demo": "/jobs/demo",
    "taps-demo": "/jobs/demo/circuit/taps?part=E5&wire=9",
    "bench-closed": "/jobs/done",
    "report-customer": "/jobs/done/report",
    "report-workshop": "/jobs/done/report?for=workshop",
}
PAGES = ANYONE | LAMPS | DEMOS


@pytest.fixture(scope="module")
def furnished(tmp_path_factory) -> Iterator[Server]:
    """A workbench with a job that is closed, one that has begun, and one with nothing in it yet."""
    folder = tmp_path_factory.mktemp("furnished")
    with JobStore(f"sqlite:///{folder}/jobs.db") as store:
        shop(store)
        finish(store)
        demo_job(store, "rear-lamps")
        jobs.open_job(store, jobs.Intake(), who="Ada", job_id="empty")
        jobs.add_photo(
            OpenJob(store, "demo", "Ada"),
            picture("page 3"),
            name=f"{jobs.DIAGRAM} page 3.jpg",
            kind="document",
        )
    server = Server(folder, LAMP)
    yield server
    server.close()


def test_every_page_is_sound_and_fits(chromium, furnished):
    context = chromium.new_context(base_url=furnished.url, service_workers="block")
    page, found = context.new_page(), {}
    page.set_default_timeout(PATIENCE)
    for name, path in PAGES.items():
        page.goto(path)
        found |= faults(page, name, task=True)
    context.close()
    assert found == {}


def test_no_page_of_the_workbench_is_left_out():
    """A template that is a page of its own is in the list above, or is one that needs an instrument or a file."""
    folder = Path(__file__).parents[2] / "src/halfsplit/workbench"
    whole = {
        path.stem
        for path in folder.glob("*/*.html")
        if re.search(r'extends "frame/base.html"', path.read_text(encoding="utf-8"))
    }
    seen = {"jobs", "intake", "sign_in", "settings", "people", "audit", "problem", "practice", "bench"}
    seen |= {
        "circuit",
        "taps",
        "report",
        "scan",
        "captures",
        "drain",
        "plan",
        "help",
        "sheet",
        "diagram",
        "harness",
    }
    elsewhere = {"owner", "capture", "scan_compare", "scan_cause", "scan_live", "scan_clear"}
    elsewhere |= {"practice_exercise", "practice_end", "learned"}
    assert whole - seen - elsewhere == set()
