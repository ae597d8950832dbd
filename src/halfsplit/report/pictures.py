"""Photos and the drawing made fit for a report: small, upright, without the camera's notes, or told to be unusable."""

from __future__ import annotations

import re
import warnings
from functools import lru_cache
from io import BytesIO
from xml.etree import ElementTree as ET

from PIL import Image, ImageOps

FORMATS = ("JPEG", "PNG", "GIF", "WEBP")
LONGEST_SIDE = 1_400
"""Pixels; 300 to the inch at the width that a photo gets on the page."""
QUALITY = 85


@lru_cache(maxsize=32)  # the customer's page is set again until it fits
def photo_bytes(data: bytes) -> bytes | None:
    """The photo as a JPEG of at most `LONGEST_SIDE`, turned upright; None where it cannot be read.

    The camera's notes (where and when it was taken) stay behind. Pictures above Pillow's limit of pixels are refused.
    """
    made = BytesIO()
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("error")
            with Image.open(BytesIO(data), formats=FORMATS) as opened:
                opened.draft("RGB", (LONGEST_SIDE, LONGEST_SIDE))
                upright = ImageOps.exif_transpose(opened)
                upright.thumbnail((LONGEST_SIDE, LONGEST_SIDE))
                small = upright.convert("RGBA")
                paper = Image.new("RGB", small.size, "white")
                paper.paste(small, mask=small.getchannel("A"))
                paper.save(made, "JPEG", quality=QUALITY)
    except (OSError, ValueError, SyntaxError, Warning, Image.DecompressionBombError, MemoryError, EOFError):
        return None
    return made.getvalue()


_REACHES_OUT = re.compile(
    r"<!|<script|<image|<foreignObject|\bhref\s*=\s*[\"'](?!#)|@import|url\((?!#)", re.IGNORECASE
)


def drawing_bytes(svg: str) -> bytes | None:
    """The drawing for the template; None where there is none, it is no SVG, or it asks for something outside itself."""
    if not svg.strip() or _REACHES_OUT.search(svg):
        return None
    try:
        root = ET.fromstring(svg)  # noqa: S314 - declarations of entities were refused above
    except (ET.ParseError, UnicodeError):
        return None
    return svg.encode() if root.tag.rpartition("}")[2] == "svg" else None


def is_wide(svg: str) -> bool:
    """Whether the drawing wants a page on its side."""
    match = re.search(r'viewBox="\S+ \S+ (\d+(?:\.\d+)?) (\d+(?:\.\d+)?)"', svg[:2000])
    return match is not None and float(match[1]) > 1.1 * float(match[2])
