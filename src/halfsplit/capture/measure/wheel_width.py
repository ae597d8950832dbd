"""Wheels of even teeth that are told apart by their width: a code that comes again with each turn."""

from typing import Final

import numpy as np
from numpy.typing import NDArray

from halfsplit.capture.measure.signal import Edges, two_levels

_LONGEST_CODE: Final = 64
_SHORTEST_CODE: Final = 6


def width_code(signal: Edges, *, rising: bool) -> tuple[int, NDArray[np.int64]] | None:
    """Teeth in a turn of even edges whose widths have a code, and the edges at which it begins; None without one."""
    own, other = signal.of(rising), signal.of(not rising)
    after = np.searchsorted(other, own[:-1])
    if own.size < 2 * _SHORTEST_CODE + 1 or after[-1] >= other.size:
        own = own[: np.searchsorted(own, other[-1])] if other.size else own[:0]
        after = np.searchsorted(other, own[:-1])
    if own.size < 2 * _SHORTEST_CODE + 1:
        return None
    widths = (other[after] - own[:-1]) / np.diff(own)
    levels = two_levels(widths)
    if levels is None or levels.swing < 0.12:
        return None
    wide = widths > levels.middle
    length = _code_length(wide)
    if length is None:
        return None
    start = max(range(length), key=lambda k: tuple(np.roll(wide[:length], -k).tolist()))
    starts = np.arange(start, own.size, length)
    return length, starts.astype(np.int64)


def _code_length(wide: NDArray[np.bool_]) -> int | None:
    """After how many teeth the widths come again, where most of them do."""
    for length in range(_SHORTEST_CODE, min(_LONGEST_CODE, wide.size // 2) + 1):
        if float(np.mean(wide[length:] == wide[:-length])) > 0.97:
            shorter = range(1, _SHORTEST_CODE)
            return None if any(float(np.mean(wide[n:] == wide[:-n])) > 0.97 for n in shorter) else length
    return None
