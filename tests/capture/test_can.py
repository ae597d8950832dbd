"""CAN against frames built bit by bit, a general-purpose CRC library, ISO 11898-2's levels and real recordings."""

from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from halfsplit.capture import Capture, analyse, suggested_roles
from halfsplit.capture.measure.can import CanResult, can, can_logic
from halfsplit.capture.measure.can_frames import crc15
from halfsplit.capture.measure.signal import edges
from tests.capture.signals.bus import can_frame, can_pair, fd_frame, fd_on_wire, library_crc, on_wire

BIT = 2e-6
RATE = 20e6

FRAMES = [
    can_frame(0x123, bytes.fromhex("0011223344556677")),
    can_frame(0x18DAF110, bytes.fromhex("023E00"), extended=True),
    can_frame(0x7FF, b""),
    can_frame(0x000, b"\x00\x00\x00\x00"),
    can_frame(0x555, b"\xff" * 8),
    can_frame(0x2A0, remote=True, length=4),
]


def logic(
    frames: list[list[int]], *, rate: float = RATE, bit: float = BIT, bit_rate: float | None = None
) -> CanResult:
    levels = on_wire(frames, bit, rate).astype(float)
    return can_logic(edges(levels, rate, 0.3, 0.7), levels.size, rate, bit_rate=bit_rate)


@given(st.lists(st.integers(0, 1), min_size=1, max_size=120))
def test_crc_is_that_of_the_general_purpose_library(bits: list[int]) -> None:
    assert crc15(bits) == library_crc(bits)


def test_crc_check_value() -> None:
    """CRC-15/CAN of '123456789' is 0x059E (from memory; the library test above does not rest on it)."""
    assert crc15([int(b) for byte in b"123456789" for b in f"{byte:08b}"]) == 0x059E


def test_frames_of_all_kinds() -> None:
    result = logic(FRAMES)
    assert result.verdict == "good"
    assert [frame.status for frame in result.frames] == ["good"] * 6
    first, extended, empty, zeros, ones, remote = result.frames
    assert (first.identifier, first.data.hex()) == (0x123, "0011223344556677")
    assert (extended.identifier, extended.extended, extended.data.hex()) == (0x18DAF110, True, "023e00")
    assert (empty.identifier, empty.data) == (0x7FF, b"")
    assert (zeros.identifier, zeros.data) == (0, bytes(4))
    assert ones.data == b"\xff" * 8
    assert (remote.remote, remote.length, remote.data) == (True, 4, b"")


@given(st.integers(0, 0x1FFFFFFF), st.booleans(), st.binary(max_size=8))
def test_every_frame_comes_back(identifier: int, extended: bool, data: bytes) -> None:
    number = identifier if extended else identifier & 0x7FF
    result = logic([can_frame(number, data, extended=extended)] * 2, rate=5e6, bit_rate=500e3)
    assert [(f.identifier, f.extended, f.data, f.status) for f in result.frames] == [
        (number, extended, data, "good")
    ] * 2


@pytest.mark.parametrize("kbit", [1000, 500, 250, 125, 83.333, 50, 33.333, 10])
@pytest.mark.parametrize("samples_a_bit", [5, 8.3, 40])
def test_unknown_bit_rate_is_found(kbit: float, samples_a_bit: float) -> None:
    bit = 1e-3 / kbit
    result = logic(FRAMES, bit=bit, rate=samples_a_bit / bit)
    assert result.verdict == "good", result.reason
    assert result.bit_rate == pytest.approx(kbit * 1e3, rel=0.005)


def test_asymmetric_edges_and_an_inverted_probe() -> None:
    levels = on_wire(FRAMES, BIT, RATE).astype(float)
    longer = np.minimum.reduce([np.roll(levels, shift) for shift in range(8)])  # dominant bits 0.35 us longer
    for sense in (longer, 1 - longer):
        result = can_logic(edges(sense, RATE, 0.3, 0.7), sense.size, RATE)
        assert result.verdict == "good", result.reason
        assert len(result.frames) == 6


def test_a_spoilt_checksum_is_told_with_both_values() -> None:
    result = logic([FRAMES[0], can_frame(0x123, b"\x01\x02", spoil_crc=True), FRAMES[1]])
    assert [frame.status for frame in result.frames] == ["good", "CRC error", "good"]
    assert result.verdict == "fault"
    assert "computed" in result.frames[1].note


def test_error_flag_after_a_stuff_error() -> None:
    broken = FRAMES[0][:30] + [0] * 7 + [1] * 8
    result = logic([FRAMES[1], broken, FRAMES[1]])
    kinds = [frame.status for frame in result.frames]
    assert kinds[0] == kinds[-1] == "good"
    assert "stuff error" in kinds
    assert "error flag" in kinds
    assert result.verdict == "fault"


def test_dominant_bit_in_the_end_of_frame_is_a_form_error() -> None:
    frame = FRAMES[0].copy()
    frame[-4] = 0
    assert logic([FRAMES[1], frame]).frames[1].status == "form error"


def test_a_bus_with_one_unit_is_not_acknowledged() -> None:
    result = logic([can_frame(0x321, b"\x01", acknowledged=False)] * 3)
    assert {frame.status for frame in result.frames} == {"not acknowledged"}
    assert result.verdict == "fault"
    assert "alone on the bus" in result.reason


def test_a_frame_that_the_recording_cuts() -> None:
    levels = on_wire(FRAMES[:2], BIT, RATE).astype(float)
    cut = levels[: int((30 + 115 + 40) * BIT * RATE)]
    result = can_logic(edges(cut, RATE, 0.3, 0.7), cut.size, RATE, bit_rate=500e3)
    assert [frame.status for frame in result.frames][-1] == "cut off"


FD_FRAMES = [
    (0x042, bytes(range(8)), False),
    (0x18DAF110, bytes(range(64)), True),
    (0x7FF, b"", False),
    (0x000, bytes(12), False),
    (0x155, b"\xff" * 24, False),
]


def flexible(rate: float, *, nominal: float, spoil_crc: bool = False, **options: Any) -> CanResult:
    """Classic frames and CAN FD frames on one line, the last of them spoilt if asked."""
    parts = [[(bit, 1.0) for bit in frame] for frame in FRAMES[:2]]
    for place, (identifier, data, extended) in enumerate(FD_FRAMES):
        spoilt = spoil_crc and place == len(FD_FRAMES) - 1
        parts.append(fd_frame(identifier, data, extended=extended, spoil_crc=spoilt, **options))
    levels = fd_on_wire(parts, 1.0 / nominal, rate).astype(float)
    return can_logic(edges(levels, rate, 0.3, 0.7), levels.size, rate)


@pytest.mark.parametrize(
    ("nominal", "ratio", "turn", "iso"),
    [
        (500e3, 1.0, 0.8, True),
        (500e3, 4.0, 0.8, True),
        (500e3, 4.0, 0.7, False),
        (1e6, 8.0, 0.75, True),
        (250e3, 2.5, 0.87, True),
        (125e3, 16.0, 0.8, True),
    ],
)
def test_flexible_frames_come_back_with_their_second_rate(
    nominal: float, ratio: float, turn: float, iso: bool
) -> None:
    result = flexible(8 * nominal * ratio, nominal=nominal, faster=ratio > 1, ratio=ratio, turn=turn, iso=iso)
    assert result.verdict == "good", result.reason
    assert [(f.identifier, f.data, f.extended, f.fd) for f in result.frames[2:]] == [
        (identifier, data, extended, True) for identifier, data, extended in FD_FRAMES
    ]
    assert result.bit_rate == pytest.approx(nominal, rel=0.01)
    assert result.data_bit_rate == pytest.approx(ratio * nominal if ratio > 1 else 0.0, rel=0.01)
    assert "CAN FD" in result.notes[0]


def test_a_flexible_frame_that_no_check_fits_is_not_called_a_fault() -> None:
    """No unit has sent an error flag after it: it is the recording that does not show it."""
    result = flexible(40e6, nominal=500e3, faster=True, spoil_crc=True)
    assert [frame.status for frame in result.frames].count("CRC error") == 1
    assert result.verdict == "cannot tell"


def test_flexible_frames_that_were_sampled_too_slowly_are_told_by_their_identifiers() -> None:
    result = flexible(4e6, nominal=500e3, faster=True, ratio=10.0)
    assert result.verdict == "cannot tell"
    assert {f.identifier for f in result.frames if f.fd} == {identifier for identifier, _, _ in FD_FRAMES}


def test_an_error_flag_makes_broken_flexible_frames_a_fault() -> None:
    whole = fd_frame(0x123, bytes(16), faster=True)
    broken = [*whole[:60], (0, 6.0), (1, 12.0)]
    levels = fd_on_wire([whole, broken, whole], 2e-6, 40e6).astype(float)
    result = can_logic(edges(levels, 40e6, 0.3, 0.7), levels.size, 40e6)
    assert result.verdict == "fault"
    assert "error flag" in [frame.status for frame in result.frames]


def test_a_line_that_makes_no_frame_is_not_accused() -> None:
    """A serial line of another kind: bytes of ten bits."""
    random = np.random.default_rng(3)
    bits = [1] * 50
    for octet in random.integers(0, 256, 400).tolist():
        bits += [0, *(octet >> i & 1 for i in range(8)), 1, *[1] * (octet % 3 * 6)]
    levels = np.repeat(bits, 10).astype(float)
    assert can_logic(edges(levels, 1e6, 0.3, 0.7), levels.size, 1e6).verdict == "cannot tell"


def test_too_slow_and_too_little() -> None:
    assert "samples a bit" in logic(FRAMES, rate=1.2e6, bit_rate=500e3).reason
    silent = can_logic(edges(np.ones(1000), RATE, 0.3, 0.7), 1000, RATE)
    assert silent.verdict == "cannot tell"


def test_noise_that_is_no_bus() -> None:
    times = np.cumsum(np.random.default_rng(5).exponential(5e-6, 400))
    levels = np.searchsorted(times, np.arange(0, times[-1], 1e-7)) % 2
    result = can_logic(edges(levels.astype(float), 1e7, 0.3, 0.7), levels.size, 1e7)
    assert result.verdict in ("cannot tell", "fault")
    assert not any(frame.status == "good" for frame in result.frames)


def pair(**options: float) -> tuple[np.ndarray, np.ndarray]:
    high, low = can_pair(on_wire(FRAMES, BIT, RATE), RATE, **options)
    random = np.random.default_rng(2)
    return high + random.normal(0, 0.02, high.size), low + random.normal(0, 0.02, low.size)


def test_levels_of_a_sound_pair() -> None:
    high, low = pair()
    result = can(high, low, RATE)
    assert result.verdict == "good", result.reason
    assert len(result.frames) == 6
    assert result["CAN high dominant"].value == pytest.approx(3.5, abs=0.02)
    assert result["CAN low dominant"].value == pytest.approx(1.5, abs=0.02)
    assert result["CAN high recessive"].value == pytest.approx(2.5, abs=0.02)
    assert 1.5 <= result["dominant difference"].value <= 3.0  # ISO 11898-2


@pytest.mark.parametrize(
    ("spoil", "words"),
    [
        (lambda high, low: (low, high), "swapped"),
        (lambda high, low: (high, np.full_like(low, 0.03)), "CAN low is shorted to body"),
        (lambda high, low: (high, np.full_like(low, 12.4)), "CAN low is shorted to supply"),
        (lambda high, low: (np.full_like(high, 0.02), low), "CAN high is shorted to body"),
        (lambda high, low: (np.full_like(high, 12.5), low), "CAN high is shorted to supply"),
        (lambda high, low: (np.full_like(high, 2.5), low), "CAN high is open"),
        (lambda high, _low: (high, high - 0.05), "CAN low is open between here and the sender"),
        (lambda _high, low: (low + 0.05, low), "CAN high is open between here and the sender"),
        (
            lambda high, _low: (2.5 + 0.1 * (high - 2.5), 2.5 + 0.1 * (high - 2.5)),
            "the two lines are together",
        ),
        (lambda high, low: (high + 0.9, low + 0.9), "CAN high rests at 3.4"),
        (lambda high, low: (2.5 + 0.5 * (high - 2.5), 2.5 + 0.5 * (low - 2.5)), "under 1.5 V"),
    ],
)
def test_what_is_wrong_with_the_pair(
    spoil: Callable[[np.ndarray, np.ndarray], tuple[np.ndarray, np.ndarray]], words: str
) -> None:
    result = can(*spoil(*pair()), RATE)
    assert result.verdict == "fault"
    assert words in result.reason + " ".join(result.notes)


@pytest.mark.parametrize("noise", [0.05, 0.1])
def test_a_line_that_only_has_noise_does_not_pass_for_one_that_moves(noise: float) -> None:
    """An eight-bit instrument on a range of 20 V has steps of 80 mV."""
    high, low = pair()
    random = np.random.default_rng(4)
    rough, flat = high + random.normal(0, noise, high.size), 0.03 + random.normal(0, noise, low.size)
    assert "CAN low is shorted to body" in can(rough, flat, RATE).reason
    other = high + random.normal(0, noise, high.size)
    assert "CAN low is open between here and the sender" in can(rough, other, RATE).reason
    assert can(rough, low + random.normal(0, noise, low.size), RATE).verdict == "good"


def test_frames_are_read_from_the_line_that_works() -> None:
    high, low = pair()
    result = can(high, np.full_like(low, 0.03), RATE)
    assert [frame.status for frame in result.frames] == ["good"] * 6


def test_a_missing_terminator_shows_in_the_difference_and_the_slow_return() -> None:
    result = can(*pair(difference=2.9, fall=350e-9), RATE)
    assert result.verdict == "fault"
    assert "a terminator is missing" in result.reason
    sound = can(*pair(difference=2.2, fall=60e-9), RATE)
    assert sound.verdict == "good"


def test_a_silent_pair_cannot_be_told() -> None:
    random = np.random.default_rng(1)
    quiet = can(2.5 + random.normal(0, 0.01, 50_000), 2.49 + random.normal(0, 0.01, 50_000), RATE)
    assert quiet.verdict == "cannot tell"
    assert "wake the bus" in quiet.reason


def real(folder: Path, name: str) -> CanResult:
    capture = Capture.read(folder / name)
    (result,) = analyse(capture, suggested_roles(capture))
    assert isinstance(result, CanResult)
    return result


def test_real_extended_frames(outside_data: Callable[[str], Path]) -> None:
    """README of the data: extended id 0x11223344, 7 bytes, 125 kbit/s."""
    result = real(outside_data("bus"), "can-125k-extended.npz")
    assert result.verdict == "good"
    assert result.bit_rate == pytest.approx(125e3, rel=0.005)
    assert {(f.identifier, f.extended, f.length) for f in result.frames} == {(0x11223344, True, 7)}


def test_real_traffic_and_real_fd(outside_data: Callable[[str], Path]) -> None:
    folder = outside_data("bus")
    traffic = real(folder, "can-125k-load-25.npz")
    assert traffic.verdict == "good"
    assert len({f.identifier for f in traffic.frames}) == 3


@pytest.mark.parametrize(
    ("name", "length", "data_rate"),
    [("can-fd-no-brs-8", 8, 0.0), ("can-fd-brs-std-8", 8, 2e6), ("can-fd-brs-ext-64", 64, 2e6)],
)
def test_real_fd(outside_data: Callable[[str], Path], name: str, length: int, data_rate: float) -> None:
    """README of the data: without and with rate switch, 8 and 64 bytes."""
    result = real(outside_data("bus"), f"{name}.npz")
    assert result.verdict == "good"
    assert [(f.fd, f.length, f.data) for f in result.frames] == [(True, length, bytes(range(length)))]
    assert result.data_bit_rate == pytest.approx(data_rate, rel=0.005)
