"""What holds for every page in every look, which is a size of the screen and light or dark.

A page is loaded once and looked at in all of them. With HALFSPLIT_SCREENSHOTS each look is kept as a picture, and there
are more of them (`make screenshots`).
"""

import os
from itertools import product
from pathlib import Path

from playwright.sync_api import Page

AXE = (Path(__file__).parents[2] / "frontend/node_modules/axe-core/axe.min.js").read_text(encoding="utf-8")
SCREENSHOTS = os.environ.get("HALFSPLIT_SCREENSHOTS", "")
SIZES = {"tablet": (1280, 800), "upright": (820, 1180), "phone": (390, 844), "desk": (1920, 1080)}
SOME = (("tablet", "light"), ("upright", "light"), ("phone", "dark"))
LOOKS = tuple(product(SIZES, ("light", "dark"))) if SCREENSHOTS else SOME
REPEATS = {("upright", "light")}
SHOWN_OR_NOT = ("scrollable-region-focusable", "aria-hidden-focus", "button-name", "label", "link-name")
"""What a width can change: whether something is shown, and whether it scrolls. A look in the colours of one before
is asked these alone; words, structure and contrast are told by that one."""
BROKEN = "only => axe.run({resultTypes: ['violations'], ...only}).then(told => told.violations)"
SETTLED = "new Promise(done => requestAnimationFrame(() => setTimeout(done, 60)))"
SMALL = """[...document.querySelectorAll("main :is(button, .button, summary, select, input:not([type=hidden]))")]
  .filter(one => one.checkVisibility() && !one.closest(".away, .pick, .uplot") && !one.classList.contains("away"))
  .map(one => [one, (one.closest("label.choice, label.tick, td label") ?? one).getBoundingClientRect()])
  .filter(([one, box]) => box.height > 0 && box.height < 47.5)
  .map(([one, box]) => `only ${box.height.toFixed(0)} px: ${one.outerHTML.slice(0, 90)}`)"""
"""Targets under 48 px (the product's own rule for fingers and gloves)."""
OUT_OF_VIEW = """(() => {
  const shown = (one) => one.checkVisibility() && !one.closest(".away, dialog:not([open])");
  const first = (wanted) => [...document.querySelectorAll(wanted)].find(shown);
  const task = { sentence: first("main .ask") ?? first("main h1, main h2"), leads: first("main .leads"),
    entry: first("main #typed, main .entry .words"), button: first("main .record") ?? first("main .go") };
  return Object.entries(task).filter(([, one]) => one).map(([name, one]) => [name, one.getBoundingClientRect()])
    .filter(([, box]) => box.bottom > innerHeight + 0.5 || box.top < -0.5)
    .map(([name, box]) => `${name} ends at ${box.bottom.toFixed(0)} of ${innerHeight}`); })()"""
"""What of the task at hand (sentence, leads, entry, main button) one would have to scroll for."""


def faults(page: Page, name: str, *, task: bool = False) -> dict[str, list[str]]:
    """Look → what is wrong with the page in it; ``task``: the task at hand must be in view as well.

    The page is left in the size in which it was.
    """
    was, found = page.viewport_size, {}
    page.wait_for_load_state("load")
    page.evaluate(AXE)
    for size, scheme in LOOKS:
        width, height = SIZES[size]
        page.set_viewport_size({"width": width, "height": height})
        page.emulate_media(color_scheme=scheme)
        page.evaluate(SETTLED)
        wrong = page.evaluate(BROKEN, {"runOnly": SHOWN_OR_NOT} if (size, scheme) in REPEATS else {})
        broken = [f"{one['id']}: {one['nodes'][0]['html'][:160]}" for one in wrong]
        if page.evaluate("document.documentElement.scrollWidth > innerWidth"):
            broken.append("runs out of the page sideways")
        if size != "desk":
            broken += page.evaluate(SMALL)
            broken += page.evaluate(OUT_OF_VIEW) if task else []
        if broken:
            found[f"{name} {size} {scheme}"] = broken
        if SCREENSHOTS:
            page.screenshot(path=f"{SCREENSHOTS}/{name}-{size}-{scheme}.png", full_page=True)
    page.set_viewport_size(was)
    return found
