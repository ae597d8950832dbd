"""A live scan: who is on the bus, what each unit stores, who fell silent. Reading only; `clear.py` clears.

Nothing here waits without an end, and each thing that can go wrong has its words in `LiveScan.problems`.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass, field, replace
from typing import Any

from halfsplit.scan.channel import Address, Channel
from halfsplit.scan.link import FLOOD, Link
from halfsplit.scan.reading import ReportedCode
from halfsplit.scan.report import ScanReport
from halfsplit.scan.uds import Patience, Refusal, UnitSession, legislated_codes
from halfsplit.scan.units import UnitReport, write_report

TESTER_PRESENT = b"\x3e\x00"
SUPPORTED = b"\x01\x00"
SWEEP = tuple(Address(request, request + 8) for request in range(0x700, 0x7D8) if request & 0x8 == 0)
"""Physical addresses that makers use, response = request + 8 (common practice, no source)."""
LEGISLATED = tuple(Address(0x7E0 + place, 0x7E8 + place) for place in range(8))
"""Those of ISO 15765-4 with 11 bits."""

LISTEN = 0.4
WINDOW = 0.35


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
        return {
            "channel": self.channel,
            "frames": round(self.frames, 1),
            "problems": list(self.problems),
            "units": [
                {
                    "name": unit.name,
                    "address": str(unit.address),
                    "answers": unit.answers,
                    "identification": dict(unit.identification),
                    "problems": list(unit.problems),
                    "codes": UnitReport(unit.name, unit.answers, unit.codes).as_dict()["codes"],
                }
                for unit in self.units
            ],
        }


def scan(
    channel: Channel,
    *,
    expected: Mapping[str, Address] | None = None,
    sweep: bool = True,
    patience: Patience | None = None,
    progress: Callable[[str], None] = lambda _: None,
    stop: Callable[[], bool] = lambda: False,
) -> LiveScan:
    """Open the channel, find the units and read their codes. Raises BusError if the adapter fails.

    expected: units that the vehicle has, by name; those that do not answer are listed as silent.
    sweep: also ask the addresses that makers use, besides those of ISO 15765-4. Where the bus talks and nobody answers,
    all are asked once more with three times the patience. stop: asked again and again; a yes ends the scan with
    StoppedError.
    """
    with Link(channel.open(), stop=stop) as link:
        progress("listening to the bus")
        frames = link.listen(LISTEN)
        identifier, loudest = max(link.heard.items(), key=lambda item: item[1], default=(0, 0))
        progress("looking for units")
        extra = [*(expected or {}).values(), *LEGISLATED, *(SWEEP if sweep else ())]
        answering = _answering(link, extra, WINDOW)
        if not answering and link.heard:
            # A bus under load, a slow gateway and a busy machine are slower than the standard allows.
            answering = _answering(link, extra, 3 * WINDOW)
        names = {address: name for name, address in (expected or {}).items()}
        units = []
        for address in [*(expected or {}).values(), *sorted(answering - set(names))]:
            name = names.get(address, "")
            progress(f"reading {name or address}")
            if address in answering:
                units.append(_read_unit(link, address, name, patience or Patience()))
            else:
                units.append(LiveUnit(name, address, answers=False, problems=("does not answer",)))
    problems = _bus_problems(link, channel, identifier, loudest / LISTEN, answered=bool(answering))
    # Two units that call themselves alike are told apart by their address.
    titles = [unit.name for unit in units]
    distinct = tuple(
        replace(unit, name=f"{unit.name} {unit.address}") if titles.count(unit.name) > 1 else unit
        for unit in units
    )
    return LiveScan(f"{channel.interface}:{channel.name}", distinct, tuple(problems), frames)


def _answering(link: Link, addresses: Iterable[Address], window: float) -> set[Address]:
    """The addresses that answer: all at once (11 and 29 bits), then one by one those that do not yet."""
    answering: set[Address] = set()
    for question in (TESTER_PRESENT, SUPPORTED):
        for extended in (False, True):
            answering |= set(link.call_all(question, window, extended=extended))
    rest = [address for address in dict.fromkeys(addresses) if address not in answering]
    return answering | set(link.call_each(rest, TESTER_PRESENT, window))


def _read_unit(link: Link, address: Address, name: str, patience: Patience) -> LiveUnit:
    """Its codes by ISO 14229-1; from a unit without that service, by SAE J1979."""
    session = UnitSession(link, address, patience)
    identification: dict[str, str] = {}
    codes: tuple[ReportedCode, ...] = ()
    problems: tuple[str, ...] = ()
    answers = True
    try:
        identification = session.identification()
        try:
            codes = session.codes_in_any_session()
        except Refusal as refusal:
            if not refusal.not_supported:
                raise
            codes = legislated_codes(link, address, patience)
    except Refusal as refusal:
        answers = not refusal.silent
        problems = (refusal.words if answers else f"stopped answering while it was read: {refusal.words}",)
    title = name or identification.get("name", f"unit {address}")
    return LiveUnit(title, address, answers, codes, identification, problems)


def _bus_problems(
    link: Link, channel: Channel, loudest: int, rate: float, *, answered: bool
) -> Iterator[str]:
    """What is wrong with the bus. loudest, rate: the identifier that came most often, and how often a second."""
    if rate >= FLOOD:
        yield (
            f"The bus is flooded: identifier {loudest:03X} alone comes {rate:.0f} times a second. "
            "Unplug units one by one until it stops."
        )
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
