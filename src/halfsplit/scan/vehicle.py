"""A simulated vehicle: what each of its units answers. Values in, values out; `simulated.py` puts it on a bus.

All units, names and codes are invented. Which units are fed comes from outside as a plain mapping, so that the
circuit engine can say it: an unfed unit does not answer.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import asdict, dataclass, field, replace
from typing import Any

from halfsplit.scan.channel import Address
from halfsplit.scan.codes import FaultCode
from halfsplit.scan.descriptions import NOT_SUPPORTED

# How a unit or the bus can misbehave; each is one that a real one has.
SOUND = ""
STOPS = "stops answering"
PENDING = "answers late"
PENDING_FOR_EVER = "never finishes"
GARBAGE = "breaks the transport rules"
FLOOD = "flood"
NOISE = "garbage lines"


@dataclass(frozen=True, slots=True)
class SimulatedUnit:
    """A unit. codes: (text with failure type, status byte) pairs. fault: `SOUND` to `GARBAGE`.

    after: with `STOPS`, how many requests it still answers. legislated: it speaks SAE J1979 too.
    extended_only: it gives its codes in the extended session only. stays: codes that are back at once after clearing.
    """

    name: str
    address: Address
    codes: tuple[tuple[str, int], ...] = ()
    identification: Mapping[int, str] = field(default_factory=dict)
    legislated: bool = False
    old: bool = False
    extended_only: bool = False
    fault: str = SOUND
    after: int = 0
    stays: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class SimulatedVehicle:
    """A vehicle. unfed: names of units without supply. fault: `SOUND`, `FLOOD` or `NOISE`."""

    units: tuple[SimulatedUnit, ...]
    bit_rate: int = 500_000
    unfed: frozenset[str] = frozenset()
    fault: str = SOUND

    def feeding(self, fed: Mapping[str, bool]) -> SimulatedVehicle:
        """The vehicle with its units fed as the mapping says; a unit that it does not name is fed."""
        return replace(
            self, unfed=frozenset(unit.name for unit in self.units if not fed.get(unit.name, True))
        )

    @property
    def addresses(self) -> dict[str, Address]:
        """The address of each unit by name, fed or not."""
        return {unit.name: unit.address for unit in self.units}

    def as_dict(self) -> dict[str, Any]:
        """Plain values, for the process that runs it."""
        return asdict(self) | {"unfed": sorted(self.unfed)}

    @classmethod
    def from_dict(cls, data: Mapping[str, Any]) -> SimulatedVehicle:
        """The way back from `as_dict`."""
        units = tuple(
            SimulatedUnit(
                **unit
                | {
                    "address": Address(**unit["address"]),
                    "codes": tuple((text, status) for text, status in unit["codes"]),
                    "identification": {int(key): text for key, text in unit["identification"].items()},
                    "stays": tuple(unit["stays"]),
                }
            )
            for unit in data["units"]
        )
        return cls(units, data["bit_rate"], frozenset(data["unfed"]), data["fault"])


class UnitState:
    """A unit at work: its codes can be cleared, its session changes, it counts what it was asked."""

    def __init__(self, unit: SimulatedUnit) -> None:
        self.unit = unit
        self.codes = {FaultCode.parse(text): status for text, status in unit.codes}
        self.session = 1
        self.asked = 0

    def answer(self, request: bytes, *, functional: bool = False) -> bytes | None:
        """The answer to a request, or None for silence. To all units at once, 'not supported' is not said."""
        self.asked += 1
        if self.unit.fault == STOPS and self.asked > self.unit.after:
            return None
        handlers: dict[int, Callable[[bytes], bytes]] = {
            0x10: self._session,
            0x14: self._clear,
            0x19: self._codes,
            0x22: self._identify,
            0x3E: lambda _: b"\x7e\x00",
        }
        service, rest = request[0], request[1:]
        if service <= 0x0A and self.unit.legislated:
            reply = self._legislated(service, rest)
        elif service in handlers and (service == 0x3E or not self.unit.old):
            reply = handlers[service](rest)
        else:
            reply = _refuse(service, 0x11)
        quiet = functional and reply[:1] == b"\x7f" and reply[2] in NOT_SUPPORTED
        return None if quiet else reply

    def _session(self, rest: bytes) -> bytes:
        if rest[:1] not in (b"\x01", b"\x03"):
            return _refuse(0x10, 0x12)
        self.session = rest[0]
        return bytes([0x50, rest[0], 0x00, 0x32, 0x01, 0xF4])

    def _clear(self, rest: bytes) -> bytes:
        if rest != b"\xff\xff\xff":
            return _refuse(0x14, 0x31)
        self.codes = {code: 0x2F for code in self.codes if code.text in self.unit.stays}
        return b"\x54"

    def _identify(self, rest: bytes) -> bytes:
        text = self.unit.identification.get(int.from_bytes(rest, "big"))
        return b"\x62" + rest + text.encode() if text else _refuse(0x22, 0x31)

    def _codes(self, rest: bytes) -> bytes:
        if self.unit.extended_only and self.session == 1:
            return _refuse(0x19, 0x7F)
        if rest[:1] != b"\x02":
            return _refuse(0x19, 0x12)
        return b"\x59\x02\xff" + b"".join(
            code.number.to_bytes(2, "big") + bytes([code.failure_type or 0, status])
            for code, status in self.codes.items()
            if status & rest[1]
        )

    def _legislated(self, service: int, rest: bytes) -> bytes:
        if service == 0x04:
            self.codes = {}
            return b"\x44"
        masks = {0x03: 0x08, 0x07: 0x04, 0x0A: 0x80}
        if service in masks:
            chosen = [code for code, status in self.codes.items() if status & masks[service]]
            return bytes([service + 0x40, len(chosen)]) + b"".join(code.to_bytes()[:2] for code in chosen)
        return b"\x41\x00\x00\x00\x00\x00" if (service, rest) == (0x01, b"\x00") else _refuse(service, 0x31)


def _refuse(service: int, reason: int) -> bytes:
    return bytes([0x7F, service, reason])


def demo_vehicle() -> SimulatedVehicle:
    """An invented van: five units, the tailgate's and the trailer's without supply, the others complain about it."""
    return SimulatedVehicle(
        (
            SimulatedUnit(
                "Engine",
                Address(0x7E0, 0x7E8),
                (("P0562-16", 0x2F), ("P0117-11", 0x28)),
                {0xF190: "WZZHALFSP0T000001", 0xF197: "Engine", 0xF195: "0107"},
                legislated=True,
            ),
            SimulatedUnit("Brakes", Address(0x7E2, 0x7EA), (), {0xF197: "Brakes", 0xF187: "INV-34-526"}),
            SimulatedUnit(
                "Body",
                Address(0x740, 0x748),
                (("U0230-87", 0x2F), ("U1012-87", 0x2F), ("B1044-13", 0x50)),
                {0xF197: "Body", 0xF187: "INV-61-350"},
                stays=("U0230-87", "U1012-87"),
            ),
            SimulatedUnit("Tailgate", Address(0x742, 0x74A), (), {0xF197: "Tailgate"}),
            SimulatedUnit("Trailer", Address(0x743, 0x74B), (), {0xF197: "Trailer"}),
        ),
        unfed=frozenset({"Tailgate", "Trailer"}),
    )
