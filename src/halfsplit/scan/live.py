"""A live scan: who is on the bus, what each unit stores, who fell silent. Reading only; `clear.py` clears.

Nothing here waits without an end, and each thing that can go wrong has its words in `LiveScan.problems`.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field, replace
from typing import Any

from halfsplit.scan.channel import Address, Channel
from halfsplit.scan.link import FLOOD, Link
from halfsplit.scan.reading import ReportedCode, terms_of
from halfsplit.scan.report import ScanReport
from halfsplit.scan.uds import Patience, Refusal, StoredCode, UnitSession, legislated_codes
from halfsplit.scan.units import UnitReport, write_report

TESTER_PRESENT = b"\x3e\x00"
SUPPORTED = b"\x01\x00"
SWEEP = tuple(Address(request, request + 8) for request in range(0x700, 0x7D8) if request & 0x8 == 0)
"""Physical addresses that makers use, response = request + 8 (common practice, no source)."""

LISTEN = 0.4
WINDOW = 0.35

Progress = Callable[[str], None]


@dataclass(frozen=True, slots=True)
class LiveUnit:
    """A unit on the bus. answers: False for an expected unit that is silent or one that stopped midway.

    problems: what went wrong with it, in words, in the order in which it happened.
    """

    name: str
    address: Address
    answers: bool
    codes: tuple[ReportedCode, ...] = ()
    identification: Mapping[str, str] = field(default_factory=dict)
    problems: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class LiveScan:
    """units: expected ones first, in their order. problems: of the bus. frames: frames a second that were heard."""

    channel: str
    units: tuple[LiveUnit, ...]
    problems: tuple[str, ...]
    frames: float

    @property
    def text(self) -> str:
        """The scan as a report of our own, to be kept with the job and compared."""
        vin = next((unit.identification["VIN"] for unit in self.units if "VIN" in unit.identification), "")
        reports = (UnitReport(unit.name, unit.answers, unit.codes) for unit in self.units)
        return write_report(reports, [("VIN", vin)] if vin else [])

    @property
    def report(self) -> ScanReport:
        """The scan as a `ScanReport`, like a pasted one."""
        return replace(ScanReport.parse(self.text), source=self.channel)

    @property
    def warnings(self) -> tuple[str, ...]:
        """The problems of the bus, then those of each unit with its name."""
        return self.problems + tuple(
            f"{unit.name}: {words}" for unit in self.units for words in unit.problems
        )

    def as_dict(self) -> dict[str, Any]:
        """Everything as plain values."""
        units = [
            {
                "name": unit.name,
                "address": str(unit.address),
                "answers": unit.answers,
                "identification": dict(unit.identification),
                "problems": list(unit.problems),
                "codes": UnitReport(unit.name, unit.answers, unit.codes).as_dict()["codes"],
            }
            for unit in self.units
        ]
        return {
            "channel": self.channel,
            "frames": round(self.frames, 1),
            "problems": list(self.problems),
            "units": units,
        }


def scan(
    channel: Channel,
    *,
    expected: Mapping[str, Address] | None = None,
    sweep: bool = True,
    patience: Patience | None = None,
    progress: Progress = lambda _: None,
    stop: Callable[[], bool] = lambda: False,
) -> LiveScan:
    """Open the channel, find the units and read their codes. Raises BusError if the adapter fails.

    expected: units that the vehicle has, by name; those that do not answer are listed as silent.
    sweep: also ask the addresses that makers use, besides those of ISO 15765-4. stop: asked again and again; a yes
    ends the scan with StoppedError.
    """
    with Link(channel.open(), stop=stop) as link:
        return scan_link(
            link, channel, expected or {}, sweep=sweep, patience=patience or Patience(), progress=progress
        )


def scan_link(
    link: Link,
    channel: Channel,
    expected: Mapping[str, Address],
    *,
    sweep: bool,
    patience: Patience,
    progress: Progress,
) -> LiveScan:
    """`scan` over a link that is open already."""
    progress("listening to the bus")
    frames = link.listen(LISTEN)
    flood = _flood(link, LISTEN)
    progress("looking for units")
    answering = discover(link, tuple(expected.values()), sweep=sweep)
    names = {address: name for name, address in expected.items()}
    addresses = list(expected.values()) + sorted(answering - set(names))
    units = []
    for address in addresses:
        progress(f"reading {names.get(address, address)}")
        units.append(
            _read_unit(link, address, names.get(address, ""), heard=address in answering, patience=patience)
        )
    problems = tuple(filter(None, (flood, *_bus_problems(link, channel, answered=bool(answering)))))
    return LiveScan(f"{channel.interface}:{channel.name}", tuple(_distinct(units)), problems, frames)


def discover(link: Link, extra: tuple[Address, ...] = (), *, sweep: bool = True) -> set[Address]:
    """The addresses that answer: all at once (11 and 29 bits), then one by one.

    Where the bus talks and nobody answers they are asked once more, with three times the patience: a bus under load,
    a slow gateway and a busy machine are slower than the standard allows.
    """
    addresses = _discover(link, extra, WINDOW, sweep=sweep)
    return addresses if addresses or not link.heard else _discover(link, extra, 3 * WINDOW, sweep=sweep)


def _discover(link: Link, extra: tuple[Address, ...], window: float, *, sweep: bool) -> set[Address]:
    addresses: set[Address] = set()
    for question in (TESTER_PRESENT, SUPPORTED):
        for extended in (False, True):
            addresses |= set(link.call_all(question, window, extended=extended))
    single = [Address(0x7E0 + place, 0x7E8 + place) for place in range(8)]
    asked = [*extra, *single, *(SWEEP if sweep else ())]
    rest = [address for address in dict.fromkeys(asked) if address not in addresses]
    return addresses | set(link.call_each(iter(rest), TESTER_PRESENT, window))


def _read_unit(link: Link, address: Address, name: str, *, heard: bool, patience: Patience) -> LiveUnit:
    session = UnitSession(link, address, patience)
    identification: dict[str, str] = {}
    if not heard:
        return LiveUnit(name, address, answers=False, problems=("does not answer",))
    try:
        identification = session.identification()
        codes = _codes(link, session, patience)
    except Refusal as refusal:
        title = name or identification.get("name", f"unit {address}")
        words = f"stopped answering while it was read: {refusal.words}" if refusal.silent else refusal.words
        return LiveUnit(title, address, not refusal.silent, (), identification, (words,))
    title = name or identification.get("name", f"unit {address}")
    return LiveUnit(title, address, answers=True, codes=codes, identification=identification)


def _codes(link: Link, session: UnitSession, patience: Patience) -> tuple[ReportedCode, ...]:
    """The codes by ISO 14229-1; from a unit without that service, by SAE J1979."""
    try:
        return tuple(_reported(stored) for stored in session.codes_in_any_session())
    except Refusal as refusal:
        if not refusal.not_supported:
            raise
    return legislated_codes(link, session.address, patience)


def _reported(stored: StoredCode) -> ReportedCode:
    byte = stored.status.byte & stored.status.available
    return ReportedCode(stored.code.text, stored.code, status=terms_of(byte), status_byte=byte)


def _distinct(units: list[LiveUnit]) -> Iterator[LiveUnit]:
    """Two units that call themselves alike are told apart by their address."""
    names = [unit.name for unit in units]
    for unit in units:
        alike = names.count(unit.name) > 1
        yield replace(unit, name=f"{unit.name} {unit.address}") if alike else unit


def _flood(link: Link, seconds: float) -> str:
    """Words for one identifier that fills the bus, or nothing."""
    identifier, count = max(link.heard.items(), key=lambda item: item[1], default=(0, 0))
    if count / seconds < FLOOD:
        return ""
    return (
        f"The bus is flooded: identifier {identifier:03X} alone comes {count / seconds:.0f} times a second. "
        "Unplug units one by one until it stops."
    )


def _bus_problems(link: Link, channel: Channel, *, answered: bool) -> Iterator[str]:
    if link.error_frames:
        yield f"{link.error_frames} error frames: bit rate wrong, a line open or shorted, or a terminator missing."
    if link.unreadable:
        yield f"{link.unreadable} frames could not be read: the adapter or its cable delivers garbage."
    if not link.heard:
        yield (
            f"Nothing at all is heard at {channel.bit_rate} bit/s: wrong bit rate, ignition off, bus asleep, or the "
            "adapter is not on the bus (pins 6 and 14 of the diagnostic connector, ISO 15031-3). "
            "With the battery off, 60 ohm between the lines show that both terminators are there."
        )
    elif not answered:
        yield "The bus talks, but no unit answers a tester: a gateway may stand between, or other addresses are used."
