"""What one unit says by ISO 14229-1, and by SAE J1979 where it knows that alone. Reading only, but for `clear`.

udsoncan encodes and decodes; every failure comes back as `Refusal` in words, never as an exception of a library.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from udsoncan.client import Client
from udsoncan.configs import default_client_config
from udsoncan.connections import BaseConnection
from udsoncan.exceptions import (
    InvalidResponseException,
    NegativeResponseException,
    TimeoutException,
    UnexpectedResponseException,
)
from udsoncan.Request import Request
from udsoncan.services.ReadDataByIdentifier import ReadDataByIdentifier

from halfsplit.scan.channel import Address
from halfsplit.scan.codes import FaultCode
from halfsplit.scan.descriptions import NOT_SUPPORTED, OTHER_SESSION, negative_words
from halfsplit.scan.link import Endpoint, Link
from halfsplit.scan.reading import ReportedCode, terms_of

DEFAULT_SESSION, EXTENDED_SESSION = 1, 3

# ISO 14229-1 annex C: identifiers that every maker uses alike.
IDENTIFIERS = {
    0xF190: "VIN",
    0xF197: "name",
    0xF187: "part number",
    0xF18C: "serial number",
    0xF191: "hardware number",
    0xF195: "software version",
}


@dataclass(frozen=True, slots=True)
class Patience:
    """How long to wait, in seconds. answer: for the first answer; pending: after each 'still working on it'.

    whole: for one request altogether, so that a unit that is pending for ever ends too.
    """

    answer: float = 0.5
    pending: float = 3.0
    whole: float = 8.0


class Refusal(Exception):
    """What came instead of an answer. silent: nothing came at all. code: the negative response, or None."""

    def __init__(self, words: str, *, silent: bool = False, code: int | None = None) -> None:
        super().__init__(words)
        self.words = words
        self.silent = silent
        self.code = code

    @property
    def not_supported(self) -> bool:
        """Whether the unit does not have what was asked for, which is no fault."""
        return self.code in NOT_SUPPORTED


class UnitConnection(BaseConnection):
    """udsoncan's view of one endpoint of a link."""

    def __init__(self, link: Link, endpoint: Endpoint) -> None:
        super().__init__(str(endpoint.address))
        self._link = link
        self._endpoint = endpoint

    def open(self) -> UnitConnection:
        return self

    def close(self) -> None:
        self._endpoint.forget()

    def is_open(self) -> bool:
        return True

    def empty_rxqueue(self) -> None:
        self._endpoint.forget()

    def specific_send(self, payload: bytes, timeout: float | None = None) -> None:
        self._endpoint.send(payload)

    def specific_wait_frame(self, timeout: float | None = None) -> bytes:
        message = self._link.wait(self._endpoint, 1.0 if timeout is None else timeout)
        if message is None:
            raise TimeoutException("no answer")  # type: ignore[no-untyped-call]
        return message


class UnitSession:
    """Questions to one unit. Each method returns what the unit says or raises Refusal."""

    def __init__(self, link: Link, address: Address, patience: Patience | None = None) -> None:
        patience = patience or Patience()
        self.pending = 0
        self._endpoint = link.endpoint(address)
        config = default_client_config.copy()
        config["request_timeout"] = patience.whole
        config["p2_timeout"] = patience.answer
        config["p2_star_timeout"] = patience.pending
        config["use_server_timing"] = False
        config["nrc78_callback"] = self._count_pending
        self._client = Client(UnitConnection(link, self._endpoint), config=config)
        self._client.logger.disabled = True

    def _count_pending(self) -> None:
        self.pending += 1

    def ask(self, question: Callable[[Client], Any]) -> Any:
        """Put a question through udsoncan; what goes wrong becomes a Refusal."""
        before = len(self._endpoint.errors)
        self.pending = 0
        try:
            return question(self._client)
        except NegativeResponseException as error:
            payload = error.response.original_payload or b""
            raise Refusal(negative_words(*payload[1:3]), code=payload[2]) from None
        except TimeoutException:
            errors = ", ".join(dict.fromkeys(self._endpoint.errors[before:]))
            why = "no answer"
            if errors:
                why = f"the answer breaks the rules of ISO 15765-2 and cannot be put together ({errors})"
            elif self.pending:
                times = f"{self.pending} time{'' if self.pending == 1 else 's'}"
                why = f"the unit said {times} that it is still working on it, and never answered"
            raise Refusal(why, silent=not errors) from None
        except (InvalidResponseException, UnexpectedResponseException, ValueError, IndexError):
            raise Refusal("the answer does not fit the question or breaks the rules of ISO 14229-1") from None

    def codes(self) -> tuple[ReportedCode, ...]:
        """The codes with any status bit set (0x19 02), each with those that the unit supports."""
        data = self.ask(lambda client: client.get_dtc_by_status_mask(0xFF)).service_data
        mask = data.status_availability
        available = mask.get_byte_as_int() if mask else 0xFF
        codes = []
        for dtc in data.dtcs:
            code = FaultCode.from_bytes(dtc.id.to_bytes(3, "big"))
            byte = dtc.status.get_byte_as_int() & available
            codes.append(ReportedCode(code.text, code, status=terms_of(byte), status_byte=byte))
        return tuple(codes)

    def identification(self) -> dict[str, str]:
        """What the unit says of itself (0x22); what it does not have is left out. Raises Refusal if it falls silent."""
        texts = {}
        for identifier, name in IDENTIFIERS.items():
            try:
                raw = self.read(identifier)
            except Refusal as refusal:
                if refusal.silent:
                    raise
                continue
            text = "".join(chr(byte) for byte in raw if 0x20 <= byte < 0x7F).strip()
            if text:
                texts[name] = text
        return texts

    def read(self, identifier: int) -> bytes:
        """The bytes of one identifier (0x22)."""
        request = Request(ReadDataByIdentifier, data=identifier.to_bytes(2, "big"))
        response = self.ask(lambda client: client.send_request(request))
        data = bytes(response.data or b"")
        if data[:2] != identifier.to_bytes(2, "big"):
            raise Refusal("the answer is about another identifier")
        return data[2:]

    def change_session(self, session: int) -> None:
        """Go to a session (0x10): `DEFAULT_SESSION` or `EXTENDED_SESSION`, no other is asked for."""
        if session not in (DEFAULT_SESSION, EXTENDED_SESSION):
            raise ValueError(f"session {session}: only the default and the extended session are used here")
        self.ask(lambda client: client.change_session(session))

    def codes_in_any_session(self) -> tuple[ReportedCode, ...]:
        """The codes; where the unit gives them in the extended session only, that is opened and left again."""
        try:
            return self.codes()
        except Refusal as refusal:
            if refusal.code not in OTHER_SESSION:
                raise
        self.change_session(EXTENDED_SESSION)
        try:
            return self.codes()
        finally:
            self.change_session(DEFAULT_SESSION)

    def clear(self) -> None:
        """Clear all codes (0x14 FFFFFF). Only `clear.clear_codes` calls this, behind a confirmation."""
        self.ask(lambda client: client.clear_dtc(0xFFFFFF))


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
