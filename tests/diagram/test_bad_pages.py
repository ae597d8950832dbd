"""Pages that are no good, or too much: encrypted, empty, turned, 200 of them, 10,000 lines; and a stuck reader."""

import io
import time

import pypdf
import pytest
from PIL import Image

from halfsplit.diagram import worker
from halfsplit.diagram.files import open_file, sheet_of
from halfsplit.diagram.marks import Page
from halfsplit.diagram.photo import corners_of, followed, grey_of, homography, opened, straightened
from halfsplit.diagram.read import proposal
from halfsplit.errors import InputError


def pdf(content: bytes = b"", pages: int = 1, rotate: int = 0, password: str = "") -> bytes:
    """A PDF with the same drawing on each page."""
    made = pypdf.PdfWriter()
    for _ in range(pages):
        page = made.add_blank_page(300, 200)
        stream = pypdf.generic.DecodedStreamObject()
        stream.set_data(content)
        page[pypdf.generic.NameObject("/Contents")] = made._add_object(stream)
        page.rotate(rotate)
    if password:
        made.encrypt(password, algorithm="RC4-128")
    held = io.BytesIO()
    made.write(held)
    return held.getvalue()


def test_a_locked_pdf_is_told():
    with pytest.raises(InputError, match="locked with a password"):
        open_file(pdf(b"0 0 m 9 9 l S", password="secret"))


def test_an_empty_page_proposes_nothing():
    sheet = sheet_of(open_file(pdf()), 1)
    assert not proposal(sheet, Page("g1", "", 1, sheet.width, sheet.height)).traces


def test_a_turned_page_is_read_as_it_is_looked_at():
    sheet = sheet_of(open_file(pdf(b"10 180 m 110 180 l S", rotate=90)), 1)
    assert (sheet.width, sheet.height) == (200, 300)
    (line,) = sheet.outlines
    # 20 below the upper edge of the page as it lies; turned clockwise that is 20 from the right
    assert {round(x) for x, _ in line.spots} == {180}
    assert {round(y) for _, y in line.spots} == {10, 110}


def test_a_page_out_of_200_and_one_that_is_not_there():
    file = open_file(pdf(b"10 100 m 90 100 l S", pages=200))
    assert file.pages == 200
    assert sheet_of(file, 200).outlines
    with pytest.raises(InputError, match="there is no page 201"):
        sheet_of(file, 201)


def test_ten_thousand_lines_are_read_within_bounds():
    lines = "".join(
        f"{x * 2.9:.1f} {y * 1.9:.1f} m {x * 2.9 + 2:.1f} {y * 1.9:.1f} l S\n"
        for x in range(100)
        for y in range(100)
    )
    start = time.process_time()  # of the processor: a busy machine does not count
    sheet = sheet_of(open_file(pdf(lines.encode())), 1)
    proposal(sheet, Page("g1", "", 1, sheet.width, sheet.height))
    assert len(sheet.outlines) == 10_000
    assert time.process_time() - start < worker.SECONDS


def test_a_reader_that_takes_too_long_is_stopped_and_the_next_page_is_read():
    reader = worker.Worker(seconds=1.0)
    with pytest.raises(InputError, match="takes longer than 1 s"):
        reader.ask(time.sleep, 60)
    reader.seconds = worker.SECONDS
    assert reader.ask(worker.pages_of, pdf(b"", pages=3)) == ("pdf", 3)
    reader.stop()


def photo_of_lines():
    """A page with a square of lines on a dark table, seen from the side: the picture and the corners of the paper."""
    page = Image.new("RGB", (600, 400), "white")
    for x in range(100, 501):
        page.putpixel((x, 100), (0, 0, 0))
        page.putpixel((x, 101), (0, 0, 0))
        page.putpixel((x, 102), (0, 0, 0))
    for y in range(100, 301):
        for x in (500, 501, 502):
            page.putpixel((x, y), (0, 0, 0))
    corners = ((60.0, 50.0), (700.0, 90.0), (680.0, 520.0), (90.0, 480.0))
    # the inverse way round: from the photo back to the page
    to_photo = homography(corners, 600, 400)
    a, b, c, d, e, f, g, h, i = to_photo
    cof = (e * i - f * h, c * h - b * i, b * f - c * e, f * g - d * i, a * i - c * g, c * d - a * f,
           d * h - e * g, b * g - a * h, a * e - b * d)  # fmt: skip
    back = tuple(one / cof[8] for one in cof)
    mask = Image.new("L", page.size, 255).transform((800, 600), Image.Transform.PERSPECTIVE, back[:8])
    photo = Image.new("RGB", (800, 600), (60, 50, 40))
    photo.paste(
        page.transform((800, 600), Image.Transform.PERSPECTIVE, back[:8], Image.Resampling.BILINEAR),
        mask=mask,
    )
    held = io.BytesIO()
    photo.save(held, "JPEG", quality=80)
    return held.getvalue(), corners


def test_a_photo_is_made_straight_and_a_wire_is_followed_but_never_through_a_part():
    data, corners = photo_of_lines()
    picture = opened(data)
    for told, meant in zip(corners_of(picture), corners, strict=True):
        assert max(abs(a - b) for a, b in zip(told, meant, strict=True)) < 10
    flat, _ = straightened(picture, corners)
    scale = flat.width / 600, flat.height / 400
    start, stop = (110 * scale[0], 101 * scale[1]), (501 * scale[0], 290 * scale[1])
    way = followed(grey_of(flat), start, stop)
    assert any(abs(x - 501 * scale[0]) < 8 and abs(y - 101 * scale[1]) < 8 for x, y in way)
    box = (300 * scale[0], 80 * scale[1], 340 * scale[0], 120 * scale[1])
    assert followed(grey_of(flat), start, stop, [box]) == ()


def test_a_picture_that_is_none_is_told():
    with pytest.raises(InputError, match="cannot be opened"):
        opened(b"\x89PNG\r\n\x1a\nbroken")
