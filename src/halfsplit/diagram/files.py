"""A file of a diagram, whatever it is: told by its first bytes, opened with bounds, read as a sheet or as a picture."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass
from typing import Any, Literal

from halfsplit.diagram import pdf, svg
from halfsplit.diagram.sheet import Sheet
from halfsplit.errors import InputError

LARGEST = 60_000_000
"""Bytes of a file that are looked at, at most."""
PICTURES = (b"\x89PNG\r\n", b"\xff\xd8\xff", b"RIFF", b"BM", b"II*\0", b"MM\0*", b"GIF8")


@dataclass(frozen=True, slots=True)
class File:
    """An opened file: ``kind`` is ``pdf``, ``svg`` or ``picture``; ``pages`` how many it has."""

    kind: Literal["pdf", "svg", "picture"]
    data: bytes
    pages: int
    held: Any = None

    @property
    def file_hash(self) -> str:
        """SHA-256 of the bytes, in hexadecimal."""
        return hashlib.sha256(self.data).hexdigest()


def open_file(data: bytes) -> File:
    """Opens a diagram. Raises `InputError` where it is empty, too large, locked, damaged, or of another kind."""
    if not data.strip():
        raise InputError("the file is empty")
    if len(data) > LARGEST:
        raise InputError(
            f"the file has {len(data) / 1e6:.0f} MB", remedy=f"at most {LARGEST / 1e6:.0f} MB are read"
        )
    head = data[:1024].lstrip(b"\xef\xbb\xbf \t\r\n")
    if b"%PDF" in data[:1024]:
        document = pdf.open_pdf(data)
        return File("pdf", data, len(document), document)
    if head.startswith(b"<"):
        return File("svg", data, 1)
    if head.startswith(PICTURES):
        return File("picture", data, 1)
    raise InputError("this is neither a PDF, an SVG nor a picture", remedy="give a PDF, SVG, PNG or JPEG")


def sheet_of(file: File, number: int) -> Sheet:
    """The lines and words of a page, counted from 1; without any where the page is a picture."""
    if file.kind == "pdf":
        return pdf.sheet_of(pdf.page_of(file.held, number))
    if file.kind == "svg":
        return svg.sheet_of(file.data)
    raise InputError("a picture has no lines that can be read", remedy="mark its parts and follow its wires")
