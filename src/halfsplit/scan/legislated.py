"""The codes that a unit tells by SAE J1979 / ISO 15031-5 over ISO 15765-4."""

from __future__ import annotations

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
        for code in codes_of(message) if message else ():
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


def codes_of(message: bytes) -> tuple[FaultCode, ...]:
    """The codes of an answer 43, 47 or 4A on CAN (ISO 15031-5): a count, then two bytes each; zeros are no code."""
    pairs = (message[place : place + 2] for place in range(2, len(message) - 1, 2))
    codes_read = tuple(FaultCode.from_bytes(pair) for pair in pairs if pair != b"\x00\x00")
    return codes_read[: message[1]] if len(message) > 1 else ()
