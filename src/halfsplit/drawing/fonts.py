"""How wide a text is: a table of advance widths, so that the server can place labels without a browser.

The browser draws with the system's own font. The table is that of DejaVu Sans (measured once with fontTools from
its ``hmtx`` table), the widest of the common screen fonts, so that what fits here fits there too.
Widths are thousandths of the font size.
"""

from __future__ import annotations

import tomllib
from bisect import bisect_right
from importlib.resources import files
from itertools import accumulate

ASCENT = 0.78
"""Of the font size, above the baseline: covers capitals and figures with accents."""
DESCENT = 0.24

_TABLES = tomllib.loads(files("halfsplit.drawing").joinpath("widths.toml").read_text(encoding="utf-8"))
_WIDTHS = {
    bold: {character: int(width) for width, characters in _TABLES[name].items() for character in characters}
    for bold, name in ((False, "regular"), (True, "bold"))
}
_WIDEST = 1100
"""For a character that the table does not know (other scripts, symbols)."""


def text_width(text: str, size: float, *, bold: bool = False) -> float:
    """The width of a line of text in the unit of ``size`` (pixels)."""
    widths = _WIDTHS[bold]
    return sum(widths.get(character, _WIDEST) for character in text) * size / 1000


def shorten(text: str, size: float, room: float) -> str:
    """The text, or as much of its beginning as fits into ``room`` with an ellipsis."""
    if text_width(text, size) <= room:
        return text
    widths = _WIDTHS[False]
    along = list(accumulate(widths.get(character, _WIDEST) for character in text))
    kept = bisect_right(along, room * 1000 / size - widths.get("…", _WIDEST))
    return text[:kept].rstrip() + "…"


def wrap(text: str, size: float, room: float, lines: int) -> tuple[str, ...]:
    """The text in at most ``lines`` lines of at most ``room``; what does not fit ends in an ellipsis."""
    wrapped: list[str] = []
    used = 0.0
    words = text.split()
    space = text_width(" ", size)
    for number, word in enumerate(words):
        width = text_width(word, size)
        if wrapped and used + space + width <= room:
            wrapped[-1] = f"{wrapped[-1]} {word}"
            used += space + width
        elif len(wrapped) == lines:
            wrapped[-1] = " ".join([wrapped[-1], *words[number:]])
            break
        else:
            wrapped.append(word)
            used = width
    return tuple(shorten(line, size, room) for line in wrapped)
