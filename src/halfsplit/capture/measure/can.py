"""CAN at signal level: from the two wires, or from a logic record of one receiver.

The frames are in `can_frames`, the rates in `can_rates`, the voltages in `can_levels`. A receiver takes a
difference of more than 0.9 V as dominant and of less than 0.5 V as recessive (ISO 11898-2); the same thresholds are
used here. Where one wire does not move, the frames are read from the other one.
"""

from collections import Counter
from contextlib import suppress
from dataclasses import dataclass, replace
from typing import ClassVar, Final

import numpy as np

from halfsplit.capture.measure import can_levels
from halfsplit.capture.measure.can_bits import Status, Timing
from halfsplit.capture.measure.can_frames import WHOLE, Frame, frames
from halfsplit.capture.measure.can_rates import STANDARD_RATES, data_rate, rates
from halfsplit.capture.measure.result import CannotTell, Mark, Quantity, Result, answers, first_lines
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
    """`frames` in the order of time, broken ones among them; rates in bits a second, 0 if unknown.

    `data_bit_rate` is that of the fast part of CAN FD frames, 0 where there is none.
    """

    analysis: ClassVar[str] = "CAN"

    bit_rate: float = 0.0
    data_bit_rate: float = 0.0
    frames: tuple[Frame, ...] = ()

    def details(self) -> tuple[str, ...]:
        """The frames, up to fifty."""
        return first_lines(self.frames)


@answers(CanResult)
def can(high: Floats, low: Floats, rate: float, *, bit_rate: float | None = None) -> CanResult:
    """Judge both wires, in volts against ground, recorded at one rate (samples a second)."""
    require(rate, high, low, least_rate=20e3, least_seconds=0.0, what="a CAN line")
    if fault := can_levels.wiring_fault(high, low):
        return _by_one_line(high, low, rate, bit_rate, fault)
    # Where the difference goes below zero when dominant, the leads, or the wires, are exchanged.
    lowest, highest = np.quantile(high - low, [0.002, 0.998])
    swapped = bool(lowest < -0.9 and -lowest > 2 * max(highest, 0.0))
    pair = (low, high) if swapped else (high, low)
    sense = pair[0] - pair[1]
    if float(np.quantile(sense, 0.9999)) < 0.7 or float(sense.max()) < 0.9:
        raise CannotTell(can_levels.silent_reason(high, low))
    signal = edges(sense, rate, 0.5, 0.9).turned()
    result = _frames(signal, high.size, rate, bit_rate)
    levels = can_levels.levels(*pair, rate, signal, 1.0 / max(result.bit_rate, result.data_bit_rate))
    result = replace(result, quantities=(*result.quantities, *can_levels.quantities(levels)))
    wrong = ["CAN high and CAN low are swapped: the difference is negative when dominant"] if swapped else []
    if max(clipped(high), clipped(low)) > 0.02:
        cut = "the trace is clipped: its levels are not judged; choose a wider range"
        result = replace(result, notes=(*result.notes, cut))
    else:
        wrong += can_levels.judged(levels, 1.0 / result.bit_rate)
    if not wrong:
        return result
    reason = f"{wrong[0]}; {result.reason}"
    return replace(result, verdict="fault", reason=reason, notes=(*result.notes, *wrong[1:]))


@answers(CanResult)
def can_logic(signal: Edges, samples: int, rate: float, *, bit_rate: float | None = None) -> CanResult:
    """Judge the frames of a logic record of either line or of a receiver's output; the polarity is found.

    `rate` is in samples a second and `samples` their number; for a record of edges give its clock and length.
    """
    return _frames(as_recessive_high(signal, samples / rate), samples, rate, bit_rate)


def _by_one_line(high: Floats, low: Floats, rate: float, bit_rate: float | None, fault: str) -> CanResult:
    swings = [wire.high - wire.low for wire in map(can_levels.line, (high, low))]
    better = high if swings[0] >= swings[1] else low
    levels = two_levels(better)
    result = CanResult(verdict="fault", reason=fault)
    if levels is None:
        return result
    signal = as_recessive_high(edges(better, rate, *levels.walls(0.3)), better.size / rate)
    with suppress(CannotTell):
        result = _frames(signal, better.size, rate, bit_rate)
        result = replace(result, notes=(*result.notes, "frames read from one line"))
    return replace(result, verdict="fault", reason=fault)


def _frames(signal: Edges, samples: int, rate: float, bit_rate: float | None) -> CanResult:
    stop = samples / rate
    timing = data_rate(signal, stop, Timing(1.0 / bit_rate)) if bit_rate else rates(signal, stop)
    per_bit = timing.bit * rate
    if per_bit < 3.5:
        raise CannotTell(f"{rate:g} samples a second give {per_bit:.1f} samples a bit: at least 4 are needed")
    read = frames(signal, stop, timing)
    if not read:
        raise CannotTell("no start of a frame after an idle bus was recorded: record for longer")
    measured = 1.0 / timing.bit
    nominal = next((usual for usual in STANDARD_RATES if abs(measured / usual - 1) < 0.01), measured)
    senders = len({(frame.identifier, frame.extended) for frame in read if frame.status == "good"})
    counts = Counter(frame.status for frame in read)
    result = CanResult(
        verdict="good",
        reason=f"{nominal / 1e3:g} kbit/s, {counts['good']} of {len(read)} frames good, {senders} identifiers",
        bit_rate=measured,
        data_bit_rate=1.0 / timing.data_bit if timing.data_bit else 0.0,
        frames=tuple(read),
        marks=tuple(Mark(f.start, f.stop, f.status) for f in read[:_MOST_MARKS]),
        quantities=(
            _rate("bit rate", timing.bit, rate, signal),
            *((_rate("data bit rate", timing.data_bit, rate, signal),) if timing.data_bit else ()),
            Quantity("frames", float(len(read) - counts["error flag"]), ""),
            Quantity("load", 100.0 * sum(frame.stop - frame.start for frame in read) / stop, "%"),
            *(Quantity(status, float(count), "") for status, count in counts.items() if status != "good"),
        ),
        notes=_notes(read, timing, rate),
    )
    return _judged(result, counts, clear=timing.shortest * rate >= _CLEAR)


def _rate(name: str, bit: float, rate: float, signal: Edges) -> Quantity:
    return Quantity(name, 1.0 / bit, "bit/s", 0.3 / (rate * bit**2 * np.sqrt(signal.times.size)))


def _notes(frames: list[Frame], timing: Timing, rate: float) -> tuple[str, ...]:
    notes = []
    flexible = [frame for frame in frames if frame.fd and frame.status in WHOLE]
    fast = sum(frame.fast for frame in flexible)
    if flexible:
        second = f", the data of {fast} at {1e-3 / timing.data_bit:.0f} kbit/s" if fast else ""
        form = "" if timing.iso else ", in the form before ISO 11898-1:2015, without a stuff count"
        notes.append(f"{len(flexible)} frames are CAN FD{second}{form}")
    passive = sorted({frame.number for frame in flexible if frame.passive})
    if passive:
        notes.append(f"the sender of {', '.join(passive[:8])} is error passive: it has met many errors")
    unread = [frame for frame in frames if frame.status == "FD, not read"]
    if unread:
        notes.append(
            f"{len(unread)} frames are CAN FD and could not be read: their identifiers are told, their data is not "
            f"({unread[0].note or 'no check fits'}; {rate:g} samples a second may be too few for a second rate)"
        )
    return tuple(notes)


def _judged(result: CanResult, counts: Counter[Status], *, clear: bool) -> CanResult:
    """The verdict by the frames. A rate that makes no whole frames is not proven, and nothing is accused with it.

    A broken frame on a real bus is followed by an error flag of whoever noticed; without one, and with few samples a
    bit (`clear` is False) or a second rate, it is the recording that does not show the frame.
    """
    broken = sum(counts[kind] for kind in _BROKEN)
    whole = sum(counts[kind] for kind in WHOLE)
    if whole < 1 + (whole + broken) // 50:
        return replace(result, verdict="cannot tell", reason=_unproven(counts, broken))
    sure = clear and not counts["FD, not read"]  # what is not read may look like the start of another frame
    accused = [f for f in result.frames if f.status in _BROKEN and sure and not f.fast]
    if accused or counts["error flag"]:
        first = next(f for f in result.frames if f.status in (*_BROKEN, "error flag"))
        why = (
            f"{broken} of {whole + broken} frames are broken, the first at {first.start:.6f} s "
            f"({first.status}: {first.note})"
        )
        return replace(result, verdict="fault", reason=f"{result.reason}; {why}")
    if broken:
        note = (
            f"{broken} frames could not be read, but no unit sent an error flag after them: the recording does not "
            "show them clearly, the bus is not at fault"
        )
        result = replace(result, notes=(*result.notes, note))
    unread = broken + counts["FD, not read"]
    if unread > _MOST_UNREAD * (whole + unread):
        why = f"{result.reason}; {unread} could not be read: record with more samples a second"
        return replace(result, verdict="cannot tell", reason=why)
    if not counts["good"]:
        why = "no frame is acknowledged: one unit is alone on the bus, or the others run at another bit rate"
        return replace(result, verdict="fault", reason=f"{result.reason}; {why}")
    return result


def _unproven(counts: Counter[Status], broken: int) -> str:
    flags = counts["error flag"]
    if counts["FD, not read"] > broken:
        return (
            f"{counts['FD, not read']} frames are CAN FD and none could be read: record with more samples a second, "
            "or on the bus's own lines"
        )
    if not broken and not flags:
        return "no whole frame was recorded: record for longer"
    seen = f"; {flags} stretches of six and more dominant bits look like error flags" if flags else ""
    return (
        f"no bit rate makes whole frames of what was recorded ({broken} starts of frames break off{seen}): give the "
        "bit rate if it is known, or look at the pair with both lines recorded"
    )


_BROKEN: Final[tuple[Status, ...]] = ("CRC error", "stuff error", "form error")

_MOST_UNREAD: Final = 0.05
"""Share of frames that may stay unread before nothing is said of the bus."""

_CLEAR: Final = 8.0
"""Samples a bit from which every broken frame is taken for broken on the bus."""
