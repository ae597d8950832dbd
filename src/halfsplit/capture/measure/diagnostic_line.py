"""Older diagnostic lines: which one it is, and its messages where the capture shows them.

ISO 9141-2 and ISO 14230: bytes as from a UART at 10,400 bit/s (start bit low, eight bits with the lowest first, stop
bit), the line rests high at the battery's volts; the last byte of a message is the sum of the others, modulo 256.

SAE J1850, variable pulse width (10.4 kbit/s): the line rests low. A message starts with 200 us high; then each stretch
is a bit: low 64 us is 0 and 128 us is 1, high 64 us is 1 and 128 us is 0; 200 us low end it.

SAE J1850, pulse width (41.6 kbit/s): the line rests low. A message starts with about 32 us high and 16 us low; each
bit lasts 24 us, high for 8 us is 1 and for 16 us is 0.

Both send the highest bit first and end with CRC-8 (polynomial 0x1D, from 0xFF, inverted). Times are those of the
standards, from memory.
"""

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import ClassVar, Final

import numpy as np

from halfsplit.capture.measure.result import CannotTell, Mark, Quantity, Result, answers, first_lines
from halfsplit.capture.measure.signal import Edges

_US: Final = 1e-6
UART: Final = "ISO 9141-2 or ISO 14230"
VARIABLE: Final = "SAE J1850, variable pulse width"
PULSES: Final = "SAE J1850, pulse width"

_USUAL: Final = {
    VARIABLE: (64.0, 128.0, 200.0, 280.0),
    PULSES: (8.0, 16.0, 32.0, 48.0),
    UART: tuple(96.15 * n for n in range(1, 10)),
}
"""Microseconds from edge to edge on each line."""


@dataclass(frozen=True)
class Message:
    """start, stop: s; data: all bytes with the check; good: whether the check fits."""

    start: float
    stop: float
    data: bytes
    good: bool

    def __str__(self) -> str:
        check = "good" if self.good else "check does not fit"
        return f"{self.start:.6f} s {self.data.hex(' ').upper()} {check}"


@dataclass(frozen=True, kw_only=True)
class DiagnosticLineResult(Result):
    """`standard`: what the line speaks, '' if not known; `messages` in the order of time."""

    analysis: ClassVar[str] = "diagnostic line"

    standard: str = ""
    messages: tuple[Message, ...] = ()

    def details(self) -> tuple[str, ...]:
        """The messages, up to fifty."""
        return first_lines(self.messages)


def crc8(data: bytes) -> int:
    """The check of SAE J1850 over bytes.

    >>> hex(crc8(b"123456789"))
    '0x4b'
    """
    value = 0xFF
    for byte in data:
        value ^= byte
        for _ in range(8):
            value = value << 1 ^ (0x11D if value & 0x80 else 0)
    return value ^ 0xFF


@answers(DiagnosticLineResult)
def diagnostic_line(signal: Edges, samples: int, rate: float) -> DiagnosticLineResult:
    """Recognise and read a line; `rate` is in samples a second and `samples` their number.

    What is read badly is never called a fault: these lines are told, their levels and units are not judged.
    """
    if signal.times.size < 8:
        raise CannotTell(
            f"only {signal.times.size} edges were recorded: ask the vehicle for its codes meanwhile"
        )
    stop = samples / rate
    rests_high = signal.rests_high(stop)
    upright = signal.turned() if rests_high else signal
    by_name: dict[str, tuple[Message, ...]] = {
        VARIABLE: tuple(_messages(_variable(upright), crc8)),
        PULSES: tuple(_messages(_pulses(upright), crc8)),
        UART: tuple(_messages(_uart(signal, stop, rests_high=rests_high), lambda data: sum(data) & 0xFF)),
    }
    standard = max(by_name, key=lambda name: sum(message.good for message in by_name[name]))
    messages = by_name[standard]
    good = sum(message.good for message in messages)
    if 2 * good < len(messages) or not good:
        return _only_recognised(signal, by_name, rate)
    return DiagnosticLineResult(
        verdict="measured",
        reason=f"{standard}: {good} of {len(messages)} messages read whole",
        standard=standard,
        messages=messages,
        quantities=(Quantity("messages", float(len(messages)), ""),),
        marks=tuple(Mark(message.start, message.stop, "message") for message in messages[:500]),
    )


def _only_recognised(
    signal: Edges, by_name: dict[str, tuple[Message, ...]], rate: float
) -> DiagnosticLineResult:
    """A line whose messages do not come out whole: named by its stretches where they are those of one standard.

    At least 0.8 of them have to lie within 12 % of a usual one.
    """
    spans = np.diff(signal.times) / _US
    shares = {}
    for name, usual in _USUAL.items():
        short = spans[spans < 1.5 * max(usual)]
        nearest = np.min(np.abs(short[:, None] / np.array(usual) - 1), axis=1)
        shares[name] = float(np.mean(nearest < 0.12)) if short.size >= 8 else 0.0
    best = max(shares, key=lambda name: shares[name])
    if shares[best] < 0.8:
        raise CannotTell("its stretches are those of none of the older diagnostic lines")
    return DiagnosticLineResult(
        verdict="cannot tell",
        reason=f"it looks like {best}, but no message was read whole: record for longer, with 100,000 samples a second "
        f"or more ({rate:g} now)",
        standard=best,
        messages=by_name[best],
    )


Burst = tuple[float, float, list[int]]
"""Start and stop of a message in s, and its bytes."""


def _messages(bursts: Iterator[Burst], check: Callable[[bytes], int]) -> Iterator[Message]:
    for start, stop, octets in bursts:
        data = bytes(octets)
        if len(data) >= 3:
            even = len(set(data[:-1])) == 1  # as a steady square wave makes them, whose sum fits by chance
            yield Message(start, stop, data, check(data[:-1]) == data[-1] and not even)


def _octets(bits: list[int]) -> list[int]:
    """Whole bytes, the highest bit first."""
    return np.packbits(np.array(bits[: len(bits) // 8 * 8], np.uint8)).tolist()


def _stretches(signal: Edges) -> list[tuple[float, float, bool]]:
    """(start in s, length in us, whether high) between edges."""
    lengths = (np.diff(signal.times) / _US).tolist()
    return list(zip(signal.times[:-1].tolist(), lengths, signal.rising[:-1].tolist(), strict=True))


def _variable(signal: Edges) -> Iterator[Burst]:
    bits: list[int] = []
    begun = 0.0
    for start, length, high in [*_stretches(signal), (float(signal.times[-1]), 1e9, False)]:
        if high and 163 < length < 239:
            bits, begun = [], start
        elif begun and 34 < length <= 163:
            long = length > 96
            bits.append(int(long != high))
        else:
            if begun and bits:
                yield begun, start, _octets(bits)
            bits, begun = [], 0.0


def _pulses(signal: Edges) -> Iterator[Burst]:
    bits: list[int] = []
    begun = 0.0
    rises = [(start, length) for start, length, high in _stretches(signal) if high]
    for place, (start, length) in enumerate(rises):
        if 24 < length < 40:
            bits, begun = [], start
        elif begun and 4 < length < 22:
            bits.append(int(length < 12))
        else:
            bits, begun = [], 0.0
        following = rises[place + 1][0] if place + 1 < len(rises) else np.inf
        if begun and bits and following - start > 36 * _US:
            yield begun, start + length * _US, _octets(bits)
            bits, begun = [], 0.0


_PAUSE: Final = 0.015
"""Seconds without a byte after which a message is over: bytes of one message follow within 20 ms, as a rule 5."""


def _uart(signal: Edges, stop: float, *, rests_high: bool) -> Iterator[Burst]:
    """Messages of bytes at 10,400 bit/s; the line rests at its recessive level."""
    bit = 1 / 10_400
    falls = signal.times[signal.rising != rests_high]
    octets: list[int] = []
    begun, after = 0.0, -1.0
    for start in falls.tolist():
        if start < after:
            continue
        if octets and start - after > _PAUSE:
            yield begun, after, octets
            octets = []
        levels = [signal.high(start + (0.5 + i) * bit) == rests_high for i in range(10)]
        if levels[0] or not levels[9] or start + 10 * bit > stop:
            after = start + 0.5 * bit
            continue
        if not octets:
            begun = start
        octets.append(sum(level << i for i, level in enumerate(levels[1:9])))
        after = start + 9.5 * bit
    if octets:
        yield begun, after, octets
