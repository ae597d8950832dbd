"""ISO 15765-2 over one bus to several units at once, with every wait bounded.

One thread, no queue that can grow without end: `pump` takes one frame from the bus, hands it to the endpoint that it
is for and lets can-isotp do the segmentation. Whatever comes in — garbage, a flood, nothing — a wait ends at its time.
"""

from __future__ import annotations

import time
from collections import Counter, deque
from collections.abc import Callable, Iterable
from contextlib import suppress
from typing import Self

import can
import isotp

from halfsplit.scan.channel import FUNCTIONAL, FUNCTIONAL_EXTENDED, PADDING, Address, BusError, StoppedError

FLOOD = 300
"""Frames a second of one identifier above which its sender is broken; the fastest messages come every 5 to 10 ms
(common practice, no source)."""


class Endpoint:
    """One unit's end of the link: frames in, messages out, and what broke the rules of ISO 15765-2."""

    def __init__(self, address: Address, send: Callable[[int, bytes], None]) -> None:
        self.address = address
        self.inbox: deque[isotp.CanMessage] = deque(maxlen=4096)
        self.errors: list[str] = []
        mode = isotp.AddressingMode.Normal_29bits if address.extended else isotp.AddressingMode.Normal_11bits
        self._logic = isotp.TransportLayerLogic(
            rxfn=lambda _timeout: self.inbox.popleft() if self.inbox else None,
            txfn=lambda message: send(message.arbitration_id, bytes(message.data)),
            address=isotp.Address(mode, txid=address.request, rxid=address.response),
            error_handler=self._note,
            params={"tx_padding": PADDING, "blocksize": 0, "stmin": 0},
        )

    def send(self, payload: bytes) -> None:
        """Forget what came before and begin to send."""
        self.forget()
        self._logic.send(payload)
        self._logic.process()

    def forget(self) -> None:
        """Drop frames and messages of an earlier request."""
        self.inbox.clear()
        self._logic.reset()

    @property
    def busy(self) -> bool:
        """Whether there is anything for `process` to do: frames, a message under way in either direction."""
        return bool(self.inbox) or self._logic.transmitting() or self._logic.is_rx_active()

    def process(self) -> None:
        """Let the segmentation move on."""
        self._logic.process()

    def take(self) -> bytes | None:
        """A complete message, or None."""
        message = self._logic.recv() if self._logic.available() else None
        return None if message is None else bytes(message)

    def _note(self, error: Exception) -> None:
        if len(self.errors) < 100:
            self.errors.append(type(error).__name__)


class Link:
    """A bus with the endpoints that are listened to. Close it, or use it in a `with` statement.

    ``stop``: asked at every frame; where it says yes, whatever waits ends with StoppedError.
    """

    def __init__(
        self,
        bus: can.BusABC,
        clock: Callable[[], float] = time.monotonic,
        stop: Callable[[], bool] = lambda: False,
    ) -> None:
        self.bus = bus
        self.clock = clock
        self.stop = stop
        self.endpoints: dict[int, Endpoint] = {}
        self.heard: Counter[int] = Counter()
        self.error_frames = 0
        self.unreadable = 0

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def close(self) -> None:
        """Close the bus; an adapter that is gone already is no error here."""
        with suppress(can.CanError, OSError):
            self.bus.shutdown()
        # python-can leaves the port of an slcan adapter open
        port = getattr(self.bus, "serialPortOrig", None)
        if port is not None:
            port.close()

    def endpoint(self, address: Address) -> Endpoint:
        """The endpoint of an address, made when first asked for."""
        if address.response not in self.endpoints:
            self.endpoints[address.response] = Endpoint(address, self._send)
        return self.endpoints[address.response]

    def pump(self, timeout: float) -> None:
        """Take at most one frame from the bus and let every endpoint move on. Raises BusError if the adapter goes."""
        if self.stop():
            raise StoppedError("stopped before the end: what was not read is not known")
        message = self._receive(timeout)
        if message is not None and message.is_error_frame:
            self.error_frames += 1
        elif message is not None:
            identifier = message.arbitration_id
            if len(self.heard) < 4096 or identifier in self.heard:
                self.heard[identifier] += 1
            address = Address.of_response(identifier)
            known = self.endpoints.get(identifier) or (self.endpoint(address) if address else None)
            if known is not None and not message.is_remote_frame:
                frame = isotp.CanMessage(
                    arbitration_id=identifier, extended_id=message.is_extended_id, data=bytes(message.data)
                )
                known.inbox.append(frame)
        for endpoint in list(self.endpoints.values()):
            if endpoint.busy:
                endpoint.process()

    def wait(self, endpoint: Endpoint, timeout: float) -> bytes | None:
        """The next complete message of one unit, or None when the time is over."""
        end = self.clock() + timeout
        while (left := end - self.clock()) > 0:
            message = endpoint.take()
            if message is not None:
                return message
            self.pump(min(left, 0.02))
        return endpoint.take()

    def listen(self, seconds: float) -> float:
        """Hear what is on the bus for a time; returns frames a second."""
        before, start = sum(self.heard.values()), self.clock()
        while self.clock() - start < seconds:
            self.pump(0.02)
        return (sum(self.heard.values()) - before) / max(self.clock() - start, 1e-3)

    def call_all(
        self, payload: bytes, window: float, *, extended: bool = False
    ) -> dict[Address, list[bytes]]:
        """Ask all units at once (functional addressing) and collect their messages for a time; at most 7 bytes."""
        identifier = FUNCTIONAL_EXTENDED if extended else FUNCTIONAL
        for endpoint in self.endpoints.values():
            endpoint.forget()
        self._send_single(identifier, payload)
        return self._collect(window)

    def call_each(
        self, addresses: Iterable[Address], payload: bytes, window: float
    ) -> dict[Address, list[bytes]]:
        """Ask each address by itself, one after another without waiting, and collect for a time."""
        for address in addresses:
            self.endpoint(address).forget()
            self._send_single(address.request, payload)
            self.pump(0.002)
        return self._collect(window)

    def _collect(self, window: float) -> dict[Address, list[bytes]]:
        """Messages of all endpoints; 'still working on it' is not one of them and lengthens the wait once."""
        messages: dict[Address, list[bytes]] = {}
        end = latest = self.clock() + window
        latest += 5 * window
        while self.clock() < end:
            self.pump(0.02)
            for endpoint in list(self.endpoints.values()):
                message = endpoint.take()
                if message is None:
                    continue
                if message[:1] == b"\x7f" and message[2:3] == b"\x78":
                    end = min(latest, self.clock() + window)
                else:
                    messages.setdefault(endpoint.address, []).append(message)
        return messages

    def _send_single(self, identifier: int, payload: bytes) -> None:
        self._send(identifier, (bytes([len(payload)]) + payload).ljust(8, bytes([PADDING])))

    def _send(self, identifier: int, data: bytes) -> None:
        message = can.Message(arbitration_id=identifier, is_extended_id=identifier > 0x7FF, data=data)
        try:
            self.bus.send(message, timeout=1.0)
        except (can.CanError, OSError) as error:
            raise BusError(
                f"the bus does not take a frame ({error}): is the adapter still there, is the bit rate right, "
                "is the ignition on?"
            ) from error

    def _receive(self, timeout: float) -> can.Message | None:
        try:
            return self.bus.recv(timeout)
        except (ValueError, IndexError, KeyError):
            self.unreadable += 1
            return None
        except (can.CanError, OSError) as error:
            if isinstance(error.__cause__, ValueError):
                self.unreadable += 1
                # Bytes that are no text: python-can keeps them until flushed. Forget only that line: what came behind
                # it are answers that somebody waits for.
                kept = getattr(self.bus, "_buffer", None)
                if isinstance(kept, bytearray):
                    kept.clear()
                else:
                    getattr(self.bus, "flush", lambda: None)()
                return None
            raise BusError(
                f"the connection to the adapter is lost ({error}): check its plug and its cable"
            ) from error
