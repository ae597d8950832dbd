"""The plan in real Chromium: from the bench, worked out while one waits, followed by taps, printed; axe-core."""

import io

import pytest
from playwright.sync_api import expect
from pypdf import PdfReader

from halfsplit.job import JobStore, planning
from halfsplit.job.open_job import OpenJob
from tests.browser.acts import PATIENCE, follow, leaves, no_sideways_scroll
from tests.browser.looks import faults

pytestmark = pytest.mark.requires("chromium", "bundle")
A4 = (595.3, 841.9)
"""Points."""


def branch(text, share, step=None, ending=None, left=""):
    return {"text": text, "word": text, "probability": share, "step": step, "ending": ending, "left": left}


DOCUMENT = {
    "title": "One lamp",
    "complaints": ["H1 does not work (on)"],
    "instruments": ["meter", "test lamp"],
    "intermittent": True,
    "states": [{"name": "on", "how": "S1 at on"}],
    "expected_minutes": 12.0,
    "worst_minutes": 44.0,
    "found": 0.7,
    "found_at": 0.9,
    "cautions": ["The lamp gets hot: keep it off trim and wiring."],
    "steps": [
        {
            "number": number,
            "sentence": f"State “on”: measure volts from X{number}.1, arriving side, to battery negative post.",
            "minutes": 4.0,
            "cautions": ["The lamp gets hot: keep it off trim and wiring."] if number % 3 == 0 else [],
            "opens": [f"X{number}"],
            "probability": 1.0 / number,
            "branches": [
                branch("under 50 mV (about 0 V)", 0.4, ending="A"),
                branch("50 mV to 12.1 V (about 6 V)", 0.2, left="wire F1.2 S1.1 40 %, not in this model 9 %"),
                branch("over 12.1 V (about 12.5 V)", 0.4, step=number + 1)
                if number < 24
                else branch("over 12.1 V (about 12.5 V)", 0.4, ending="B"),
            ],
        }
        for number in range(1, 25)
    ],
    "endings": [
        {
            "letter": letter,
            "kind": "found",
            "title": "clean and tighten E1",
            "repair": "clean and tighten E1",
            "part": "E1",
            "cause": "E1 high resistance",
            "proof": ["its own voltage drop under load, measured twice", "bridging it restores the function"],
            "verify": ["H1 works"],
            "suspects": [],
            "probability": 0.3,
        }
        for letter in "AB"
    ],
}
"""A long plan, invented."""


@pytest.fixture
def planned(server):
    with JobStore(f"sqlite:///{server.folder}/jobs.db") as store:
        known = planning.basis(store.job("lamp"), store.evidence("lamp"))
        kept = {**DOCUMENT, "basis": known, "largest": 30}
        OpenJob(store, "lamp", "Ada").keep_shown(planning.PLAN, kept, after=0)


def test_a_plan_from_the_bench_is_worked_out_while_one_waits(open_page, server):
    page = open_page()
    page.goto("/jobs/lamp")
    follow(page, "Plan")
    page.get_by_label("Length").select_option("10")
    leaves(page, page.get_by_role("button", name="Work out the plan").click)
    expect(page.locator("#plan progress")).to_be_visible()
    expect(page.locator("article.plan")).to_be_visible(timeout=5 * PATIENCE)
    expect(page.locator("article.plan")).to_contain_text("H1 does not work (on)")
    expect(page.locator("#plan progress")).to_have_count(0)


def test_a_result_leads_to_its_step(open_page, planned):
    for size in ("tablet", "phone"):
        page = open_page(size)
        page.goto("/jobs/lamp/plan")
        page.locator("#step-1").get_by_role("link", name="step 2").click()
        expect(page.locator("#step-2")).to_be_in_viewport()
        no_sideways_scroll(page)


def test_it_prints_on_a4_with_every_step_whole(open_page, planned):
    page = open_page()
    page.goto("/jobs/lamp/plan")
    pages = PdfReader(io.BytesIO(page.pdf(prefer_css_page_size=True))).pages
    for one in pages:
        assert (float(one.mediabox.width), float(one.mediabox.height)) == pytest.approx(A4, abs=1.5)
    texts = ["".join(one.extract_text().split()) for one in pages]
    assert len(pages) <= 8
    for step in DOCUMENT["steps"]:
        (where,) = [number for number, text in enumerate(texts) if "".join(step["sentence"].split()) in text]
        own = texts[where].split("".join(step["sentence"].split()))[1]
        assert "over12.1V(about12.5V)" in own  # its last result stands on the same page
    assert not any("Workitoutagain" in text or "Practice" in text for text in texts)


def test_axe_finds_nothing(open_page, planned):
    page = open_page()
    page.goto("/jobs/lamp/plan")
    assert faults(page, "plan-worked-out") == {}
    links = page.locator(".results a").evaluate_all(
        "all => all.map(one => one.getBoundingClientRect().height)"
    )
    assert min(links) >= 48
