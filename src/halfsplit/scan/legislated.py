"""What a unit tells by SAE J1979 / ISO 15031-5 over ISO 15765-4: codes, self-tests, values, freeze frame, names."""

from __future__ import annotations

from dataclasses import dataclass

from halfsplit.scan import j1979
from halfsplit.scan.address import Address
from halfsplit.scan.codes import FaultCode
from halfsplit.scan.link import Link
from halfsplit.scan.reading import ReportedCode
from halfsplit.scan.uds import Patience, Refusal


def legislated_codes(link: Link, address: Address, patience: Patience) -> tuple[ReportedCode, ...]:
    """Stored, pending and permanent codes of SAE J1979 services 03, 07 and 0A; each code once, with all its terms."""
    terms: dict[FaultCode, list[str]] = {}
    for service, term in ((0x03, "confirmed"), (0x07, "pending"), (0x0A, "permanent")):
        message = ask(link, address, bytes([service]), patience)
        for code in j1979.codes(message) if message else ():
            terms.setdefault(code, []).append(term)
    return tuple(ReportedCode(code.text, code, status=tuple(words)) for code, words in terms.items())


def ask(link: Link, address: Address, request: bytes, patience: Patience) -> bytes | None:
    """The answer to a request of SAE J1979 from one unit, or None where it has nothing for it. Raises Refusal."""
    endpoint = link.endpoint(address)
    endpoint.send(request)
    end = link.clock() + patience.whole
    wait = patience.answer
    while link.clock() < end:
        message = link.wait(endpoint, min(wait, end - link.clock()))
        if message is None:
            break
        if message[0] == request[0] + 0x40:
            return message
        if message[:1] == b"\x7f" and message[2:3] != b"\x78":
            return None
        wait = patience.pending if message[:1] == b"\x7f" else wait
    if request[0] in (0x07, 0x0A):
        return None
    raise Refusal("no answer", silent=True)


@dataclass(frozen=True, slots=True)
class LegislatedData:
    """What one unit tells by SAE J1979 besides its codes."""

    address: Address
    readiness: j1979.Readiness | None
    values: tuple[j1979.Measured, ...]
    freeze_frame: tuple[j1979.Measured, ...]
    freeze_frame_code: str
    vin: str
    name: str


def legislated_data(link: Link, address: Address, patience: Patience | None = None) -> LegislatedData:
    """Services 01, 02 and 09: self-tests, present values, freeze frame, identification. Raises Refusal if silent."""
    patience = patience or Patience()
    current = _parameters(link, address, 0x01, patience)
    frozen = _parameters(link, address, 0x02, patience)
    cause = frozen.pop(0x02, b"")
    monitors = current.pop(0x01, b"")
    texts = [ask(link, address, bytes([0x09, item]), patience) for item in (j1979.VIN_ITEM, j1979.NAME_ITEM)]
    vin, name = (j1979.text_of(text) if text else "" for text in texts)
    return LegislatedData(
        address,
        j1979.readiness(monitors) if len(monitors) >= 4 else None,
        tuple(j1979.measured(number, raw) for number, raw in current.items()),
        tuple(j1979.measured(number, raw) for number, raw in frozen.items()),
        FaultCode.from_bytes(cause[:2]).text if len(cause) >= 2 and any(cause) else "",
        vin,
        name,
    )


def _parameters(link: Link, address: Address, service: int, patience: Patience) -> dict[int, bytes]:
    """The parameters that the unit says it has, read one by one (every unit can do that)."""
    values: dict[int, bytes] = {}
    tail = b"\x00" if service == 0x02 else b""
    wanted: set[int] = {0x02} if service == 0x02 else set()
    for base in range(0, 0x100, 0x20):
        answer = ask(link, address, bytes([service, base]) + tail, patience)
        bits = j1979.supported(base, answer[2 + len(tail) :]) if answer else frozenset()
        wanted |= bits
        if base + 0x20 not in bits:
            break
    for number in sorted(wanted):
        if number % 0x20:
            answer = ask(link, address, bytes([service, number]) + tail, patience)
            values |= {number: answer[2 + len(tail) :]} if answer else {}
    return values
