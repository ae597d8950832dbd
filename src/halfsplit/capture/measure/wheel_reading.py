"""A pattern of intervals as a wheel: pitches of each place, missing and extra teeth, and the name.

A gap of m missing teeth takes m + 1 pitches; two short intervals that make up one pitch are an extra tooth.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from halfsplit.capture.measure.signal import Floats
from halfsplit.capture.measure.wheel_search import Pattern, medians

GAP: Final = 1.6
"""An interval of more than this many pitches has missing teeth."""

_SHORT: Final = 0.8
"""Two intervals in a row under this many pitches, that make up one pitch, have an extra tooth between them."""

_LEAST_EDGES: Final = 4
"""Edges in a turn from which a pattern of gaps can be told from teeth that stand unevenly."""

_WRAPPED: Final = 5
"""Intervals beside one whose median is the pitch, in the pattern of a turn."""

_IN_USE: Final = (
    "60-2 36-1 36-2 36-2-1 36-2-2-2 12-1 24-1 24-2 30-2 32-2 40-1 48-2 4-1 6-1 8-1 60-2-2 36-1-1 120-2 90-3"
)
COMMON: Final = frozenset(_IN_USE.split())
"""Wheels that are in use: common practice, no source. Others are told as well; these decide where two are as likely."""

_COMMON_PLACES: Final = frozenset({12, 24, 30, 32, 36, 40, 44, 48, 60, 90, 120})


@dataclass(frozen=True, eq=False)
class Reading:
    """A pattern as a wheel: `units` in pitches for each place of the pattern, which may be several turns long."""

    name: str
    units: Floats
    places: int | None
    missing: tuple[int, ...]
    shares: Floats


def read_pattern(intervals: Floats, pattern: Pattern) -> Reading:
    """The wheel that a pattern shows; one without gaps and extra teeth has no turn of its own."""
    shares = _shares(intervals, pattern)
    none = Reading("even teeth", np.ones(shares.size), None, (), shares)
    if shares.size < _LEAST_EDGES:
        return none
    units = _units(shares)
    if np.all(units == 1):
        return none
    # One turn of a pattern that holds several: compressions come again after two turns only.
    for length in range(1, units.size // 2 + 1):
        if units.size % length == 0 and np.allclose(units, np.resize(units[:length], units.size), atol=0.12):
            units = units[:length]
            break
    if units.size < _LEAST_EDGES:
        return none
    places, extra = round(float(units.sum())), int((units < 1).sum()) // 2
    ordered = np.roll(units, -largest_first(units)) if np.any(units > 1) else units
    missing = tuple(int(u) - 1 for u in ordered if u > 1)
    name = wheel_name(places, missing) + (f"+{extra}" if extra else "")
    return Reading(name, units, places, missing, shares)


def wheel_name(places: int, missing: Sequence[int]) -> str:
    """As the trade writes it: the places of a turn, then the missing teeth of each gap."""
    return "-".join(map(str, (places, *missing)))


def _shares(intervals: Floats, pattern: Pattern) -> Floats:
    """The usual share of each place in its turn, where the turn about it is whole: a ramp of the speed drops out."""
    n = pattern.length
    places = pattern.places[: intervals.size]
    if n == 1:
        return np.ones(1)
    sums = np.concatenate(([0.0], np.cumsum(intervals)))
    half = n // 2
    here = np.arange(half + 1, places.size - half - 1)
    whole = sums[here + half + 1] - sums[here - half]
    if n % 2 == 0:  # the mean of the turns that begin half an interval earlier and later
        whole = whole - 0.5 * (intervals[here - half] + intervals[here + half])
    fits = (places[here + half] - places[here - half]) % n == (2 * half) % n
    rows = here[fits]
    shares = medians(intervals[rows] / whole[fits], places[rows], np.exp(pattern.values) / n)
    return np.asarray(shares / shares.sum())


def _units(shares: Floats) -> Floats:
    """Pitches of each place of a turn: 1, m + 1 for a gap of m teeth, two parts of 1 for an extra tooth."""
    pitch = wrapped_median(shares)
    ratio = shares / pitch
    units = np.ones(shares.size)
    for place in np.flatnonzero(ratio > GAP).tolist():
        beside = [shares[(place + step) % shares.size] for step in (-1, 1)]
        near = [share for share in beside if _SHORT * pitch[place] < share < GAP * pitch[place]]
        within = max(float(np.mean(near)) if near else 0.0, float(pitch[place]))
        units[place] = max(round(float(shares[place]) / within), 2)
    for place in range(shares.size):
        after = (place + 1) % shares.size
        both = ratio[place] + ratio[after]
        if max(ratio[place], ratio[after]) < _SHORT and 0.75 < both < 1.3:
            units[place], units[after] = ratio[place] / both, ratio[after] / both
    # A gap that compression stretches may be read as one tooth more: then the places of a wheel in use decide.
    places = round(float(units.sum()))
    gaps = np.flatnonzero(units > 1)
    if gaps.size != 1 or places in _COMMON_PLACES:
        return units
    gap, read = ratio[gaps[0]], units[gaps[0]]
    for step in (-1, 1):
        other = read + step
        near = other >= 2 and abs(np.log(gap / other)) < np.log(1.3)
        if near and places + step in _COMMON_PLACES and abs(gap - read) > 0.2:
            return np.where(units > 1, other, units)
    return units


def wrapped_median(shares: Floats) -> Floats:
    """The median of each place of a turn and those beside it, round the turn."""
    beside = min(_WRAPPED, (shares.size - 1) // 2)
    from scipy.ndimage import median_filter  # slow to import

    return np.asarray(median_filter(shares, 2 * beside + 1, mode="wrap"))


def largest_first(units: Floats) -> int:
    """The place of the gap from which the gaps in their order are largest."""
    gaps = np.flatnonzero(units > 1).tolist()
    return max(gaps, key=lambda place: (*(float(u) for u in np.roll(units, -place) if u > 1), -place))
