"""Reports: PDF/A that opens, the same bytes each time, hostile text harmless, one page for the customer."""

import re
import subprocess
from contextlib import closing
from dataclasses import fields, is_dataclass, replace
from datetime import UTC, datetime
from decimal import Decimal
from io import BytesIO
from itertools import islice
from pathlib import Path

import pypdfium2
import pytest
from PIL import Image
from pypdf import PdfReader

from halfsplit.report import (
    CheckView,
    Costs,
    JobView,
    PhotoView,
    StepView,
    customer_pdf,
    workshop_pdf,
)
from halfsplit.report.pictures import LONGEST_SIDE, drawing_bytes, is_wide, photo_bytes
from halfsplit.report.words import printable
from halfsplit.store import PartUsed
from tests.report.sample import picture, sample

BOTH = pytest.mark.parametrize("made", [customer_pdf, workshop_pdf])
SHORT = (
    '#panic("x") *bold* _it_ $x^2$ = heading @ref <label> `raw` // /* ] } ) \\ #import "a.typ"',
    "<script>alert(1)</script><img src=x onerror=alert(1)> &amp; <b>",
    '"}, {"steps": [] \\u0000 \\',
    "../../../etc/passwd",
    "\u202e\u05e9\u05dc\u05d5\u05dd\u202c \u0645\u0631\u062d\u0628\u0627 12 V",
    "a\x00b\x07c\x1b[31m\ud800 \ue000 \ufffe \u200b",
    "漢字 😀 ไทย Ωµ ⚠ é e\u0301",
)
HOSTILE = {
    "short": " ".join(SHORT),
    "long": "x" * 1_000,
    "wide": "W" * 300,
    "words": "very long " * 100,
    "lines": "line\n" * 200,
    "nothing": "",
}


def text_of(pdf: bytes, pages: int | None = None) -> str:
    with closing(pypdfium2.PdfDocument(pdf)) as document:
        return "\n".join(page.get_textpage().get_text_range() for page in islice(document, pages))


def squeezed(text: str) -> str:
    return re.sub(r"[\s\u200b]+", "", text)


def filled(view: object, text: str) -> object:
    """The view with every text replaced."""
    if isinstance(view, str):
        return text
    if isinstance(view, tuple):
        return tuple(filled(one, text) for one in view)
    if not is_dataclass(view):
        return view
    fixed = ("result", "phase", "drawing")
    return replace(
        view,
        **{one.name: filled(getattr(view, one.name), text) for one in fields(view) if one.name not in fixed},
    )


@pytest.fixture(scope="module")
def reports():
    """The sample's reports, each made once."""
    return {made: made(sample(drawing=True)) for made in (customer_pdf, workshop_pdf)}


@BOTH
def test_a_report_opens_and_claims_pdf_a_2b(made, reports):
    # ISO 19005-2, 6.6.4: the identification schema, part 2 and conformance B, in the XMP metadata
    reader = PdfReader(BytesIO(reports[made]))
    metadata = reader.trailer["/Root"]["/Metadata"].get_object().get_data().decode()
    assert re.search(r"pdfaid:part[=>\"']+2\b", metadata)
    assert re.search(r"pdfaid:conformance[=>\"']+B\b", metadata)
    assert not reader.is_encrypted


@BOTH
def test_every_font_is_embedded(made, reports):
    # ISO 19005-2, 6.2.11.4
    for page in PdfReader(BytesIO(reports[made])).pages:
        for font in page["/Resources"]["/Font"].values():
            descriptor = font.get_object()["/DescendantFonts"][0].get_object()["/FontDescriptor"].get_object()
            assert {"/FontFile2", "/FontFile3"} & set(descriptor)
            assert "DejaVu" in descriptor["/FontName"]


@BOTH
def test_the_same_job_gives_the_same_bytes(made, reports):
    assert made(sample(drawing=True)) == reports[made]


@BOTH
def test_another_reading_gives_other_bytes(made, reports):
    assert made(replace(sample(drawing=True), correction="Another one.")) != reports[made]


@BOTH
def test_the_date_of_the_file_is_the_jobs_last_change(made, reports):
    date = PdfReader(BytesIO(reports[made])).metadata.creation_date
    assert date == datetime(2026, 11, 24, 15, 40, tzinfo=UTC)


@BOTH
def test_a_job_just_taken_in_prints(made):
    assert "7" in text_of(made(JobView(number="7")))


def test_the_customers_page_tells_what_is_disputed(reports):
    text = squeezed(text_of(reports[customer_pdf]))
    for told in (
        "Since the body shop had it",
        "148,200 km",
        "The ground bolt behind the right rear lamp (E5) sits on fresh paint.",
        "The lamps of that corner found their way",
        "7.9 V",
        "0 to 0.1 V",
        "0.03 V",
        "your old part is kept",
        "150.00 EUR",
        "Mr Okonjo, 24 Nov 2026 09:35, by telephone",
        "You decided against: a look at the left rear ground",
        "99.60 EUR",
        "214.00 EUR",
        "right rear corner replaced and painted",
        "not checked",
        "Proven by measurement",
    ):
        assert squeezed(told) in text, told


def test_the_workshops_record_tells_everything(reports):
    view = sample(drawing=True)
    text = squeezed(text_of(reports[workshop_pdf]))
    for told in (
        "probe slipped beside the cavity",
        "MM-2231",
        "red → X40.2, black → battery negative post",
        "circuit solution, healthy",
        "circuit range (stored)",
        "12.62 V, 11 °C, AGM",
        "touched: E5, X40",
        "lot 0815",
        "old part kept",
        "old part not kept",
        "halfsplit 0.1.0",
        "Tailgate up: prop it.",
        "96.00 EUR an hour",
        "ruled out",
        "98 %",
        "a look at the left rear ground",
        "P1: step 4, IMG_0413.jpg",
        "11.5 min",
        "maker's documentation",
    ):
        assert squeezed(told).replace("'", "\u2019") in text, told
    for step in view.steps:
        assert squeezed(step.reading) in text
    assert squeezed("Current paths: Rear lamps") in text


def test_the_customers_page_has_no_percentages():
    view = sample()
    duty = StepView(at="", who="", what="Duty cycle", reading="45 %", allowed="40 to 60 %", decisive=True)
    checks = (CheckView(what="Duty cycle", before="0 %", after="45 %", allowed="40 to 60 %", result="good"),)
    text = text_of(customer_pdf(replace(view, steps=(*view.steps, duty), checks=checks)))
    assert "%" not in text
    assert "45 in 100" in text


def test_struck_out_readings_are_not_on_the_customers_page(reports):
    text = text_of(reports[customer_pdf])
    assert "probe slipped" not in text
    assert "0.2 V" not in text


def test_a_cause_that_is_not_proven_is_said_to_be_so():
    view = sample()
    found = replace(view.finding, proven=False, missing=("bridging E5 restores the function",))
    for made in (customer_pdf, workshop_pdf):
        text = squeezed(text_of(made(replace(view, finding=found))))
        assert "bridgingE5restoresthefunction" in text
        assert "notproven" in text.lower()
        assert "Provenbymeasurement" not in text


@pytest.mark.parametrize("text", HOSTILE.values(), ids=HOSTILE.keys())
def test_hostile_text_is_printed_and_does_nothing_else(text):
    view = filled(sample(), text)
    assert isinstance(view, JobView)
    customer, workshop = customer_pdf(view), workshop_pdf(view)
    assert len(PdfReader(BytesIO(customer)).pages) == 1
    told = squeezed(text_of(workshop, 2))
    for part in SHORT[:4] if text == HOSTILE["short"] else (text,):
        assert squeezed(printable(part, 60))[:40] in told


@BOTH
def test_ten_thousand_letters_in_each_text_of_a_step_are_bounded(made):
    view = sample()
    step = filled(replace(view.steps[0], photos=()), "x" * 10_000)
    checks = tuple(filled(one, "very long " * 1_000) for one in view.checks[:1])
    pdf = made(replace(view, steps=(step,), checks=checks, correction="line\n" * 2_000))
    assert len(PdfReader(BytesIO(pdf)).pages) <= (1 if made is customer_pdf else 200)


def test_markup_is_printed_as_it_was_typed():
    text = text_of(workshop_pdf(replace(sample(), correction='#strong[x] *y* $z$ `#eval("1+1")`')))
    assert '#strong[x] *y* $z$ `#eval("1+1")`' in text


def test_the_customers_page_stays_one_page_with_everything_too_long(reports):
    view = sample()
    many = replace(
        view,
        steps=view.steps * 20,
        checks=view.checks * 20,
        parts=view.parts * 30,
        unplugged=("a plug behind the dashboard on the left",) * 60,
        finding=replace(view.finding, missing=("something that is not shown yet, told at length",) * 40),
        earlier_work=view.earlier_work * 20,
    )
    made = customer_pdf(many)
    assert len(PdfReader(BytesIO(made)).pages) == 1
    assert "no room for" in " ".join(text_of(made).split())
    assert "no room for" not in " ".join(text_of(reports[customer_pdf]).split())


@pytest.mark.requires("pdftoppm")
@BOTH
def test_long_words_wrap_and_leave_the_margins_white(made, tmp_path):
    view = filled(sample(), "W" * 300)
    assert isinstance(view, JobView)
    for page in drawn(made(view), tmp_path):
        edge = page.width * 8 // 210  # 8 mm of A4's 210 mm
        for strip in ((0, 0, edge, page.height), (page.width - edge, 0, page.width, page.height)):
            assert page.crop(strip).getextrema()[0] > 240


def drawn(pdf: bytes, folder: Path) -> list[Image.Image]:
    """The pages as Poppler draws them, which none of us wrote; it must have nothing to complain of."""
    file = folder / "report.pdf"
    file.write_bytes(pdf)
    command = ["pdftoppm", "-r", "40", "-png", str(file), str(folder / "page")]
    done = subprocess.run(command, capture_output=True, text=True, check=True)
    assert done.stderr == ""
    return [Image.open(page).convert("L") for page in sorted(folder.glob("page*.png"))]


def test_photos_are_small_upright_and_without_the_cameras_notes():
    image = Image.new("RGB", (3000, 2000), "white")
    exif = Image.Exif()
    exif[0x0112] = 6  # TIFF 6.0: the camera lay on its side
    exif[0x010F] = "camera maker"
    made = BytesIO()
    image.save(made, "JPEG", exif=exif)
    fit = photo_bytes(made.getvalue())
    assert fit is not None
    shown = Image.open(BytesIO(fit))
    assert shown.height == LONGEST_SIDE
    assert shown.width < shown.height
    assert not shown.getexif()
    assert b"camera maker" not in fit


def test_bad_photos_are_named_and_spoil_nothing():
    bomb = BytesIO()
    Image.new("1", (20_000, 20_000)).save(bomb, "PNG")
    bad = (
        PhotoView(name="torn.jpg", data=picture("torn")[:2000]),
        PhotoView(name="bomb.png", data=bomb.getvalue()),
        PhotoView(name="drawing.svg", data=b"<svg xmlns='http://www.w3.org/2000/svg'/>"),
        PhotoView(name="empty.jpg"),
    )
    view = sample()
    step = replace(view.steps[2], photos=bad)
    text = text_of(workshop_pdf(replace(view, steps=(step,))))
    for photo in bad:
        assert f"The photo {photo.name} cannot be shown" in text
    assert len(PdfReader(BytesIO(customer_pdf(replace(view, steps=(step,))))).pages) == 1


@pytest.mark.parametrize(
    "svg",
    [
        "<svg",
        "<p/>",
        '<!DOCTYPE svg [<!ENTITY a "b">]><svg>&a;</svg>',
        '<svg xmlns="http://www.w3.org/2000/svg"><image href="/etc/passwd"/></svg>',
        '<svg xmlns="http://www.w3.org/2000/svg"><style>@import "x"</style></svg>',
    ],
)
def test_a_drawing_that_is_none_is_left_out_and_said_to_be(svg):
    assert drawing_bytes(svg) is None
    assert "could not be printed" in text_of(workshop_pdf(replace(sample(), drawing=svg)))


def test_a_wide_drawing_lies_on_its_side():
    assert is_wide('<svg viewBox="0 0 900 400">')
    assert not is_wide('<svg viewBox="0 0 400 900">')
    wide = '<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 900 400"><path d="M0 0H900" stroke="#000"/></svg>'
    pages = PdfReader(BytesIO(workshop_pdf(replace(sample(drawing=True), drawing=wide)))).pages
    assert pages[-1].mediabox.width > pages[-1].mediabox.height
    assert pages[0].mediabox.width < pages[0].mediabox.height


def test_sums_are_printed_to_the_cent():
    part = PartUsed(part_id="p", name="terminal", price=Decimal("0.335"), quantity=Decimal(3))
    money = Costs(currency="EUR", total=Decimal("12345.6"))
    text = text_of(workshop_pdf(replace(sample(), parts=(part,), money=money)))
    assert "12,345.60 EUR" in text
    assert "1.00" in text or "1.01" in text


@pytest.mark.requires("pdftoppm")
def test_another_program_draws_every_page(tmp_path, reports):
    made = reports[workshop_pdf]
    pages = drawn(made, tmp_path)
    assert len(pages) == len(PdfReader(BytesIO(made)).pages)
    assert all(len(page.getcolors(256) or ()) > 20 for page in pages)
