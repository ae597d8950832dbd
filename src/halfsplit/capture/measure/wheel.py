"""What wheel the edges of a crank sensor come from: teeth, gaps, extra teeth, teeth told apart by their width.

`wheel_search` finds after how many edges the pattern comes again; here the pattern becomes a wheel. A gap of m missing
teeth takes m + 1 pitches, two short intervals that make up one pitch are an extra tooth, and a switching sensor may
tell its turn by the width of its teeth alone. A cranking engine slows down before each dead centre, which stretches
a gap that lies there; the intervals beside it carry most of that.

A wheel without any of these shows no turn of its own. Its turn is found from the cam: the smallest number of crank
edges after which the cam's edges come again is one turn of the camshaft, two turns of the crankshaft. The same holds
for how often a pattern comes in a turn: three times 12-2 is 36-2-2-2.
"""

from dataclasses import dataclass, replace
from typing import Final

import numpy as np
from numpy.typing import NDArray

from halfsplit.capture.measure.result import CannotTell
from halfsplit.capture.measure.signal import Edges, Floats, joined, runs, two_levels
from halfsplit.capture.measure.wheel_reading import (
    COMMON,
    GAP,
    Reading,
    largest_first,
    read_pattern,
    wheel_name,
    wrapped_median,
)
from halfsplit.capture.measure.wheel_search import Pattern, local_pitch, patterns, relative

_BROKEN: Final = 0.35
"""Logarithm by which an interval that does not fit its place differs from it."""

_COARSE: Final = 0.8
"""The same where few teeth make a turn or it is not known: compression and combustion move these as far."""

_STEADY: Final = 0.05
"""Mean deviation (logarithm) up to which even teeth pass so steadily that one lost would be seen."""

_NO_ORDER: Final = 0.3
"""Mean deviation (logarithm) beyond which the best pattern is none."""

_SURE: Final = 0.08
"""Mean deviation (logarithm) up to which the edges of a wheel are good enough to accuse one of its teeth."""

_CLEAR: Final = 6.0
"""Difference of two logarithms of likelihood from which one reading is clearly ahead: 400 to 1."""


_LONGEST_CODE: Final = 64
_SHORTEST_CODE: Final = 6
"""Teeth of a turn that are told apart by their width."""


@dataclass(frozen=True, eq=False)
class Wheel:
    """`name` as the trade writes it: places, then the missing teeth of each gap (`60-2`, `36-2-1`), or `12+1`.

    `places` is the number of tooth pitches in a turn (None for a wheel whose turn is not in its own signal),
    `edges` the edges in a turn, `missing` the missing teeth of its gaps in order of their coming, the
    largest first. `units[k]` is the interval k in pitches; `turn_starts` are the edges (indices) just after
    the largest gap; `broken` the spans (s) of what does not fit the pattern. `lasting` says which tooth is wrong turn
    after turn ('' if none), `deviation` is the mean deviation of all intervals from the pattern (logarithm). `rivals`
    are other readings of the same edges that are not clearly worse.
    """

    name: str
    places: int | None
    edges: int | None
    missing: tuple[int, ...]
    units: Floats
    turn_starts: NDArray[np.int64]
    broken: tuple[tuple[float, float], ...] = ()
    lasting: str = ""
    deviation: float = 0.0
    rivals: tuple[str, ...] = ()


def repeated(wheel: Wheel, times: int) -> Wheel:
    """The wheel whose turn has the pattern of this one several times."""
    if times == 1 or wheel.places is None or wheel.edges is None:
        return wheel
    missing, places = wheel.missing * times, wheel.places * times
    name = wheel_name(places, missing) if missing else f"{wheel.name} x {times}"
    edges, starts = wheel.edges * times, wheel.turn_starts[::times]
    return replace(wheel, name=name, places=places, edges=edges, missing=missing, turn_starts=starts)


def repeats_in_use(wheel: Wheel) -> int:
    """How often the pattern may come in a turn as well, where only the cam or the number of teeth can tell; 1 if not.

    A gap for each 12 places is no wheel in use, three of them in a turn of 36 are.
    """
    if not wheel.missing or wheel.name in COMMON or wheel.places is None:
        return 1
    return next((n for n in (2, 3, 4) if repeated(wheel, n).places in (36, 48, 60)), 1)


def best_direction(signal: Edges) -> tuple[Floats, Wheel, bool]:
    """The edges that show the wheel best, their wheel, and whether they rise.

    A toothed wheel passes one flank of each tooth sharply; the timing of the other depends on the gap, and an
    inductive sensor's slow flank passes zero in the middle of the gap, as if a tooth stood there. So a wheel in use is
    taken before others, then the larger gap, and of equals the one whose intervals are nearer to their pattern.
    """
    if max(signal.of(True).size, signal.of(False).size) < 6:
        raise CannotTell(f"only {signal.times.size} edges were found, too few for a tooth pattern")
    directions: list[tuple[Floats, Wheel, bool]] = []
    failures: list[CannotTell] = []
    for rising in (True, False):
        try:
            wheel = find_wheel(signal.of(rising))
        except CannotTell as because:
            failures.append(because)
            continue
        if wheel.places is None and (code := _width_code(signal, rising=rising)):
            teeth, starts = code
            wheel = replace(wheel, name=f"{teeth} by width", places=teeth, edges=teeth, turn_starts=starts)
        directions.append((signal.of(rising), wheel, rising))
    if not directions:
        raise failures[-1]

    def rank(direction: tuple[Floats, Wheel, bool]) -> tuple[bool, bool, int, float]:
        _, wheel, _ = direction
        gap = max(wheel.missing, default=0)
        return wheel.places is not None, wheel.name in COMMON, gap, -wheel.deviation

    return max(directions, key=rank)


def _width_code(signal: Edges, *, rising: bool) -> tuple[int, NDArray[np.int64]] | None:
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
    # After how many teeth the widths come again, where most of them do.
    lengths = range(1, min(_LONGEST_CODE, wide.size // 2) + 1)
    length = next((n for n in lengths if float(np.mean(wide[n:] == wide[:-n])) > 0.97), 0)
    if length < _SHORTEST_CODE:
        return None
    start = max(range(length), key=lambda k: tuple(np.roll(wide[:length], -k).tolist()))
    return length, np.arange(start, own.size, length).astype(np.int64)


def find_wheel(times: Floats) -> Wheel:
    """The wheel from the times of its edges of one direction, at least two turns of them.

    Raises `CannotTell` where the edges come in no order, with the two best readings.
    """
    intervals = np.diff(times)
    if intervals.size < 5 or intervals.min() <= 0:
        raise CannotTell(f"only {times.size} edges were found, too few for a tooth pattern")
    readings = [(pattern, read_pattern(intervals, pattern)) for pattern in patterns(relative(intervals))]
    best, reading = readings[0]
    if best.deviation > _NO_ORDER:
        names = dict.fromkeys(f"{r.name} (deviates by {np.expm1(p.deviation):.0%})" for p, r in readings)
        order = f"the {times.size} edges come in no order: teeth are lost, or the edges are noise"
        raise CannotTell(f"{order}; read best as {' and '.join([*names][:2])}")
    wheel = _wheel(times, best, reading)
    others = [r.name for p, r in readings[1:] if r.name != reading.name and p.score > best.score - _CLEAR]
    return replace(wheel, rivals=tuple(dict.fromkeys((*wheel.rivals, *others))))


def _wheel(times: Floats, pattern: Pattern, reading: Reading) -> Wheel:
    intervals, length = np.diff(times), reading.units.size
    places = pattern.places % length
    units = reading.units[places]
    misfits = _misfits(intervals, pattern, fine=(reading.places or 0) >= _LEAST_FINE)
    pitches = _pitch(intervals, units, misfits)
    broken = joined(runs(misfits), max(length // 4, 2))  # less than a quarter of a turn apart is one
    if reading.places:  # an edge that only came early or late is none: the time is that of the pitches
        sums = np.concatenate(([0.0], np.cumsum(intervals / pitches - units)))
        ends = [(max(first - 1, 0), min(last + 1, intervals.size)) for first, last in broken]
        broken = [span for span, (a, b) in zip(broken, ends, strict=True) if abs(sums[b] - sums[a]) > 0.5]
    elif pattern.deviation >= _STEADY:
        broken = []  # few teeth a turn pulse with compression and combustion: only fine ones show a break of their own
    units = np.where(misfits, np.maximum(intervals / pitches, 1e-3), units)
    spans = tuple((float(times[a]), float(times[b])) for a, b in broken)
    even = Wheel("even", None, None, (), units, np.empty(0, np.int64), spans, "", pattern.deviation)
    if reading.places is None:
        if broken:
            _no_lone_gaps(times.size, intervals, misfits)
        return even
    first = largest_first(reading.units) if reading.missing else int(np.argmin(reading.units))
    wheel = replace(
        even,
        name=reading.name,
        places=reading.places,
        edges=length,
        missing=reading.missing,
        turn_starts=np.flatnonzero((places == first) & ~misfits) + 1,
        lasting=_displaced(reading, first) or _again(places, broken, reading, first),
    )
    wheel = _lost_now_and_then(wheel, reading.units)
    return wheel if pattern.deviation < _SURE else replace(wheel, lasting="")


def _lost_now_and_then(wheel: Wheel, units: Floats) -> Wheel:
    """A wheel in use that loses a tooth in every second or third turn, which reads as one of two or three turns.

    The turns laid over each other are the wheel; what a turn lacks of it is lost.
    """
    places = wheel.places or 0
    if not np.allclose(units, np.round(units)):
        return wheel
    there = np.zeros(places, np.bool_)
    there[np.round(np.cumsum(units)).astype(np.int64) % places] = True
    for turns in (2, 3):
        turn = places // turns
        if places % turns or turn < _LEAST_FINE:
            continue
        table = there.reshape(turns, -1)
        ever, always = np.asarray(table.any(axis=0)), np.asarray(table.all(axis=0))
        lost, gaps = np.flatnonzero(ever & ~always), _gaps_of(ever)
        name = wheel_name(turn, gaps)
        if name not in COMMON or not 0 < lost.size <= 2:
            continue
        if (np.roll(~ever, 1) | np.roll(~ever, -1))[lost].any():
            # noise in a gap adds an edge now and then: the larger gap is as likely as a tooth that is lost
            rivals = (wheel_name(turn, _gaps_of(always)), name)
            return replace(wheel, rivals=tuple(rival for rival in rivals if rival != wheel.name))
        lost_teeth = f"one or two of its teeth are lost in one of {turns} turns"
        lasting, edges = f"{lost_teeth}, at the same place turn after turn", int(ever.sum())
        return replace(wheel, name=name, places=turn, edges=edges, missing=gaps, lasting=lasting)
    return wheel


def _gaps_of(there: NDArray[np.bool_]) -> tuple[int, ...]:
    """The missing teeth of each gap of a turn, the largest first."""
    first = int(np.argmax(there))
    sizes = [last - begin for begin, last in runs(~np.roll(there, -first))]
    return tuple(sorted(sizes, reverse=True))


def _misfits(intervals: Floats, pattern: Pattern, *, fine: bool) -> NDArray[np.bool_]:
    """The intervals that are not as long as their place in the pattern, the recording's first ones left out."""
    error = np.abs(relative(intervals) - pattern.values[pattern.places])
    wall = max(_BROKEN, 5 * pattern.deviation)
    misfits = np.asarray(error > (wall if fine else max(wall, _COARSE)))
    misfits[:2] = False
    return misfits


def _pitch(intervals: Floats, units: Floats, broken: NDArray[np.bool_]) -> Floats:
    """The time of one pitch at each interval, from those that fit."""
    pitches = intervals / units
    if broken.all():
        return pitches
    known = np.flatnonzero(~broken)
    return np.asarray(np.interp(np.arange(pitches.size), known, local_pitch(pitches[known])))


def _no_lone_gaps(edges: int, intervals: Floats, broken: NDArray[np.bool_]) -> None:
    """Raise `CannotTell` where even teeth have gaps that do not come again."""
    gaps = int((broken & (intervals > GAP * local_pitch(intervals))).sum())
    if gaps == 1:
        why = "less than two turns were recorded, the engine stood still there, or a tooth was lost once"
        raise CannotTell(f"only one gap in {edges} teeth: {why}")
    if gaps > 0.02 * edges:
        why = "they come in no order: teeth are lost, or the edges are noise"
        raise CannotTell(f"{gaps} gaps were found among {edges} edges but {why}")


_LEAST_FINE: Final = 20
"""Places of a wheel on which one tooth can be judged against its neighbours."""

_AWAY: Final = 0.18
"""Pitches by which a displaced tooth stands away from its place."""

_BESIDE_GAP: Final = 3
"""Intervals beside a gap (or an extra tooth) that an inductive sensor's field shifts on sound wheels."""


def _plain(units: Floats) -> NDArray[np.bool_]:
    """The places of a turn that lie away from gaps and extra teeth."""
    special = units != 1
    for _ in range(_BESIDE_GAP):
        special = special | np.roll(special, 1) | np.roll(special, -1)
    return np.asarray(~special)


def _displaced(reading: Reading, first: int) -> str:
    """Teeth that come late or early in the usual turn: one interval too long and the next too short, or so."""
    units = np.resize(reading.units, reading.shares.size)
    if (reading.places or 0) < _LEAST_FINE:
        return ""
    sizes = np.log(reading.shares / units)
    early, plain = np.exp(sizes - wrapped_median(sizes)), _plain(units)
    late = np.roll(early, -1)
    moved = (np.abs(0.5 * (early - late)) >= _AWAY) & (np.abs(early + late - 2) <= 0.1)
    displaced = np.flatnonzero(plain & np.roll(plain, -1) & moved).tolist()
    teeth = sorted({(place - first) % reading.units.size + 1 for place in displaced})
    named = " and ".join(map(str, teeth[:3]))
    away = f"tooth {named} after the gap stands away from its place turn after turn: bent, chipped or dirty"
    return away if teeth else ""


def _again(places: NDArray[np.int64], broken: list[tuple[int, int]], reading: Reading, first: int) -> str:
    """The tooth at which the pattern breaks again and again: in a quarter of the turns and most of all breaks."""
    size = reading.units.size
    turns = places.size / size
    if len(broken) < 3 or (reading.places or 0) < _LEAST_FINE:
        return ""
    events = places[[a for a, _ in broken]]
    counts = np.bincount(events, minlength=size)
    place = int(np.argmax(counts))
    if not _plain(reading.units)[place] or counts[place] < max(3.0, 0.25 * turns, 0.6 * events.size):
        return ""
    tooth = (place - first) % size + 1
    return f"the pattern breaks at tooth {tooth} after the gap turn after turn ({counts[place]} of {turns:.0f} turns)"


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
