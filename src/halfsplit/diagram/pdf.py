"""A page of a PDF as a sheet or a picture, read with pypdfium2."""

from __future__ import annotations

import ctypes
import io
import math
from collections.abc import Iterable, Iterator, Sequence
from typing import Any

import pypdfium2  # type: ignore[import-untyped]
import pypdfium2.raw as pdfium  # type: ignore[import-untyped]
from fontTools.misc.bezierTools import cubicPointAtT
from fontTools.misc.transform import Transform

from halfsplit.diagram.sheet import Letter, Outline, Sheet, Spot, box_of, words_of
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
WHITE = (255, 255, 255)
_ACTS = {pdfium.FPDF_SEGMENT_MOVETO: "moveTo", pdfium.FPDF_SEGMENT_LINETO: "lineTo"}


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
    look = {
        0: Transform(1, 0, 0, -1, -left, top),
        90: Transform(0, 1, 1, 0, -bottom, -left),
        180: Transform(-1, 0, 0, 1, right, -bottom),
        270: Transform(0, -1, -1, 0, top, right),
    }[page.get_rotation()]
    outlines = tuple(_outlines(page, look))
    letters: list[Letter] = []
    text = page.get_textpage()
    loose = pdfium.FS_RECTF()
    for number in range(text.count_chars()):
        code = pdfium.FPDFText_GetUnicode(text, number)
        if code < 32 or pdfium.FPDFText_IsGenerated(text, number) == 1:
            continue
        if not pdfium.FPDFText_GetLooseCharBox(text, number, loose):
            continue
        box = box_of(look.transformPoints([(loose.left, loose.bottom), (loose.right, loose.top)]))
        level = abs(math.sin(pdfium.FPDFText_GetCharAngle(text, number))) < 0.5
        if abs(look[1]) > 0.5:
            level = not level
        size = box[3] - box[1] if level else box[2] - box[0]
        if size > 0:
            letters.append(Letter(chr(code), box, size, 0 if level else 90))
    return Sheet(width, height, outlines, words_of(letters))


def picture_of(page: pypdfium2.PdfPage, longest: int = 2400) -> bytes:
    """The page as a PNG, its longer side at most ``longest`` pixels."""
    scale = min(longest / max(page.get_size()), 4.0)
    held = io.BytesIO()
    page.render(scale=scale).to_pil().convert("RGB").save(held, "PNG", optimize=False, compress_level=6)
    return held.getvalue()


# Lines and shapes


Act = tuple[str, Sequence[Spot]]
"""What a pen does, by the names of fontTools: ``moveTo``, ``lineTo``, ``curveTo``, ``qCurveTo``, ``closePath``."""


def flattened(acts: Iterable[Act]) -> Iterator[tuple[tuple[Spot, ...], bool]]:
    """The spots of each subpath that a pen draws, curves flattened; and whether it is closed."""
    spots: list[Spot] = []
    closed = False
    for act, points in (*acts, ("moveTo", ())):
        match act:
            case "moveTo":
                if len(spots) > 1:
                    yield tuple(spots), closed
                spots, closed = [*points], False
            case "closePath":
                closed = True
            case "curveTo" | "qCurveTo":
                spots += _curve(spots[-1], points)
            case _:
                spots += points


def _curve(start: Spot, points: Sequence[Spot]) -> list[Spot]:
    """Spots on a Bézier curve after its start, of one handle or two before its end; a short one is a line."""
    end = points[-1]
    first, second = points[:2]
    if len(points) == 2:  # the cubic curve that is the same as a quadratic one
        first, second = (
            (at[0] + 2 / 3 * (first[0] - at[0]), at[1] + 2 / 3 * (first[1] - at[1])) for at in (start, end)
        )
    size = (
        abs(end[0] - start[0]) + abs(end[1] - start[1]) + abs(first[0] - start[0]) + abs(second[1] - end[1])
    )
    steps = 1 if size < 2.0 else CURVE_STEPS
    return [cubicPointAtT(start, first, second, end, step / steps) for step in range(1, steps + 1)]


def _outlines(page: pypdfium2.PdfPage, look: Transform) -> Iterator[Outline]:
    """What the objects of a page draw, those left out that are painted in the white of the paper."""
    count = 0
    paths = page.get_objects(filter=[pdfium.FPDF_PAGEOBJ_PATH], max_depth=DEEPEST + 1)
    for number, entry in enumerate(paths):
        if number >= MOST_OBJECTS or count > MOST_SPOTS:
            raise InputError(
                f"the page has more than {MOST_OBJECTS} lines",
                remedy="cut out the part that matters, or use a picture of it",
            )
        mode, is_stroked = ctypes.c_int(), ctypes.c_int()
        pdfium.FPDFPath_GetDrawMode(entry, mode, is_stroked)
        stroked = bool(is_stroked.value)
        fill, fill_alpha = _colour(entry, pdfium.FPDFPageObj_GetFillColor)
        ink = _colour(entry, pdfium.FPDFPageObj_GetStrokeColor)[0] if stroked else fill
        filled = bool(mode.value) and fill_alpha > 0 and not (stroked and fill == WHITE)
        if ink == WHITE or not (stroked or filled):
            continue
        dashed = pdfium.FPDFPageObj_GetDashCount(entry) > 0
        for spots, closed in flattened(_acts(entry, look)):
            count += len(spots)
            yield Outline(spots, closed, stroked, filled, dashed)


def _colour(entry: pypdfium2.PdfObject, ask: Any) -> tuple[tuple[int, ...], int]:
    """Red, green and blue, each from 0 to 255; and alpha."""
    parts = [ctypes.c_uint(0) for _ in range(4)]
    if not ask(entry, *parts):
        return (0, 0, 0), 255
    *colour, alpha = (part.value for part in parts)
    return tuple(colour), alpha


def _acts(entry: pypdfium2.PdfObject, look: Transform) -> Iterator[Act]:
    """An object's path as it stands on the page, whatever forms hold it."""
    matrices = []
    inner = entry
    while inner is not None:
        matrices.append(inner.get_matrix().get())
        inner = inner.container
    for matrix in reversed(matrices):
        look = look.transform(matrix)
    handles: list[Spot] = []
    x, y = ctypes.c_float(), ctypes.c_float()
    for number in range(pdfium.FPDFPath_CountSegments(entry)):
        segment = pdfium.FPDFPath_GetPathSegment(entry, number)
        pdfium.FPDFPathSegment_GetPoint(segment, x, y)
        handles.append(look.transformPoint((x.value, y.value)))
        act = _ACTS.get(pdfium.FPDFPathSegment_GetType(segment), "curveTo")
        if act != "curveTo" or len(handles) == 3:
            yield act, handles
            handles = []
        if pdfium.FPDFPathSegment_GetClose(segment):
            yield "closePath", ()


# Letters
