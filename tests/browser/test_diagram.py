"""The diagram becomes the circuit in the browser, counted and priced as the circuit by taps is (``test_taps.py``).

The page is the product's own drawing of fifteen parts and seventeen wires, printed to PDF by Chromium.
"""

import os

import pytest
from playwright.sync_api import expect

from halfsplit import job as jobs
from halfsplit.drawing import draw
from halfsplit.job import JobStore
from halfsplit.notation.circuit import Circuit

pytestmark = pytest.mark.requires("chromium", "bundle")
SCREENSHOTS = os.environ.get("HALFSPLIT_SCREENSHOTS", "")
TAP, KEY, THOUGHT = 1.3, 0.5, 2.0
"""Seconds, by the keystroke-level model as ``test_taps.py`` has it."""
DIAGRAM = """title Rear wiper and work lamp
battery G1
fuse F21 15 A
relay K7
connector X31
motor M9 "rear wiper"
ground E1
ground E4
fuse F3 5 A
switch S3 off wipe
connector X12
lamp H4 "work lamp"
ground E6
fuse F8 10 A
solenoid Y2 "wash valve"
G1.+ --[2.5mm2 RD]-- F21 --[2.5mm2 RD/YE]-- K7.30
K7.87 --[2.5mm2 GN]-- X31.4 --[2.5mm2 GN]-- M9 --[2.5mm2 BN]-- E4
G1.+ --[1mm2 RD]-- F3 --[1mm2 RD/BU]-- S3 --[0.5mm2 BK]-- SP1 --[0.5mm2 BK]-- K7.86
K7.85 --[0.5mm2 BN]-- E1
SP1 --[0.5mm2 BK/WH]-- X12.1 --[0.5mm2 BK/WH]-- H4 --[0.5mm2 BN]-- E6
G1.+ --[1mm2 RD]-- F8 --[1mm2 YE]-- Y2 --[1mm2 BN]-- E6
G1.- --[16mm2]-- E1
"""
PARTS, WIRES = 15, 17
"""Invented, as in ``test_taps.py``."""


@pytest.fixture
def printed(chromium, tmp_path):
    drawing = draw(Circuit.parse(DIAGRAM).model, standalone=True)
    page = chromium.new_page()
    page.set_content(f"<style>body{{margin:0}}svg{{display:block}}</style>{drawing.svg}")
    page.pdf(
        path=str(tmp_path / "wiper.pdf"),
        width=f"{drawing.width + 1:.0f}px",
        height=f"{drawing.height + 1:.0f}px",
        print_background=True,
        page_ranges="1",
    )
    page.close()
    return tmp_path / "wiper.pdf"


def wires_of(circuit):
    """Each wire by its two ends, whichever comes first, and its colour."""
    return {(frozenset(end.partition(":")[0] for end in (w.a, w.b)), w.colour) for w in circuit.model.wires}


def test_a_vector_page_becomes_the_circuit_and_is_measured_on(open_page, server, printed):
    page = open_page("tablet")
    page.set_default_timeout(200_000)
    page.goto("/jobs/lamp/circuit/diagram")
    taps = 0
    page.set_input_files("input[name=file]", str(printed))
    taps += 2  # the field, and the file in the list of the system
    page.get_by_role("button", name="Read this page").click()
    page.get_by_role("button", name="Confirm all").click()
    expect(page.locator("#act-form")).to_contain_text("0 proposed")
    if SCREENSHOTS:
        page.screenshot(path=f"{SCREENSHOTS}/diagram-confirmed.png", full_page=True)
    page.get_by_role("button", name="Make the circuit").click()
    page.wait_for_url("**/circuit")
    taps += 3
    with JobStore(f"sqlite:///{server.folder}/jobs.db") as store:
        circuit = jobs.check_text(store.circuit("lamp").text).circuit
    truth = Circuit.parse(DIAGRAM)
    assert {part.name: part.kind for part in circuit.parts.values()} == {
        part.name: part.kind for part in truth.parts.values()
    }
    assert wires_of(circuit) == wires_of(truth)
    seconds = taps * TAP + (PARTS + WIRES) * THOUGHT
    print(f"taps {taps}, keys 0, priced {seconds:.0f} s")
    assert taps <= 25
    assert seconds <= 75
    page.goto("/jobs/lamp")
    expect(page.locator("#sheet svg.page image")).to_have_count(1)
    page.locator('#sheet .target[data-point="F21.2"]').click()
    page.wait_for_url("**/jobs/lamp*")


def test_an_act_is_taken_back(open_page, printed):
    page = open_page("phone")
    page.set_default_timeout(200_000)
    page.goto("/jobs/lamp/circuit/diagram")
    page.set_input_files("input[name=file]", str(printed))
    page.get_by_role("button", name="Read this page").click()
    page.get_by_role("button", name="Confirm all").click()
    expect(page.locator("#act-form")).to_contain_text("0 proposed")
    page.get_by_role("button", name="Undo").click()
    expect(page.locator("#act-form")).to_contain_text("0 wires confirmed")
    assert page.evaluate("document.documentElement.scrollWidth <= innerWidth")
