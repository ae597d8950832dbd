"""What the readers of both standards share: the names that each gives to the same thing, and the wires from them.

============  =======================  ==========================
              KBL 2.3 to 2.5           VEC 1.2 and 2.x
============  =======================  ==========================
wire          Connection               WireElementReference
its ends      Extremities              WireEnd
their order   Position_on_wire         PositionOnWire
its lengths   Length_information       WireLength
============  =======================  ==========================
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Final
from xml.etree.ElementTree import Element

from halfsplit.harness.data import Core, End
from halfsplit.harness.document import Document, number, text
from halfsplit.notation.paths import COLOURS, OTHER_COLOURS

LENGTHS: Final = ("production", "functional", "supplement", "dmu", "drawing", "contract", "")
"""Types of length (in part of their name), the best first: what is cut, then what was modelled."""


@dataclass(frozen=True, slots=True)
class Names:
    """The names of a standard's elements for the ends of a wire and its lengths."""

    ends: str
    position: str
    lengths: str
    length_type: str
    length_value: str


KBL: Final = Names("Extremities", "Position_on_wire", "Length_information", "Length_type", "Length_value")
VEC: Final = Names("WireEnd", "PositionOnWire", "WireLength", "LengthType", "LengthValue")


def ordered_ends(wire: Element, names: Names) -> list[Element]:
    """The ends of a wire from its one end to its other."""
    return sorted(wire.iterfind(names.ends), key=lambda end: number(end.find(names.position)) or 0.0)


def length(document: Document, wire: Element | None, names: Names) -> float | None:
    """The best known length of a wire in m, None where there is none."""
    known = [
        (rank, metres)
        for length in (() if wire is None else wire.iterfind(names.lengths))
        if (metres := document.metres(length.find(names.length_value))) is not None
        for rank, word in enumerate(LENGTHS)
        if word in text(length, names.length_type).lower()
    ]
    return round(min(known)[1], 4) if known else None


def cores(
    points: Sequence[End], core: Callable[..., Core], metres: float | None, name: str, notes: list[str]
) -> Iterator[Core]:
    """A wire for each two neighbouring ends; `notes` gets what is left out. Only a wire of two ends has its length.

    core: makes one of its two ends and its length.
    """
    if len(points) < 2:
        notes.append(f"{name} has no two contacted ends and is left out")
    for a, b in pairwise(points):
        if a == b:
            notes.append(f"{name} joins a cavity to itself and is left out")
        else:
            yield core(a, b, metres=metres if len(points) == 2 else None)


def colour(said: Iterable[str]) -> str:
    """A wire's colours as tools write them → base or base/stripe in letters of IEC 60757; '' where one is not known.

    >>> colour(["sw", "gn"]), colour(["BN/GY"]), colour(["rtws"]), colour(["gn", "ge"]), colour(["Natur"])
    ('BK/GN', 'BN/GY', 'RD/WH', 'GNYE', '')
    """
    letters: list[str] = []
    for token in re.findall(r"[A-Za-z]+", " ".join(said)):
        word = token.upper()
        both = not _known(word) and len(word) == 4  # two colours written together
        letters += [_known(word[:2]), _known(word[2:])] if both else [_known(word)]
    if not letters or "" in letters:
        return ""
    if set(letters[:2]) == {"GN", "YE"}:
        return "GNYE"
    return "/".join(dict.fromkeys(letters[:2]))


def _known(word: str) -> str:
    return word if word in COLOURS else OTHER_COLOURS.get(word, "")
