"""Fault codes in real Chromium: from the pasted report to the one cause, before and after, a live scan; axe-core.

The van, its units and codes are invented.
"""

import pytest
from playwright.sync_api import expect

from halfsplit import job as jobs
from halfsplit.job import Intake, JobStore
from halfsplit.job.open_job import OpenJob
from tests.browser.acts import follow, leaves
from tests.browser.looks import faults
from tests.workbench.rear_feed import AFTER, ARRIVAL, CIRCUIT, COMPLAINTS

pytestmark = pytest.mark.requires("chromium", "bundle")
SCAN = "/jobs/van/scan"


@pytest.fixture
def van(server):
    with JobStore(f"sqlite:///{server.folder}/jobs.db") as store:
        jobs.open_job(store, Intake(), who="Ada", job_id="van", circuit=CIRCUIT)
        jobs.complain_all(OpenJob(store, "van", "Ada"), COMPLAINTS)


def paste(page, text):
    page.goto(SCAN)
    if page.get_by_text("Add a report").count():
        page.get_by_text("Add a report").click()
    page.get_by_label("Paste what the tool shows").fill(text)
    leaves(page, page.get_by_role("button", name="Store the report").click)


def test_from_a_pasted_report_to_the_one_cause_and_to_all_clear(open_page, van):
    page = open_page()
    page.goto("/jobs/van/intake")
    follow(page, "Scan")
    assert faults(page, "scan-empty") == {}
    paste(page, ARRIVAL)
    expect(page.get_by_text("Not understood: line 11.")).to_be_visible()
    assert faults(page, "scan-report") == {}
    leaves(page, page.get_by_role("link", name="Correct line 11").click)
    page.get_by_label("This line is").select_option("ignored")
    assert faults(page, "scan-line") == {}
    leaves(page, page.get_by_role("button", name="Read it that way").click)
    expect(page.get_by_text("Not understood: line 11.")).to_have_count(0)
    leaves(page, page.get_by_role("link", name="One cause for many").click)
    leaves(page, page.get_by_role("button", name="Make this report evidence").click)
    first = page.locator(".cause").first
    expect(first).to_contain_text("SP1 – F30 – SP30")
    expect(first).to_contain_text("Explains 8 of 8, contradicts nothing")
    first.locator("summary").click()
    assert faults(page, "scan-cause") == {}
    paste(page, AFTER)
    leaves(page, page.get_by_role("link", name="Before and after").click)
    expect(page.get_by_text("Answers now")).to_be_visible()
    expect(page.locator("h4.verdict-gone")).to_be_visible()
    assert faults(page, "scan-compare") == {}


def test_a_live_scan_with_progress_and_codes_cleared_behind_a_confirmation(open_page, van):
    page = open_page()
    page.goto(f"{SCAN}/live")
    page.get_by_label("With this fault, or none").fill("F30 open")
    leaves(page, page.get_by_role("button", name="Read the simulated vehicle").click)
    expect(page.get_by_role("button", name="Stop")).to_be_visible()
    # the page follows by itself; at the end it offers what can be done next
    expect(page.get_by_text("The report is stored with the job.")).to_be_visible()
    expect(page.get_by_text("A13 camera unit: does not answer")).to_be_visible()
    leaves(page, page.get_by_role("button", name="A1 engine control unit").click)
    expect(page.get_by_text("What is lost")).to_be_visible()
    assert faults(page, "scan-clear") == {}
    page.get_by_label("The codes are saved with the job").check()
    page.get_by_role("button", name="Clear, as bench").click()
    expect(page.get_by_text("Done, and logged in the job")).to_be_visible()
    leaves(page, page.get_by_role("link", name="Read again").click)
    assert faults(page, "scan-live") == {}
