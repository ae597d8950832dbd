"""Every page in real Chromium: axe-core finds nothing, nothing runs out sideways, and the task at hand is in view."""

import re
from collections.abc import Iterator
from pathlib import Path

import pytest

from halfsplit.job import JobStore
from tests.browser.acts import PATIENCE
from tests.browser.conftest import Server
from tests.browser.furnished import PAGES, furnish
from tests.browser.looks import faults
from tests.waiting import reserved_port

pytestmark = pytest.mark.requires("chromium", "bundle")


@pytest.fixture(scope="module")
def furnished(tmp_path_factory, nursery) -> Iterator[Server]:
    """A workbench with a job that is closed, one that has begun, and one with nothing in it yet."""
    folder = tmp_path_factory.mktemp("furnished")
    with reserved_port() as port:
        server = Server(folder, nursery, port)
        with JobStore(f"sqlite:///{folder}/jobs.db") as store:
            furnish(store)
        yield server
        server.kill()


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
        "learned",
    }
    elsewhere = {"owner", "capture", "scan_compare", "scan_cause", "scan_live", "scan_clear"}
    elsewhere |= {"practice_exercise", "practice_end"}
    assert whole - seen - elsewhere == set()
