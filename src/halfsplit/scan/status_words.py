"""The status of a code in words, in five languages.

A status is believed where it is set off (`P0562; supply low; present`, `(stored)`), where it ends a line, or stands
alone. In the midst of a description the same words say something else: `circuit current too high`, `active suspension`.
"""

from __future__ import annotations

import re

from halfsplit.scan import vocabulary
from halfsplit.scan.vocabulary import folded

STATUS_PATTERNS = tuple(
    (term, re.compile(rf"\b(?:{pattern})\b")) for term, pattern in vocabulary.WORDS["status"].items()
)

_FILLER = re.compile(vocabulary.WORDS["filler"])
_SET_OFF = re.compile(r"[;|\t,()\[\]{}/:=]|\.?\s{2,}|\.\s|\s[-\u2013]\s")
_LEADING = frozenset({"pending", "confirmed", "stored", "not present", "not tested"})
_NOUNS = frozenset({"current", "corrente", "actual"})
"""Words of a status that are more often something else where they are not set off."""

_SIGNAL = re.compile(vocabulary.WORDS["signal"])


def without_status(words: str) -> str:
    """Folded words with a blank in the place of each that tells a status."""
    for _, pattern in STATUS_PATTERNS:
        words = pattern.sub(" ", words)
    return words


def status_terms(text: str) -> tuple[str, ...]:
    """Our status terms for the words found in a text, each once; what is denied is not found again."""
    rest = folded(text)
    terms = []
    for term, pattern in STATUS_PATTERNS:
        rest, hits = pattern.subn(" ", rest)
        if hits:
            terms.append(term)
    return tuple(terms)


def status_alone(text: str) -> tuple[str, ...]:
    """The status terms of a text that says nothing else, or none.

    >>> status_alone("Stored fault codes"), status_alone("Active suspension")
    (('stored',), ())
    """
    rest = _FILLER.sub(" ", without_status(folded(text)))
    return () if any(character.isalpha() for character in rest) else status_terms(text)


def status_beside(text: str) -> tuple[str, ...]:
    """The status terms in what stands beside a code, as far as they are no part of its description."""
    parts = [part for part in _SET_OFF.split(folded(text)) if part.strip(" .-*#>\"'")]
    terms = [term for part in parts for term in status_alone(part)]
    first, last = (parts[0].split(), parts[-1].split()) if parts and not terms else ([], [])
    for count in range(min(4, len(last) - 1), 0, -1):
        run = " ".join(last[-count:])
        if run.strip(".") not in _NOUNS and (at_end := status_alone(run)):
            described = at_end == ("not present",) and _SIGNAL.search(last[-count - 1])
            terms += () if described else at_end
            break
    for count in range(min(3, len(first) - 1), 0, -1):
        at_start = status_alone(" ".join(first[:count]))
        if at_start and set(at_start) <= _LEADING:
            terms += at_start
            break
    return tuple(dict.fromkeys(terms))
