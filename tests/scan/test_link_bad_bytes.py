"""Bytes that are no text cost their own line only: an answer behind them is still heard. Common practice, no source."""

import can

from halfsplit.scan.channel import Address
from halfsplit.scan.link import Link

ANSWER = can.Message(arbitration_id=0x748, is_extended_id=False, data=bytes.fromhex("027E000000000000"))


class GarblingBus:
    """A bus whose adapter sends a line of garbage before each frame, as python-can's slcan tells it."""

    def __init__(self):
        self._buffer = bytearray()
        self.flushed = False
        self.rest = ["garbage", ANSWER]

    def recv(self, timeout):
        if not self.rest:
            return None
        found = self.rest.pop(0)
        if found == "garbage":
            self._buffer.extend(b"t7E8ZZ\xff\r")
            raise can.CanOperationError("Could not read") from ValueError("no text")
        assert not self._buffer  # the bad line was dropped
        return found

    def send(self, message, timeout=None):
        pass

    def flush(self):
        self.flushed = True

    def shutdown(self):
        pass


def test_an_answer_behind_a_line_of_garbage_is_heard():
    bus = GarblingBus()
    with Link(bus) as link:
        endpoint = link.endpoint(Address(0x740, 0x748))
        assert link.wait(endpoint, 0.5) == b"\x7e\x00"
    assert link.unreadable == 1
    assert not bus.flushed
