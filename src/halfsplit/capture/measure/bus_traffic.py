"""What an adapter's log of a CAN bus shows: identifiers with period and jitter, who fell silent, error frames, load.

An identifier is periodic if the spread of its intervals (median absolute deviation) is under 0.3 of their median. It
fell silent if it stays away for longer than five periods and half as long again as ever before, while the bus goes on.
What a fall of most identifiers at once means is another thing: the bus went to sleep.

Length of a frame in bits, with the pause of three: 47 + 8 n with 11 bits of identifier, 67 + 8 n with 29, and between
none and (34 + 8 n - 1) / 4 stuffed bits, (54 + 8 n - 1) / 4 with 29 (ISO 11898-1).
"""

from collections.abc import Iterator
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import ClassVar, Final

import numpy as np
from numpy.typing import NDArray

from halfsplit.capture.measure.result import CannotTell, Mark, Quantity, Result, answers, first_lines
from halfsplit.capture.measure.signal import Floats

Codes = NDArray[np.uint32]

_EXTENDED, _REMOTE, _ERROR = np.uint32(1 << 31), np.uint32(1 << 30), np.uint32(1 << 29)


_FEWEST: Final = 5
"""Frames of an identifier from which a period is told."""

_STEADY: Final = 0.3
_AWAY: Final = 5.0
_LONGER: Final = 1.5
_MOST_AT_ONCE: Final = 0.7
"""Share of the periodic identifiers whose fall at once is the bus going to sleep."""

_TOLERATED: Final = (3, 1e-3)
"""Error frames that a sound bus may have: so many, or this share of the frames (common practice, no source)."""

_SHOWN: Final = 60


@dataclass(frozen=True)
class Sender:
    """One identifier: `number` as it is written, frames, first and last in s, period and jitter in s (0 if none).

    `jitter` is the standard deviation of the intervals without the pauses. `silent` are the spans in s in which it
    stayed away; the last one reaches to the end of the log where it did not come back.
    """

    number: str
    frames: int
    length: int
    first: float
    last: float
    period: float = 0.0
    jitter: float = 0.0
    silent: tuple[tuple[float, float], ...] = ()
    gone: bool = False

    def __str__(self) -> str:
        every = (
            f"every {1e3 * self.period:.4g} ms, jitter {1e3 * self.jitter:.2g} ms"
            if self.period
            else "without a period"
        )
        away = "; ".join(f"silent from {a:.3f} to {b:.3f} s" for a, b in self.silent[:3])
        end = f"; fell silent at {self.last:.3f} s" if self.gone else ""
        return (
            f"{self.number} [{self.length}] {self.frames} frames, {every}{'; ' + away if away else ''}{end}"
        )


@dataclass(frozen=True, kw_only=True)
class BusLogResult(Result):
    """`senders`: every identifier, by its number; `errors`: times of the error frames in s."""

    analysis: ClassVar[str] = "bus log"

    senders: tuple[Sender, ...] = ()
    errors: tuple[float, ...] = ()

    def details(self) -> tuple[str, ...]:
        """The identifiers, those that fell silent first."""
        ordered = sorted(self.senders, key=lambda sender: (not sender.gone, not sender.silent))
        return first_lines(ordered, _SHOWN)


@answers(BusLogResult)
def bus_traffic(
    times: Floats, codes: Codes, lengths: NDArray[np.uint16] | None = None, *, bit_rate: float | None = None
) -> BusLogResult:
    """Judge a log: times in s, rising; identifiers with SocketCAN's flags; bytes of each frame; bit rate in bit/s."""
    if times.size < 2 or times[-1] <= times[0]:
        raise CannotTell("the log holds no two frames at different times")
    wrong = (codes & _ERROR) != 0
    sizes = np.zeros(times.size, np.uint16) if lengths is None else lengths
    errors, codes, sizes = times[wrong], codes[~wrong], sizes[~wrong]
    end = float(times[-1])
    seconds = end - float(times[0])
    senders = tuple(_senders(times[~wrong], codes, sizes, end))
    gone = [sender for sender in senders if sender.gone]
    asleep = _asleep(senders, gone)
    fallen = [] if asleep else gone
    load, said = _load(codes, sizes, seconds, bit_rate)
    troubled = errors.size > max(_TOLERATED[0], _TOLERATED[1] * codes.size)
    spans = [(sender.number, *span) for sender in senders[:200] for span in sender.silent[:3]]
    return BusLogResult(
        verdict="fault" if troubled else "measured",
        reason=_reason(senders, fallen, errors if troubled else errors[:0], codes.size, seconds),
        senders=senders,
        errors=tuple(errors[:1000].tolist()),
        quantities=(
            Quantity("frames", float(codes.size), ""),
            Quantity("identifiers", float(len(senders)), ""),
            Quantity("error frames", float(errors.size), ""),
            *load,
            *(Quantity(f"{sender.number} fell silent", sender.last, "s") for sender in fallen[:_SHOWN]),
        ),
        marks=(
            *(Mark(sender.last, end, f"{sender.number} silent") for sender in fallen[:_SHOWN]),
            *(Mark(start, stop, f"{number} silent") for number, start, stop in spans),
            *(Mark(time, time, "error frame") for time in errors[:200].tolist()),
        ),
        notes=(*said, *_notes(senders, asleep)),
    )


def _senders(times: Floats, codes: Codes, sizes: NDArray[np.uint16], end: float) -> Iterator[Sender]:
    order = np.lexsort((times, codes))
    walls = [0, *(np.flatnonzero(np.diff(codes[order])) + 1).tolist(), codes.size]
    for first, last in pairwise(walls if codes.size else ()):
        own = order[first:last]
        code, seen, steps = int(codes[own[0]]), times[own], np.diff(times[own])
        number = f"{code & 0x1FFFFFFF:08X}" if code & int(_EXTENDED) else f"{code & 0x7FF:03X}"
        number += " remote" if code & int(_REMOTE) else ""
        sender = Sender(number, seen.size, int(np.median(sizes[own])), float(seen[0]), float(seen[-1]))
        period = float(np.median(steps)) if seen.size >= _FEWEST else 0.0
        if period > 0 and 1.4826 * float(np.median(np.abs(steps - period))) <= _STEADY * period:
            away = np.flatnonzero(steps > _AWAY * period)
            seldom = away.size <= 0.02 * steps.size + 1
            sender = replace(
                sender,
                period=period,
                jitter=float(steps[steps <= _AWAY * period].std()),
                silent=tuple((float(seen[i]), float(seen[i + 1])) for i in away[:20]) if seldom else (),
                gone=end - sender.last > max(_AWAY * period, _LONGER * float(steps.max())),
            )
        yield sender


def _asleep(senders: tuple[Sender, ...], gone: list[Sender]) -> float | None:
    """When the bus went to sleep: most of the periodic identifiers end within a second of each other."""
    periodic = sum(sender.period > 0 for sender in senders)
    if len(gone) < 3 or len(gone) < _MOST_AT_ONCE * periodic:
        return None
    last = np.array([sender.last for sender in gone])
    middle = float(np.median(last))
    near = np.abs(last - middle) < max(1.0, 3 * max(sender.period for sender in gone))
    return middle if near.mean() > _MOST_AT_ONCE else None


def _load(
    codes: Codes, sizes: NDArray[np.uint16], seconds: float, bit_rate: float | None
) -> tuple[tuple[Quantity, ...], tuple[str, ...]]:
    if sizes.max(initial=0) > 8:
        return (), ("frames of CAN FD are among them: the load is not told, it depends on two bit rates",)
    data = np.where((codes & _REMOTE) != 0, 0, sizes).astype(np.float64) * 8
    wide = (codes & _EXTENDED) != 0
    least = float(np.sum(data + np.where(wide, 67, 47)))
    most = least + float(np.sum(np.floor((data + np.where(wide, 53, 33)) / 4)))
    low, high = (100 * bits / seconds / (bit_rate or 500e3) for bits in (least, most))
    if bit_rate is None:
        return (), (f"the bit rate is not in a log: at 500 kbit/s the load is {low:.1f} to {high:.1f} %",)
    return (Quantity("load", 0.5 * (low + high), "%", 0.5 * (high - low)),), ()


def _reason(
    senders: tuple[Sender, ...], fallen: list[Sender], errors: Floats, frames: int, seconds: float
) -> str:
    """`errors`: times of the error frames, none where a sound bus may have so many."""
    periodic = sum(sender.period > 0 for sender in senders)
    head = f"{frames} frames in {seconds:.4g} s, {len(senders)} identifiers, {periodic} of them periodic"
    if errors.size:
        head += (
            f"; {errors.size} error frames, the first at {errors[0]:.3f} s: a unit or the wiring disturbs the bus, "
            "look at the pair at signal level"
        )
    if fallen:
        names = ", ".join(f"{sender.number} at {sender.last:.3f} s" for sender in fallen[:8])
        head += f"; fell silent while the bus went on: {names}{' and more' if len(fallen) > 8 else ''}"
    return head


def _notes(senders: tuple[Sender, ...], asleep: float | None) -> Iterator[str]:
    if asleep is not None:
        yield f"most identifiers stop together at {asleep:.3f} s: the bus goes to sleep, no unit is missed"
    back = [sender for sender in senders if sender.silent]
    for returned in back[:10]:
        a, b = returned.silent[0]
        more = f", and {len(returned.silent) - 1} more times" if len(returned.silent) > 1 else ""
        yield f"{returned.number} stayed away from {a:.3f} to {b:.3f} s and came back{more}"
