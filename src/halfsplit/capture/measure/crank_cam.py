"""Crank and cam: tooth pattern, speed over time, cam edges in crank degrees, drift against a good capture.

`sensor` makes edges of a trace, `wheel` a wheel of edges. Speed: one turn is 360 degrees between the same tooth and
itself, whatever the shape of the teeth. Between teeth of a regular wheel the speed is the pitch over its time. Without
a gap in the crank's own signal the cam tells the turn; a camshaft turns once for two turns of the crankshaft
(four-stroke). A reading of the wheel whose speed no engine has is none.

A fault is told where the wheel is clear and the deviation comes at the same place of the turn again and again, or a
tooth of the cam stays away that came at lower speed. What breaks a pattern once may be a disturbance of the recording.
"""

from dataclasses import dataclass, field, replace
from typing import ClassVar, Final

import numpy as np

from halfsplit.capture.measure.cam import CamEdge, CamPattern, cam_pattern, shift
from halfsplit.capture.measure.result import CannotTell, Mark, Quantity, Result, answers
from halfsplit.capture.measure.sensor import without_glitches
from halfsplit.capture.measure.signal import Edges, Floats, smooth
from halfsplit.capture.measure.wheel import Wheel, best_direction, cycle_edges, repeated, repeats_in_use
from halfsplit.capture.measure.wheel_reading import COMMON, wheel_name
from halfsplit.capture.measure.wheel_search import local_pitch

_LONGEST_CYCLE: Final = 160
"""Most crank edges that are tried as one turn of the camshaft."""

_SLOWEST, _FASTEST = 40.0, 12_000.0
"""rpm of a crankshaft between which an engine is cranked or runs."""

_STEP: Final = 0.5
"""Logarithm by which the speed between two teeth may differ from that of the teeth about it."""

_MOST_NOTES: Final = 5

_DRIFT: Final = 3.0
"""Crank degrees of cam shift that count as a fault; one tooth of a timing belt is some 15 to 20."""


@dataclass(frozen=True, kw_only=True)
class CrankCamResult(Result):
    """`times` (s) and `speeds` (rpm of the crankshaft) tooth by tooth, the wheel, and the cam's edges."""

    analysis: ClassVar[str] = "crank and cam"

    wheel: str = ""
    times: Floats = field(default_factory=lambda: np.empty(0), compare=False, repr=False)
    speeds: Floats = field(default_factory=lambda: np.empty(0), compare=False, repr=False)
    cam: tuple[CamEdge, ...] = ()

    def details(self) -> tuple[str, ...]:
        """The cam's edges."""
        return tuple(str(edge) for edge in self.cam)


@answers(CrankCamResult)
def crank_cam(
    crank: Edges,
    cam: Edges | None = None,
    *,
    teeth: int | None = None,
    reference: CrankCamResult | None = None,
) -> CrankCamResult:
    """Pattern, speed and cam timing from edges (`sensor_edges`, or `level_edges` for a logic record).

    `teeth` is the number of edges in a turn of the crankshaft, for a wheel without a gap and without a cam
    signal. `reference` is the result of a good capture of the same engine.
    """
    crank, dropped = without_glitches(crank)
    cam = without_glitches(cam)[0] if cam is not None else None
    times, wheel, rising = best_direction(crank)
    turn = _turn(times, wheel, cam, teeth)
    wheel = turn.wheel
    speed_times, speeds, spans = _speeds(times, wheel, turn.cycle)
    pattern = cam_pattern(times, wheel, turn.cycle, cam) if cam is not None and turn.cycle else CamPattern()
    notes = [*turn.notes, f"{'rising' if rising else 'falling'} edges of the crank signal were used"]
    if dropped:
        notes.append(f"{dropped} pulses far too short for a tooth were left out as interference")
    starts = times[wheel.turn_starts[wheel.turn_starts < times.size][:200]].tolist()
    result = CrankCamResult(
        verdict="measured",
        reason="",
        wheel=_name(wheel, turn.cycle, teeth, pattern),
        times=speed_times,
        speeds=speeds,
        cam=pattern.edges,
        quantities=_quantities(times, speeds, spans, wheel, pattern),
        marks=(
            *(Mark(start, start, "turn") for start in starts),
            *(Mark(a, b, "pattern broken") for a, b in wheel.broken),
            *(Mark(a, b, "cam edges differ") for a, b in pattern.odd_cycles),
        ),
        notes=(*notes, *pattern.oddities[:_MOST_NOTES]),
    )
    return _judged(result, turn, pattern, cam, reference)


@dataclass(frozen=True)
class _Turn:
    """The wheel with its turn settled. `cycle`: crank edges in two turns of the crankshaft, 0 if unknown.

    `doubt` is why the reading is not sure ('' if it is), `lacking` what a wheel of the given teeth has and this one
    has not.
    """

    wheel: Wheel
    cycle: int
    notes: tuple[str, ...] = ()
    doubt: str = ""
    lacking: str = ""


def _turn(times: Floats, wheel: Wheel, cam: Edges | None, teeth: int | None) -> _Turn:
    if wheel.edges is None:
        return _even_turn(times, wheel, cam, teeth)
    turn = _told_turn(wheel, teeth) if teeth else _gapped_turn(times, wheel, cam)
    if wheel.rivals and not teeth:
        turn = replace(turn, doubt=f"{turn.wheel.name} or {wheel.rivals[0]}: neither is clearly likelier")
    elif not teeth and (broken := _perhaps_broken(turn.wheel)):
        turn = replace(turn, doubt=broken)
    # The reading if an engine can turn so; otherwise the pattern comes several times in a turn, or nothing fits.
    mean = _mean_speed(times, turn.wheel)
    if _SLOWEST <= mean <= _FASTEST:
        return turn
    for count in (2, 3, 4):
        more = repeated(turn.wheel, count)
        if _SLOWEST <= _mean_speed(times, more) <= _FASTEST:
            doubt = f"{turn.wheel.name} would be {mean:,.0f} rpm, {more.name} {mean / count:,.0f} rpm"
            return replace(turn, wheel=more, cycle=turn.cycle * count, doubt=turn.doubt or doubt)
    raise CannotTell(
        f"read as {turn.wheel.name} the crankshaft would turn at {mean:,.0f} rpm, which no engine does: "
        "teeth are lost, or the edges are noise"
    )


def _even_turn(times: Floats, wheel: Wheel, cam: Edges | None, teeth: int | None) -> _Turn:
    """The turn of a wheel that does not show it: by the teeth that are told, or by the cam."""
    if teeth:
        return _Turn(wheel, 2 * teeth)
    if cam is None or cam.times.size < 4:
        note = "a wheel without a gap shows no turn: give its teeth (--teeth), or record the cam with it"
        return _Turn(wheel, 0, (note,))
    longest = min(_LONGEST_CYCLE, times.size // 2)
    cycle, _ = cycle_edges(times, cam, list(range(1, longest + 1)))
    note = (
        f"the second signal comes again every {cycle} crank teeth, taken as one turn of the camshaft; "
        "if that wheel sits on the crankshaft, the speeds are half"
    )
    if not cycle:
        note = "the cam signal does not come again in any number of crank teeth"
    return _Turn(wheel, cycle, (note,))


def _perhaps_broken(wheel: Wheel) -> str:
    """Where a pattern is no wheel in use, but one that lacks a tooth: which."""
    if wheel.name in COMMON or 1 not in wheel.missing:
        return ""
    rest = list(wheel.missing)
    rest.remove(1)
    usual = wheel_name(wheel.places or 0, rest)
    broken = (
        f"{wheel.name}, or {usual} with a tooth broken off: look at the wheel, or give its teeth (--teeth)"
    )
    return broken if rest and usual in COMMON else ""


def _mean_speed(times: Floats, wheel: Wheel) -> float:
    intervals = np.diff(times)
    return 60.0 * float(np.median(wheel.units / intervals)) / (wheel.places or 1)


def _told_turn(wheel: Wheel, teeth: int) -> _Turn:
    """The turn of `teeth` crank edges (or places, the missing ones counted)."""
    edges, places = wheel.edges or 0, wheel.places or 0
    for count in (1, 2, 3, 4):
        if teeth in (count * edges, count * places):
            return _Turn(repeated(wheel, count), 2 * count * edges)
    if len(wheel.missing) > 1 and edges < teeth < places:
        lost = teeth - edges
        lacking = f"{lost} of the {teeth} teeth a turn {'is' if lost == 1 else 'are'} missing"
        return _Turn(wheel, 2 * edges, lacking=lacking)
    doubt = f"{teeth} teeth were given, but the pattern comes again every {edges} edges ({wheel.name})"
    return _Turn(wheel, 2 * edges, doubt=doubt)


_STEPS: Final = (1, 2, 4, 6, 8)
"""Turns of a pattern in one of the camshaft: two of the crankshaft with up to four patterns in each."""

_IN_STEP: Final = 0.8


def _gapped_turn(times: Floats, wheel: Wheel, cam: Edges | None) -> _Turn:
    """How often the pattern comes in a turn, from the cam where it was recorded."""
    edges = wheel.edges or 0
    if cam is None or cam.times.size < 4:
        return _without_cam(wheel)
    crank_edges, share = cycle_edges(times, cam, [edges * step for step in _STEPS])
    if share < _IN_STEP:
        turn = _without_cam(wheel)
        return replace(turn, notes=("the cam signal does not come again in step with the crank",))
    count = crank_edges // edges
    if count == 1:
        note = "the second signal comes again every turn of the wheel: both may sit on one shaft"
        return _Turn(wheel, 2 * edges, (note,))
    return _Turn(repeated(wheel, count // 2), crank_edges)


def _without_cam(wheel: Wheel) -> _Turn:
    count = repeats_in_use(wheel)
    note = "the wheel is taken to sit on the crankshaft; on the camshaft the speeds are double"
    doubt = (
        f"{wheel.name}, or {repeated(wheel, count).name} at a speed {count} times lower: "
        "record the cam with it, or give the teeth (--teeth)"
    )
    return _Turn(wheel, 2 * (wheel.edges or 0), (note,), doubt if count > 1 else "")


def _name(wheel: Wheel, cycle: int, teeth: int | None, pattern: CamPattern) -> str:
    if wheel.places:
        return wheel.name
    if teeth:
        return f"{teeth} teeth a turn, no gap"
    if cycle and sum(edge.rising for edge in pattern.edges) == 1:
        return f"{cycle}+1"
    return f"{cycle} edges in two turns, no gap" if cycle else "no gap"


def _speeds(times: Floats, wheel: Wheel, cycle: int) -> tuple[Floats, Floats, Floats]:
    """Middle (s), speed (rpm) and length (s) of each interval; empty where the turn is unknown.

    Each tooth of an uneven wheel takes its own share of a cycle, the median over the cycles; shares within 15 % of an
    even wheel are taken as even: what is left is the speed's own ripple. Left out is what no crankshaft does from one
    tooth to the next: an edge was lost there or one too many seen.
    """
    intervals = np.diff(times)
    if not cycle:
        return np.empty(0), np.empty(0), np.empty(0)
    shares = np.full(cycle, 1.0 / cycle)
    if intervals.size >= 3 * cycle:
        table = intervals[: intervals.size // cycle * cycle].reshape(-1, cycle)
        usual = np.median(table / table.sum(axis=1, keepdims=True), axis=0)
        shares = usual if np.any(np.abs(usual * cycle - 1.0) >= 0.15) else shares
        shares = shares / shares.sum()
    turns = wheel.units / wheel.places if wheel.places else np.resize(shares, intervals.size) * 2.0
    speeds = 60.0 * turns / intervals
    steps = np.abs(np.log(speeds * local_pitch(1.0 / speeds)))
    fits = (speeds < _FASTEST) & ((steps < _STEP) | (np.arange(speeds.size) < 2))
    return 0.5 * (times[1:] + times[:-1])[fits], speeds[fits], intervals[fits]


def _quantities(
    times: Floats, speeds: Floats, weights: Floats, wheel: Wheel, pattern: CamPattern
) -> tuple[Quantity, ...]:
    intervals = np.diff(times)
    if not speeds.size:
        spread = float(np.std(intervals) / np.mean(intervals) ** 2 / np.sqrt(intervals.size))
        return (Quantity("tooth frequency", 1.0 / float(np.mean(intervals)), "Hz", spread),)
    mean = float(np.average(speeds, weights=weights))
    span = max(int(np.searchsorted(np.cumsum(speeds * weights) / 60.0, 0.25)), 1)
    even, start = smooth(speeds, span), float(np.average(speeds[:span], weights=weights[:span]))
    error = float(np.std(speeds - even) / np.sqrt(span))
    quantities = [
        Quantity("speed", mean, "rpm", error / np.sqrt(speeds.size / span)),
        Quantity("speed at the start", start, "rpm", error),
        Quantity("lowest speed", float(even.min()), "rpm", error),
        Quantity("highest speed", float(even.max()), "rpm", error),
    ]
    if wheel.places and pattern.cycles == 0:
        quantities.append(Quantity("speed if the wheel sits on the camshaft", 2.0 * mean, "rpm", 2.0 * error))
    if wheel.missing:
        # The largest gap over the mean of its two neighbours: stretched where compression slows the engine.
        gaps = wheel.turn_starts - 1
        gaps = gaps[(gaps > 0) & (gaps < intervals.size - 1)]
        ratios = 2 * intervals[gaps] / (intervals[gaps - 1] + intervals[gaps + 1])
        ratio = float(np.median(ratios)) if gaps.size else float(max(wheel.missing) + 1)
        quantities.append(Quantity("gap", ratio, "tooth pitches"))
    return tuple(quantities)


def _judged(
    result: CrankCamResult,
    turn: _Turn,
    pattern: CamPattern,
    cam: Edges | None,
    reference: CrankCamResult | None,
) -> CrankCamResult:
    wheel = turn.wheel
    if turn.doubt:
        return replace(result, verdict="cannot tell", reason=f"two readings fit: {turn.doubt}")
    if not result.speeds.size:
        return replace(result, verdict="cannot tell", reason=_no_turn(result))
    silent = "the cam signal has no edges" if cam is not None and cam.times.size == 0 else ""
    for fault in (turn.lacking, wheel.lasting, silent, pattern.fault):
        if fault:
            return replace(result, verdict="fault", reason=f"wheel {result.wheel}: {fault}")
    if wheel.broken:
        # What breaks a pattern without coming again at the same tooth: two readings, neither of them proven.
        count = len(wheel.broken)
        places = ", ".join(f"{start:.3f} s" for start, _ in wheel.broken[:5])
        where = f"once, at {places}" if count == 1 else f"in {count} places, at {places}"
        broken = (
            f"the pattern of wheel {result.wheel} at {result['speed'].value:.0f} rpm breaks {where}, not at the same "
            "tooth each turn: a connection or sensor that drops out, or a disturbance of the recording; record again"
        )
        return replace(result, verdict="cannot tell", reason=broken)
    if reference is not None:
        return _against(result, reference)
    reason = f"wheel {result.wheel} repeats without a break at {result['speed'].value:.0f} rpm"
    if pattern.cycles and not pattern.odd_cycles:
        turns = f"{pattern.cycles} turns of the camshaft"
        reason += f", the cam's {len(pattern.edges)} edges come alike in {turns}"
    return replace(result, verdict="good", reason=reason)


_USUAL_TEETH: Final = (36, 60, 24, 12, 8, 4, 2, 1)
"""Teeth of even wheels in the order in which they are tried as readings: common practice, no source."""

_USUAL_SPEEDS: Final = (150.0, 4000.0)


def _no_turn(result: CrankCamResult) -> str:
    """Even teeth show no turn: the two readings at which the speed is usual."""
    frequency = result["tooth frequency"].value
    low, high = _USUAL_SPEEDS
    usual = [
        f"{60.0 * frequency / teeth:,.0f} rpm with {teeth} {'tooth' if teeth == 1 else 'teeth'}"
        for teeth in _USUAL_TEETH
        if low <= 60.0 * frequency / teeth <= high
    ]
    head = f"even teeth at {frequency:.4g} Hz; {result.notes[0]}"
    return f"{head} ({' or '.join(usual[:2])})" if usual else head


def _against(result: CrankCamResult, reference: CrankCamResult) -> CrankCamResult:
    if result.wheel != reference.wheel or not reference.cam or not result.cam:
        reason = f"the reference has wheel {reference.wheel or 'unknown'} with {len(reference.cam)} cam edges"
        notes = (*result.notes, f"not compared: {reason}")
        return replace(result, notes=notes, reason=f"wheel {result.wheel}")
    moved, error = shift(result.cam, reference.cam)
    quantities = (*result.quantities, Quantity("cam shift", moved, "crank degrees", error))
    far = abs(moved) > max(_DRIFT, 3 * error)
    side = "later" if moved > 0 else "earlier"
    reason = f"the cam comes {abs(moved):.1f} crank degrees {side} than in the reference"
    return replace(result, verdict="fault" if far else "good", reason=reason, quantities=quantities)
