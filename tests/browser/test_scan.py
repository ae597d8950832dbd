"""Fault codes in real Chromium: from the pasted report to the one cause, before and after, a live scan; axe-core.

The van, its units and codes are invented.
"""

import os
from pathlib import Path

import pytest
from playwright.sync_api import expect

from halfsplit import job as jobs
from halfsplit.job import Intake, JobStore
from halfsplit.job.open_job import OpenJob
from tests.browser.conftest import follow
from tests.workbench.rear_feed import AFTER, ARRIVAL, CIRCUIT, COMPLAINTS

pytestmark = pytest.mark.requires("chromium", "bundle")
AXE = (Path(__file__).parents[2] / "frontend/node_modules/axe-core/axe.min.js").read_text(encoding="utf-8")
SCREENSHOTS = os.environ.get("HALFSPLIT_SCREENSHOTS", "")
SCAN = "/jobs/van/scan"


@pytest.fixture
def van(server):
    with JobStore(f"sqlite:///{server.folder}/jobs.db") as store:
        jobs.open_job(store, Intake(), who="Ada", job_id="van", circuit=CIRCUIT)
        jobs.complain_all(OpenJob(store, "van", "Ada"), COMPLAINTS)


def sound(page, name):
    """Nothing that axe-core finds, nothing that scrolls sideways; a picture where they are asked for."""
    broken = [
        f"{one['id']}: {one['nodes'][0]['html'][:160]}"
        for one in page.evaluate(AXE + ";axe.run()")["violations"]
    ]
    assert broken == [], name
    assert page.evaluate("document.documentElement.scrollWidth <= innerWidth"), name
    if SCREENSHOTS:
        page.screenshot(path=f"{SCREENSHOTS}/scan-{name}.png", full_page=True)


def paste(page, text):
    page.goto(SCAN)
    if page.get_by_text("Add a report").count():
        page.get_by_text("Add a report").click()
    page.get_by_label("Paste what the tool shows").fill(text)
    page.get_by_role("button", name="Store the report").click()


@pytest.mark.parametrize(("size", "scheme"), [("tablet", "light"), ("phone", "dark")])
def test_from_a_pasted_report_to_the_one_cause_and_to_all_clear(open_page, van, size, scheme):
    page = open_page(size, scheme)
    page.goto("/jobs/van/intake")
    follow(page, "Scan")
    sound(page, f"empty-{size}")
    paste(page, ARRIVAL)
    expect(page.get_by_text("Not understood: line 11.")).to_be_visible()
    sound(page, f"report-{size}")
    page.get_by_role("link", name="Correct line 11").click()
    page.get_by_label("This line is").select_option("ignored")
    sound(page, f"line-{size}")
    page.get_by_role("button", name="Read it that way").click()
    expect(page.get_by_text("Not understood: line 11.")).to_have_count(0)
    page.get_by_role("link", name="One cause for many").click()
    page.get_by_role("button", name="Make this report evidence").click()
    first = page.locator(".cause").first
    expect(first).to_contain_text("SP1 – F30 – SP30")
    expect(first).to_contain_text("Explains 8 of 8, contradicts nothing")
    first.locator("summary").click()
    sound(page, f"cause-{size}")
    paste(page, AFTER)
    page.get_by_role("link", name="Before and after").click()
    expect(page.get_by_text("Answers now")).to_be_visible()
    expect(page.locator("h4.verdict-gone")).to_be_visible()
    sound(page, f"compare-{size}")


@pytest.mark.parametrize("size", ["tablet", "phone"])
def test_a_live_scan_with_progress_and_codes_cleared_behind_a_confirmation(open_page, van, size):
    page = open_page(size)
    page.goto(f"{SCAN}/live")
    page.get_by_label("With this fault, or none").fill("F30 open")
    page.get_by_role("button", name="Read the simulated vehicle").click()
    expect(page.get_by_role("button", name="Stop")).to_be_visible()
    # the page follows by itself; at the end it offers what can be done next
    expect(page.get_by_text("The report is stored with the job.")).to_be_visible(timeout=60_000)
    expect(page.get_by_text("A13 camera unit: does not answer")).to_be_visible()
    page.get_by_role("button", name="A1 engine control unit").click()
    expect(page.get_by_text("What is lost")).to_be_visible()
    sound(page, f"clear-{size}")
    page.get_by_label("The codes are saved with the job").check()
    page.get_by_role("button", name="Clear, as bench").click()
    expect(page.get_by_text("Done, and logged in the job")).to_be_visible()
    page.get_by_role("link", name="Read again").click()
    sound(page, f"live-{size}")
