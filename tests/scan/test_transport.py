"""ISO 15765-2 frames against the shared table, and the whole path over python-can's virtual bus."""

from collections.abc import Callable
from itertools import pairwise

import can
import pytest

from halfsplit.scan.channel import PADDING, Address
from halfsplit.scan.link import Endpoint, Link

Rows = Callable[[str], list[dict[str, str]]]

FLOW_CONTROL = bytes.fromhex("300000")


def frames_of(payload: bytes) -> list[bytes]:
    """What an endpoint puts on the bus for a payload when the other end lets everything through."""
    sent: list[bytes] = []
    endpoint = Endpoint(Address(0x7E0, 0x7E8), lambda _, data: sent.append(data))
    endpoint.send(payload)
    if sent and sent[0][0] >> 4 == 1:
        endpoint.inbox.append(_iso(FLOW_CONTROL))
    for _ in range(100):
        endpoint.process()
    return sent


def _iso(data: bytes) -> object:
    import isotp

    return isotp.CanMessage(arbitration_id=0x7E8, data=data)


def test_frames_agree_with_the_shared_table(standard_rows: Rows) -> None:
    table = standard_rows("isotp_segmentation.csv")
    assert len(table) >= 5
    for row in table:
        (column,) = (name for name in row if name.startswith("frames_hex"))
        expected = [bytes.fromhex(frame) for frame in row[column].split("|")]
        assert frames_of(bytes.fromhex(row["payload_hex"])) == expected, row["case"]


def test_sequence_numbers_count_modulo_sixteen() -> None:
    """ISO 15765-2: consecutive frames are numbered 1 to 15, then 0."""
    frames = frames_of(bytes(200))[1:]
    assert all((b[0] & 0xF) == ((a[0] & 0xF) + 1) % 16 for a, b in pairwise(frames))
    assert frames[-1][-1] == PADDING


@pytest.mark.parametrize(
    ("response", "address"),
    [
        (0x7E8, Address(0x7E0, 0x7E8)),
        (0x7EF, Address(0x7E7, 0x7EF)),
        (0x18DAF110, Address(0x18DA10F1, 0x18DAF110)),
        (0x7F0, None),
        (0x748, None),
    ],
)
def test_addresses_of_iso_15765_4(response: int, address: Address | None) -> None:
    assert Address.of_response(response) == address


def test_a_call_to_all_units_collects_every_answer() -> None:
    with (
        can.Bus(interface="virtual", channel="a") as far,
        Link(can.Bus(interface="virtual", channel="a")) as link,
    ):
        far.send(
            can.Message(arbitration_id=0x7E8, data=bytes.fromhex("027E00CCCCCCCCCC"), is_extended_id=False)
        )
        far.send(
            can.Message(arbitration_id=0x7EA, data=bytes.fromhex("037F3E78CCCCCCCC"), is_extended_id=False)
        )
        far.send(
            can.Message(arbitration_id=0x7EA, data=bytes.fromhex("027E00CCCCCCCCCC"), is_extended_id=False)
        )
        link_answers = link.call_all(b"\x3e\x00", 0.1)
        request = far.recv(0.1)
    assert request is not None
    assert (request.arbitration_id, bytes(request.data)) == (0x7DF, bytes.fromhex("023E00CCCCCCCCCC"))
    assert link_answers == {Address(0x7E0, 0x7E8): [b"\x7e\x00"], Address(0x7E2, 0x7EA): [b"\x7e\x00"]}
