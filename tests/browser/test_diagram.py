"""The diagram becomes the circuit in the browser, counted and priced as the circuit by taps is (``test_taps.py``).

The page is the product's own drawing of fifteen parts and seventeen wires, printed to PDF by Chromium.
"""

import io
import os

import numpy as np
import pytest
from PIL import Image, ImageFilter
from playwright.sync_api import expect

from halfsplit import job as jobs
from halfsplit.diagram.photo import homography
from halfsplit.drawing import draw
from halfsplit.job import JobStore
from halfsplit.notation.circuit import Circuit
from tests.browser.acts import leaves, no_sideways_scroll

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
    page.goto("/jobs/lamp/circuit/diagram")
    taps = 0
    page.set_input_files("input[name=file]", str(printed))
    taps += 2  # the field, and the file in the list of the system
    leaves(page, page.get_by_role("button", name="Read this page").click)
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


CORNERS = ((170.0, 130.0), (1660.0, 90.0), (1705.0, 2290.0), (120.0, 2210.0))
"""Of the paper in the photo, pixels."""


@pytest.fixture
def photographed(chromium, tmp_path):
    """The drawing on paper, photographed askew on a dark bench: shadow, blur, JPEG; with the drawing and its margin."""
    drawing, margin = draw(Circuit.parse(DIAGRAM).model, standalone=True), 50
    width, height = round(drawing.width) + 2 * margin, round(drawing.height) + 2 * margin
    page = chromium.new_page(viewport={"width": width, "height": height}, device_scale_factor=1.5)
    page.set_content(f"<style>body{{margin:{margin}px;background:#fff}}</style>{drawing.svg}")
    paper = Image.open(io.BytesIO(page.screenshot())).convert("RGB")
    page.close()
    back = np.linalg.inv(np.array(homography(CORNERS, *paper.size)).reshape(3, 3))
    seen = tuple((back / back[2, 2]).ravel()[:8])
    size = (1800, 2400)
    mask = Image.new("L", paper.size, 255).transform(size, Image.Transform.PERSPECTIVE, seen)
    photo = Image.new("RGB", size, (58, 50, 44))
    photo.paste(paper.transform(size, Image.Transform.PERSPECTIVE, seen, Image.Resampling.BICUBIC), mask=mask)
    shadow = np.linspace(1.0, 0.62, size[0])[None, :, None]
    dimmed = Image.fromarray((np.asarray(photo) * shadow).astype(np.uint8))
    path = tmp_path / "paper.jpg"
    dimmed.filter(ImageFilter.GaussianBlur(0.9)).save(path, "JPEG", quality=82)
    return path, drawing, (margin, width, height)


PATHS = (
    ("G1", "F21", "K7", "X31.4", "M9", "E4"),
    ("G1", "F3", "S3", "K7 coil", "E1"),
    ("", "X12", "H4", "E6"),
    ("G1", "F8", "Y2", "E6"),
    ("G1", "E1"),
)
"""The current paths as they are tapped; '' is a tap on the wire between S3 and K7."""


class Marker:
    """Taps the parts on a straightened photo, and counts taps and keys."""

    def __init__(self, page, drawing, paper):
        self.page, self.taps, self.keys, self.known = page, 0, 0, set()
        self.spots = {name: self.spot(drawing, name, paper) for path in PATHS for name in path}

    def spot(self, drawing, name, paper):
        """The middle of a part as a share of the page; of a relay's contact and coil each its own."""
        margin, width, height = paper
        wanted = {"": ("SP1",), "K7": ("K7.30", "K7.87"), "K7 coil": ("K7.85", "K7.86")}.get(name)
        boxes = [
            box
            for target, box in drawing.boxes.targets
            if (
                target in wanted
                if wanted
                else target.partition(".")[0].partition(":")[0] == name.partition(".")[0]
            )
        ]
        left, top, right, bottom = zip(*boxes, strict=True)
        across, down = (min(left) + max(right)) / 2, (min(top) + max(bottom)) / 2
        return (margin + across) / width, (margin + down) / height

    def tap(self, name):
        """On the page where the part stands, scrolled to the middle of the screen as a finger would."""
        x, y = self.page.locator("[data-diagram]").evaluate(
            """(sheet, [x, y]) => {
              const svg = sheet.querySelector("svg"), own = svg.getBoundingClientRect();
              sheet.scrollTo(x * own.width - sheet.clientWidth / 2, y * own.height - sheet.clientHeight / 2);
              const now = svg.getBoundingClientRect();
              window.scrollBy(0, now.top + y * now.height - 0.7 * innerHeight);
              const last = svg.getBoundingClientRect();
              return [last.left + x * last.width, last.top + y * last.height];
            }""",
            self.spots[name],
        )
        with self.page.expect_response("**/diagram/act"):
            self.page.mouse.click(x, y)
        expect(self.page.locator("#marks.htmx-request, #act-form.htmx-request")).to_have_count(0)
        self.taps += 1

    def path(self, *names):
        if self.page.locator(".last").count():
            self.page.get_by_role("button", name="Begin a new path").click()
            self.taps += 1
        for name in names:
            if name and name not in self.known:
                typed = name.partition(" ")[0]
                self.page.keyboard.type(typed)
                self.keys += len(typed)
                self.known.add(name)
            self.tap(name)


def test_a_photo_of_paper_becomes_the_circuit_by_taps_along_its_paths(open_page, server, photographed):
    """Colours are not told by this way, names and wires are; the corners that were found are moved once by hand."""
    path, drawing, paper = photographed
    page = open_page("tablet")
    page.goto("/jobs/lamp/circuit/diagram")
    page.set_input_files("input[name=file]", str(path))
    leaves(page, page.get_by_role("button", name="Read this page").click)
    marker = Marker(page, drawing, paper)
    marker.taps += 3
    straighten_by_hand(page)
    page.locator("#act-form input[value=walk]").check()
    marker.taps += 1
    for names in PATHS:
        marker.path(*names)
        if SCREENSHOTS:
            page.screenshot(path=f"{SCREENSHOTS}/diagram-photo.png", caret="initial")
    page.get_by_role("button", name="Make the circuit").click()
    page.wait_for_url("**/circuit")
    marker.taps += 1
    with JobStore(f"sqlite:///{server.folder}/jobs.db") as store:
        text = store.circuit("lamp").text
    circuit = jobs.check_text(text).circuit
    assert circuit is not None, text
    truth = Circuit.parse(DIAGRAM)
    kinds = {part.name: part.kind for part in truth.parts.values() if part.kind != "splice"}
    assert {part.name: part.kind for part in circuit.parts.values() if part.kind != "splice"} == kinds
    assert joined(circuit) == joined(truth)
    seconds = marker.taps * TAP + marker.keys * KEY + (PARTS + WIRES) * THOUGHT
    print(f"photo: taps {marker.taps}, keys {marker.keys}, priced {seconds:.0f} s")
    assert marker.taps <= 60
    assert marker.keys <= 40
    assert seconds <= 130


def straighten_by_hand(page):
    """A corner is dragged off and back with the mouse, moved a little with the keys; then the photo is straightened."""
    page.locator("summary", has_text="Corners of the paper").click()
    told = page.locator("input[name=corners]")
    found = told.input_value()
    shown = page.locator(".corners image").get_attribute("href")
    assert page.request.get(shown).headers["content-type"] == "image/png"
    grip = page.locator("form[data-corners] .grip").first
    grip.locator(".knob").hover()  # waits until the page stands still
    at = grip.locator(".knob").bounding_box()
    middle = at["x"] + at["width"] / 2, at["y"] + at["height"] / 2
    page.mouse.down()
    page.mouse.move(middle[0] + 60, middle[1] + 60, steps=3)
    expect(told).not_to_have_value(found)
    page.mouse.move(*middle, steps=3)
    page.mouse.up()
    moved, before = ([float(one) for one in text.split(",")] for text in (told.input_value(), found))
    assert moved == pytest.approx(before, abs=4)
    grip.press("Shift+ArrowRight")
    assert float(told.input_value().split(",")[0]) == pytest.approx(moved[0] + 1.8, abs=0.2)
    if SCREENSHOTS:
        page.screenshot(path=f"{SCREENSHOTS}/diagram-corners.png", caret="initial")
    leaves(page, page.get_by_role("button", name="Make it straight").click)


def joined(circuit):
    """The wires by the parts that they join, each as often as it is there; numbers of splices do not matter."""
    part = {point: point.partition(".")[0].partition(":")[0] for point in circuit.points}
    kinds = {one.name: one.kind for one in circuit.parts.values()}
    return sorted(
        tuple(
            sorted(
                "splice" if kinds.get(part[end]) == "splice" else end.partition(":")[0]
                for end in (wire.a, wire.b)
            )
        )
        for wire in circuit.model.wires
    )


def test_an_act_is_taken_back(open_page, printed):
    page = open_page("phone")
    page.goto("/jobs/lamp/circuit/diagram")
    page.set_input_files("input[name=file]", str(printed))
    leaves(page, page.get_by_role("button", name="Read this page").click)
    page.get_by_role("button", name="Confirm all").click()
    expect(page.locator("#act-form")).to_contain_text("0 proposed")
    page.get_by_role("button", name="Undo").click()
    expect(page.locator("#act-form")).to_contain_text("0 wires confirmed")
    wires = page.locator("path.touch").count()
    page.locator("path.touch").first.dispatch_event("click")
    grip = page.locator("[data-diagram] .grip").first
    grip.press("ArrowRight")
    with page.expect_response("**/diagram/act"):
        grip.press("Enter")
    expect(page.locator("#act-form")).to_contain_text("1 wire confirmed")
    expect(page.locator("path.touch")).to_have_count(wires)
    no_sideways_scroll(page)
