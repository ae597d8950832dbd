"""What a whole job costs in taps and scrolls on a phone, and how long each reading takes to be seen.

``python -m tests.browser.counted`` drives the demo in Chromium from the list of jobs to the customer's PDF, by taps
where the eye finds them: what is not on the screen is scrolled to, and counted. Figures are for ``docs/workbench.md``.
"""

import json
import tempfile
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np
from playwright.sync_api import Locator, Page, sync_playwright

from bench.web import served
from halfsplit import job as jobs
from halfsplit.job import JobStore
from halfsplit.job.places import from_json
from halfsplit.notation.demos import demo
from halfsplit.practice.vehicle import Vehicle
from tests.browser.acts import PATIENCE
from tests.browser.chromium import launched
from tests.browser.looks import SIZES

DEMO = "rear-lamps"
WATCH = """() => {
  const shown = (wanted) => document.querySelector(wanted)?.textContent ?? "";
  const seen = {}, asked = shown("#ask"), last = shown("#last");
  window.seen = new Promise((resolve) => {
    const watch = () => {
      const began = performance.now();
      const look = () => {
        const at = performance.now() - began;
        if (shown("#entries .storing")) seen.storing ??= at;
        if (shown("#entries .stage") === "Stored" || shown("#last:not([hidden])").includes("Stored")
            && shown("#last") !== last) seen.stored ??= at;
        if (!shown("#next[aria-busy=true]") && shown("#ask, .verdict.proven") !== asked) seen.next ??= at;
        if (seen.next && document.querySelector("#drawn:not([data-late]) svg")) seen.drawn ??= at;
        if (at < 60000 && !seen.drawn) requestAnimationFrame(look); else resolve(seen);
      };
      look();
    };
    document.addEventListener("click", watch, { capture: true, once: true });
  });
}"""
"""From the next tap on: milliseconds until the entry stands as storing and as stored, until the next test stands there,
and until the drawing does."""


@dataclass
class Finger:
    """Counts taps, taps on the pad of numbers among them, and the scrolls that they needed."""

    page: Page
    taps: int = 0
    scrolls: list[str] = field(default_factory=list)
    times: list[dict[str, float]] = field(default_factory=list)

    def tap(self, target: Locator, what: str = "") -> None:
        target.wait_for()
        box = target.bounding_box()
        height = SIZES["phone"][1]
        if box and not (box["y"] >= 0 and box["y"] + box["height"] <= height):
            self.scrolls.append(what or target.inner_text()[:30])
        self.taps += 1
        target.click()

    def choose(self, field_: Locator, value: str) -> None:
        """A choice from a list is two taps: the field, and the line in the list."""
        if field_.input_value() != value:
            self.taps += 2
            field_.select_option(value)

    def entry(self, act: Any) -> None:
        before = self.page.locator("#bench").get_attribute("data-sequence")
        act()
        self.page.locator(f'#bench:not([data-sequence="{before}"])').wait_for()

    def answer(self, vehicle: Vehicle, *, timed: bool) -> None:
        form = self.page.locator("#next form.entry")
        value = vehicle.answer(from_json(json.loads(form.locator("input[name=place]").input_value())))
        if isinstance(value, str):
            last = form.locator(f'button[name=typed][value="{value}"]')
        else:
            for key in f"{value:.2f}":
                self.tap(form.locator(f'[data-key="{key}"]'))
            last = form.locator(".record")
        if timed:
            self.page.evaluate(WATCH)
        self.entry(lambda: self.tap(last, "Record"))
        if timed:
            self.times.append(self.page.evaluate("window.seen"))


def whole_job(page: Page, url: str) -> Finger:
    """From the list of jobs to the customer's PDF."""
    finger = Finger(page)
    circuit = jobs.check_text(demo(DEMO).text).circuit
    assert circuit is not None
    vehicle = Vehicle(circuit, circuit.fault(demo(DEMO).hidden), np.random.default_rng(3), noise=False)
    page.goto(f"{url}/jobs")
    finger.tap(page.get_by_role("link", name="New job"))
    page.locator("[name=complaint]").fill(demo(DEMO).customer)
    finger.tap(page.get_by_role("button", name="Open the job"))
    page.wait_for_url("**/circuit")
    finger.tap(page.get_by_text("As text, or from a file"))
    finger.tap(page.locator("#text"), "the field of the text")
    page.locator("#text").fill(jobs.sample(DEMO, "demo").text)
    page.get_by_text("No mistakes").wait_for()
    finger.tap(
        page.get_by_role("button", name="Save", exact=True)
        .or_(page.get_by_role("button", name="Save, to"))
        .last
    )
    page.locator("form.complaints").wait_for()
    for number, one in enumerate(sorted(demo(DEMO).complaints, key=lambda one: one.works == "yes")):
        if number:
            finger.tap(page.get_by_role("link", name="Say more"))
        form = page.locator("#next .ask + form.complaints")
        form.wait_for()
        finger.choose(form.locator("select[name=load]"), one.part)
        finger.choose(form.locator("select[name=state]"), one.state)
        word = form.locator(f'[name=works][value="{one.works}"]')
        finger.entry(lambda word=word: finger.tap(word))
    while not page.locator(".verdict.proven").count():
        finger.answer(vehicle, timed=True)
    finger.entry(lambda: finger.tap(page.get_by_role("button", name="Repair is done")))
    vehicle.repair(vehicle.fault.part)
    while page.locator("#next form.entry").count():
        finger.answer(vehicle, timed=False)
    finger.tap(page.get_by_role("link", name="Close the job"))
    finger.tap(page.get_by_role("button", name="Close the job"), "the form that closes the job")
    finger.tap(page.get_by_role("link", name="To the report"))
    finger.tap(page.get_by_role("link", name="PDF", exact=True))
    return finger


def main() -> None:
    """Print the figures."""
    with tempfile.TemporaryDirectory() as folder, sync_playwright() as player:
        browser = launched(player)
        width, height = SIZES["phone"]
        page = browser.new_context(
            viewport={"width": width, "height": height}, service_workers="block"
        ).new_page()
        page.set_default_timeout(PATIENCE)
        with JobStore(f"sqlite:///{Path(folder)}/jobs.db") as store, served(store) as url:
            finger = whole_job(page, url)
        browser.close()
    print(f"{finger.taps} taps, {len(finger.scrolls)} scrolls: {', '.join(finger.scrolls)}")
    for name in ("storing", "stored", "next", "drawn"):
        took = sorted(one[name] for one in finger.times if name in one)
        print(f"{name}: {took[0]:.0f}, {np.median(took):.0f}, {took[-1]:.0f} ms in {len(took)} readings")


if __name__ == "__main__":
    main()
