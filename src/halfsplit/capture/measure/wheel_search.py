"""After how many edges the pattern of a trigger wheel comes again, and where each edge stands in it.

Let d[k] be the time between edge k and the next, and r[k] the logarithm of d[k] over the local tooth pitch: a speed
that ramps, and pulses slowly against a tooth, drops out of it. A wheel whose pattern has n edges gives
r[k] = m[(k + o) mod n] + noise, where m is the pattern and the offset o changes only where an edge was lost or one too
many was seen. Each n is tried: m is the median over the turns, o the path of the least sum of absolute deviations plus
a price for each change, and the score the logarithm of the likelihood of all r under Laplace noise, less half the
logarithm of their number for each free value of the pattern (Schwarz 1978, Annals of Statistics 6, 461). A value that
the noise of its turns explains is none: it is set to nought.
"""

from dataclasses import dataclass, replace
from typing import Final

import numpy as np
from numpy.typing import NDArray

from halfsplit.capture.measure.signal import Floats, local_median

_NEIGHBOURS: Final = 5
"""Intervals on either side whose median is the local tooth pitch."""

_LONGEST: Final = 150
"""Most edges of a pattern that are tried."""

_CANDIDATES: Final = 6
_SEARCHED: Final = 3000
"""Intervals on which the candidates are compared; the best one is then laid over all."""

_FAR: Final = 1.1
"""Deviation (logarithm) beyond which an interval only counts as not fitting: that of two lost teeth."""

_SLIP: Final = 1.5
"""Price of a change of the offset, in the same unit: two lost teeth apart."""

_SIGNIFICANT: Final = 4.0
"""Standard errors of a median over the turns within which a value of the pattern counts as nought."""

_FLOOR: Final = 0.004
"""Deviation that no recording falls below, so that an exact one does not outweigh everything."""


@dataclass(frozen=True, eq=False)
class Pattern:
    """A pattern of `values` (logarithms of intervals over the local pitch), laid over all intervals.

    `places[k]` is the place of interval k in it, `deviation` the mean absolute deviation, `score` the logarithm of the
    likelihood on the compared intervals less the penalty for the pattern's length.
    """

    values: Floats
    places: NDArray[np.int64]
    deviation: float
    score: float

    @property
    def length(self) -> int:
        """Edges after which the pattern comes again."""
        return int(self.values.size)


def local_pitch(intervals: Floats) -> Floats:
    """The median of each interval and its neighbours: the time of one tooth pitch there."""
    return local_median(intervals, _NEIGHBOURS)


def relative(intervals: Floats) -> Floats:
    """The logarithm of each interval over the local tooth pitch."""
    return np.asarray(np.log(intervals / local_pitch(intervals)))


def patterns(sizes: Floats) -> list[Pattern]:
    """The likeliest patterns of `sizes` (from `relative`), the best first; only that one is laid over all of them.

    Of a long recording three stretches are compared: from its start, its middle and its end.
    """
    compared, part = sizes, _SEARCHED // 3
    if sizes.size > _SEARCHED:
        firsts = (0, (sizes.size - part) // 2, sizes.size - part)
        compared = np.concatenate([sizes[first : first + part] for first in firsts])
    lengths = np.arange(1, min(_LONGEST, compared.size // 2) + 1)
    if not lengths.size:
        return []
    # Worth a closer look are the lengths after which edges are alike.
    steps = np.array([np.mean(np.minimum(np.abs(compared[n:] - compared[:-n]), _FAR)) for n in lengths])
    scores = -compared.size * np.log(steps + _FLOOR) - 0.5 * lengths * np.log(compared.size)
    # Noise hides a lone gap from the score of a long pattern; it still stands out from the lengths beside it.
    from scipy.ndimage import median_filter  # slow to import

    beside = median_filter(steps, 9, mode="nearest")
    likely, standing_out = (np.argsort(each)[:_CANDIDATES] for each in (-scores, steps - beside))
    candidates = {1, *lengths[likely].tolist(), *lengths[standing_out].tolist()}
    fits = sorted((_fitted(compared, n) for n in sorted(candidates)), key=lambda p: -p.score)
    if compared.size == sizes.size:
        return fits
    return [_laid(sizes, fits[0].values, fits[0].score), *fits[1:]]


def _fitted(sizes: Floats, length: int) -> Pattern:
    """The pattern of a length: folded where it repeats best, laid over all, and folded once more along that path."""
    # The stretch in which intervals are most like those a turn later.
    span = min(sizes.size, max(5 * length, 60))
    alike = np.minimum(np.abs(sizes[length:] - sizes[:-length]), _FAR)
    sums = np.concatenate(([0.0], np.cumsum(alike)))
    width = max(span - length, 1)
    first = int(np.argmin(sums[width:] - sums[:-width])) if sums.size > width else 0
    part = sizes[first : first + span]
    values = medians(part, np.arange(part.size) % length, np.zeros(length))
    for _ in range(2):
        laid = _laid(sizes, values, 0.0)
        values = medians(sizes, laid.places, values)
    error = 1.25 * laid.deviation / np.sqrt(max(sizes.size / length, 1.0))
    laid = _laid(sizes, np.where(np.abs(values) > _SIGNIFICANT * error, values, 0.0), 0.0)
    free = 1 + 2 * int(np.count_nonzero(laid.values)) if length > 1 else 1
    score = -sizes.size * np.log(laid.deviation + _FLOOR) - 0.5 * free * np.log(sizes.size)
    return replace(laid, score=float(score))


def medians(values: Floats, places: NDArray[np.int64], before: Floats) -> Floats:
    """The median of the values at each place, and what was there ``before`` where a place has none."""
    ordered = values[np.lexsort((values, places))]
    walls = np.searchsorted(np.sort(places), np.arange(before.size + 1))
    first, after = walls[:-1], walls[1:]
    known = after > first
    middles = ordered[np.stack((first + after - 1, first + after))[:, known] // 2]
    each = before.copy()
    each[known] = middles.mean(axis=0)
    return each


def _laid(sizes: Floats, values: Floats, score: float) -> Pattern:
    """The path of offsets of the least sum of deviations (Viterbi, with one price for every change)."""
    from halfsplit.capture.measure.wheel_path import cheapest_offsets  # numba is slow to import

    places, slips = np.zeros(sizes.size, np.int64), 0
    if values.size > 1:
        offsets = cheapest_offsets(sizes, values, _FAR, _SLIP)
        places = (np.arange(sizes.size) + offsets) % values.size
        slips = int(np.count_nonzero(np.diff(offsets)))
    deviation = float(np.mean(np.minimum(np.abs(sizes - values[places]), _FAR)))
    return Pattern(values, places, deviation + _SLIP * slips / sizes.size, score)
