"""How wide a text is: a table of advance widths, so that the server can place labels without a browser.

The browser draws with the system's own font. The table is that of DejaVu Sans (measured once with fontTools from
its ``hmtx`` table), the widest of the common screen fonts, so that what fits here fits there too.
Widths are thousandths of the font size.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Mapping
from itertools import accumulate

ASCENT = 0.78
"""Of the font size, above the baseline: covers capitals and figures with accents."""
DESCENT = 0.24

_REGULAR: Mapping[int, str] = {
    275: "'",
    278: "ijlìíîïĩīĭįļ",
    285: "ł",
    295: "IJÌÍÎÏ",
    318: " ,.·",
    337: "/:;\\|¦",
    353: "f",
    361: "-",
    391: "()[]",
    393: "tţť",
    401: "!²³¹",
    412: "rŕř",
    460: '"',
    500: "*_`§°–",
    519: "“”",
    521: "sśşš",
    525: "zźżž",
    531: "?¿",
    550: "cçćč",
    558: "Lļ",
    563: "Ł",
    576: "F",
    580: "k",
    592: "vxyýÿ",
    604: "P",
    611: "TYÝ",
    612: "o«»ðòóôõöøő",
    613: "aàáâãäåăą",
    616: "eèéêëēęě",
    630: "ß",
    632: "EÈÉÊËĘĚ",
    634: "hnuñùúûüńňůű",
    635: "SbdgpqŚŞŠ",
    637: "$0123456789{}€µ",
    656: "K",
    685: "AVÀÁÂÃÄÅĄ",
    686: "XZŹŻŽ",
    687: "B",
    695: "RŘ",
    699: "CÇĆČ",
    732: "UÙÚÛÜŮŰ",
    749: "NÑŃŇ",
    752: "H",
    765: "Ω",
    771: "DĎ",
    775: "GÐ",
    780: "&",
    788: "OQÒÓÔÕÖØŐ",
    818: "w",
    838: "#+<=>^~±×÷←→−≤≥",
    863: "M",
    951: "%",
    975: "mÆ",
    982: "æ",
    989: "W",
}
_BOLD: Mapping[int, str] = {
    307: "'",
    343: "ijlìíîïĩīĭįļ",
    349: " ",
    366: "/\\|¦",
    372: "IJÌÍÎÏł",
    380: ",.·",
    400: ":;",
    416: "-",
    436: "f",
    438: "²³¹",
    457: "!",
    458: "()[]",
    479: "tţť",
    494: "rŕř",
    500: "_`§°–",
    521: '"',
    523: "*",
    581: "?¿",
    583: "zźżž",
    593: "cçćč",
    596: "sśşš",
    638: "L",
    643: "Ł",
    646: "x«»",
    652: "vyýÿ",
    658: "“”",
    666: "k",
    675: "aàáâãäåăą",
    679: "eèéêëēęě",
    683: "T",
    684: "EFÈÉÊËĘĚ",
    688: "oðòóôõöøő",
    696: "$0123456789€",
    712: "hnu{}ñùúûüńňůű",
    716: "bdgpq",
    720: "ß",
    721: "SŚŞŠ",
    725: "YÝ",
    726: "ZŹŻŽ",
    733: "P",
    734: "CÇĆČ",
    736: "µ",
    763: "B",
    771: "RXŘ",
    774: "AVÀÁÂÃÄÅĄ",
    775: "K",
    813: "UÙÚÛÜŮŰ",
    821: "G",
    831: "DĎ",
    837: "HNÑŃŇ",
    838: "#+<=>^~±Ð×÷←→−≤≥",
    851: "OQÒÓÔÕÖØŐΩ",
    873: "&",
    924: "w",
    996: "M",
    1002: "%",
    1042: "m",
    1048: "æ",
    1085: "Æ",
    1104: "W",
}


def _by_character(table: Mapping[int, str]) -> Mapping[str, int]:
    return {character: width for width, characters in table.items() for character in characters}


_WIDTHS = {False: _by_character(_REGULAR), True: _by_character(_BOLD)}
_WIDEST = 1100
"""For a character that the table does not know (other scripts, symbols)."""


def text_width(text: str, size: float, *, bold: bool = False) -> float:
    """The width of a line of text in the unit of ``size`` (pixels)."""
    widths = _WIDTHS[bold]
    return sum(widths.get(character, _WIDEST) for character in text) * size / 1000


def shorten(text: str, size: float, room: float, *, bold: bool = False) -> str:
    """The text, or as much of its beginning as fits into ``room`` with an ellipsis."""
    if text_width(text, size, bold=bold) <= room:
        return text
    widths = _WIDTHS[bold]
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
