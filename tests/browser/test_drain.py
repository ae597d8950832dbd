"""The parasitic draw in real Chromium: a night's log, the battery, millivolts across fuses; axe-core. Invented."""

import random
import re
from pathlib import Path

import pytest
from playwright.sync_api import expect

from halfsplit import job as jobs
from halfsplit.job import Intake, JobStore
from tests.browser.acts import follow, leaves
from tests.browser.looks import faults
from tests.workbench.rear_feed import CIRCUIT

pytestmark = pytest.mark.requires("chromium", "bundle")


@pytest.fixture
def night(server, tmp_path) -> Path:
    """A log of eight hours: awake, asleep at 62 mA, woken every quarter of an hour, with a gap; and a job for it."""
    generator = random.Random(1)
    lines = ["time (s);current (A)"]
    for second in range(0, 28_800, 2):
        amps = 2.5 if second < 1200 else 0.062 + (0.4 if second > 3000 and second % 900 < 10 else 0.0)
        if not 12_000 < second < 13_000:
            lines.append(f"{second};{amps + generator.gauss(0, 0.002):.4f}")
    path = tmp_path / "night.csv"
    path.write_text("\n".join(lines), encoding="utf-8")
    with JobStore(f"sqlite:///{server.folder}/jobs.db") as store:
        jobs.open_job(store, Intake(), who="Ada", job_id="flat", circuit=CIRCUIT)
    return path


def test_from_the_log_to_the_branch(open_page, night):
    page = open_page()
    page.goto("/jobs/flat")
    follow(page, "Drain")
    assert faults(page, "drain-empty") == {}
    page.get_by_label("Log of the battery's current").set_input_files(night)
    leaves(page, page.get_by_role("button", name="Load it").click)
    expect(page.locator(".ask").nth(1)).to_contain_text("62 mA asleep, more than the usual 50 mA")
    expect(page.locator("svg.drain-plot")).to_be_visible()
    page.get_by_label("Capacity, Ah").fill("70")
    page.get_by_label("Or charge known, %").fill("80")
    leaves(page, page.get_by_role("button", name="Save", exact=True).click)
    expect(page.locator(".figures .wide")).to_contain_text("until it may not start")
    page.get_by_text("All fuses in one table").click()
    page.get_by_label(re.compile(r"Millivolts across F1\b")).fill("0,45")
    page.get_by_label("Millivolts across F30").fill("0.01")
    leaves(page, page.get_by_role("button", name="Store these readings").click)
    expect(page.locator("#branches .ask")).to_contain_text("It runs through F1: look at A2 body control unit")
    assert faults(page, "drain-branch") == {}
