"""CAN at signal level: from the two wires, or from a logic record of one receiver.

The frames are in `can_frames`, the voltages in `can_levels`. A receiver takes a difference of more than 0.9 V as
dominant and of less than 0.5 V as recessive (ISO 11898-2); the same thresholds are used here. Where one wire does
not move, the frames are read from the other one.
"""

from collections import Counter
from dataclasses import dataclass, replace
from typing import ClassVar, Final

import numpy as np

from halfsplit.capture.measure import can_levels
from halfsplit.capture.measure.can_frames import STANDARD_RATES, Frame, Status, bit_time, frames
from halfsplit.capture.measure.result import CannotTell, Mark, Quantity, Result, answers
from halfsplit.capture.measure.signal import (
    Edges,
    Floats,
    as_recessive_high,
    clipped,
    edges,
    require,
    two_levels,
)

_MOST_MARKS: Final = 500


@dataclass(frozen=True, kw_only=True)
class CanResult(Result):
    """`frames` in the order of time, broken ones among them; `bit_rate` in bits a second (0 if unknown)."""

    analysis: ClassVar[str] = "CAN"

    bit_rate: float = 0.0
    frames: tuple[Frame, ...] = ()

    def details(self) -> tuple[str, ...]:
        """The frames, up to fifty."""
        shown = tuple(str(frame) for frame in self.frames[:50])
        more = len(self.frames) - len(shown)
        return (*shown, f"… and {more} more") if more else shown


@answers(CanResult)
def can(high: Floats, low: Floats, rate: float, *, bit_rate: float | None = None) -> CanResult:
    """Judge both wires, in volts against ground, recorded at one rate (samples a second)."""
    for wire in (high, low):
        require(wire, rate, least_rate=20e3, least_seconds=0.0, what="a CAN line")
    fault = can_levels.wiring_fault(high, low)
    difference = high - low
    swapped = _swapped(difference)
    if fault:
        return _by_one_line(high, low, rate, bit_rate, fault)
    sense = -difference if swapped else difference
    if float(np.quantile(sense, 0.9999)) < 0.7 or float(sense.max()) < 0.9:
        raise CannotTell(can_levels.silent_reason(high, low))
    dominant = edges(sense, rate, 0.5, 0.9)
    signal = Edges(dominant.times, ~dominant.rising, not dominant.starts_high)
    result = _frames(signal, high.size, rate, bit_rate)
    pair = (low, high) if swapped else (high, low)
    found = can_levels.levels(*pair, rate, signal, 1.0 / result.bit_rate)
    result = replace(result, quantities=(*result.quantities, *can_levels.quantities(found)))
    return _with_levels(result, found, swapped=swapped, cut=max(clipped(high), clipped(low)) > 0.02)


@answers(CanResult)
def can_logic(signal: Edges, samples: int, rate: float, *, bit_rate: float | None = None) -> CanResult:
    """Judge the frames of a logic record of either line or of a receiver's output; the polarity is found.

    `rate` is in samples a second and `samples` their number; for a record of edges give its clock and length.
    """
    turned = as_recessive_high(signal, samples / rate)
    return _frames(turned, samples, rate, bit_rate)


def _swapped(difference: Floats) -> bool:
    """Whether the difference goes below zero when dominant: the leads, or the wires, are exchanged."""
    low, high = np.quantile(difference, [0.002, 0.998])
    return bool(low < -0.9 and -low > 2 * max(high, 0.0))


def _by_one_line(high: Floats, low: Floats, rate: float, bit_rate: float | None, fault: str) -> CanResult:
    swings = [can_levels.line(wire) for wire in (high, low)]
    better = high if swings[0].high - swings[0].low >= swings[1].high - swings[1].low else low
    bare = CanResult(verdict="fault", reason=fault)
    found = two_levels(better)
    if found is None:
        return bare
    signal = edges(better, rate, found.low + 0.3 * found.swing, found.low + 0.7 * found.swing)
    try:
        result = _frames(as_recessive_high(signal, better.size / rate), better.size, rate, bit_rate)
    except CannotTell:
        return bare
    return replace(result, verdict="fault", reason=fault, notes=(*result.notes, "frames read from one line"))


def _frames(signal: Edges, samples: int, rate: float, bit_rate: float | None) -> CanResult:
    stop = samples / rate
    bit = 1.0 / bit_rate if bit_rate else bit_time(signal, stop)
    if bit * rate < 3.5:
        raise CannotTell(
            f"{rate:g} samples a second give {bit * rate:.1f} samples a bit: at least 4 are needed"
        )
    found = frames(signal, stop, bit)
    if not found:
        raise CannotTell("no start of a frame after an idle bus was recorded: record for longer")
    measured = 1.0 / bit
    nominal = next((r for r in STANDARD_RATES if abs(measured / r - 1) < 0.01), measured)
    counts = Counter(frame.status for frame in found)
    result = CanResult(
        verdict="good",
        reason=_summary(found, nominal),
        bit_rate=measured,
        frames=tuple(found),
        marks=tuple(Mark(f.start, f.stop, f.status) for f in found[:_MOST_MARKS]),
        quantities=(
            Quantity(
                "bit rate", measured, "bit/s", measured * 0.3 / (rate * bit * np.sqrt(signal.times.size))
            ),
            Quantity("frames", float(len(found) - counts["error flag"]), ""),
            Quantity("load", _load(found, stop), "%"),
            *(Quantity(status, float(count), "") for status, count in counts.items() if status != "good"),
        ),
        notes=_notes(found),
    )
    return _judged(result, counts)


def _load(found: list[Frame], stop: float) -> float:
    return 100.0 * sum(frame.stop - frame.start for frame in found) / stop


def _summary(found: list[Frame], nominal: float) -> str:
    good = [frame for frame in found if frame.status == "good"]
    senders = len({(frame.identifier, frame.extended) for frame in good})
    return f"{nominal / 1e3:g} kbit/s, {len(good)} of {len(found)} frames good, {senders} identifiers"


def _notes(found: list[Frame]) -> tuple[str, ...]:
    flexible = sum(frame.fd for frame in found)
    if not flexible:
        return ()
    return (f"{flexible} frames are CAN FD: recognised, their CRC is not checked and fast data is not read",)


def _judged(result: CanResult, counts: Counter[Status]) -> CanResult:
    broken = sum(counts[kind] for kind in ("CRC error", "stuff error", "form error"))
    total = sum(counts.values()) - counts["error flag"] - counts["cut off"]
    if broken or counts["error flag"]:
        first = next(
            f for f in result.frames if f.status in ("CRC error", "stuff error", "form error", "error flag")
        )
        why = f"{broken} of {total} frames are broken, the first at {first.start:.6f} s ({first.status}: {first.note})"
        return replace(result, verdict="fault", reason=f"{result.reason}; {why}")
    if counts["not acknowledged"] and not counts["good"]:
        why = "no frame is acknowledged: one unit is alone on the bus, or the others run at another bit rate"
        return replace(result, verdict="fault", reason=f"{result.reason}; {why}")
    if not counts["good"] and counts["FD, not checked"]:
        return replace(result, verdict="measured", reason=f"{result.reason}; {result.notes[0]}")
    if not counts["good"]:
        return replace(result, verdict="cannot tell", reason="no whole frame was recorded: record for longer")
    return result


def _with_levels(result: CanResult, found: can_levels.Levels, *, swapped: bool, cut: bool) -> CanResult:
    wrong = [] if cut else can_levels.judged(found, 1.0 / result.bit_rate)
    if swapped:
        wrong.insert(0, "CAN high and CAN low are swapped: the difference is negative when dominant")
    notes = result.notes
    if cut:
        notes = (*notes, "the trace is clipped: its levels are not judged; choose a wider range")
    if not wrong:
        return replace(result, notes=notes)
    return replace(result, verdict="fault", reason=f"{wrong[0]}; {result.reason}", notes=(*notes, *wrong[1:]))
