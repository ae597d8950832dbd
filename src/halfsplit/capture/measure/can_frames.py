"""CAN frames from the edges of one logic signal (ISO 11898-1): bit rate, bits, stuffing, fields, CRC.

Bit rate: within a frame every stretch between two edges of one direction is a whole number of bits,
whatever the asymmetry of the edges, and stuffing keeps it to ten bits at most.

Bits: the receiver's clock starts anew at each edge from recessive to dominant, and each bit is sampled at
75 % of its time. After five equal bits the sender puts in one of the other kind (stuffing), from the start
bit to the end of the CRC; six equal bits there are an error flag or noise. The CRC has the polynomial
x^15 + x^14 + x^10 + x^8 + x^7 + x^4 + x^3 + 1 (0x4599) over the bits without stuffing.

Dominant is 0 and recessive is 1 throughout.
"""

from dataclasses import dataclass
from itertools import pairwise
from typing import Final, Literal

import numpy as np
from numpy.typing import NDArray

from halfsplit.capture.measure.result import CannotTell
from halfsplit.capture.measure.signal import Edges, Floats

Status = Literal[
    "good",
    "CRC error",
    "stuff error",
    "form error",
    "not acknowledged",
    "cut off",
    "FD, not checked",
    "error flag",
]

STANDARD_RATES: Final = (
    1e6,
    800e3,
    500e3,
    250e3,
    125e3,
    100e3,
    95238.0,
    83333.0,
    62500.0,
    50e3,
    33333.0,
    20e3,
    10e3,
)
"""Bit rates that are in use; a measured rate within 1 % of one is named after it (common practice, no source)."""

_SAMPLE_POINT: Final = 0.75
_IDLE: Final = 10.5
"""Recessive bits, a little less than 11, after which the bus is idle and the next dominant bit starts a frame."""

_POLYNOMIAL: Final = 0x4599


@dataclass(frozen=True)
class Frame:
    """One frame as it stood on the wire, with the span in seconds from the start bit.

    `fd` frames are recognised by their format bit; their data is not read, since they may switch the rate.
    `note` says what broke.
    """

    start: float
    stop: float
    status: Status
    identifier: int = 0
    extended: bool = False
    remote: bool = False
    data: bytes = b""
    length: int = 0
    crc: int = 0
    fd: bool = False
    note: str = ""

    def __str__(self) -> str:
        if self.status == "error flag" or (not self.identifier and not self.data and self.status != "good"):
            return f"{self.start:.6f} s {self.status}{': ' + self.note if self.note else ''}"
        number = f"{self.identifier:08X}" if self.extended else f"{self.identifier:03X}"
        kind = " FD" if self.fd else " remote" if self.remote else ""
        body = self.data.hex(" ").upper()
        return f"{self.start:.6f} s {number}{kind} [{self.length}] {body} {self.status}".replace("  ", " ")


def crc15(bits: list[int]) -> int:
    """CRC-15/CAN over bits (0 or 1), first bit first.

    >>> hex(crc15([int(b) for byte in b"123456789" for b in f"{byte:08b}"]))
    '0x59e'
    """
    crc = 0
    for bit in bits:
        carry = (crc >> 14 & 1) ^ bit
        crc = crc << 1 & 0x7FFF
        if carry:
            crc ^= _POLYNOMIAL
    return crc


def bit_time(signal: Edges, stop: float) -> float:
    """The time of one bit in seconds, for a signal whose high level is recessive.

    The shortest stretches give a first value, which is fitted. Where it makes no frame (glitches below a bit,
    or CAN FD whose data is faster) its multiples are tried: the one that makes most frames is taken.
    Raises `CannotTell` where no rate makes any.
    """
    if signal.times.size < 12:
        raise CannotTell(f"only {signal.times.size} edges were found: no frame was recorded")
    spans, dominant = np.diff(signal.times), ~signal.rising[:-1]
    first = 0.5 * (_shortest(spans[dominant]) + _shortest(spans[~dominant]))
    fits = [_fit(signal, first * factor) for factor in _FACTORS]
    scores = [_sense(frames(_head(signal), stop, bit)) if error < 0.2 else 0.0 for bit, error in fits]
    best = int(np.argmax(scores))
    if scores[best] > 0:
        return fits[best][0]
    if fits[0][1] > 0.15:
        raise CannotTell(
            "the stretches between edges are no multiples of one bit time: this is no CAN signal"
        )
    return fits[0][0]


_FACTORS: Final = (1.0, 0.5, 2.0, 3.0, 4.0, 5.0, 8.0, 10.0, 16.0)


def _head(signal: Edges) -> Edges:
    """Enough of a long record to find its bit rate."""
    return Edges(signal.times[:4000], signal.rising[:4000], signal.starts_high)


def _sense(found: list[Frame]) -> float:
    """How much sense the frames make: the share that is good, or recognised as FD."""
    weight = {"good": 1.0, "not acknowledged": 0.9, "FD, not checked": 0.3}
    return sum(weight.get(frame.status, 0.0) for frame in found) / max(len(found), 1)


def _shortest(spans: Floats) -> float:
    """The shortest length that comes often: glitches that come once or twice are passed over.

    Slow edges make the bits of one level longer and those of the other shorter by as much, so that the mean of both
    levels' shortest is one bit.
    """
    ordered = np.sort(spans)
    few = max(2, int(0.02 * ordered.size))
    start = ordered[min(few, ordered.size - 1)]
    cluster = ordered[(ordered >= 0.7 * start) & (ordered < 1.4 * start)]
    return float(np.median(cluster))


def _fit(signal: Edges, guess: float) -> tuple[float, float]:
    """Bit time by least squares, and how far the stretches are from whole numbers of it (in bits)."""
    value, error = guess, 1.0
    for _ in range(4):
        stretches = np.concatenate([np.diff(signal.of(True)), np.diff(signal.of(False))])
        stretches = stretches[(stretches < 10.5 * value) & (stretches > 1.5 * value)]
        if stretches.size < 6:
            return guess, 1.0
        whole = np.round(stretches / value)
        value = float(np.sum(stretches * whole) / np.sum(whole**2))
        error = float(np.mean(np.abs(stretches / value - np.round(stretches / value))))
    return value, error


@dataclass(frozen=True)
class _Bits:
    """Bits of one frame from its start bit, the time of the start, the time of one bit, and what ended them."""

    values: list[int]
    start: float
    bit: float


def frames(signal: Edges, stop: float, bit: float) -> list[Frame]:
    """All frames, good and broken, of a signal whose high level is recessive.

    `stop` is the time of the last sample and `bit` the time of a bit, in seconds. A frame under way when the
    recording starts is not counted; one under way when it ends is 'cut off'.
    """
    found = []
    for first, last in _bursts(signal, stop, bit):
        found += _burst(signal, first, last, stop, bit)
    return found


def _bursts(signal: Edges, stop: float, bit: float) -> list[tuple[int, int]]:
    """Edges from a falling one after an idle stretch to the last one before the next."""
    falls = np.flatnonzero(~signal.rising)
    before = np.diff(np.concatenate(([0.0], signal.times)))
    starts = [int(i) for i in falls if before[i] > _IDLE * bit]
    ends = [*(start - 1 for start in starts[1:]), signal.times.size - 1] if starts else []
    return list(zip(starts, ends, strict=True))


def _burst(signal: Edges, first: int, last: int, stop: float, bit: float) -> list[Frame]:
    """The frames between two idle stretches: one as a rule, more where the next comes a bit early.

    After a broken frame its error flag is looked for, and the rest up to the idle stretch is left.
    """
    bits = _sampled(signal, first, last, stop, bit)
    decoded: list[Frame] = []
    while 0 in bits.values:
        begin = bits.values.index(0)
        bits = _Bits(bits.values[begin:], bits.start + begin * bit, bit)
        frame, used = decode(bits)
        decoded.append(frame)
        if frame.status not in ("good", "not acknowledged"):
            flag = _error_flag(bits, used)
            return decoded if flag is None else [*decoded, flag]
        bits = _Bits(bits.values[used:], bits.start + used * bit, bit)
        if bits.values[:8].count(0) >= 6:
            return [*decoded, Frame(bits.start, bits.start + 6 * bit, "error flag", note="overload flag")]
    return decoded


def _sampled(signal: Edges, first: int, last: int, stop: float, bit: float) -> _Bits:
    """Bits sampled at 75 %, the clock set anew at each falling edge, up to the idle level after the last edge."""
    times, rising = signal.times[first : last + 1], signal.rising[first : last + 1]
    after = signal.times[last + 1] if last + 1 < signal.times.size else stop
    values: list[int] = []
    ends = np.append(times[1:], min(after, times[-1] + 11.99 * bit))
    clock = float(times[0])
    for time, end, up in zip(times.tolist(), ends.tolist(), rising.tolist(), strict=True):
        if not up:
            clock = time
        count = _count(clock, time, end, bit)
        values += [1 if up else 0] * count
    return _Bits(values, float(times[0]), bit)


def _count(clock: float, start: float, end: float, bit: float) -> int:
    """How many sample points, counted from the clock's last edge, lie between two times."""
    before = np.ceil((start - clock) / bit - _SAMPLE_POINT - 1e-9)
    until = np.ceil((end - clock) / bit - _SAMPLE_POINT - 1e-9)
    return max(int(until - max(before, 0)), 0)


class _Reader:
    """Takes bits one by one and leaves out stuffed ones; a sixth equal bit is a stuff error."""

    def __init__(self, bits: list[int]) -> None:
        self.bits = bits
        self.place = 0
        self.plain: list[int] = []
        self._run = 0
        self._last = -1

    def one(self) -> int:
        bit = self._raw()
        self.plain.append(bit)
        return bit

    def number(self, width: int) -> int:
        value = 0
        for _ in range(width):
            value = value << 1 | self.one()
        return value

    def finish(self) -> None:
        """Take the stuffed bit that may follow the last bit of the CRC."""
        if self._run == 5:
            self._next()

    def unstuffed(self, width: int) -> list[int]:
        """Bits after the CRC, which are not stuffed."""
        part = self.bits[self.place : self.place + width]
        self.place += len(part)
        return part

    def _raw(self) -> int:
        if self._run == 5:
            self._next()
        return self._next()

    def _next(self) -> int:
        if self.place >= len(self.bits):
            raise _Broken("cut off", "the bits end within the frame")
        bit = self.bits[self.place]
        if bit == self._last and self._run == 5:
            raise _Broken("stuff error", f"six {'recessive' if bit else 'dominant'} bits in a row")
        self._run = self._run + 1 if bit == self._last else 1
        self._last = bit
        self.place += 1
        return bit


class _Broken(Exception):
    """A frame ends where it must not."""

    def __init__(self, status: Status, note: str) -> None:
        super().__init__(note)
        self.status: Status = status
        self.note = note


def decode(bits: _Bits) -> tuple[Frame, int]:
    """One frame from its bits, and how many of them it used."""
    reader = _Reader(bits.values)
    known: dict[str, int | bool] = {}
    try:
        frame = _fields(reader, bits, known)
    except _Broken as broken:
        stop = bits.start + reader.place * bits.bit
        return Frame(bits.start, stop, broken.status, note=broken.note, **known), reader.place  # type: ignore[arg-type]
    return frame, reader.place


def _fields(reader: _Reader, bits: _Bits, known: dict[str, int | bool]) -> Frame:
    reader.one()  # start of frame
    identifier, remote, extended = reader.number(11), reader.one(), reader.one()
    known["identifier"] = identifier
    if extended:
        identifier = identifier << 18 | reader.number(18)
        remote = reader.one()
        known |= {"identifier": identifier, "extended": True}
    if reader.one():  # the format bit that classic frames send dominant
        return _flexible(reader, bits, known)
    if extended:
        reader.one()  # the second reserved bit
    length = reader.number(4)
    known |= {"remote": bool(remote), "length": min(length, 8)}
    data = b"" if remote else bytes(reader.number(8) for _ in range(min(length, 8)))
    computed = crc15(reader.plain)
    received = reader.number(15)
    reader.finish()
    status, note = _end(reader, computed, received)
    stop = bits.start + reader.place * bits.bit
    return Frame(
        bits.start,
        stop,
        status,
        identifier,
        bool(extended),
        bool(remote),
        data,
        min(length, 8),
        received,
        note=note,
    )


def _end(reader: _Reader, computed: int, received: int) -> tuple[Status, str]:
    tail = reader.unstuffed(10)
    if len(tail) < 10:
        return "cut off", "the bits end within the frame's end"
    if computed != received:
        return "CRC error", f"computed {computed:04X}, received {received:04X}"
    if tail[0] == 0 or tail[2] == 0 or 0 in tail[3:9]:
        return "form error", "a dominant bit in the end of the frame"
    return ("not acknowledged", "no other unit answered") if tail[1] else ("good", "")


def _flexible(reader: _Reader, bits: _Bits, known: dict[str, int | bool]) -> Frame:
    """CAN FD: what stands before a possible change of rate; the rest is not read."""
    reader.one()  # reserved
    faster = reader.one()
    note = "CAN FD, the data at a higher rate" if faster else "CAN FD, one rate throughout"
    length, data = 0, b""
    if not faster:
        reader.one()  # error state
        length = _FD_LENGTHS[reader.number(4)]
        data = bytes(reader.number(8) for _ in range(length))
    reader.place = len(reader.bits)
    stop = bits.start + len(bits.values) * bits.bit
    return Frame(
        bits.start,
        stop,
        "FD, not checked",
        int(known["identifier"]),
        bool(known.get("extended")),
        data=data,
        length=length,
        fd=True,
        note=note,
    )


_FD_LENGTHS: Final = (0, 1, 2, 3, 4, 5, 6, 7, 8, 12, 16, 20, 24, 32, 48, 64)


def _error_flag(bits: _Bits, used: int) -> Frame | None:
    """Six to twelve dominant bits after an error."""
    values: NDArray[np.int64] = np.array([1, *bits.values[max(used - 6, 0) :], 1])
    change = np.flatnonzero(np.diff(values))
    for begin, end in pairwise(change):
        if values[begin + 1] == 0 and end - begin >= 6:
            start = bits.start + (max(used - 6, 0) + int(begin)) * bits.bit
            return Frame(
                start, start + int(end - begin) * bits.bit, "error flag", note=f"{end - begin} dominant bits"
            )
    return None
