"""The bits of one CAN frame (ISO 11898-1): the receiver's clock, stuffing, and the checks of classic CAN and CAN FD.

The clock starts anew at each edge from recessive to dominant, and each bit is sampled at 75 % of its time. After
five equal bits the sender puts in one of the other kind (stuffing), from the start bit to the end of the CRC of a
classic frame, and to the end of the data of a CAN FD frame, whose CRC has stuff bits at fixed places.

CRC-15 has the polynomial 0x4599 over the bits without stuffing. CAN FD takes CRC-17 (0x1685B) up to 16 bytes of
data and CRC-21 (0x102899) above, over the bits with their stuffing, from a first value with its top bit set (ISO
11898-1:2015) or from zero (CAN FD before that standard).

Dominant is 0 and recessive is 1 throughout.
"""

from dataclasses import dataclass
from typing import Final, Literal

from halfsplit.capture.measure.signal import Edges

Status = Literal[
    "good",
    "CRC error",
    "stuff error",
    "form error",
    "not acknowledged",
    "cut off",
    "FD, not read",
    "error flag",
]

POINT: Final = 0.75
EARLY: Final = 0.5
"""Where the bit is sampled that switches the rate: its end comes early, since the rest of it is already fast."""

TURNS: Final = (0.8, 0.7, 0.87, 0.62)
"""Shares of a bit after which senders switch the rate, the usual one first (common practice, no source)."""

CRC_15: Final = (15, 0x4599)
CRC_17: Final = (17, 0x1685B)
CRC_21: Final = (21, 0x102899)


@dataclass(frozen=True)
class Timing:
    """The rates of a signal and the form of its CAN FD frames.

    bit: seconds of a bit; data_bit: of a bit where a CAN FD frame is fast, 0 if not known. iso: whether CAN FD frames
    hold a stuff count (ISO 11898-1:2015). turn: the share of a bit after which senders switch the rate.
    """

    bit: float
    data_bit: float = 0.0
    iso: bool = True
    turn: float = TURNS[0]

    @property
    def shortest(self) -> float:
        """Seconds of the shortest bit."""
        return min(self.bit, self.data_bit or self.bit)


def crc(bits: list[int], width: int, polynomial: int, first: int = 0) -> int:
    """A CRC over bits (0 or 1), first bit first, from the value `first`.

    >>> hex(crc([int(b) for byte in b"123456789" for b in f"{byte:08b}"], *CRC_15))
    '0x59e'
    """
    value, top, mask = first, width - 1, (1 << width) - 1
    for bit in bits:
        carry = (value >> top & 1) ^ bit
        value = value << 1 & mask
        if carry:
            value ^= polynomial
    return value


class BrokenFrame(Exception):
    """A frame ends where it must not; status and note say how."""

    def __init__(self, status: Status, note: str) -> None:
        super().__init__(note)
        self.status: Status = status
        self.note = note


class Clock:
    """Samples a signal (high is recessive) bit by bit, from the falling edge with which a frame starts.

    `now` is the time of the last sample in seconds. Raises `BrokenFrame` ('cut off') where the recording ends.
    """

    def __init__(self, signal: Edges, first: int, last: int, stop: float, bit: float) -> None:
        self._times: list[float] = signal.times[first : last + 1].tolist()
        self._rising: list[bool] = signal.rising[first : last + 1].tolist()
        self._stop = stop
        self._place = 0
        self._anchor = self._times[0]
        self._count = 0
        self.bit = bit
        self.now = self._anchor

    def sample(self, point: float = POINT) -> int:
        """The level at `point` of the next bit, after the clock was set by a falling edge, if one came."""
        when = self._anchor + (self._count + point) * self.bit
        while self._place < len(self._times) and self._times[self._place] <= when:
            if not self._rising[self._place]:
                self._anchor, self._count = self._times[self._place], 0
                when = self._anchor + point * self.bit
            self._place += 1
        if when > self._stop:
            raise BrokenFrame("cut off", "the recording ends within the frame")
        self._count += 1
        self.now = when
        return 1 if self._place == 0 else int(self._rising[self._place - 1])

    def switch(self, bit: float, turn: float) -> None:
        """Change the rate within the bit that was just sampled, when `turn` of it has passed."""
        start = self._anchor + (self._count - 1) * self.bit
        self._anchor, self._count = start + turn * self.bit + (1 - turn) * bit, 0
        self.bit = bit

    def next_fall(self) -> int | None:
        """The number of the next falling edge, counted from the first, or None."""
        for place in range(self._place, len(self._times)):
            if not self._rising[place]:
                return place
        return None


class BitReader:
    """Takes bits one by one and leaves out stuffed ones; a sixth equal bit is a stuff error.

    `plain` are the bits without stuffing, `all` those with it, `stuffed` how many were left out.
    """

    def __init__(self, clock: Clock) -> None:
        self.clock = clock
        self.plain: list[int] = []
        self.all: list[int] = []
        self.stuffed = 0
        self._run = 0
        self._last = -1

    def bit(self, point: float = POINT) -> int:
        """The next bit of the frame's fields."""
        if self._run == 5:
            self._next()
            self.stuffed += 1
        bit = self._next(point)
        self.plain.append(bit)
        return bit

    def number(self, width: int) -> int:
        """The next `width` bits, the highest first."""
        return number_of([self.bit() for _ in range(width)])

    def finish(self) -> None:
        """Take the stuffed bit that may follow the last bit of a classic CRC."""
        if self._run == 5:
            self._next()

    def fixed(self, width: int) -> list[int]:
        """Bits of a CAN FD CRC field: before each four of them stands a bit unlike the one before it."""
        last, bits = self._last, []
        for place in range(width):
            if place % 4 == 0 and self.clock.sample() == last:
                raise BrokenFrame("stuff error", "a fixed stuff bit is wrong")
            last = self.clock.sample()
            bits.append(last)
        return bits

    def _next(self, point: float = POINT) -> int:
        bit = self.clock.sample(point)
        if bit == self._last and self._run == 5:
            raise BrokenFrame("stuff error", f"six {'recessive' if bit else 'dominant'} bits in a row")
        self._run = self._run + 1 if bit == self._last else 1
        self._last = bit
        self.all.append(bit)
        return bit


def number_of(bits: list[int]) -> int:
    """Bits as a number, the highest first."""
    value = 0
    for bit in bits:
        value = value << 1 | bit
    return value


def stuff_count(stuffed: int) -> list[int]:
    """The four bits before a CAN FD CRC: the stuffed bits modulo 8 in Gray code, and their even parity.

    >>> stuff_count(5)
    [1, 1, 1, 1]
    """
    gray = (stuffed % 8) ^ (stuffed % 8) >> 1
    bits = [gray >> 2 & 1, gray >> 1 & 1, gray & 1]
    return [*bits, sum(bits) % 2]
