"""A circuit from a paper diagram by taps alone, counted; and the first test without any circuit.

'Fifteen parts in 4 minutes by taps' and 'a useful test within 90 s' are the product's own promises. No stopwatch is
used: taps and keys are counted and priced by the keystroke-level model (Card, Moran and Newell, Communications of the
ACM 23(7), 1980; values from memory): pointing 1.1 s and pressing 0.2 s, a typed character 0.5 s, 1.35 s of thought for
each part and each wire, here 2 s for a gloved hand that looks from the diagram to the page and back.
"""

import os

import pytest
from playwright.sync_api import expect

from halfsplit import job as jobs
from halfsplit.job import JobStore
from tests.browser.acts import leaves, no_sideways_scroll

pytestmark = pytest.mark.requires("chromium", "bundle")
SCREENSHOTS = os.environ.get("HALFSPLIT_SCREENSHOTS", "")
TAP, KEY, THOUGHT = 1.3, 0.5, 2.0
PARTS = {
    "G1": "battery", "E1": "ground", "F21": "fuse", "K7": "relay", "X31": "connector", "M9": "motor", "E4": "ground",
    "F3": "fuse", "S3": "switch", "SP1": "splice", "X12": "connector", "H4": "lamp", "E6": "ground", "F8": "fuse",
    "Y2": "solenoid",
}  # fmt: skip
WIRES = {
    ("G1.+", "F21.1"): "RD", ("F21.2", "K7.30"): "RD/YE", ("K7.87", "X31.4:in"): "GN", ("X31.4:out", "M9.1"): "GN",
    ("M9.2", "E4"): "BN", ("G1.+", "F3.1"): "RD", ("F3.2", "S3.1"): "RD/BU", ("S3.2", "SP1"): "BK",
    ("SP1", "K7.86"): "BK", ("K7.85", "E1"): "BN", ("SP1", "X12.1:in"): "BK/WH", ("X12.1:out", "H4.1"): "BK/WH",
    ("H4.2", "E6"): "BN", ("G1.+", "F8.1"): "RD", ("F8.2", "Y2.1"): "YE", ("Y2.2", "E6"): "BN", ("G1.-", "E1"): "",
}  # fmt: skip
"""Invented: a rear wiper by a relay, a lamp on its switch, a valve of its own."""


class Finger:
    """Taps and types on the sheet, and counts both."""

    def __init__(self, page):
        self.page, self.taps, self.keys = page, 0, 0

    def tap(self, act):
        button = self.page.locator(f'#taps button[name=act][value="{act}"]').last
        with self.page.expect_response("**/circuit/taps"):
            button.click()
        expect(self.page.locator("#taps.htmx-request")).to_have_count(0)
        self.taps += 1

    def fill(self, field, text):
        """Go into a field, whose text is then marked, and type over it; no tap of its own to keep it."""
        self.page.locator(f"#t-{field}").click()
        self.page.keyboard.type(text)
        self.taps, self.keys = self.taps + 1, self.keys + len(text)

    def part(self, kind, name, *colours, value="", words=""):
        self.tap(f"add:{kind}")
        if name:
            self.fill("name", name)
        if words:
            self.fill("words", words)
        for act in ([f"value:{value}"] if value else []) + [f"colour:{one}" for one in colours]:
            self.tap(act)

    @property
    def seconds(self):
        return self.taps * TAP + self.keys * KEY + (len(PARTS) + len(WIRES)) * THOUGHT


def enter_the_diagram(finger):
    finger.tap("keep")
    finger.tap("from:G1.+")
    finger.part("fuse", "F21", "RD", value="15 A")
    finger.part("relay contact", "K7", "RD", "YE")
    finger.part("connector", "X31", "GN")
    finger.tap("pin:1")
    finger.tap("as:4")
    finger.part("motor", "M9", "GN", words="rear wiper")
    finger.part("ground", "E4", "BN")
    finger.tap("from:G1.+")
    finger.part("fuse", "F3", "RD", value="5 A")
    finger.part("switch", "S3", "RD", "BU", words="wiper")
    finger.part("splice", "", "BK")
    finger.tap("to:K7.86")
    finger.tap("colour:BK")
    finger.tap("to:E1")
    finger.tap("colour:BN")
    finger.tap("from:SP1")
    finger.part("connector", "X12", "BK", "WH")
    finger.part("lamp", "H4", "BK", "WH", words="work lamp")
    finger.part("ground", "E6", "BN")
    finger.tap("from:G1.+")
    finger.part("fuse", "F8", "RD")
    finger.part("valve", "Y2", "YE", words="wash valve")
    finger.tap("to:E6")
    finger.tap("colour:BN")


def test_fifteen_parts_of_a_paper_diagram_by_taps(open_page, server):
    page = open_page("phone")
    page.goto("/jobs/new")
    page.get_by_role("button", name="Open the job").click()
    page.wait_for_url("**/circuit")
    job_id = page.url.split("/jobs/")[1].split("/")[0]
    page.goto(f"/jobs/{job_id}/circuit/taps")
    finger = Finger(page)
    enter_the_diagram(finger)
    if SCREENSHOTS:
        page.screenshot(path=f"{SCREENSHOTS}/walk-taps-phone.png", full_page=True)
    with JobStore(f"sqlite:///{server.folder}/jobs.db") as store:
        circuit = jobs.check_text(store.circuit(job_id).text).circuit
    assert {part.name: part.kind for part in circuit.parts.values()} == PARTS
    assert {(wire.a, wire.b): wire.colour for wire in circuit.model.wires} == WIRES
    assert circuit.parts["M9"].words == "rear wiper"
    assert circuit.parts["F21"].values["A"] == 15
    print(f"taps {finger.taps}, keys {finger.keys}, priced {finger.seconds:.0f} s")
    assert finger.seconds <= 240
    no_sideways_scroll(page, "tablet", "upright")


def test_the_first_test_without_a_circuit_after_a_few_taps(open_page):
    """'A useful test within 90 s of opening the tool': from the list of jobs to volts on the load's own wires."""
    page = open_page("phone")
    page.goto("/jobs")
    taps = 0
    for role, name in (
        ("link", "New job"),
        ("button", "Open the job"),
        ("radio", "Motor"),
        ("button", "Start with this"),
    ):
        tap = page.get_by_role(role, name=name).first.click
        if role == "radio":
            tap()
        else:
            leaves(page, tap)
        taps += 1
    expect(page.locator("#ask")).to_contain_text("M1.")
    expect(page.locator("#ask")).to_contain_text("measure volts")
    assert taps * (TAP + THOUGHT) <= 90


def test_a_glove_that_taps_twice_adds_one_part(open_page, server):
    page = open_page("phone")
    page.goto("/jobs/lamp/circuit/taps?end=X1.1")
    with page.expect_response("**/circuit/taps"):
        page.locator('#taps button[value="add:fuse"]').dblclick()
    expect(page.locator("#taps.htmx-request")).to_have_count(0)
    expect(page.locator("#h-chosen")).to_contain_text("F2")
    expect(page.locator("#taps [role=alert]")).to_have_count(0)
    with JobStore(f"sqlite:///{server.folder}/jobs.db") as store:
        circuit = jobs.check_text(store.circuit("lamp").text).circuit
    assert [name for name in circuit.parts if name.startswith("F")] == ["F1", "F2"]
