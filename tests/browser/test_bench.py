"""The bench in real Chromium: keyboard and taps, a connection that is lost, two browsers on one job."""

import pytest
from playwright.sync_api import expect

from halfsplit.job import JobStore
from tests.browser.acts import no_sideways_scroll
from tests.waiting import until

pytestmark = pytest.mark.requires("chromium", "bundle")
HERE = "/jobs/lamp?at=X1.1:in&quantity=volts&state=on"


def values(server):
    with JobStore(f"sqlite:///{server.folder}/jobs.db") as store:
        return [entry.payload["value"] for entry in store.evidence("lamp") if entry.kind == "reading"]


def stored(server, expected):
    """Wait until the readings are stored: the page shows one at once, as 'storing'."""
    until(lambda: len(values(server)) >= len(expected), f"{len(expected)} readings are stored")
    assert values(server) == expected


def tap(page, keys):
    for key in keys:
        page.locator(f'[data-key="{key}"]').click()


@pytest.mark.parametrize("size", ["tablet", "phone"])
def test_a_reading_by_taps_alone(open_page, server, size):
    page = open_page(size)
    page.goto(HERE)
    tap(page, "12.4")
    page.get_by_role("button", name="Record volts").click()
    expect(page.locator("#evidence .value").first).to_have_text("12.4 V")
    stored(server, [12.4])
    no_sideways_scroll(page)


def test_a_reading_by_the_keyboard_alone_and_a_question_in_between(open_page, server):
    page = open_page()
    page.goto(HERE)
    page.locator("#typed").focus()
    page.keyboard.type("124")
    page.keyboard.press("Enter")
    expect(page.locator(".question")).to_contain_text("124 V on a 12 V net?")
    assert values(server) == []
    expect(page.locator("#typed")).to_be_focused()
    page.keyboard.press("Control+a")
    page.keyboard.type("12.4")
    page.keyboard.press("Enter")
    expect(page.locator("#evidence .value").first).to_have_text("12.4 V")
    stored(server, [12.4])


def test_what_is_entered_while_the_server_is_dead_arrives_once_and_in_order(open_page, server):
    page = open_page()
    page.goto(HERE)
    server.kill()
    for volts in ("12.1", "12.2"):
        page.locator("#typed").fill(volts)
        page.locator("#typed").press("Enter")
        expect(page.locator("#typed")).to_have_value("")
        expect(page.locator("form[data-busy]")).to_have_count(0)
    expect(page.locator("#outbox")).to_contain_text("2 entries are kept in this browser")
    server.start()
    expect(page.locator("#outbox")).to_be_hidden()
    expect(page.locator("#evidence .value").first).to_have_text("12.2 V")
    stored(server, [12.1, 12.2])


def test_what_waits_outlives_a_closed_page(open_page, server):
    page = open_page()
    page.goto(HERE)
    server.kill()
    page.locator("#typed").fill("12.3")
    page.locator("#typed").press("Enter")
    expect(page.locator("#outbox")).to_contain_text("1 entry is kept")
    context = page.context
    page.close()
    server.start()
    again = context.new_page()
    again.goto("/jobs/lamp")
    expect(again.locator("#evidence .value").first).to_have_text("12.3 V")
    stored(server, [12.3])


def test_two_browsers_on_one_job_see_each_others_readings(open_page):
    ada, bo = open_page(), open_page("phone")
    bo.goto("/jobs/lamp")
    ada.goto(HERE)
    ada.locator("#typed").fill("12.4")
    ada.locator("#typed").press("Enter")
    expect(bo.locator("#evidence .value").first).to_have_text("12.4 V")


def test_a_half_typed_reading_stays_when_another_one_comes_in(open_page):
    ada, bo = open_page(), open_page()
    bo.goto(HERE)
    bo.locator("#typed").fill("11.")
    ada.goto(HERE)
    ada.locator("#typed").fill("12.4")
    ada.locator("#typed").press("Enter")
    expect(bo.locator("#evidence .value").first).to_have_text("12.4 V")
    expect(bo.locator("#typed")).to_have_value("11.")


def test_a_tap_on_a_point_of_the_drawing_asks_to_measure_there(open_page):
    page = open_page()
    page.goto("/jobs/lamp")
    page.locator('#sheet .target[data-point="F1.2"]').dispatch_event("click")
    expect(page.locator("#ask")).to_contain_text("fuse F1, pin 2 to battery negative post")


def test_the_editor_underlines_a_mistake_while_it_is_typed(open_page):
    page = open_page()
    page.goto("/jobs/lamp/circuit")
    page.locator("#text").fill("battery G1\nlamp H1 -- nonsense\n")
    expect(page.locator("[data-lines] .error").first).to_contain_text("nonsense")
    expect(page.locator("#check .problems")).to_contain_text("Line 2")


def test_a_name_completes_in_the_editor(open_page):
    page = open_page()
    page.goto("/jobs/lamp/circuit")
    text = page.locator("#text")
    text.fill("connector X31\nlamp H1\n")
    text.press("Control+End")
    text.press_sequentially("X")
    expect(page.locator("#names [data-name]").first).to_have_text("X31")
    text.press("Tab")
    expect(text).to_have_value("connector X31\nlamp H1\nX31")
    text.press_sequentially("\nH")
    page.locator("#names").get_by_role("button", name="H1").click()
    expect(text).to_have_value("connector X31\nlamp H1\nX31\nH1")
    text.press("Escape")
    text.press("Tab")
    expect(text).not_to_be_focused()


def test_targets_on_the_bench_are_large_enough_for_gloves(open_page):
    page = open_page("phone")
    page.goto(HERE)
    expect(page.locator("#typed")).to_be_visible()
    heights = page.locator(".entry button, #typed").evaluate_all(
        "all => all.map(one => one.getBoundingClientRect().height)"
    )
    assert heights
    assert min(heights) >= 76
