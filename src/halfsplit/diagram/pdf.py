"""A page of a PDF as a sheet or a picture, read with pypdfium2."""

from __future__ import annotations

import ctypes
import io
import math
from collections.abc import Iterator, Sequence
from typing import Any

import pypdfium2  # type: ignore[import-untyped]
import pypdfium2.raw as pdfium  # type: ignore[import-untyped]

from halfsplit.diagram.sheet import Letter, Outline, Sheet, Spot, words_of
from halfsplit.errors import InputError

MOST_PAGES = 500
MOST_OBJECTS = 60_000
"""No more lines and shapes than this are looked at on one page."""
MOST_SPOTS = 400_000
DEEPEST = 4
"""Drawings within drawings are followed so deep."""
LARGEST = 14_400.0
"""The largest side of a page, points: what the format itself allows (ISO 32000-1, annex C)."""
CURVE_STEPS = 6

Matrix = tuple[float, float, float, float, float, float]


def open_pdf(data: bytes) -> pypdfium2.PdfDocument:
    """A document. Raises `InputError` where it cannot be opened, is locked, or has no page."""
    try:
        document = pypdfium2.PdfDocument(data)
    except pypdfium2.PdfiumError as error:
        if getattr(error, "err_code", None) == pdfium.FPDF_ERR_PASSWORD or "assword" in str(error):
            raise InputError(
                "the PDF is locked with a password", remedy="save it without one, or print it to a new PDF"
            ) from None
        raise InputError("this is not a PDF that can be opened", remedy="save or print it again") from None
    if not len(document):
        raise InputError("the PDF has no page")
    return document


def page_of(document: pypdfium2.PdfDocument, number: int) -> pypdfium2.PdfPage:
    """A page, counted from 1. Raises `InputError` where there is none, or where it is unreasonably large."""
    if not 1 <= number <= min(len(document), MOST_PAGES):
        raise InputError(f"the PDF has {len(document)} pages; there is no page {number}")
    try:
        page = document[number - 1]
    except pypdfium2.PdfiumError:
        raise InputError(f"page {number} of the PDF is damaged", remedy="save or print it again") from None
    if max(page.get_size()) > LARGEST or min(page.get_size()) < 1:
        raise InputError(f"page {number} is {page.get_width():.0f} × {page.get_height():.0f} points large")
    return page


def sheet_of(page: pypdfium2.PdfPage) -> Sheet:
    """The lines, shapes and words of a page, as it is looked at (turned where the page is turned)."""
    width, height = page.get_size()
    # From the page's coordinates to those of its image: origin above left, y downwards, its turning done.
    left, bottom, right, top = page.get_cropbox()
    turn = page.get_rotation()
    look = {
        0: (1.0, 0.0, 0.0, -1.0, -left, top),
        90: (0.0, 1.0, 1.0, 0.0, -bottom, -left),
        180: (-1.0, 0.0, 0.0, 1.0, right, -bottom),
        270: (0.0, -1.0, -1.0, 0.0, top, right),
    }[turn]
    outlines = tuple(_outlines(page, look))
    return Sheet(width, height, outlines, words_of(tuple(_letters(page, look))))


def picture_of(page: pypdfium2.PdfPage, longest: int = 2400) -> bytes:
    """The page as a PNG, its longer side at most ``longest`` pixels."""
    scale = min(longest / max(page.get_size()), 4.0)
    held = io.BytesIO()
    page.render(scale=scale).to_pil().convert("RGB").save(held, "PNG", optimize=False, compress_level=6)
    return held.getvalue()


def after(first: Matrix, second: Matrix) -> Matrix:
    """The matrix that does ``first``, then ``second``."""
    a, b, c, d, e, f = first
    p, q, r, s, t, u = second
    return (a * p + b * r, a * q + b * s, c * p + d * r, c * q + d * s, e * p + f * r + t, e * q + f * s + u)


def moved(matrix: Matrix, x: float, y: float) -> Spot:
    """A spot after a matrix."""
    a, b, c, d, e, f = matrix
    return a * x + c * y + e, b * x + d * y + f


# Lines and shapes


def _outlines(page: pypdfium2.PdfPage, look: Matrix) -> Iterator[Outline]:
    spots = 0
    for count, (handle, matrix) in enumerate(_paths(page, look)):
        if count >= MOST_OBJECTS or spots > MOST_SPOTS:
            raise InputError(
                f"the page has more than {MOST_OBJECTS} lines",
                remedy="cut out the part that matters, or use a picture of it",
            )
        for outline in _subpaths(handle, matrix):
            spots += len(outline.spots)
            yield outline


def _paths(page: pypdfium2.PdfPage, look: Matrix) -> Iterator[tuple[Any, Matrix]]:
    count = pdfium.FPDFPage_CountObjects(page)
    for number in range(min(count, MOST_OBJECTS + 1)):
        yield from _within(pdfium.FPDFPage_GetObject(page, number), look, DEEPEST)


def _within(handle: Any, matrix: Matrix, depth: int) -> Iterator[tuple[Any, Matrix]]:
    kind = pdfium.FPDFPageObj_GetType(handle)
    if kind == pdfium.FPDF_PAGEOBJ_PATH:
        yield handle, after(_own_matrix(handle), matrix)
    elif kind == pdfium.FPDF_PAGEOBJ_FORM and depth:
        inner = after(_own_matrix(handle), matrix)
        for number in range(min(pdfium.FPDFFormObj_CountObjects(handle), MOST_OBJECTS + 1)):
            yield from _within(pdfium.FPDFFormObj_GetObject(handle, number), inner, depth - 1)


def _own_matrix(handle: Any) -> Matrix:
    held = pdfium.FS_MATRIX()
    if not pdfium.FPDFPageObj_GetMatrix(handle, held):
        return 1.0, 0.0, 0.0, 1.0, 0.0, 0.0
    return held.a, held.b, held.c, held.d, held.e, held.f


def _subpaths(handle: Any, matrix: Matrix) -> Iterator[Outline]:
    mode, stroked = ctypes.c_int(), ctypes.c_int()
    pdfium.FPDFPath_GetDrawMode(handle, mode, stroked)
    if not mode.value and not stroked.value:
        return
    width = ctypes.c_float()
    pdfium.FPDFPageObj_GetStrokeWidth(handle, width)
    scale = math.sqrt(abs(matrix[0] * matrix[3] - matrix[1] * matrix[2]))
    ask = pdfium.FPDFPageObj_GetStrokeColor if stroked.value else pdfium.FPDFPageObj_GetFillColor
    fill_ink, fill_alpha = _ink(handle, pdfium.FPDFPageObj_GetFillColor)
    filled = bool(mode.value) and fill_alpha > 0 and not (stroked.value and fill_ink == "#ffffff")
    dashed = pdfium.FPDFPageObj_GetDashCount(handle) > 0
    for spots, closed, bent in _drawn(handle, matrix):
        yield Outline(
            spots,
            closed,
            bent,
            bool(stroked.value),
            filled,
            width.value * scale,
            _ink(handle, ask)[0],
            dashed,
        )


def _ink(handle: Any, ask: Any) -> tuple[str, int]:
    parts = [ctypes.c_uint(0) for _ in range(4)]
    if not ask(handle, *parts):
        return "#000000", 255
    red, green, blue, alpha = (part.value for part in parts)
    return f"#{red:02x}{green:02x}{blue:02x}", alpha


def _drawn(handle: Any, matrix: Matrix) -> Iterator[tuple[tuple[Spot, ...], bool, bool]]:
    """Each subpath: its spots, whether it is closed, whether it has a curve."""
    spots: list[Spot] = []
    handles: list[Spot] = []
    closed = bent = False
    x, y = ctypes.c_float(), ctypes.c_float()
    for number in range(pdfium.FPDFPath_CountSegments(handle)):
        segment = pdfium.FPDFPath_GetPathSegment(handle, number)
        pdfium.FPDFPathSegment_GetPoint(segment, x, y)
        spot = moved(matrix, x.value, y.value)
        kind = pdfium.FPDFPathSegment_GetType(segment)
        if kind == pdfium.FPDF_SEGMENT_MOVETO:
            if len(spots) > 1:
                yield tuple(spots), closed, bent
            spots, handles, closed, bent = [spot], [], False, False
        elif kind == pdfium.FPDF_SEGMENT_LINETO:
            spots.append(spot)
        else:
            handles.append(spot)
            bent = True
            if len(handles) == 3:
                spots += curve(spots[-1], handles)
                handles = []
        if pdfium.FPDFPathSegment_GetClose(segment):
            closed = True
    if len(spots) > 1:
        yield tuple(spots), closed, bent


def curve(start: Spot, handles: Sequence[Spot]) -> list[Spot]:
    """Spots on a cubic Bézier curve after its start; a short one is a line."""
    (x0, y0), (x1, y1), (x2, y2), (x3, y3) = start, *handles
    size = abs(x3 - x0) + abs(y3 - y0) + abs(x1 - x0) + abs(y2 - y3)
    steps = 1 if size < 2.0 else CURVE_STEPS
    spots = []
    for step in range(1, steps + 1):
        t = step / steps
        u = 1 - t
        a, b, c, d = u**3, 3 * u * u * t, 3 * u * t * t, t**3
        spots.append((a * x0 + b * x1 + c * x2 + d * x3, a * y0 + b * y1 + c * y2 + d * y3))
    return spots


# Letters


def _letters(page: pypdfium2.PdfPage, look: Matrix) -> Iterator[Letter]:
    text = page.get_textpage()
    held = [ctypes.c_double() for _ in range(4)]
    for number in range(text.count_chars()):
        code = pdfium.FPDFText_GetUnicode(text, number)
        if code < 32 or pdfium.FPDFText_IsGenerated(text, number) == 1:
            continue
        loose = pdfium.FS_RECTF()
        if not pdfium.FPDFText_GetLooseCharBox(text, number, loose):
            continue
        (x1, y1), (x2, y2) = moved(look, loose.left, loose.bottom), moved(look, loose.right, loose.top)
        box = (min(x1, x2), min(y1, y2), max(x1, x2), max(y1, y2))
        angle = pdfium.FPDFText_GetCharAngle(text, number)
        level = abs(math.sin(angle)) < 0.5
        if abs(look[1]) > 0.5:
            level = not level
        size = box[3] - box[1] if level else box[2] - box[0]
        del held[4:]
        if size > 0:
            yield Letter(chr(code), box, size, 0 if level else 90)
