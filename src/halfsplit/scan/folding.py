"""Small letters without accents, as long as the text they come from: what the patterns of words run over."""

from __future__ import annotations

import re
import unicodedata
from functools import lru_cache


class _Folding(dict[int, str]):
    """A table for `str.translate` that fills itself: each character is worked out once."""

    def __missing__(self, code: int) -> str:
        base = unicodedata.normalize("NFKD", chr(code))[0].lower()
        self[code] = plain = " " if base.isspace() and code != ord("\t") else base[0]
        return plain


_FOLDING = _Folding()


@lru_cache(maxsize=256)
def folded(text: str) -> str:
    """Small letters, no accents, no special spaces, and as long as `text`: what the patterns run over."""
    return text.translate(_FOLDING)


_FIGURED = re.compile(r"(?<![^\W_])(?=[^\W\d_]*\d)(?=\d*[^\W\d_])[^\W_]{2,16}(?![^\W_])")
_LETTERS = str.maketrans("01582|", "oisbzl")
_WORDS = frozenset(
    [
        "no",
        "not",
        "none",
        "comm",
        "comms",
        "communication",
        "communications",
        "communicating",
        "response",
        "responding",
        "respond",
        "responds",
        "answer",
        "answers",
        "answering",
        "unit",
        "module",
        "control",
        "system",
        "present",
        "active",
        "stored",
        "confirmed",
        "pending",
        "current",
        "history",
        "intermittent",
        "inactive",
        "permanent",
        "memory",
        "fault",
        "faults",
        "code",
        "codes",
        "ok",
        "off",
        "offline",
        "lost",
        "silent",
        "nicht",
        "keine",
        "kommunikation",
        "antwort",
        "antwortet",
        "verbindung",
        "gespeichert",
        "vorhanden",
        "sporadisch",
        "statisch",
        "aktiv",
        "bestatigt",
        "steuergerat",
        "nein",
        "fehler",
        "fehlercode",
        "reponse",
        "repond",
        "communique",
        "aucune",
        "absent",
        "actif",
        "memorise",
        "memorisee",
        "calculateur",
        "defaut",
        "responde",
        "comunica",
        "respuesta",
        "comunicacion",
        "ninguna",
        "presente",
        "activo",
        "almacenado",
        "memorizado",
        "confirmado",
        "unidad",
        "averia",
        "risponde",
        "risposta",
        "nessuna",
        "comunicazione",
        "attivo",
        "memorizzato",
        "centralina",
        "guasto",
        "assente",
    ]
)


def unscanned(text: str) -> str:
    """Words that scanned text has with figures for letters, as they were: `N0 RESP0NSE`, `ST0RED`, `ACT1VE`.

    Only words that say something of a unit or a code are mended; a code or a name stays as it stands.

    >>> unscanned("ABS: N0 C0MM"), unscanned("P0562 ST0RED")
    ('ABS: NO COMM', 'P0562 STORED')
    """
    return _FIGURED.sub(_as_word, text)


def _as_word(match: re.Match[str]) -> str:
    written = match[0]
    for letter in ("i", "l"):
        read = written.translate(_LETTERS | {ord("1"): letter})
        if folded(read) in _WORDS:
            return read.upper() if written.upper() == written else read
    return written
