"""The tooth pattern of a trigger wheel from the times of its edges.

Let d[k] be the time between edge k and the next. On a wheel of n places of which some are missing most
d are one tooth pitch; a gap of m missing teeth takes m + 1. The pitch in time follows the speed, so each d
is divided by the median of its neighbours; whole numbers then give the gaps, and the gaps must come
again in the same order every turn. A cranking engine slows down before each dead centre, which stretches a
gap that lies there; the median of the neighbours carries most of that.

A wheel without gaps shows no turn of its own. Its turn is found from the cam: the smallest number of crank
edges after which the cam's edges come again is one turn of the camshaft, two turns of the crankshaft.
"""

from collections import Counter
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from halfsplit.capture.measure.result import CannotTell
from halfsplit.capture.measure.signal import Edges, Floats

_NEIGHBOURS: Final = 5
"""Intervals on either side whose median is the local tooth pitch."""

_GAP: Final = 1.6
"""An interval of more than this many pitches has missing teeth."""

_REPEATS: Final = 0.75
"""Share of the gaps that the usual turn must account for."""

_MOST_GAPS: Final = 8
_LONGEST_PATTERN: Final = 40


@dataclass(frozen=True, eq=False)
class Wheel:
    """`name` as the trade writes it: places, then the missing teeth of each gap (`60-2`, `36-2-1`).

    `places` is the number of tooth pitches in a turn (None for a wheel whose turn is not in its own signal),
    `edges` the edges in a turn, `missing` the missing teeth of its gaps in order of their coming, the
    largest first. `units[k]` is the interval k in pitches; `turn_starts` are the edges (indices) just after
    the largest gap; `broken` the spans (s) of turns that do not fit the pattern.
    """

    name: str
    places: int | None
    edges: int | None
    missing: tuple[int, ...]
    units: Floats
    turn_starts: NDArray[np.int64]
    broken: tuple[tuple[float, float], ...] = ()


def best_direction(signal: Edges) -> tuple[Floats, Wheel, bool]:
    """The edges that show the wheel best, their wheel, and whether they rise.

    A toothed wheel passes one flank of each tooth sharply; the timing of the other depends on the gap, and an
    inductive sensor's slow flank passes zero in the middle of the gap, as if a tooth stood there. So the
    direction with the larger gap is taken, and of equals the one whose intervals are nearer to whole pitches.
    """
    both = [signal.of(True), signal.of(False)]
    if max(times.size for times in both) < 6:
        raise CannotTell(f"only {signal.times.size} edges were found, too few for a tooth pattern")
    found: list[tuple[tuple[int, float], Floats, Wheel, bool]] = []
    failed: CannotTell | None = None
    for times, rising in zip(both, (True, False), strict=True):
        try:
            wheel = find_wheel(times)
        except CannotTell as because:
            failed = because
            continue
        found.append(((max(wheel.missing, default=0), -_irregularity(times)), times, wheel, rising))
    if not found:
        raise failed or CannotTell("no edge direction shows a tooth pattern")
    _, times, wheel, rising = max(found, key=lambda entry: entry[0])
    return times, wheel, rising


def _irregularity(times: Floats) -> float:
    if times.size < 6:
        return np.inf
    pitches = np.diff(times) / local_pitch(np.diff(times))
    whole = np.maximum(np.round(pitches), 1.0)
    return float(np.mean(np.abs(np.log(pitches / whole))))


def local_pitch(intervals: Floats) -> Floats:
    """The median of each interval and its neighbours: the time of one tooth pitch there."""
    padded = np.pad(intervals, _NEIGHBOURS, constant_values=np.nan)
    windows = np.lib.stride_tricks.sliding_window_view(padded, 2 * _NEIGHBOURS + 1)
    return np.asarray(np.nanmedian(windows, axis=1))


def find_wheel(times: Floats) -> Wheel:
    """The wheel from the times of its edges of one direction, at least a few turns of them.

    Raises `CannotTell` where the gaps come in no order.
    """
    intervals = np.diff(times)
    pitches = intervals / local_pitch(intervals)
    gaps = np.flatnonzero(pitches > _GAP)
    ordinary = float(np.mean((pitches > 0.75) & (pitches < 1.33)))
    if not gaps.size or ordinary < 0.6:
        if not _comes_again(np.log(pitches)):
            raise CannotTell(
                f"the {times.size} edges come in no order: teeth are lost, or the edges are noise"
            )
        return Wheel("even", None, None, (), np.ones(intervals.size), np.empty(0, np.int64))
    if gaps.size < 2:
        raise CannotTell(f"only one gap in {times.size} teeth: less than two turns were recorded")
    missing = np.maximum(
        np.round(intervals[gaps] / _pitch_at(gaps, intervals, pitches)).astype(np.int64) - 1, 1
    )
    between = np.diff(gaps) - 1
    tokens = list(zip(missing[:-1].tolist(), between.tolist(), strict=True))
    length = _order(tokens)
    return _gapped(times, gaps, missing, tokens, length)


def _pitch_at(gaps: NDArray[np.int64], intervals: Floats, pitches: Floats) -> Floats:
    """The tooth pitch within each gap: the longer of the local median and the mean of the two beside it.

    Compression stretches the neighbours with the gap; an inductive sensor's field shortens them.
    """
    beside = np.full((2, gaps.size), np.nan)
    for row, step in zip(beside, (-1, 1), strict=True):
        near = np.clip(gaps + step, 0, intervals.size - 1)
        row[:] = np.where(pitches[near] < _GAP, intervals[near], np.nan)
    known = np.isfinite(beside).any(axis=0)
    mean = np.where(known, np.nansum(beside, axis=0) / np.maximum(np.isfinite(beside).sum(axis=0), 1), 0.0)
    return np.maximum(mean, intervals[gaps] / pitches[gaps])


def _comes_again(sizes: Floats) -> bool:
    """Whether the logarithms of the intervals are like those some teeth later, within a fifth."""
    longest = min(_LONGEST_PATTERN, sizes.size // 2)
    return any(float(np.median(np.abs(sizes[p:] - sizes[:-p]))) < 0.2 for p in range(1, longest + 1))


def _order(tokens: list[tuple[int, int]]) -> int:
    """How many gaps there are in a turn: the least number whose commonest run covers most of what was seen."""
    for length in range(1, min(_MOST_GAPS, len(tokens) // 2) + 1):
        runs = Counter(tuple(tokens[i : i + length]) for i in range(len(tokens) - length + 1))
        if max(_apart(tokens, run) for run, _ in runs.most_common(length)) * length >= _REPEATS * len(tokens):
            return length
    if len(set(tokens)) == 1:
        return 1
    raise CannotTell(
        f"{len(tokens) + 1} gaps were found but they come in no order (three turns are needed for a wheel with "
        "several): teeth are lost, or the edges are noise"
    )


def _apart(tokens: list[tuple[int, int]], run: tuple[tuple[int, int], ...]) -> int:
    """How often a run comes in the tokens without overlap; none, where that is too seldom.

    Two are enough for one gap a turn, three are needed for several: noise makes a pair of unlike turns come twice.
    """
    count = place = 0
    while place <= len(tokens) - len(run):
        found = tuple(tokens[place : place + len(run)]) == run
        count += found
        place += len(run) if found else 1
    return count if count >= (2 if len(run) == 1 else 3) else 0


def _gapped(
    times: Floats,
    gaps: NDArray[np.int64],
    missing: NDArray[np.int64],
    tokens: list[tuple[int, int]],
    length: int,
) -> Wheel:
    turn = _usual_turn(tokens, length)
    lengths = [lost for lost, _ in turn]
    ordinary = sum(count for _, count in turn)
    places = ordinary + sum(lost + 1 for lost in lengths)
    units = np.ones(times.size - 1)
    units[gaps] = missing + 1
    starts, broken = _turns(times, gaps, tokens, turn)
    name = "-".join(str(n) for n in (places, *lengths))
    return Wheel(name, places, ordinary + length, tuple(lengths), units, starts, broken)


def _usual_turn(tokens: list[tuple[int, int]], length: int) -> list[tuple[int, int]]:
    """The commonest run of `length` gaps, turned so that the largest gap stands first."""
    runs = Counter(tuple(tokens[i : i + length]) for i in range(len(tokens) - length + 1))
    most = max(runs.values())
    rotations = [list(run) for run, count in runs.items() if count >= 0.5 * most] or [
        list(runs.most_common(1)[0][0])
    ]
    return max(rotations)


def _turns(
    times: Floats, gaps: NDArray[np.int64], tokens: list[tuple[int, int]], turn: list[tuple[int, int]]
) -> tuple[NDArray[np.int64], tuple[tuple[float, float], ...]]:
    """The first tooth after the first gap of each whole turn, and the spans that are no such turn."""
    starts: list[int] = []
    broken: list[tuple[float, float]] = []
    place = next((i for i in range(len(tokens)) if tokens[i : i + len(turn)] == turn), 0)
    while place < len(tokens):
        part = tokens[place : place + len(turn)]
        if part == turn:
            starts.append(int(gaps[place]) + 1)
            place += len(turn)
            continue
        if len(part) < len(turn) and part == turn[: len(part)]:
            break
        ahead = next(
            (i for i in range(place + 1, len(tokens)) if tokens[i : i + len(turn)] == turn), len(tokens)
        )
        broken.append((float(times[gaps[place] + 1]), float(times[gaps[ahead] + 1])))
        place = ahead
    last = starts[-1] if starts else -1
    end = last + sum(count for _, count in turn) + len(turn)
    if starts and end < times.size:
        starts.append(end)
    return np.array(starts, dtype=np.int64), tuple(broken)


def cycle_edges(crank: Floats, cam: Edges, candidates: list[int]) -> tuple[int, float]:
    """After how many crank edges the cam's edges come again, and in what share of them.

    The smallest candidate that does nearly as well as the best one; (0, 0) where none does in half.
    """
    places = crank_places(crank, cam.times)
    inside = (places >= 0) & (places < crank.size - 1)
    scores = {
        period: _matched(places[inside], cam.rising[inside], period, crank.size - 1) for period in candidates
    }
    best = max(scores.values(), default=0.0)
    if best < 0.5:
        return 0, 0.0
    return next((period, score) for period, score in scores.items() if score >= best - 0.08)


def crank_places(crank: Floats, times: Floats) -> Floats:
    """Where times lie among the crank edges: 7.25 is a quarter of the way from edge 7 to edge 8."""
    return np.asarray(np.interp(times, crank, np.arange(crank.size), left=-1.0, right=float(crank.size)))


def _matched(places: Floats, rising: NDArray[np.bool_], period: int, stop: int) -> float:
    """The share of cam edges that have one of their kind within a quarter of a tooth, `period` teeth on."""
    total = hits = 0
    for kind in (True, False):
        own = np.sort(places[rising == kind])
        later = own[own + period < stop] + period
        if not own.size or not later.size:
            continue
        after = np.minimum(np.searchsorted(own, later), own.size - 1)
        near = np.minimum(np.abs(own[after] - later), np.abs(own[np.maximum(after - 1, 0)] - later))
        total += later.size
        hits += int((near < 0.25).sum())
    return hits / total if total >= 3 else 0.0
