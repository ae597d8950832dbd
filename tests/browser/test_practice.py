"""Practice in real Chromium: an exercise by taps through a restart of the server to its judged end; axe-core."""

import pytest
from playwright.sync_api import expect

from halfsplit.job import JobStore, practising
from tests.browser.acts import PATIENCE, follow, leaves, no_sideways_scroll
from tests.browser.conftest import LAMP
from tests.browser.looks import faults

pytestmark = pytest.mark.requires("chromium", "bundle")


def store_of(server):
    return JobStore(f"sqlite:///{server.folder}/jobs.db")


def step_of(sentence, said, bits, gained, *, wasted=False):
    """A judged step, invented."""
    worth = {"place": {}, "sentence": sentence, "minutes": 3.5, "bits": bits, "cautions": [], "means": []}
    best = worth | {"sentence": "Is F1 blown?", "bits": 0.9, "means": [["yes", "F1"], ["no", "H1"]]}
    return {"said": said, "test": worth, "best": best, "gained": gained, "wasted": wasted}


JUDGED = {
    "own": {
        "steps": [
            step_of("Does H1 work?", "H1 does not work (off)", 0.01, 0.0, wasted=True),
            step_of("Measure.", "12.4 V at H1.1 (on)", 1.1, 1.4),
        ],
        "minutes": 7.0,
        "proven": False,
        "question": [2.6, 2.6, 1.2],
    },
    "best": {
        "steps": [
            step_of("Measure.", "12.4 V at H1.1 (on)", 1.1, 1.4),
            step_of("Look.", "H1 inspected: bad", 0.8, 1.1),
        ],
        "minutes": 7.0,
        "proven": True,
        "question": [2.6, 1.2, 0.1],
    },
}


def exercises(server):
    """One that goes on, two that are over and judged."""
    with store_of(server) as store:
        practising.begin_practice(store, "bench", LAMP, "single", seed=3, practice_id="open")
        for number, difficulty in enumerate(("single", "high resistance")):
            begun = practising.begin_practice(
                store, "bench", LAMP, difficulty, seed=number, practice_id=f"over{number}"
            )
            practising.give_up(store, begun)
            practising.keep_judged(store, f"over{number}", JUDGED)


def test_an_exercise_by_taps_goes_on_after_the_server_was_killed(open_page, server):
    page = open_page("phone")
    page.goto("/jobs")
    follow(page, "Practice")
    page.get_by_label("Who practises").fill("Ada")
    page.locator("select[name=source]").select_option(label="Job 1: The work lamp stays dark")
    leaves(page, page.get_by_role("button", name="Hide a fault").click)
    expect(page.get_by_text("The customer says")).to_be_visible()
    no_sideways_scroll(page)
    page.locator('#sheet .target[data-point="H1.1"]').dispatch_event("click")
    expect(page.locator("#ask")).to_contain_text("H1.1) to battery negative post")
    page.get_by_label("the other lead").check()
    page.locator('#sheet .target[data-point="H1.2"]').dispatch_event("click")
    expect(page.locator("#ask")).to_contain_text("(H1.1) to work lamp, pin 2 (H1.2)")
    leaves(page, page.get_by_role("button", name="Measure").click)
    expect(page.locator(".reading .shown")).to_contain_text("V")
    shown = page.locator(".reading .shown").inner_text()
    server.kill()
    server.start()
    page.reload()
    expect(page.locator(".reading .shown")).to_have_text(shown)
    page.locator("#how").select_option("works")
    expect(page.locator("#ask")).to_contain_text("H1")  # the place stays, as far as it can be asked for
    leaves(page, page.get_by_role("button", name="Measure").click)
    expect(page.locator(".practice .entries .line")).to_have_count(2)
    no_sideways_scroll(page)
    with store_of(server) as store:
        (kept,) = store.practices.of("Ada")
        assert (kept.tests, kept.hints, kept.ended_at) == (2, 0, None)


def test_the_end_is_judged_while_one_waits(open_page, server):
    page = open_page()
    exercises(server)
    page.goto("/practice/open")
    page.get_by_label("Part, cavity or wire").fill("Q9")
    leaves(page, page.get_by_role("button", name="Name the cause").click)
    expect(page.locator("#notice")).to_contain_text("There is nothing called 'Q9'")
    page.get_by_text("Give up").click()
    leaves(page, page.get_by_role("button", name="Show me the cause").click)
    expect(page.locator("#h-end")).to_contain_text("Given up:")
    expect(page.locator("#judged progress")).to_be_visible()
    page.get_by_role("button", name="Stop").click()
    expect(page.locator("#judged")).to_contain_text("it was stopped")
    page.get_by_role("link", name="Try again").click()
    expect(page.locator("#judged progress")).to_be_visible()
    expect(page.locator("#judged .points")).to_contain_text("0 points", timeout=5 * PATIENCE)
    expect(page.get_by_role("heading", name="The best path:")).to_be_visible()


def test_axe_finds_nothing_and_nothing_is_cut_off(open_page, server):
    exercises(server)
    page, found = open_page("tablet", "dark"), {}
    for path in ("/practice", "/practice/open?how=lamp+55&at=H1.1&unplug=X1", "/practice/over0"):
        page.goto(path)
        found |= faults(page, path.partition("?")[0].strip("/").replace("/", "-"))
    assert found == {}
    page.emulate_media(color_scheme="dark")
    page.goto("/practice")
    line = page.locator(".chart .mean").evaluate("one => getComputedStyle(one).stroke")
    paper = page.locator(".card").last.evaluate("one => getComputedStyle(one).backgroundColor")
    text = page.locator(".chart .tick").first.evaluate("one => getComputedStyle(one).fill")
    assert contrast(line, paper) >= 3.0  # WCAG 2.2, 1.4.11: graphics
    assert contrast(text, paper) >= 4.5  # WCAG 2.2, 1.4.3: text


def contrast(one: str, other: str) -> float:
    """Contrast ratio of two colours as the browser tells them, by WCAG 2.2."""
    light, dark = sorted((luminance(one), luminance(other)), reverse=True)
    return (light + 0.05) / (dark + 0.05)


def luminance(colour: str) -> float:
    shares = [int(part) / 255 for part in colour[colour.index("(") + 1 : -1].split(",")[:3]]
    linear = [one / 12.92 if one <= 0.04045 else ((one + 0.055) / 1.055) ** 2.4 for one in shares]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]
