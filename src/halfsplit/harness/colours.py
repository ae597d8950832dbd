"""Colours of wires as tools write them → the letters of IEC 60757 that the notation has."""

from __future__ import annotations

import re
from collections.abc import Iterable

from halfsplit.notation.paths import COLOURS, OTHER_COLOURS

_PAIR = 4
"""Letters of two colours that are written together."""


def colour(said: Iterable[str]) -> str:
    """Base or base/stripe; '' where a colour is not known.

    >>> colour(["sw", "gn"]), colour(["BN/GY"]), colour(["rtws"]), colour(["gn", "ge"]), colour(["Natur"])
    ('BK/GN', 'BN/GY', 'RD/WH', 'GNYE', '')
    """
    letters: list[str] = []
    for token in re.findall(r"[A-Za-z]+", " ".join(said)):
        word = token.upper()
        both = not _known(word) and len(word) == _PAIR
        letters += [_known(word[:2]), _known(word[2:])] if both else [_known(word)]
    if not letters or "" in letters:
        return ""
    if set(letters[:2]) == {"GN", "YE"}:
        return "GNYE"
    return "/".join(dict.fromkeys(letters[:2]))


def _known(word: str) -> str:
    return word if word in COLOURS else OTHER_COLOURS.get(word, "")
