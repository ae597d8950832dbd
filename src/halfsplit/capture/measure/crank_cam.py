"""Crank and cam: tooth pattern, speed over time, cam edges in crank degrees, drift against a good capture.

An inductive sensor gives volts in proportion to the change of flux and passes zero in the middle of a tooth,
whatever the speed; its amplitude grows with the speed, so the hysteresis about zero follows the local
amplitude. A Hall or optical sensor switches between two levels. Both become edges; the rest is in `wheel`.

Speed: one turn is 360 degrees between the same tooth and itself, whatever the shape of the teeth. Between
teeth of a regular wheel the speed is the pitch over its time. Without a gap in the crank's own signal the
cam tells the turn; a camshaft turns once for two turns of the crankshaft (four-stroke).
"""

from dataclasses import dataclass, field, replace
from typing import ClassVar, Final

import numpy as np

from halfsplit.capture.measure.cam import CamEdge, CamPattern, cam_pattern, shift
from halfsplit.capture.measure.result import CannotTell, Mark, Quantity, Result, answers
from halfsplit.capture.measure.signal import (
    Edges,
    Floats,
    edges,
    noise,
    require,
    smooth,
    two_levels,
)
from halfsplit.capture.measure.wheel import Wheel, best_direction, cycle_edges

_LONGEST_CYCLE: Final = 160
"""Most crank edges that are tried as one turn of the camshaft."""

_QUIET: Final = 0.05

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


def sensor_edges(values: Floats, rate: float) -> Edges:
    """Edges of a crank or cam trace, inductive or switching, in volts or any unit.

    Raises `CannotTell` where the trace is too slow, too short or flat.
    """
    require(values, rate, least_rate=500.0, least_seconds=0.02, what="a trigger wheel")
    levels = two_levels(values)
    if levels:
        found = edges(values, rate, levels.low + 0.3 * levels.swing, levels.low + 0.7 * levels.swing)
    else:
        found = _inductive(values, rate)
    gaps = np.diff(found.of(True))
    if gaps.size and float(np.median(gaps)) * rate < 4:
        raise CannotTell(f"{rate:g} samples a second give fewer than four samples a tooth")
    return found


def _inductive(values: Floats, rate: float) -> Edges:
    """Crossings of the middle, with a hysteresis of 0.4 of the local effective value."""
    centred = _quieter(values - np.median(values), rate)
    local = np.sqrt(smooth(centred**2, int(0.05 * rate)))
    top = float(np.quantile(np.abs(centred), 0.999))
    floor = min(max(0.04 * top, 4 * noise(centred)), 0.12 * top)
    if floor <= 0:
        raise CannotTell("the trace is flat: no tooth passes the sensor, or it is not connected")
    return edges(centred / np.maximum(0.4 * local, floor), rate, -1.0, 1.0)


def _quieter(centred: Floats, rate: float) -> Floats:
    """Noise averaged down to a twentieth of the effective value, over an eighth of a tooth at most."""
    effective = float(np.sqrt(np.mean(centred**2)))
    error = noise(centred)
    if error <= _QUIET * effective:
        return centred
    part = centred[: 1 << 18]
    power = np.abs(np.fft.rfft(part * np.hanning(part.size)))
    tooth = part.size / max(int(np.argmax(power)), 1)
    return smooth(centred, int(min((error / (_QUIET * effective)) ** 2, tooth / 8)))


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
    times, wheel, rising = best_direction(crank)
    cycle, notes = _cycle(times, wheel, cam, teeth)
    speed_times, speeds = _speeds(times, wheel, cycle)
    pattern = cam_pattern(times, wheel, cycle, cam) if cam is not None and cycle else CamPattern()
    result = CrankCamResult(
        verdict="measured",
        reason="",
        wheel=_name(wheel, cycle, teeth, pattern),
        times=speed_times,
        speeds=speeds,
        cam=pattern.edges,
        quantities=_quantities(times, speed_times, speeds, wheel, pattern),
        marks=_marks(wheel, times, pattern),
        notes=(*notes, f"{'rising' if rising else 'falling'} edges of the crank signal were used"),
    )
    return _judged(result, wheel, pattern, cam, reference)


def _cycle(times: Floats, wheel: Wheel, cam: Edges | None, teeth: int | None) -> tuple[int, list[str]]:
    """Crank edges in two turns of the crankshaft (one of the camshaft), 0 if unknown, and what was assumed."""
    if wheel.edges:
        return _gapped_cycle(times, wheel.edges, cam)
    if teeth:
        return 2 * teeth, []
    if cam is None or cam.times.size < 4:
        return 0, ["a wheel without a gap shows no turn: give its teeth, or record the cam with it"]
    longest = min(_LONGEST_CYCLE, times.size // 2)
    cycle, _ = cycle_edges(times, cam, list(range(1, longest + 1)))
    if not cycle:
        return 0, ["the cam signal does not come again in any number of crank teeth"]
    return cycle, [
        f"the second signal comes again every {cycle} crank teeth, taken as one turn of the camshaft; "
        "if that wheel sits on the crankshaft, the speeds are half"
    ]


def _gapped_cycle(times: Floats, turn: int, cam: Edges | None) -> tuple[int, list[str]]:
    if cam is None or cam.times.size < 4:
        return 2 * turn, [
            "the wheel is taken to sit on the crankshaft; on the camshaft the speeds are double"
        ]
    found, _ = cycle_edges(times, cam, [turn, 2 * turn])
    if found == turn:
        return 2 * turn, ["the second signal comes again every turn of the wheel: both may sit on one shaft"]
    if not found:
        return 2 * turn, ["the cam signal does not come again in step with the crank"]
    return 2 * turn, []


def _name(wheel: Wheel, cycle: int, teeth: int | None, pattern: CamPattern) -> str:
    if wheel.places:
        return wheel.name
    if teeth:
        return f"{teeth} teeth a turn, no gap"
    if cycle and sum(edge.rising for edge in pattern.edges) == 1:
        return f"{cycle}+1"
    return f"{cycle} edges in two turns, no gap" if cycle else "no gap"


def _speeds(times: Floats, wheel: Wheel, cycle: int) -> tuple[Floats, Floats]:
    """Speed of each interval in rpm, at its middle in seconds; empty where the turn is unknown."""
    intervals = np.diff(times)
    if not cycle:
        return np.empty(0), np.empty(0)
    turns = wheel.units / wheel.places if wheel.places else _shares(intervals, cycle) * 2.0
    return 0.5 * (times[1:] + times[:-1]), 60.0 * turns / intervals


def _shares(intervals: Floats, cycle: int) -> Floats:
    """The share of a cycle that each tooth of an uneven wheel takes: the median over the cycles.

    Shares within 15 % of an even wheel are taken as even: what is left is the speed's own ripple.
    """
    cycles = intervals.size // cycle
    if cycles < 3:
        return np.full(intervals.size, 1.0 / cycle)
    table = intervals[: cycles * cycle].reshape(cycles, cycle)
    share = np.median(table / table.sum(axis=1, keepdims=True), axis=0)
    if np.all(np.abs(share * cycle - 1.0) < 0.15):
        share = np.full(cycle, 1.0 / cycle)
    return np.resize(share / share.sum(), intervals.size)


def _quantities(
    times: Floats, speed_times: Floats, speeds: Floats, wheel: Wheel, pattern: CamPattern
) -> tuple[Quantity, ...]:
    if not speeds.size:
        intervals = np.diff(times)
        spread = float(np.std(intervals) / np.mean(intervals) ** 2 / np.sqrt(intervals.size))
        return (Quantity("tooth frequency", 1.0 / float(np.mean(intervals)), "Hz", spread),)
    weights = np.diff(times)
    mean = float(np.average(speeds, weights=weights))
    span = max(int(np.searchsorted(np.cumsum(speeds * weights) / 60.0, 0.25)), 1)
    even = smooth(speeds, span)
    error = float(np.std(speeds - even) / np.sqrt(span))
    found = [
        Quantity("speed", mean, "rpm", error / np.sqrt(speeds.size / span)),
        Quantity(
            "speed at the start", float(np.average(speeds[:span], weights=weights[:span])), "rpm", error
        ),
        Quantity("lowest speed", float(even.min()), "rpm", error),
        Quantity("highest speed", float(even.max()), "rpm", error),
    ]
    if wheel.places and pattern.cycles == 0:
        found.append(Quantity("speed if the wheel sits on the camshaft", 2.0 * mean, "rpm", 2.0 * error))
    if wheel.places:
        found.append(Quantity("gap", _gap_ratio(times, wheel), "tooth pitches"))
    return tuple(found)


def _gap_ratio(times: Floats, wheel: Wheel) -> float:
    """The largest gap over the mean of its two neighbours: stretched where compression slows the engine."""
    intervals = np.diff(times)
    gaps = wheel.turn_starts - 1
    gaps = gaps[(gaps > 0) & (gaps < intervals.size - 1)]
    if not gaps.size:
        return float(max(wheel.missing) + 1)
    return float(np.median(2 * intervals[gaps] / (intervals[gaps - 1] + intervals[gaps + 1])))


def _marks(wheel: Wheel, times: Floats, pattern: CamPattern) -> tuple[Mark, ...]:
    starts = wheel.turn_starts[wheel.turn_starts < times.size]
    turns = [Mark(float(times[i]), float(times[i]), "turn") for i in starts[:200]]
    broken = [Mark(a, b, "pattern broken") for a, b in wheel.broken]
    lost = [Mark(a, b, "cam edges differ") for a, b in pattern.odd_cycles]
    return (*turns, *broken, *lost)


def _judged(
    result: CrankCamResult,
    wheel: Wheel,
    pattern: CamPattern,
    cam: Edges | None,
    reference: CrankCamResult | None,
) -> CrankCamResult:
    if wheel.broken:
        places = ", ".join(f"{start:.3f} s" for start, _ in wheel.broken[:5])
        reason = f"wheel {result.wheel}: the pattern breaks in {len(wheel.broken)} places, at {places}"
        return replace(result, verdict="fault", reason=reason)
    if cam is not None and cam.times.size == 0:
        return replace(result, verdict="fault", reason=f"wheel {result.wheel}: the cam signal has no edges")
    if pattern.odd_cycles:
        return replace(result, verdict="fault", reason=_odd_cam(result.wheel, pattern))
    if reference is not None:
        return _against(result, reference)
    if not result.speeds.size:
        return replace(
            result, reason=f"even teeth at {result['tooth frequency'].value:.4g} Hz; {result.notes[0]}"
        )
    reason = f"wheel {result.wheel} repeats without a break at {result['speed'].value:.0f} rpm"
    if pattern.cycles:
        reason += (
            f", the cam's {len(pattern.edges)} edges come alike in {pattern.cycles} turns of the camshaft"
        )
    return replace(result, verdict="good", reason=reason)


def _odd_cam(wheel: str, pattern: CamPattern) -> str:
    what = "; ".join(pattern.oddities[:3])
    return f"wheel {wheel}: the cam differs in {len(pattern.odd_cycles)} of {pattern.cycles} turns: {what}"


def _against(result: CrankCamResult, reference: CrankCamResult) -> CrankCamResult:
    if result.wheel != reference.wheel or not reference.cam or not result.cam:
        reason = f"the reference has wheel {reference.wheel or 'unknown'} with {len(reference.cam)} cam edges"
        return replace(
            result, notes=(*result.notes, f"not compared: {reason}"), reason=f"wheel {result.wheel}"
        )
    moved, error = shift(result.cam, reference.cam)
    quantities = (*result.quantities, Quantity("cam shift", moved, "crank degrees", error))
    far = abs(moved) > max(_DRIFT, 3 * error)
    side = "later" if moved > 0 else "earlier"
    reason = f"the cam comes {abs(moved):.1f} crank degrees {side} than in the reference"
    return replace(result, verdict="fault" if far else "good", reason=reason, quantities=quantities)
