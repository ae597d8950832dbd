"""What a technician with cold hands needs of the bench: an answer to every tap, and nothing to scroll for."""

import re

import pytest
from playwright.sync_api import expect

from halfsplit.job import JobStore

pytestmark = pytest.mark.requires("chromium", "bundle")
HERE = "/jobs/lamp?at=X1.1:in&quantity=volts&state=on"
SLOW = 3.0
"""Seconds by which the server is slowed down."""
SEEN = """(wanted) => new Promise((resolve) => {
  const began = performance.now();
  const look = () => document.querySelector(wanted) ? resolve(performance.now() - began)
    : performance.now() - began > 5000 ? resolve(Infinity) : requestAnimationFrame(look);
  document.querySelector(".record").click();
  look();
})"""


def slowed(page):
    """The line is slow from now on; what is posted over it."""
    posted = []
    page.on("request", lambda one: one.method == "POST" and posted.append(one.url))
    session = page.context.new_cdp_session(page)
    session.send("Network.enable")
    session.send(
        "Network.emulateNetworkConditions",
        {"offline": False, "latency": 1000 * SLOW, "downloadThroughput": -1, "uploadThroughput": -1},
    )
    return posted


def test_a_tap_is_answered_within_50_ms_while_the_server_takes_3_s(open_page):
    page = open_page()
    page.goto(HERE)
    page.locator("#typed").fill("12,4")
    posted = slowed(page)
    took = page.evaluate(SEEN, "#entries .storing")
    assert took < 50
    line = page.locator("#entries .line").first
    expect(line.locator(".value")).to_have_text("12.4 V")
    expect(line.locator(".stage")).to_have_text("Storing")
    expect(page.locator("#next")).to_have_attribute("aria-busy", "true")
    expect(page.locator("#next .doing")).to_contain_text("Working out the next test")
    page.evaluate("document.querySelector('.record').click()")
    expect(page.locator("#last")).to_contain_text("Stored: 12.4 V", timeout=15_000)
    expect(page.locator("#next")).not_to_have_attribute("aria-busy", "true")
    assert len(posted) == 1


def test_every_other_form_answers_too(open_page):
    page = open_page()
    page.goto("/jobs/lamp/circuit")
    posted = slowed(page)
    busy, said = page.evaluate(
        """async () => { const button = document.querySelector(".save button"); button.click(); button.click();
          const busy = button.form.hasAttribute("data-busy");
          await new Promise((resolve) => setTimeout(resolve, 900));
          return [busy, document.querySelector(".doing").textContent]; }"""
    )
    assert busy
    assert said.startswith("Saving the circuit")
    expect(page.locator("form[data-busy]")).not_to_be_attached(timeout=15_000)
    assert len(posted) == 1


def test_one_tap_takes_the_last_entry_back_for_a_minute(open_page, server):
    page = open_page("phone")
    page.goto(HERE)
    page.locator("#typed").fill("12.4")
    page.locator(".record").click()
    page.get_by_role("button", name="Undo").click()
    expect(page.locator("#evidence .line.struck")).to_have_count(1)
    expect(page.locator("#evidence .reason")).to_contain_text("taken back at once")
    with JobStore(f"sqlite:///{server.folder}/jobs.db") as store:
        kinds = [entry.kind for entry in store.evidence("lamp")]
    assert kinds == ["complaint", "reading", "strike"]


def test_an_entry_is_struck_out_by_a_reason_that_is_offered(open_page):
    page = open_page()
    page.goto(HERE)
    page.locator("#typed").fill("12.4")
    page.locator(".record").click()
    expect(page.locator("#last")).to_have_attribute("data-seconds", re.compile("."))
    page.locator("#evidence .act summary").first.click()
    page.get_by_role("button", name="Probe slipped").first.click()
    expect(page.locator("#evidence .reason").first).to_contain_text("Struck out: Probe slipped")


@pytest.mark.parametrize("size", ["tablet", "upright", "phone"])
def test_the_drawing_is_read_from_the_wing(open_page, size):
    page = open_page(size)
    page.goto(HERE)
    assert smallest_text(page, "#sheet") >= 14
    marks = page.locator("#sheet .lead").all_text_contents()
    assert sorted(marks) == ["black", "red"]
    sides = page.locator("#sheet .target rect").evaluate_all(
        "all => all.flatMap(one => [one.getBoundingClientRect().width, one.getBoundingClientRect().height])"
    )
    assert min(sides) >= 43.9
    page.locator("[data-sheet]").click()
    expect(page.locator("dialog.sheet-over svg")).to_be_visible()
    assert smallest_text(page, "dialog.sheet-over") >= 14
    page.locator("dialog.sheet-over").get_by_role("button", name="Larger").click()
    page.keyboard.press("Escape")
    expect(page.locator("dialog.sheet-over")).to_be_hidden()


def smallest_text(page, where):
    """The smallest letters on the screen, px."""
    return page.locator(f"{where} svg text").evaluate_all(
        """all => Math.min(...all.map(one => parseFloat(getComputedStyle(one).fontSize)
             * one.ownerSVGElement.getBoundingClientRect().width / one.ownerSVGElement.viewBox.baseVal.width))"""
    )


def test_a_drawing_is_printed_black_on_white_and_fits(open_page):
    page = open_page("tablet", "dark")
    page.goto("/jobs/lamp/report?for=workshop")
    page.emulate_media(media="print", color_scheme="dark")
    paper, ink, fits = page.evaluate(
        """() => { const svg = document.querySelector(".sheet svg"), text = svg.querySelector("text.name");
          return [getComputedStyle(document.body).backgroundColor, getComputedStyle(text).fill,
            svg.getBoundingClientRect().width <= svg.parentElement.getBoundingClientRect().width + 1]; }"""
    )
    assert paper == "rgb(255, 255, 255)"
    assert ink == "rgb(0, 0, 0)"
    assert fits


def test_a_page_that_was_open_opens_without_a_connection(chromium, server):
    context = chromium.new_context(base_url=server.url)
    page = context.new_page()
    page.goto("/jobs/lamp")
    page.evaluate("navigator.serviceWorker.ready.then(() => true)")
    page.goto("/jobs/lamp")
    server.kill()
    page.goto("/jobs/lamp")
    expect(page.locator(".stale")).to_contain_text("No connection")
    expect(page.locator("#ask")).to_be_visible()
    context.close()


def test_the_tabs_on_a_phone_are_the_current_one_and_a_menu(open_page):
    page = open_page("phone")
    page.goto("/jobs/lamp/plan")
    expect(page.locator(".top .here")).to_have_text("Plan")
    expect(page.get_by_role("link", name="Report")).to_be_hidden()
    page.get_by_role("button", name="Menu").click()
    page.get_by_role("link", name="Report").click()
    page.wait_for_url("**/report")


def test_from_the_list_to_the_first_test_in_four_taps_and_no_scroll(open_page):
    page = open_page("phone")
    page.goto("/jobs")
    taps = []
    for selector in ('a[href="/jobs/new"]', "button.go.big", "[name=kind][value=motor]", ".sketch button.go"):
        target = page.locator(selector).first
        box = target.bounding_box()
        assert box["y"] + box["height"] <= 844, selector
        if selector == "button.go.big":
            page.locator("[name=complaint]").fill("The blower is dead")
        target.click(force=True)
        taps.append(selector)
        page.wait_for_load_state("load")
        assert page.evaluate("scrollY") == 0
    expect(page.locator("#ask")).to_contain_text("M1.1")
    assert len(taps) == 4
