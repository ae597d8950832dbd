"""Small letters without accents, as long as the text they come from: what the patterns of words run over."""

from __future__ import annotations

import unicodedata
from functools import lru_cache


class _Folding(dict[int, str]):
    """A table for `str.translate` that fills itself: each character is worked out once."""

    def __missing__(self, code: int) -> str:
        base = unicodedata.normalize("NFKD", chr(code))[0].lower()
        self[code] = found = " " if base.isspace() and code != ord("\t") else base[0]
        return found


_FOLDING = _Folding()


@lru_cache(maxsize=256)
def folded(text: str) -> str:
    """Small letters, no accents, no special spaces, and as long as `text`: what the patterns run over."""
    return text.translate(_FOLDING)
