"""From what a scan tool saved to plain lines: encodings, HTML, PDF, JSON, XML."""

from __future__ import annotations

import io
import re
from html.parser import HTMLParser
from pathlib import Path

from halfsplit.delimited.encoding import decoded
from halfsplit.errors import InputError
from halfsplit.scan.structured import structured_lines

LARGEST_FILE = 20_000_000
MOST_LINES = 50_000

_BLOCK_NAMES = (
    "address article blockquote br caption dd div dl dt fieldset footer form h1 h2 h3 h4 h5 h6 header hr "
    "li main nav ol p pre section table tbody thead tr ul"
)
_BLOCKS = frozenset(_BLOCK_NAMES.split())
_CELLS = frozenset({"td", "th"})
_HIDDEN = frozenset({"script", "style", "template", "title"})
_MARKUP = re.compile(r"<(?:!doctype\s+html|html|body|table|head|div|h1)\b", re.IGNORECASE)


def read_text(path: str | Path) -> str:
    """The text of a saved report. Raises InputError, which names the file and says what to do."""
    path = Path(path)
    try:
        if path.stat().st_size > LARGEST_FILE:
            raise InputError(
                f"larger than {LARGEST_FILE // 1_000_000} MB", remedy="a scan report is text", where=path.name
            )
        data = path.read_bytes()
    except OSError as error:
        raise InputError(f"cannot be read ({error.strerror})", where=path.name) from error
    try:
        return decode(data)
    except InputError as error:
        raise InputError(error.message, remedy=error.remedy, where=path.name) from error


def decode(data: bytes) -> str:
    """The text in the bytes of a file, whatever kind of file it is. Raises InputError."""
    if not data.startswith(b"%PDF-"):
        return decoded(data, "save the report as text, CSV, HTML or PDF, or copy it and paste it")
    import pypdf
    from pypdf.errors import PyPdfError

    try:
        pages = pypdf.PdfReader(io.BytesIO(data)).pages
        text = "\n".join(page.extract_text(extraction_mode="layout") for page in pages)
    except (PyPdfError, ValueError, KeyError, TypeError, AttributeError, RecursionError, OSError) as error:
        raise InputError(
            f"a PDF that cannot be read ({error})",
            remedy="open it, select all, copy, and paste the text here",
        ) from error
    if not text.strip():
        raise InputError(
            "a PDF without text: it is a picture of a report",
            remedy="type the codes, or save it as text at the tool",
        )
    return text


def lines_of(text: str) -> list[str]:
    """The lines of a report, HTML as one line for each block and tabs between cells, JSON and XML as `structured`.

    Raises InputError.
    """
    markup = _MARKUP.search(text[:4000]) is not None
    lines = None if markup else structured_lines(text)
    if lines is None:
        plain = text
        if markup:
            flattener = _Flattener()
            flattener.feed(text)
            flattener.close()
            blocks = "".join(flattener.pieces).split("\n")
            rows = (
                re.sub(r" *\v *", "\t", block.strip(" ").removeprefix("\v")).rstrip(" ") for block in blocks
            )
            plain = "\n".join(row for row in rows if row.strip())
        lines = [line.rstrip() for line in plain.replace("\x0c", "\n").splitlines()]
    if len(lines) > MOST_LINES:
        raise InputError(
            f"{len(lines)} lines", remedy=f"a report of at most {MOST_LINES} lines is read; split the file"
        )
    return lines


class _Flattener(HTMLParser):
    """Collects the visible text, a line break at each block and a tab between cells."""

    def __init__(self) -> None:
        super().__init__(convert_charrefs=True)
        self.pieces: list[str] = []
        self.hidden = 0

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        del attrs
        if tag in _HIDDEN:
            self.hidden += 1
        elif tag in _BLOCKS:
            self.pieces.append("\n")
        elif tag in _CELLS:
            self.pieces.append("\v")

    def handle_endtag(self, tag: str) -> None:
        if tag in _HIDDEN:
            self.hidden = max(0, self.hidden - 1)
        elif tag in _BLOCKS:
            self.pieces.append("\n")

    def handle_data(self, data: str) -> None:
        if not self.hidden:
            self.pieces.append(re.sub(r"\s+", " ", data))
