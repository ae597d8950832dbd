"""The smallest and largest sample of any stretch of a long trace, found without reading the stretch.

A trace is cut into bins of `BASE` samples; `STEP` bins make one of the next level, and so on. A screen
of some thousand pixels then touches a few thousand numbers at any zoom of a hundred million samples.
"""

from dataclasses import dataclass
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from halfsplit.capture.paging import blocks

BASE: Final = 256
"""Samples in a bin of the lowest level."""

STEP: Final = 16
"""Bins of one level in a bin of the next."""


@dataclass(frozen=True, eq=False)
class Pyramid:
    """`lows[k][i]` and `highs[k][i]` are the extremes of samples `i * size(k)` to `(i + 1) * size(k)`.

    The values are those of the raw samples, without gain and offset. The last bin may be shorter.
    """

    lows: tuple[NDArray[Any], ...]
    highs: tuple[NDArray[Any], ...]

    def level(self, samples_a_pixel: float) -> int:
        """The coarsest level whose bins are not larger than a pixel; -1 means the raw samples."""
        level = -1
        while level + 1 < len(self.lows) and size(level + 1) <= samples_a_pixel:
            level += 1
        return level


def size(level: int) -> int:
    """Samples in a bin of a level."""
    return BASE * int(STEP**level)


def build(raw: NDArray[Any]) -> Pyramid:
    """The pyramid over one-dimensional samples; a memory-mapped trace is read in blocks."""
    bins = [(_binned(np.fmin, block, BASE), _binned(np.fmax, block, BASE)) for _, block in blocks(raw)]
    low, high = (np.concatenate([raw[:0], *ends]) for ends in zip(*bins, strict=True)) if bins else (raw, raw)
    lows, highs = [], []
    while low.size > 1:
        lows.append(low)
        highs.append(high)
        low, high = _binned(np.fmin, low, STEP), _binned(np.fmax, high, STEP)
    return Pyramid(tuple(lows), tuple(highs))


def _binned(extreme: np.ufunc, values: NDArray[Any], width: int) -> NDArray[Any]:
    """The extreme of each `width` values; the last bin may be shorter."""
    full = values.size // width * width
    bins: NDArray[Any] = extreme.reduce(values[:full].reshape(-1, width), axis=1)
    return bins if full == values.size else np.append(bins, extreme.reduce(values[full:]))


def extremes(
    raw: NDArray[Any], pyramid: Pyramid, bounds: NDArray[np.int64]
) -> tuple[NDArray[Any], NDArray[Any]]:
    """The extremes of the samples `bounds[i]` to `bounds[i + 1]`, for all i.

    `bounds` rises; where two neighbours are equal the stretch is empty and takes the sample before it
    (a trace of edges holds its level). A stretch is widened to whole bins, by less than a pixel.
    """
    level = pyramid.level(float(bounds[-1] - bounds[0]) / max(bounds.size - 1, 1))
    single = np.maximum(np.where(bounds[1:] > bounds[:-1], bounds[:-1], bounds[:-1] - 1), 0)
    if level < 0:
        return _reduced(np.fmin, raw, bounds, single), _reduced(np.fmax, raw, bounds, single)
    walls = bounds // size(level)
    walls[-1] = -(-bounds[-1] // size(level))
    single = single // size(level)
    return (
        _reduced(np.fmin, pyramid.lows[level], walls, single),
        _reduced(np.fmax, pyramid.highs[level], walls, single),
    )


def _reduced(
    extreme: np.ufunc, values: NDArray[Any], walls: NDArray[np.int64], single: NDArray[np.int64]
) -> NDArray[Any]:
    """The extreme between each two walls; the one value at `single` where they enclose none."""
    reduced: NDArray[Any] = np.asarray(values[single])
    full = walls[1:] > walls[:-1]
    if full.any():
        starts = walls[:-1][full]
        part = np.asarray(values[starts[0] : walls[-1]])
        reduced[full] = extreme.reduceat(part, starts - starts[0])
    return reduced
