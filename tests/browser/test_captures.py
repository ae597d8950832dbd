"""Captures in real Chromium: zoom of a hundred million samples, cursors, a reference, evidence, axe-core."""

import io
import json
import os
import re
import shutil
import struct
from pathlib import Path
from urllib.parse import parse_qs, urlsplit

import numpy as np
import pytest
from playwright.sync_api import expect

from halfsplit import job as jobs
from halfsplit.job import JobStore, capture_measuring, captures
from halfsplit.job.captures import CaptureSettings
from halfsplit.job.open_job import OpenJob
from halfsplit.job.places import from_json
from tests.browser.acts import follow, leaves
from tests.browser.looks import SCREENSHOTS, faults
from tests.browser.test_whole_job import vehicle_of
from tests.capture.signals.engine import crank_engine

pytestmark = pytest.mark.requires("chromium", "bundle")
HERE = "/jobs/lamp/captures/start"
SOMETHING = re.compile(".")


def text(columns: dict[str, np.ndarray], rate: float) -> io.BytesIO:
    clock = np.arange(len(next(iter(columns.values())))) / rate
    out = io.StringIO()
    out.write(",".join(["Time (s)", *columns]) + "\n")
    np.savetxt(out, np.column_stack([clock, *columns.values()]), "%.6g", ",")
    return io.BytesIO(out.getvalue().encode())


def start(before: int = 0, **engine) -> dict[str, np.ndarray]:
    """Battery volts and starter current of a start, with more rest before it."""
    run = crank_engine(**engine)
    return {
        "battery volts (V)": np.concatenate([np.full(before, run.volts[0]), run.volts]),
        "starter current (A)": np.concatenate([np.zeros(before), run.amps]),
    }


@pytest.fixture
def store(server):
    with JobStore(f"sqlite:///{server.folder}/jobs.db") as store:
        yield store


@pytest.fixture
def kept(store):
    """A measured start with a weak cylinder, and a good one that begins 0.3 s later."""
    captures.add_capture(
        OpenJob(store, "lamp", "Ada"),
        text(start(leaks={3: 2.0}), 2000),
        name="start.csv",
        attachment_id="start",
    )
    captures.add_capture(
        OpenJob(store, "lamp", "Ada"), text(start(600), 2000), name="known good.csv", attachment_id="good"
    )
    settings = CaptureSettings(
        roles={"battery volts": "battery volts", "starter current": "starter current"}, cylinders=4
    )
    capture_measuring.analyse_capture(OpenJob(store, "lamp", "Ada"), "start", settings)


def windows_of(page):
    """Every window that the page fetches: (seconds from, to, columns, channels, bytes)."""
    seen = []

    def note(response):
        address = urlsplit(response.url)
        if address.path.endswith("/window"):
            asked = {name: value[0] for name, value in parse_qs(address.query).items()}
            seen.append(
                (
                    float(asked["from"]),
                    float(asked["to"]),
                    int(asked["pixels"]),
                    asked["channels"].count(",") + 1,
                    int(response.headers["content-length"]),
                )
            )

    page.on("response", note)
    return seen


def ready(page, act):
    """Does something to the viewer and waits until its samples are there."""
    viewer = page.locator("[data-viewer]")
    viewer.evaluate("one => one.removeAttribute('data-ready')")
    act()
    expect(viewer).to_have_attribute("data-ready", SOMETHING)
    return [float(part) for part in viewer.get_attribute("data-ready").split()]


def opened(page, path=HERE):
    page.goto(path)
    expect(page.locator("[data-viewer]")).to_have_attribute("data-ready", SOMETHING)


def shares(page) -> dict[str, int]:
    """Suspect → per cent, as the bench shows them."""
    found = {}
    lines = page.locator("#suspects ol > .suspect").evaluate_all(
        "all => all.map(one => ['.name', '.p'].map(part => one.querySelector(part).innerText))"
    )
    for name, share in lines:
        code = re.search(r"\(([^()]+)\)", name)
        found[code.group(1) if code else name] = int(re.sub(r"\D", "", share))
    return found


def test_a_recording_of_the_demo_job_becomes_evidence_with_one_press_and_moves_the_suspects(
    open_page, store, tmp_path
):
    """One of the demo's next tests asks for a drop: a capture that is named after its place answers it.

    The recording shows what the simulated vehicle with the demo's own fault drops there.
    """
    jobs.demo_job(store)
    test = next(
        one for one in jobs.bench_view(OpenJob(store, "demo")).tests if one.quantity == "volts" and one.to
    )
    part = re.split(r"[.:]", test.at)[0]
    drop = vehicle_of("rear-lamps").answer(from_json(test.place))
    clock = np.arange(8000) / 2000
    on = (clock > 0.5) & (clock < 3.5)
    random = np.random.default_rng(2)
    file = tmp_path / "tail lamp.csv"
    columns = {
        f"{part} drop (V)": np.where(on, drop, 0.0) + random.normal(0, 0.0005, clock.size),
        "lamp current (A)": np.where(on, 0.38, 0.0) + random.normal(0, 0.003, clock.size),
    }
    file.write_bytes(text(columns, 2000).getvalue())
    page = open_page()
    page.goto("/jobs/demo")
    before = shares(page)
    follow(page, "Captures")
    page.get_by_label("File").set_input_files(str(file))
    leaves(page, page.get_by_role("button", name="Add the recording").click)
    page.locator("select[name=role-0]").select_option("drop volts")
    page.locator("select[name=role-1]").select_option("load current")
    page.locator("select[name=path]").select_option("ground" if part.startswith("E") else "connector")
    page.get_by_role("button", name="Measure", exact=True).click()
    expect(page.locator("#results")).to_contain_text(re.compile(r"(within|over) 0\.\d V for a"))
    expect(page.locator(".answer .ask").first).to_have_text(test.sentence)
    if SCREENSHOTS:
        page.screenshot(path=f"{SCREENSHOTS}/captures-suggested.png", full_page=True)
    page.locator(".answer").get_by_role("button", name=re.compile(r"^Record .*V")).first.click()
    expect(page.locator(".kept")).to_contain_text("In the record: ")
    expect(page.locator(".kept")).to_contain_text(re.compile(r"Suspects now: [^%]*\(E5\) \d+\s%"))
    leaves(page, page.get_by_role("link", name="To the bench").click)
    expect(page.locator("#evidence .line").first).to_contain_text("recorded in tail lamp.csv")
    assert shares(page)["E5"] > before["E5"]


def test_a_reading_that_can_hardly_be_is_asked_about_first(open_page, store):
    columns = {"X1.1 volts (V)": np.full(1000, 124.0)}
    captures.add_capture(
        OpenJob(store, "lamp", "Ada"), text(columns, 1000), name="a.csv", attachment_id="start"
    )
    page = open_page("phone")
    opened(page)
    page.locator(".offer summary").first.click()
    offer = page.locator(".offer form").first
    offer.get_by_label("At", exact=True).fill("X1.1:in")
    offer.get_by_role("button", name="Record it").click()
    expect(page.locator(".asked")).to_contain_text("124 V on a 12 V net?")
    assert [one for one in store.evidence("lamp") if one.kind == "reading"] == []
    page.get_by_role("button", name="Yes, record it").click()
    expect(page.locator(".kept")).to_contain_text("124 V")


SAMPLES = 100_000_000
RATE = 1_000_000
SPIKES = (12_345_678, 61_000_007)


def write_long(path: Path) -> None:
    """A hundred million float32 samples as WAV; only what differs from zero takes room on the disk."""
    size = 4 * SAMPLES
    head = b"RIFF" + struct.pack("<I", 36 + size) + b"WAVEfmt "
    head += struct.pack("<IHHIIHH", 16, 3, 1, RATE, 4 * RATE, 4, 32) + b"data" + struct.pack("<I", size)
    path.write_bytes(head)
    os.truncate(path, len(head) + size)
    samples = np.memmap(path, "<f4", "r+", offset=len(head), shape=(SAMPLES,))
    for place in SPIKES:
        samples[place] = 5.0
    samples[30_000_000:30_400_000] = np.sin(np.arange(400_000) / 50)
    samples.flush()


@pytest.fixture
def long_capture(store, tmp_path):
    """A kept recording of a hundred million samples; gone from the disk when the test ends."""
    path = tmp_path / "long.wav"
    write_long(path)
    with path.open("rb") as file:
        captures.add_capture(OpenJob(store, "lamp", "Ada"), file, name="long.wav", attachment_id="start")
    path.unlink()
    yield store.attachment("lamp", "start")
    shutil.rmtree(store.files.folder)


def test_any_zoom_of_a_hundred_million_samples_takes_few_bytes_and_one_question(open_page, long_capture):
    """Bytes and questions are counted, not seconds: 100 s at a million samples a second, down to single samples."""
    assert long_capture.size > 4 * SAMPLES
    page = open_page()
    seen = windows_of(page)
    opened(page)
    steps = [seen[-1]]
    for spot in SPIKES:
        ready(page, lambda: page.locator("[data-do=whole]").click())
        for number, offset in enumerate((-5e-6, 5e-6)):
            field = page.locator(f"[data-cursor='{number}']")
            field.fill(f"{spot / RATE + offset:.9f}")
            field.press("Enter")
            field.blur()
        count = len(seen)
        view = ready(page, lambda: page.locator("[data-do=between]").click())
        assert view[1] - view[0] == pytest.approx(11e-6, rel=0.01)
        assert len(seen) <= count + 2
        steps.append(seen[-1])
        expect(page.locator(".values td").nth(4)).to_contain_text("5.000 count")
    for _ in range(12):
        count = len(seen)
        ready(page, lambda: page.locator("[data-do=out]").click())
        assert len(seen) == count + 1
        steps.append(seen[-1])
    assert steps[0][1] - steps[0][0] > 100
    for _, _, columns, channels, size in steps:
        assert columns <= 3000
        assert size <= channels * 12 * (2 * columns + 2) + 300
    assert max(step[4] for step in steps) < 80_000


def test_wheel_fingers_and_buttons_zoom_and_push_and_the_place_under_them_stays(open_page, kept):
    page = open_page()
    opened(page)
    seen = windows_of(page)
    whole = ready(page, lambda: page.locator("[data-do=whole]").click())
    area = page.locator(".u-over").first.bounding_box()
    middle = (area["x"] + area["width"] / 4, area["y"] + area["height"] / 2)
    page.mouse.move(*middle)
    closer = ready(page, lambda: page.mouse.wheel(0, -400))
    width = whole[1] - whole[0]
    assert closer[1] - closer[0] < 0.6 * width
    spot = whole[0] + width / 4
    assert (spot - closer[0]) / (closer[1] - closer[0]) == pytest.approx(0.25, abs=0.02)

    def drag():
        page.mouse.down()
        page.mouse.move(middle[0] - area["width"] / 10, middle[1], steps=4)
        page.mouse.up()

    pushed = ready(page, drag)
    assert pushed[0] - closer[0] == pytest.approx((closer[1] - closer[0]) / 10, rel=0.1)
    fingers = """area => {
      const over = document.querySelector(".u-over");
      const send = (kind, id, x) => over.dispatchEvent(new PointerEvent(kind, {pointerId: id, clientX: x,
        clientY: area.y + 9, bubbles: true, pointerType: "touch", isPrimary: id === 11}));
      const root = over.closest("[data-lanes]");
      root.setPointerCapture = () => {};
      const [a, b] = [area.x + 0.4 * area.width, area.x + 0.6 * area.width];
      send("pointerdown", 11, a); send("pointerdown", 12, b);
      for (let i = 1; i <= 10; i += 1) send("pointermove", 12, b + i * 0.02 * area.width);
      send("pointerup", 11, a); send("pointerup", 12, b);
    }"""
    pinched = ready(page, lambda: page.evaluate(fingers, area))
    assert (pinched[1] - pinched[0]) / (pushed[1] - pushed[0]) == pytest.approx(0.5, abs=0.05)
    assert all(size < 80_000 for *_, size in seen)


def test_cursors_are_dragged_and_typed_and_show_what_lies_at_and_between_them(open_page, kept, store):
    page = open_page()
    opened(page)
    rows = page.locator(".values tbody tr")
    expect(rows).to_have_count(2)
    for number, time in enumerate(("0.1", "2,1")):
        field = page.locator(f"[data-cursor='{number}']")
        field.fill(time)
        field.press("Tab")
    expect(page.locator("[data-difference]")).to_have_text("2 − 1: 2.000 s, as a period 0.5000 Hz")
    told = captures.opened(store, store.attachment("lamp", "start"), CaptureSettings())
    at = told["battery volts"].values()[[200, 4200]]
    expect(rows.first.locator("td").nth(0)).to_have_text(f"{at[0]:.2f} V")
    expect(rows.first.locator("td").nth(1)).to_have_text(f"{at[1]:.2f} V")
    grip = page.locator("[data-grip='0']").bounding_box()
    page.mouse.move(grip["x"] + 24, grip["y"] + 12)
    page.mouse.down()
    page.mouse.move(grip["x"] + 224, grip["y"] + 12, steps=5)
    page.mouse.up()
    expect(page.locator("[data-cursor='0']")).to_have_value(re.compile(r"^(0\.[5-9]|[1-9])"))
    expect(page.locator("[data-difference]")).not_to_contain_text("2.000 s")
    expect(page.locator(".roles input[data-at='0']")).not_to_have_value("0.1")


def test_a_known_good_recording_lies_behind_aligned_by_its_event_and_a_picture_goes_into_the_report(
    open_page, kept, store
):
    page = open_page()
    opened(page)
    page.locator(".shown-traces summary").click()
    page.get_by_label("Known good, to lie behind").select_option(label="known good.csv")
    page.get_by_role("button", name="Show it").click()
    page.locator(".shown-traces summary").click()
    page.locator("[data-edge]").select_option("fall")
    expect(page.locator("[data-aligned]")).to_contain_text("shown 300.0 ms earlier")
    ready(page, lambda: page.locator("[data-do=in]").click())
    if SCREENSHOTS:
        page.screenshot(path=f"{SCREENSHOTS}/captures-reference.png", full_page=True)
    page.get_by_role("button", name="Put this picture in the report").click()
    expect(page.locator(".kept")).to_contain_text("Capture start.csv")
    page.goto("/jobs/lamp/report?for=workshop")
    picture = page.locator("img[alt$='start.csv.png']")
    expect(picture).to_be_visible()
    expect(picture).to_have_js_property("complete", value=True)
    assert picture.evaluate("one => one.naturalWidth") > 900


def test_traces_have_the_names_of_their_roles_and_their_colours_in_order(open_page, kept):
    for scheme, first in (("light", "rgb(0, 0, 0)"), ("dark", "rgb(255, 255, 255)")):
        page = open_page("tablet", scheme)
        opened(page)
        expect(page.locator(".lane h3")).to_have_text(["battery volts, V", "starter current, A"])
        colours = page.locator(".lane .swatch").evaluate_all(
            "all => all.map(one => getComputedStyle(one).borderTopColor)"
        )
        assert colours == [first, "rgb(230, 159, 0)"]


def test_axe_finds_nothing_and_nothing_is_wider_than_the_screen(open_page, kept):
    page, found = open_page(), {}
    for path in ("/jobs/lamp/captures", HERE, f"{HERE}?behind=lamp/good"):
        page.goto(path)
        if path != "/jobs/lamp/captures":
            expect(page.locator("[data-viewer]")).to_have_attribute("data-ready", SOMETHING)
            for folded in page.locator("main details").all():
                folded.evaluate("one => { one.open = true; }")
        found |= faults(page, re.sub(r"\W+", "-", path.strip("/")))
    assert json.dumps(found, indent=1) == "{}"
