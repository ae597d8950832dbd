"""Text made fit for paper: what cannot be printed is dropped or shown as a box."""

from __future__ import annotations

import re
import unicodedata
from datetime import date, datetime
from decimal import Decimal

LONGEST = 4_000
"""Characters of one text that are printed; the rest is counted. Whole texts stay in the job's record."""
MOST_LINES = 40
"""Lines that a text may force; further ends of lines are spaces."""
_SPACES = {"\n": "\n", "\t": " ", "\r": "", "\u2028": "\n", "\u2029": "\n"}
_BOX = "\u25a1"


def printable(text: str, longest: int = LONGEST) -> str:
    r"""The text as it is printed: without control and direction characters, at most ``longest`` characters long.

    Direction overrides could make a reading look like another one; letters of right-to-left scripts stay.

    >>> printable("12.3\x00 V\u202e"), printable("abcdefgh", 4)
    ('12.3 V', 'abc…')
    """
    normal = unicodedata.normalize("NFC", text[: 4 * longest])
    cleaned = (normal if normal.isprintable() else "".join(map(_character, normal))).strip()
    lines = re.sub(r"\n{3,}", "\n\n", cleaned).split("\n")
    cleaned = "\n".join(
        [*lines[:MOST_LINES], *([" ".join(lines[MOST_LINES:])] if lines[MOST_LINES:] else [])]
    )
    if len(cleaned) > longest or len(text) > 4 * longest:
        cleaned = cleaned[: longest - 1].rstrip() + "…"
    return cleaned


def _character(character: str) -> str:
    category = unicodedata.category(character)
    if character in _SPACES:
        return _SPACES[character]
    if category in ("Cc", "Cf"):
        return ""
    return _BOX if category in ("Cs", "Co", "Cn") else character


def money(amount: Decimal | None, currency: str = "") -> str:
    """An amount as it is printed; empty where there is none.

    >>> money(Decimal("1234.5"), "EUR")
    '1,234.50 EUR'
    """
    return "" if amount is None else f"{amount:,.2f} {currency}".strip()


def minutes(value: float | None) -> str:
    """Minutes as they are told.

    >>> minutes(4.0), minutes(94.5), minutes(None)
    ('4 min', '1 h 35 min', '')
    """
    if value is None:
        return ""
    if value < 60:
        return f"{value:.1f}".removesuffix(".0") + " min"
    hours, rest = divmod(int(value + 0.5), 60)
    return f"{hours} h {rest} min" if rest else f"{hours} h"


def day(on: date) -> str:
    """A day as it is told.

    >>> day(date(2026, 3, 2))
    '2 Mar 2026'
    """
    return f"{on.day} {on:%b %Y}"


def moment(at: datetime) -> str:
    """A moment in the workshop's own time."""
    local = at.astimezone()
    return f"{day(local)} {local:%H:%M}"
