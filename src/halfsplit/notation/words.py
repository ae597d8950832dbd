"""The words of the notation: what begins a line, where it may stand, how it is written, where a comment begins."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from importlib.resources import files
from typing import Final

from halfsplit.circuit.kinds import KINDS, LOADS

_TABLES = tomllib.loads(files("halfsplit.notation").joinpath("usage.toml").read_text(encoding="utf-8"))
USAGE: Final[Mapping[str, str]] = _TABLES["line"]
"""Kind of line (the rule of the grammar) → how it is written."""


def usage(rule: str, word: str) -> str:
    """How a line is written, with an example of its own for each kind of part."""
    if rule == "part":
        return f'{_TABLES["part"].get(word, "relay K7")} "words" at "place"'
    return USAGE[rule]


def _themselves(words: str) -> dict[str, str]:
    return {word: word for word in words.split()}


TOP: Final[Mapping[str, str]] = {
    **dict.fromkeys(KINDS, "part"),
    **_themselves("switch title include variant reach suspect terminator gauge state stage"),
}
"""First word of a statement → the rule of the grammar."""

_TAGS: Final[Mapping[str, str]] = {"kind": "tagged"}
_LOAD: Final[Mapping[str, str]] = {**_TAGS, "drifts": "drifts"}
_NOTHING: Final[Mapping[str, str]] = {}
UNDER: Final[Mapping[str, Mapping[str, str]]] = {
    **dict.fromkeys(KINDS, _TAGS),
    "module": {
        **_TAGS,
        **_themselves("feed earth draws works reads drives supplies talks clamp sleeps wakes"),
    },
    "switch": {**_TAGS, "joins": "joins"},
    **dict.fromkeys(LOADS, _LOAD),
    "motor": {**_LOAD, "parks": "parks"},
    "stage": {"needs": "needs", "fails": "fails", "stand-in": "stand_in", "in": "within"},
    **dict.fromkeys(("title", "include", "reach", "suspect", "terminator", "gauge", "state"), _NOTHING),
}
"""First word of a statement → the lines that may stand under it. Paths and variants are seen by their links."""

_INSIDE = """at on as is and or not always when hears high low under over until limit latches bias pwm pulled pulls
    drops up down after else caution within lasts takes helper running body"""
KEYWORDS: Final = frozenset({*TOP, *(word for lines in UNDER.values() for word in lines), *_INSIDE.split()})
"""No part, stage, bus or variant can have one of these as its name."""


def without_comment(line: str) -> str:
    """The line up to a ``#`` that is not inside quotation marks."""
    start = 0
    while (hash_at := line.find("#", start)) >= 0:
        if line.count('"', 0, hash_at) % 2 == 0:
            return line[:hash_at].rstrip()
        start = hash_at + 1
    return line.rstrip()
