"""CAN and CAN FD frames from the edges of one logic signal (ISO 11898-1).

The clock and the checks are in `can_bits`.
"""

from dataclasses import dataclass, field, replace
from itertools import pairwise
from typing import Any, Final

import numpy as np

from halfsplit.capture.measure.can_bits import (
    CRC_15,
    CRC_17,
    CRC_21,
    EARLY,
    TURNS,
    BitReader,
    BrokenFrame,
    Clock,
    Status,
    Timing,
    crc,
    number_of,
    stuff_count,
)
from halfsplit.capture.measure.signal import Edges, without_glitches

_IDLE: Final = 10.5
"""Recessive bits, a little less than 11, after which the bus is idle and the next dominant bit starts a frame."""

_GLITCH: Final = 0.2
"""Stretches shorter than this share of the shortest bit are no bits: a receiver does not see them either."""

WHOLE: Final = ("good", "not acknowledged")


@dataclass(frozen=True)
class Frame:
    """One frame as it stood on the wire, with the span in seconds from the start bit.

    `fd` frames are CAN FD, `fast` those whose data came at a second rate, `passive` those of a sender that counts
    itself error passive. `note` says what broke.
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
    fast: bool = False
    passive: bool = False
    note: str = ""

    @property
    def number(self) -> str:
        """The identifier as it is usually written: three or eight hexadecimal figures."""
        return f"{self.identifier:08X}" if self.extended else f"{self.identifier:03X}"

    def __str__(self) -> str:
        if self.status == "error flag" or (not self.identifier and not self.data and self.status != "good"):
            return f"{self.start:.6f} s {self.status}{': ' + self.note if self.note else ''}"
        kind = (" FD fast" if self.fast else " FD") if self.fd else " remote" if self.remote else ""
        body = self.data.hex(" ").upper()
        return f"{self.start:.6f} s {self.number}{kind} [{self.length}] {body} {self.status}".replace(
            "  ", " "
        )


def crc15(bits: list[int]) -> int:
    """CRC-15/CAN over bits (0 or 1), first bit first."""
    return crc(bits, *CRC_15)


def frames(signal: Edges, stop: float, timing: Timing) -> list[Frame]:
    """All frames, good and broken, of a signal whose high level is recessive.

    `stop` is the time of the last sample in seconds. A frame under way when the recording starts is not counted, nor
    one that starts before an idle stretch was seen unless it is whole; one under way when it ends is 'cut off'. Where
    no CAN FD frame is good, none is called broken: they are 'not read', and what follows them as an error flag may be
    their own data.
    """
    clean = without_glitches(signal, _GLITCH * timing.shortest)
    read: list[Frame] = []
    for first, last in bursts(clean, timing.bit):
        group = _burst(clean, first, last, stop, timing)
        unsure = clean.times[first] < _IDLE * timing.bit and group[0].status not in WHOLE
        read += [] if unsure else group
    if any(frame.fd and frame.status in WHOLE for frame in read):
        return read
    kept: list[Frame] = []
    for frame in read:
        unread = frame.fd and frame.status != "cut off"
        if frame.status != "error flag" or not kept or not kept[-1].fd:
            kept.append(replace(frame, status="FD, not read") if unread else frame)
    return kept


def bursts(signal: Edges, bit: float) -> list[tuple[int, int]]:
    """Numbers of edges, from a falling one after an idle stretch to the last one before the next.

    The first falling edge starts one in any case: the recording may begin just before a frame.
    """
    falls = np.flatnonzero(~signal.rising)
    before = np.diff(np.concatenate(([-np.inf], signal.times)))
    starts = [int(i) for i in falls if before[i] > _IDLE * bit]
    ends = [*(start - 1 for start in starts[1:]), signal.times.size - 1] if starts else []
    return list(zip(starts, ends, strict=True))


def _burst(signal: Edges, first: int, last: int, stop: float, timing: Timing) -> list[Frame]:
    """The frames between two idle stretches: one as a rule, more where the next comes a bit early.

    After a broken frame its error flag is looked for, and the rest up to the idle stretch is left.
    """
    burst: list[Frame] = []
    while True:
        frame, clock = decode_at_any_turn(signal, first, last, stop, timing)
        burst.append(frame)
        if frame.status not in WHOLE:
            break
        following = clock.next_fall()
        if following is None:
            return burst
        first += following
        start = float(signal.times[first])
        end = float(signal.times[first + 1]) if first < last else stop
        if end - start > 5.6 * timing.bit:  # six dominant bits where a frame might start
            return [*burst, Frame(start, end, "error flag", note="overload flag")]
    # Six to twelve dominant bits after an error, before the next idle stretch.
    first = int(np.searchsorted(signal.times, clock.now - 7 * timing.bit))
    times = [*signal.times[first : last + 1].tolist(), stop]
    for (start, end), up in zip(pairwise(times), signal.rising[first : last + 1].tolist(), strict=True):
        count = round((end - start) / timing.bit)
        if not up and count >= 6 and end < stop and frame.status != "FD, not read":
            return [*burst, Frame(start, end, "error flag", note=f"{count} dominant bits")]
    return burst


def decode_at_any_turn(
    signal: Edges, first: int, last: int, stop: float, timing: Timing
) -> tuple[Frame, Clock]:
    """The same for a frame with a second rate whose sender may switch it elsewhere.

    Where the sender switches its rate shows only if the bit after is dominant; else the other places are tried.
    """
    frame, clock = decode(signal, first, last, stop, timing)
    if frame.fast and timing.data_bit and frame.status not in (*WHOLE, "cut off"):
        for turn in TURNS:
            other = decode(signal, first, last, stop, replace(timing, turn=turn))
            if other[0].status in WHOLE:
                return other
    return frame, clock


def decode(signal: Edges, first: int, last: int, stop: float, timing: Timing) -> tuple[Frame, Clock]:
    """The frame that starts with the falling edge `first`, and the clock where it stopped."""
    clock = Clock(signal, first, last, stop, timing.bit)
    draft = _Draft(clock.now, BitReader(clock), timing)
    try:
        frame = draft.read()
    except BrokenFrame as broken:
        frame = draft.frame(broken.status, broken.note)
    return frame, clock


@dataclass
class _Draft:
    """A frame while its fields are read; `known` holds what is known of it so far."""

    start: float
    reader: BitReader
    timing: Timing
    known: dict[str, Any] = field(default_factory=dict)

    def frame(self, status: Status, note: str = "") -> Frame:
        clock = self.reader.clock
        return Frame(self.start, clock.now + 0.25 * clock.bit, status, note=note, **self.known)

    def read(self) -> Frame:
        """The whole frame. Raises `BrokenFrame` where it breaks off."""
        reader, known = self.reader, self.known
        reader.bit()  # start of frame
        identifier, remote, extended = reader.number(11), reader.bit(), reader.bit()
        known["identifier"] = identifier
        if extended:
            known |= {"identifier": identifier << 18 | reader.number(18), "extended": True}
            remote = reader.bit()
        if reader.bit():  # the format bit, which classic frames send dominant
            return self.flexible()
        if extended:
            reader.bit()  # the second reserved bit
        length = min(reader.number(4), 8)
        known |= {"remote": bool(remote), "length": length}
        known["data"] = b"" if remote else bytes(reader.number(8) for _ in range(length))
        computed = crc15(reader.plain)
        known["crc"] = reader.number(15)
        reader.finish()
        tail = [reader.clock.sample() for _ in range(10)]
        if computed != known["crc"]:
            return self.frame("CRC error", f"computed {computed:04X}, received {known['crc']:04X}")
        if tail[0] == 0 or tail[2] == 0 or 0 in tail[3:9]:
            return self.frame("form error", "a dominant bit in the end of the frame")
        return self.frame("not acknowledged", "no other unit answered") if tail[1] else self.frame("good")

    def flexible(self) -> Frame:
        """CAN FD from after its format bit: perhaps a second rate, up to 64 bytes, the longer CRC with stuff count."""
        reader, known, timing = self.reader, self.known, self.timing
        known["fd"] = True
        if reader.bit():
            raise BrokenFrame("FD, not read", "the reserved bit is recessive: a later format than CAN FD")
        if reader.bit(EARLY):  # the data is faster
            known["fast"] = True
            if not timing.data_bit:
                raise BrokenFrame("FD, not read", "the data comes at a second rate, which was not found")
            reader.clock.switch(timing.data_bit, timing.turn)
        known["passive"] = bool(reader.bit())
        known["length"] = _FD_LENGTHS[reader.number(4)]
        known["data"] = bytes(reader.number(8) for _ in range(known["length"]))
        wrong = self.flexible_crc()
        sample = reader.clock.sample
        if sample() == 0:
            raise BrokenFrame("form error", "a dominant bit after the CRC")
        if known.get("fast"):
            reader.clock.switch(timing.bit, timing.turn)
        if wrong:
            raise BrokenFrame("CRC error", wrong)
        # Acknowledgement and end: the CRC's delimiter and the acknowledgement may each last two bits.
        acknowledged = sample() == 0 or sample() == 0
        end = [sample() for _ in range(8)]
        if acknowledged and end[0] == 0:
            end = [*end[1:], sample()]
        if 0 in end[:6]:
            raise BrokenFrame("form error", "a dominant bit in the end of the frame")
        return (
            self.frame("good") if acknowledged else self.frame("not acknowledged", "no other unit answered")
        )

    def flexible_crc(self) -> str:
        """Read the check of a CAN FD frame; what is wrong with it, or nothing."""
        iso = self.timing.iso
        width, polynomial = CRC_17 if self.known["length"] <= 16 else CRC_21
        bits = self.reader.fixed(width + 4 * iso)
        counted, received = (bits[:4], bits[4:]) if iso else ([], bits)
        self.known["crc"] = number_of(received)
        computed = crc(self.reader.all + counted, width, polynomial, 1 << (width - 1) if iso else 0)
        if iso and counted != stuff_count(self.reader.stuffed):
            return "the stuff count does not fit the bits"
        fits = computed == self.known["crc"]
        return "" if fits else f"computed {computed:06X}, received {self.known['crc']:06X}"


_FD_LENGTHS: Final = (0, 1, 2, 3, 4, 5, 6, 7, 8, 12, 16, 20, 24, 32, 48, 64)
