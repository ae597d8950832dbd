"""LIN (ISO 17987, LIN 2.x): frames from the line's voltage or a logic record, parity, checksum, levels.

A frame starts with a break, at least 13 dominant bits, and the sync byte 0x55, whose five falling edges lie two
bits apart each: eight bits from the first to the last give the bit time, whatever the asymmetry of the edges.
Bytes follow as from a UART: start bit, eight bits with the lowest first, stop bit. The identifier has six bits
and two of parity: P0 = b0 ^ b1 ^ b2 ^ b4, P1 = not (b1 ^ b3 ^ b4 ^ b5). The checksum is the inverted sum with
carry over the data (classic, LIN 1.x and identifiers 0x3C and 0x3D) or over identifier and data (enhanced).

Levels (ISO 17987-4): a sender pulls below 0.2 of the supply and lets go above 0.8; a receiver takes below 0.4 as
dominant and above 0.6 as recessive.
"""

from collections import Counter
from dataclasses import dataclass, replace
from itertools import groupby
from typing import ClassVar, Final, Literal

import numpy as np

from halfsplit.capture.measure.result import CannotTell, Mark, Quantity, Result, Verdict, answers, first_lines
from halfsplit.capture.measure.signal import (
    Edges,
    Floats,
    Levels,
    as_recessive_high,
    clipped,
    edges,
    require,
    thinned,
    two_levels,
    without_glitches,
)

Status = Literal[
    "good",
    "checksum error",
    "parity error",
    "no response",
    "breaks off",
    "framing error",
    "no sync",
    "cut off",
]

STANDARD_RATES: Final = (2400.0, 4800.0, 9600.0, 10417.0, 19200.0, 20000.0)
"""Bit rates that are in use (common practice, no source); the standard allows 1,000 to 20,000."""

_BREAK: Final = 10.5
"""Dominant bits that count as a break: a byte has nine at most, a slave must take eleven."""

_PAUSE: Final = 40.0
"""Recessive bits after which a frame is over; the standard lets a whole frame take 1.4 of its net time."""

_CLEAR: Final = 8.0
"""Samples a bit from which a broken frame is the bus's and not the recording's."""

_GLITCH: Final = 0.3
"""Bits under which a pulse is none: a receiver takes a bit's level from its middle, so a wild sample is not seen."""

_DIAGNOSTIC: Final = (0x3C, 0x3D)


@dataclass(frozen=True)
class LinFrame:
    """A frame as it stood on the line: span in seconds, protected identifier (with parity) and bytes.

    `data` are the bytes between identifier and checksum, `checksum` the last byte (None without a response),
    `kind` the checksum that fits: 'classic', 'enhanced', 'both' or ''.
    """

    start: float
    stop: float
    status: Status
    protected: int | None = None
    data: bytes = b""
    checksum: int | None = None
    kind: str = ""
    note: str = ""

    @property
    def identifier(self) -> int | None:
        """The six bits without parity."""
        return None if self.protected is None else self.protected & 0x3F

    def __str__(self) -> str:
        if self.protected is None:
            return f"{self.start:.6f} s {self.status}: {self.note}"
        body = self.data.hex(" ").upper()
        end = "" if self.checksum is None else f"checksum {self.checksum:02X} {self.kind}".rstrip() + " "
        head = f"{self.start:.6f} s {self.identifier:02X} (protected {self.protected:02X})"
        tail = f": {self.note}" if self.note else ""
        return f"{head} [{len(self.data)}] {body} {end}{self.status}{tail}".replace("  ", " ")


@dataclass(frozen=True, kw_only=True)
class LinResult(Result):
    """`frames` in the order of time, broken ones among them; `bit_rate` in bits a second."""

    analysis: ClassVar[str] = "LIN"

    bit_rate: float = 0.0
    frames: tuple[LinFrame, ...] = ()

    def details(self) -> tuple[str, ...]:
        """The frames, up to fifty."""
        return first_lines(self.frames)


def protect(identifier: int) -> int:
    """The identifier with its two parity bits above.

    >>> hex(protect(0x01)), hex(protect(0x23))
    ('0xc1', '0xa3')
    """
    bit = [identifier >> i & 1 for i in range(6)]
    even = bit[0] ^ bit[1] ^ bit[2] ^ bit[4]
    odd = 1 ^ bit[1] ^ bit[3] ^ bit[4] ^ bit[5]
    return identifier | even << 6 | odd << 7


def checksum(data: bytes, protected: int | None = None) -> int:
    """The classic checksum, or the enhanced one where the protected identifier is given.

    >>> hex(checksum(bytes([0x11, 0x11]), 0xC1)), hex(checksum(bytes([0x11, 0x22]), 0xA3))
    ('0x1c', '0x29')
    """
    total = 0 if protected is None else protected
    for byte in data:
        total += byte
        if total > 255:
            total -= 255
    return ~total & 0xFF


@answers(LinResult)
def lin(volts: Floats, rate: float, *, supply: float | None = None) -> LinResult:
    """Judge a line in volts against ground; `supply` is the battery's volts (the recessive level if not given)."""
    require(rate, volts, least_rate=8000.0, least_seconds=0.0, what="a LIN line")
    levels = two_levels(volts)
    if levels is None or levels.swing < 1.0:
        rest = float(np.median(thinned(volts)))
        if rest >= 1.0:
            why = f"nothing is sent while it was recorded (the line rests at {rest:.1f} V)"
            raise CannotTell(f"{why}; wake it and record again")
        why = "it is shorted to body, or the master that feeds it is not powered"
        reason = f"the line stays at {rest:.2f} V: {why}"
        return LinResult(verdict="fault", reason=reason, quantities=(Quantity("level", rest, "V"),))
    top = supply or levels.high
    signal = edges(volts, rate, 0.4 * top, 0.6 * top)
    if signal.times.size < 8:
        signal = edges(volts, rate, *levels.walls(0.4))
    result = _frames(signal, volts.size, rate)
    if np.unique(thinned(volts)).size == 2:  # a level that was not cut off or made by a comparator has noise
        note = "only two values were recorded: it is cut off at both ends, or a logic record; levels are not judged"
        return replace(result, notes=(*result.notes, note))
    return _with_levels(result, levels, top, cut=clipped(volts))


@answers(LinResult)
def lin_logic(signal: Edges, samples: int, rate: float) -> LinResult:
    """Judge the frames of a logic record; `rate` is in samples a second and `samples` their number."""
    return _frames(as_recessive_high(signal, samples / rate), samples, rate)


def _frames(signal: Edges, samples: int, rate: float) -> LinResult:
    stop = samples / rate
    read, bits = _Line(without_glitches(signal, 1.5 / rate), stop).frames()
    if bits:
        read, bits = _Line(without_glitches(signal, _GLITCH * float(np.median(bits))), stop).frames()
    if not bits:
        lacking = "no break with a sync byte was recorded"
        raise CannotTell(f"{lacking}: this is no LIN line, or it was recorded too briefly")
    bit = float(np.median(bits))
    if bit * rate < 3.95:
        per_bit = f"{bit * rate:.1f} samples a bit"
        raise CannotTell(f"{rate:g} samples a second give {per_bit}: at least 4 are needed")
    spread = max(float(np.std(bits)), 0.4 / rate / 8 / np.sqrt(len(bits)))
    counts = Counter(frame.status for frame in read)
    nominal = next((r for r in STANDARD_RATES if abs(1.0 / bit / r - 1) < 0.015), 1.0 / bit)
    identifiers = len({frame.protected for frame in read if frame.protected is not None})
    good = f"{counts['good']} of {len(read)} frames good"
    result = LinResult(
        verdict="good",
        reason=f"{nominal:.0f} bit/s, {good}, {identifiers} identifiers",
        bit_rate=1.0 / bit,
        frames=tuple(read),
        quantities=(
            Quantity("bit rate", 1.0 / bit, "bit/s", spread / bit**2),
            Quantity("frames", float(len(read)), ""),
            *(Quantity(status, float(count), "") for status, count in counts.items() if status != "good"),
        ),
        marks=tuple(Mark(f.start, f.stop, f.status) for f in read[:500]),
    )
    return _judged(result, counts, per_bit=bit * rate)


def _judged(result: LinResult, counts: Counter[Status], *, per_bit: float) -> LinResult:
    kinds: tuple[Status, ...] = ("checksum error", "parity error", "framing error", "breaks off", "no sync")
    bad = [frame for frame in result.frames if frame.status in kinds]
    if bad:
        why = f"{len(bad)} frames are malformed, the first at {bad[0].start:.6f} s ({bad[0].status}: {bad[0].note})"
        if per_bit < _CLEAR:
            why += f"; {per_bit:.1f} samples a bit may be why: record faster"
        verdict: Verdict = "fault" if per_bit >= _CLEAR else "cannot tell"
        return replace(result, verdict=verdict, reason=f"{result.reason}; {why}")
    unanswered = _unanswered(result.frames)
    if not unanswered:
        return result
    gone = [header for header in unanswered if header.gone]
    fell = [Quantity(f"{header.identifier:02X} fell silent", header.since, "s") for header in gone]
    alone = not counts["good"] and any(header.identifier != _POLLED for header in unanswered)
    return replace(
        result,
        verdict="fault" if alone else "measured",
        reason="; ".join([result.reason, *map(str, unanswered[:8])]),
        quantities=(*result.quantities, *fell),
    )


@dataclass(frozen=True)
class _Unanswered:
    """An identifier with headers that nobody answered: from when to when (s), and what was before and after.

    `answered` is the time of its last answer before, `back` of the first one after; None where there is none.
    """

    identifier: int
    since: float
    until: float
    headers: int
    answered: float | None
    back: float | None

    @property
    def gone(self) -> bool:
        """Whether it answered and then did not any more, to the end of the recording."""
        return self.answered is not None and self.back is None

    def __str__(self) -> str:
        span = f"from {self.since:.3f} to {self.until:.3f} s ({self.headers} headers)"
        if self.identifier == _POLLED and self.answered is None and self.back is None:
            return f"{self.identifier:02X} is asked {span} and nobody has anything to say, which is usual"
        if self.answered is None and self.back is None:
            return f"no unit answers {self.identifier:02X}, {span}"
        if self.back is None:
            return f"{self.identifier:02X} is answered until {self.answered:.3f} s and no more {span}"
        return f"{self.identifier:02X} is not answered {span} and is again from {self.back:.3f} s on"


_POLLED: Final = 0x3D
"""Identifier with which the master asks whether a unit has a diagnostic answer: silence is the usual one."""


def _unanswered(frames: tuple[LinFrame, ...]) -> list[_Unanswered]:
    """Runs of headers without an answer, one identifier after the other, those that fell silent first."""
    unanswered = []
    for identifier in sorted({frame.protected & 0x3F for frame in frames if frame.protected is not None}):
        own = [f for f in frames if f.identifier == identifier and f.status in ("good", "no response")]
        answers_at = [f.start for f in own if f.status == "good"]
        for silent, run in groupby(own, key=lambda f: f.status == "no response"):
            part = list(run)
            if silent:
                since, until = part[0].start, part[-1].stop
                before = max((time for time in answers_at if time < since), default=None)
                after = min((time for time in answers_at if time > since), default=None)
                unanswered.append(_Unanswered(identifier, since, until, len(part), before, after))
    return sorted(unanswered, key=lambda header: (not header.gone, header.back is not None, header.since))


def _with_levels(result: LinResult, levels: Levels, supply: float, cut: float) -> LinResult:
    low, high, spread = levels.low, levels.high, levels.low_spread
    shown = (Quantity("dominant", low, "V", spread), Quantity("recessive", high, "V", spread))
    result = replace(result, quantities=(*result.quantities, *shown))
    wrong = ""
    if low > 0.2 * supply:
        wrong = f"dominant level is {low:.2f} V, over 0.2 of {supply:.1f} V: a bad ground or a weak sender"
    elif high < 0.8 * supply:
        wrong = f"recessive level is {high:.2f} V, under 0.8 of {supply:.1f} V: a load on the line"
    if not wrong or (cut > 0.02 and low <= 0.0):
        return result
    return replace(result, verdict="fault", reason=f"the {wrong}; {result.reason}")


class _Line:
    """A line's edges with a look-up of its level; high is recessive."""

    def __init__(self, signal: Edges, stop: float) -> None:
        self.falls = signal.of(False)
        self.rises = signal.of(True)
        self.stop = stop
        self.high = signal.high

    def frames(self) -> tuple[list[LinFrame], list[float]]:
        """All frames and the bit times of their sync bytes, in seconds."""
        headers = self.headers()
        bits = [bit for *_, bit in headers if bit]
        if not bits:
            return [], []
        read = []
        ends = [*(start for start, *_ in headers[1:]), self.stop]
        for (start, rise, sync, bit), until in zip(headers, ends, strict=True):
            if bit:
                values, end, wrong = self.octets(sync + 9.5 * bit, bit, until)
                if values:
                    cut = self.stop - end < _PAUSE * bit and until >= self.stop
                    read.append(_sorted_out(start, end, values, wrong, cut=cut))
                else:
                    status: Status = "cut off" if self.stop - sync < 30 * bit else "breaks off"
                    note = wrong or "no identifier after the sync byte"
                    read.append(LinFrame(start, end, status, note=note))
            elif until >= self.stop and self.stop - rise < (rise - start):
                read.append(LinFrame(start, self.stop, "cut off", note="the recording ends in the header"))
            else:
                read.append(LinFrame(start, rise, "no sync", note="a break without a sync byte after it"))
        return read, bits

    def headers(self) -> list[tuple[float, float, float, float]]:
        """Start and end of each break, start of the sync byte, bit time (0: no sync byte follows)."""
        after = np.searchsorted(self.rises, self.falls, side="right")
        ends = np.append(self.rises, self.stop)[after]
        spans = list(zip(self.falls.tolist(), ends.tolist(), strict=True))
        headers = []
        for fall, rise in spans:
            sync, bit = self.sync(rise)
            if bit and rise - fall > _BREAK * bit:
                headers.append((fall, rise, sync, bit))
        usual = float(np.median([bit for *_, bit in headers])) if headers else np.inf
        known = {fall for fall, *_ in headers}
        bare = [(f, r, r, 0.0) for f, r in spans if f not in known and r - f > _BREAK * usual]
        return sorted(headers + bare)

    def sync(self, rise: float) -> tuple[float, float]:
        """The first falling edge after a break and the bit time, where five lie evenly; else zeros."""
        first = int(np.searchsorted(self.falls, rise))
        five = self.falls[first : first + 5]
        if five.size < 5:
            return 0.0, 0.0
        steps = np.diff(five)
        bit = float(five[4] - five[0]) / 8.0
        even = np.all(np.abs(steps / (2 * bit) - 1) < 0.15)
        return (float(five[0]), bit) if even and five[0] - rise < 20 * bit else (0.0, 0.0)

    def octets(self, after: float, bit: float, until: float) -> tuple[list[int], float, str]:
        values: list[int] = []
        while True:
            place = int(np.searchsorted(self.falls, after))
            if place >= self.falls.size or self.falls[place] >= until - 0.5 * bit:
                return values, after, ""
            begin = float(self.falls[place])
            if begin - after > _PAUSE * bit and values:
                return values, after, ""
            if self.high(begin + 0.5 * bit):
                after = begin + 0.5 * bit
                continue  # a spike, shorter than half a start bit
            value = sum(self.high(begin + (1.5 + i) * bit) << i for i in range(8))
            after = begin + 9.5 * bit
            if not self.high(after):
                return values, after, f"no stop bit after byte {len(values) + 1}"
            values.append(value)


def _sorted_out(start: float, stop: float, values: list[int], wrong: str, *, cut: bool) -> LinFrame:
    protected, body = values[0], bytes(values[1:])
    data, last = body[:-1], body[-1] if body else None
    frame, needed = LinFrame(start, stop, "good", protected, data, last), protect(protected & 0x3F)
    if protected != needed:
        note = f"identifier {protected & 0x3F:02X} needs {needed:02X}, found {protected:02X}"
        return replace(frame, status="parity error", note=note)
    if not body and not wrong:
        return replace(frame, status="cut off" if cut else "no response", note="" if cut else "header only")
    classic, enhanced = checksum(data), checksum(data, protected)
    kinds = ["classic"] if classic == last else []
    kinds += ["enhanced"] if enhanced == last and protected & 0x3F not in _DIAGNOSTIC else []
    if kinds and data and not wrong:
        return replace(frame, kind="both" if len(kinds) > 1 else kinds[0])
    bare = replace(frame, data=body, checksum=None)
    if wrong:
        return replace(bare, status="framing error", note=wrong)
    if len(body) < 2:
        return replace(bare, status="cut off" if cut else "breaks off", note="one byte only")
    if cut:
        return replace(bare, status="cut off", note="the recording ends")
    need = f"classic {classic:02X}, enhanced {enhanced:02X}"
    return replace(frame, status="checksum error", note=f"found {last:02X}, expected {need}")
