"""What a technician with cold hands needs of the bench: an answer to every tap, and nothing to scroll for."""

import re

import pytest
from playwright.sync_api import expect

from halfsplit import job as jobs
from halfsplit.job import JobStore
from tests.browser.acts import PATIENCE, leaves
from tests.circuits import ONE_LAMP as LAMP

pytestmark = pytest.mark.requires("chromium", "bundle")
HERE = "/jobs/lamp?at=X1.1:in&quantity=volts&state=on"
FRAMES = 3
"""Pictures of a screen of 60 a second: 50 ms, however long this machine takes for each."""
SEEN = """(wanted) => new Promise((resolve) => {
  let frames = 0;
  const look = () => document.querySelector(wanted) ? resolve(frames)
    : frames > 600 ? resolve(Infinity) : (frames += 1, requestAnimationFrame(look));
  document.querySelector(".record").click();
  look();
})"""


class Line:
    """A line to the server on which whatever is posted is held up until it is let go."""

    def __init__(self, page):
        self.page, self.held = page, []
        page.route("**/*", self._on_its_way)

    def _on_its_way(self, route):
        if route.request.method == "POST":
            self.held.append(route)
        else:
            route.continue_()

    def let_go(self):
        for route in self.held:
            route.continue_()


def test_a_tap_is_answered_within_50_ms_while_the_server_takes_long(open_page):
    page = open_page()
    page.goto(HERE)
    page.locator("#typed").fill("12,4")
    line = Line(page)
    assert page.evaluate(SEEN, "#entries .storing") <= FRAMES
    entry = page.locator("#entries .line").first
    expect(entry.locator(".value")).to_have_text("12.4 V")
    expect(entry.locator(".stage")).to_have_text("Storing")
    expect(page.locator("#next")).to_have_attribute("aria-busy", "true")
    expect(page.locator("#next .doing")).to_contain_text("Working out the next test")
    page.evaluate("document.querySelector('.record').click()")
    line.let_go()
    expect(page.locator("#last")).to_contain_text("Stored: 12.4 V")
    expect(page.locator("#next")).not_to_have_attribute("aria-busy", "true")
    assert len(line.held) == 1


def test_every_other_form_answers_too(open_page):
    page = open_page()
    page.goto("/jobs/lamp/circuit")
    line = Line(page)
    busy, said = page.evaluate(
        """async () => { const button = document.querySelector(".save button"); button.click(); button.click();
          const busy = button.form.hasAttribute("data-busy"), told = () => document.querySelector(".doing");
          for (let i = 0; i < 600 && !told(); i += 1) await new Promise((resolve) => setTimeout(resolve, 100));
          return [busy, told()?.textContent ?? ""]; }"""
    )
    assert busy
    assert said.startswith("Saving the circuit")
    line.let_go()
    expect(page.locator("form[data-busy]")).not_to_be_attached()
    assert len(line.held) == 1


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
    expect(page.locator("#sheet .lead")).to_have_count(2)
    assert sorted(page.locator("#sheet .lead").all_text_contents()) == ["black", "red"]
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


def test_the_red_lead_stays_in_view_where_a_tablet_is_turned(open_page):
    page = open_page("tablet")
    page.goto(HERE)
    # As large as the drawing of a vehicle: what was in view is not any more where the page becomes narrow.
    page.locator("#sheet svg").evaluate("svg => ['width', 'height'].map(one => svg.setAttribute(one, 2400))")
    for width, height in ((390, 844), (1180, 820)):
        page.set_viewport_size({"width": width, "height": height})
        page.wait_for_function(
            """() => {
                const sheet = document.querySelector("#sheet"), box = sheet.getBoundingClientRect();
                const leads = [...sheet.querySelectorAll(".lead")];
                const red = leads.find(one => one.textContent === "red").getBoundingClientRect();
                return red.left >= box.left && red.right <= box.right
                    && red.top >= box.top && red.bottom <= box.bottom;
            }"""
        )


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
    context.set_default_timeout(PATIENCE)
    page = context.new_page()
    page.goto("/jobs/lamp")
    page.wait_for_function("navigator.serviceWorker.ready.then((one) => one.active.state === 'activated')")
    page.goto("/jobs/lamp")
    page.wait_for_function("caches.match(location.href).then(Boolean)")
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
    leaves(page, page.get_by_role("link", name="Report").click)
    assert page.url.endswith("/report")


def test_a_further_complaint_needs_no_scroll_on_a_phone(open_page, server):
    with JobStore(f"sqlite:///{server.folder}/jobs.db") as store:
        jobs.open_job(store, jobs.Intake(), who="Ada", job_id="just-now", circuit=LAMP)
        jobs.complain_all(jobs.OpenJob(store, "just-now", "Ada"), [("H1", "no", "on")])
    page = open_page("phone")
    page.goto("/jobs/just-now")
    page.get_by_role("link", name="Say more").click()
    expect(page.locator("#next .ask")).to_have_text("What else works, and what does not?")
    word = page.locator("#next .complaints").get_by_role("button", name="weak")
    expect(word).to_be_in_viewport(ratio=1)
    word.click()
    expect(page.locator("#entries .line")).to_have_count(2)
    expect(page.locator("#ask")).to_be_in_viewport(ratio=1)
    expect(page.get_by_role("link", name="Say more")).to_be_in_viewport(ratio=1)


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
        if "[name=kind]" in selector:
            target.click(force=True)
        else:
            leaves(page, lambda: target.click(force=True))  # noqa: B023 - it is done at once
        taps.append(selector)
        assert page.evaluate("scrollY") == 0
    expect(page.locator("#ask")).to_contain_text("M1.1")
    assert len(taps) == 4
