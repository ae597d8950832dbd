"""Names of a file → names that the notation can have, each once."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Collection

from halfsplit.notation.words import KEYWORDS

_LONGEST = 40
_GERMAN = str.maketrans({"ß": "ss", "ä": "ae", "ö": "oe", "ü": "ue", "Ä": "Ae", "Ö": "Oe", "Ü": "Ue"})


def part_name(said: str, prefix: str, taken: Collection[str]) -> str:
    """A name made of a file's one; ``prefix`` stands before one that does not begin with a letter.

    >>> part_name("XA.H1.1", "X", ()), part_name("269", "SP", ()), part_name("A2*1-B", "X", ["A2_1_B"])
    ('XA_H1_1', 'SP269', 'A2_1_B_2')
    """
    name = re.sub(r"[^A-Za-z0-9]+", "_", _ascii(said)).strip("_")[:_LONGEST]
    if not name[:1].isalpha():
        name = prefix + name
    if name.lower() in KEYWORDS:
        name = f"{prefix}_{name}"
    number, unique = 1, name
    while unique in taken:
        number += 1
        unique = f"{name}_{number}"
    return unique


def pin_name(said: str) -> str:
    """The name of a cavity as a pin; a file's empty one is cavity 1.

    >>> pin_name("9A"), pin_name("A.1"), pin_name("")
    ('9A', 'A_1', '1')
    """
    return re.sub(r"[^A-Za-z0-9+\-/_]+", "_", _ascii(said)).strip("_") or "1"


def _ascii(said: str) -> str:
    return unicodedata.normalize("NFKD", said.translate(_GERMAN)).encode("ascii", "ignore").decode()
