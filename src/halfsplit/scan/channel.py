"""The way to the bus: any python-can interface, by its own words; and the addresses of units on it (ISO 15765-4).

`interface:channel`, such as `slcan:/dev/ttyACM0`, `socketcan:can0` or `slcan:socket://127.0.0.1:29536`; the part
after the first colon is what python-can calls the channel of that interface.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from halfsplit.errors import HalfsplitError, InputError

if TYPE_CHECKING:
    import can  # takes a second: only where a bus is named or opened

BIT_RATES = (500_000, 250_000, 125_000, 1_000_000)
"""The usual rates, the likeliest first: ISO 15765-4 allows 500 and 250 kbit/s at the diagnostic connector."""


class BusError(HalfsplitError):
    """The adapter or the bus does not do what is needed: not there, unplugged, not to be opened, not to be written.

    Do not use it for a unit that does not answer: that is a stated result of a reading.
    """


class StoppedError(HalfsplitError):
    """Somebody stopped the reading, or its time was over. Nothing is known of what was not read yet."""


NETWORK = ("socket://", "rfc2217://")
"""The only addresses that a serial adapter may have beside a device's name: others write files, or reach elsewhere."""


@dataclass(frozen=True, slots=True)
class Channel:
    """interface and channel as python-can knows them, and the bit rate in bit/s."""

    interface: str
    name: str
    bit_rate: int = BIT_RATES[0]

    @classmethod
    def parse(cls, text: str, bit_rate: int = BIT_RATES[0]) -> Channel:
        """Read `interface:channel`. Raises InputError, which names the interfaces that there are."""
        import can

        interface, _, name = text.strip().partition(":")
        if interface not in can.VALID_INTERFACES or not name:
            raise InputError(
                f"{text.strip()[:60]!r} names no CAN interface",
                remedy="write interface:channel, such as slcan:/dev/ttyACM0 or socketcan:can0; the interfaces are "
                + ", ".join(sorted(can.VALID_INTERFACES)),
            )
        if "://" in name and ("?" in name or not name.startswith(NETWORK)):
            raise InputError(
                f"{name[:60]!r} is no adapter",
                remedy=f"write a device, or an address with {' or '.join(NETWORK)}",
            )
        if not 10_000 <= bit_rate <= 1_000_000:
            raise InputError(f"a bit rate of {bit_rate}", remedy="write bits a second, such as 500000")
        return cls(interface, name, bit_rate)

    def open(self) -> can.BusABC:
        """Open the bus. Raises BusError with what the adapter said and what to look at."""
        import can

        options: dict[str, Any] = {"sleep_after_open": 0.05} if self.name.startswith("socket:") else {}
        try:
            return can.Bus(interface=self.interface, channel=self.name, bitrate=self.bit_rate, **options)
        except (can.CanError, OSError, ValueError, ImportError, TypeError, NameError) as error:
            raise BusError(
                f"{self.interface}:{self.name} cannot be opened at {self.bit_rate} bit/s ({error}): "
                "is the adapter plugged in, is the channel as python-can wants it, does another program have it?"
            ) from error


PADDING = 0xCC
"""With what frames are filled up."""
FUNCTIONAL, FUNCTIONAL_EXTENDED = 0x7DF, 0x18DB33F1
"""Where all units are asked at once, with 11 and with 29 bits."""


@dataclass(frozen=True, slots=True, order=True)
class Address:
    """The identifiers of one unit: request to it, response from it (ISO 15765-4)."""

    request: int
    response: int

    @property
    def extended(self) -> bool:
        """Whether these are 29-bit identifiers."""
        return self.request > 0x7FF

    @classmethod
    def of_response(cls, identifier: int) -> Address | None:
        """The address of a legislated unit by the identifier of its response, or None where it is none."""
        if 0x7E8 <= identifier <= 0x7EF:
            return cls(identifier - 8, identifier)
        if identifier & 0x1FFFFF00 == 0x18DAF100:
            return cls(0x18DA00F1 | (identifier & 0xFF) << 8, identifier)
        return None

    def __str__(self) -> str:
        width = 8 if self.extended else 3
        return f"{self.request:0{width}X}/{self.response:0{width}X}"
