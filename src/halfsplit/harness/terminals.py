"""What a signal's name tells of its current: the terminal numbers of DIN 72552, and the usual words for them."""

from __future__ import annotations

import re
import tomllib
from dataclasses import dataclass
from importlib.resources import files
from types import MappingProxyType
from typing import Final, Literal


@dataclass(frozen=True, slots=True)
class Terminal:
    """A terminal: what flows there, the words for what switches it, and the terminals that it is fed from."""

    name: str
    role: Literal["feed", "ground", "switched", "switched ground"]
    words: str = ""
    fed_by: tuple[str, ...] = ()


WORDS: Final = tomllib.loads(files("halfsplit.harness").joinpath("words.toml").read_text(encoding="utf-8"))

TERMINALS: Final = MappingProxyType(
    {
        name: Terminal(name, role, words, tuple(" ".join(fed_by).split()))
        for name, (role, words, *fed_by) in WORDS["terminals"].items()
    }
)
"""The terminals of DIN 72552 that tell where current comes from or goes to."""

_OTHER_WORDS: Final = {word: name for name, words in WORDS["signals"].items() for word in words.split()}
"""Words that stand for a terminal in signal names."""

_NUMBERED: Final = re.compile(r"(?:k|kl|cl|klemme|terminal|term|t)?(\d{2})([a-z]{0,3})", re.IGNORECASE)
_SPLIT: Final = re.compile(r"[^\wÄÖÜäöü+]+|_+|(?<=[A-Za-z]{4})-")


def terminal(signal: str) -> Terminal | None:
    """The terminal that a signal's name holds, or None.

    Only the first number of a name counts: what comes after is the number of a system, a wire or a fuse.

    >>> [one and one.name for one in map(terminal, ("KL_30", "V.15a.F11", "gnd", "M.31", "S.58.2", "CAN_H", "W.131"))]
    ['30', '15', '31', '31', '58', None, None]
    """
    if signal.strip() in ("L", "R"):
        return TERMINALS[signal.strip()]
    for token in filter(None, _SPLIT.split(signal.strip())):
        word = _OTHER_WORDS.get(token.lower())
        if word is not None:
            return TERMINALS[word]
        match = _NUMBERED.fullmatch(token)
        if match is not None:
            digits, suffix = match[1], match[2]
            if digits + suffix.lower() in TERMINALS:
                return TERMINALS[digits + suffix.lower()]
            # A number with other letters is of its kind, and 31 with one letter is switched.
            if digits == "31" and len(suffix) == 1 and suffix.lower() != "a":
                return TERMINALS["31b"]
            with_letter = TERMINALS.get(f"{digits}a") if suffix and digits in ("49", "56") else None
            return with_letter or TERMINALS.get(digits)
        if any(letter.isdigit() for letter in token):
            return None
    return None
