"""The main job without mouse or finger: every control is reached with Tab, shows its focus, and works by key."""

import pytest
from playwright.sync_api import expect

from halfsplit.job import JobStore
from tests.browser.acts import entered

pytestmark = pytest.mark.requires("chromium", "bundle")
MOST_TABS = 150
RINGS = """wanted => { const one = document.activeElement, around = [one, one?.nextElementSibling ?? one];
  return one?.matches(wanted) ? around.map((each) => getComputedStyle(each).outlineWidth) : null; }"""
"""The ring around what has the focus, if that is what is wanted, and around what stands beside it."""


def reach(page, selector):
    """Tab on until the focus is on it; where it is must be seen."""
    for _ in range(MOST_TABS):
        page.keyboard.press("Tab")
        rings = page.evaluate(RINGS, selector)
        if rings:
            assert "3px" in rings, selector
            return
    raise AssertionError(f"Tab never comes to {selector}")


def test_from_the_list_to_the_report_by_keys_alone(open_page, server):
    page = open_page()
    page.goto("/jobs")
    reach(page, 'a[href="/jobs/new"]')
    page.keyboard.press("Enter")
    page.wait_for_url("**/jobs/new")
    expect(page.locator("[name=complaint]")).to_be_focused()
    page.keyboard.type("The wiper stands still")
    reach(page, "button.go.big")
    page.keyboard.press("Enter")
    page.wait_for_url("**/circuit")
    reach(page, "input[name=kind]")
    page.keyboard.press("ArrowRight")
    reach(page, "button.go.big")
    page.keyboard.press("Enter")
    page.wait_for_url(lambda url: url.rstrip("/").count("/") == 4 and "circuit" not in url)
    expect(page.locator("#ask")).to_contain_text("M1.1")
    job_id = page.url.split("/jobs/")[1]
    reach(page, "#typed")
    page.keyboard.type("0.01")
    entered(page, lambda: page.keyboard.press("Enter"))
    expect(page.locator("#evidence .value").first).to_have_text("10 mV")
    reach(page, "#evidence .act summary")
    page.keyboard.press("Enter")
    reach(page, "#evidence .act[open] input[name=reason]")
    page.keyboard.type("Probe slipped")
    entered(page, lambda: page.keyboard.press("Enter"))
    expect(page.locator("#evidence .line.struck")).to_have_count(1)
    reach(page, "#sheet .target")
    page.keyboard.press("Enter")
    expect(page.locator("#h-next")).to_have_text("Your own test")
    reach(page, f'a[href="/jobs/{job_id}/report"]')
    page.keyboard.press("Enter")
    page.wait_for_url("**/report")
    with JobStore(f"sqlite:///{server.folder}/jobs.db") as store:
        kinds = [entry.kind for entry in store.evidence(job_id)]
    assert kinds == ["complaint", "reading", "strike"]
