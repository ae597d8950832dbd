"""LIN against frames built bit by bit, published checksums and real recordings."""

from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from halfsplit.capture import Capture, analyse, suggested_roles
from halfsplit.capture.measure.lin import LinResult, checksum, lin, lin_logic, protect
from halfsplit.capture.measure.signal import edges
from tests.capture.signals.bus import lin_frame, on_wire

BIT = 1 / 19_200
RATE = 500e3


def logic(frames: list[list[int]], *, rate: float = RATE, bit: float = BIT) -> LinResult:
    levels = on_wire(frames, bit, rate, idle_bits=40).astype(float)
    return lin_logic(edges(levels, rate, 0.3, 0.7), levels.size, rate)


@pytest.mark.parametrize(
    ("identifier", "protected", "data", "enhanced"),
    [(0x01, 0xC1, "1111", 0x1C), (0x23, 0xA3, "1122", 0x29)],
)
def test_published_identifiers_and_checksums(
    identifier: int, protected: int, data: str, enhanced: int
) -> None:
    """Two worked examples, seen and recomputed (design page `sources.md`)."""
    assert protect(identifier) == protected
    assert checksum(bytes.fromhex(data), protected) == enhanced


@given(st.integers(0, 59), st.binary(min_size=1, max_size=8), st.booleans())
def test_every_frame_comes_back(identifier: int, data: bytes, classic: bool) -> None:
    result = logic([lin_frame(identifier, data, classic=classic)], rate=200e3)
    (frame,) = result.frames
    assert (frame.status, frame.identifier, frame.data) == ("good", identifier, data)
    assert frame.kind in ("classic" if classic else "enhanced", "both")


@pytest.mark.parametrize("rate", [2400, 9600, 10_417, 19_200])
@pytest.mark.parametrize("samples_a_bit", [6, 30])
def test_unknown_bit_rate_is_found(rate: int, samples_a_bit: int) -> None:
    result = logic([lin_frame(0x10, b"\x01\x02\x03")] * 3, bit=1 / rate, rate=samples_a_bit * rate)
    assert result.verdict == "good", result.reason
    assert result.bit_rate == pytest.approx(rate, rel=0.01)


@pytest.mark.parametrize(
    ("options", "status"),
    [
        ({"spoil_parity": True}, "parity error"),
        ({"spoil_checksum": True}, "checksum error"),
        ({"response": False}, "no response"),
        ({"drop": 1}, "checksum error"),
        ({"drop": 3}, "breaks off"),
    ],
)
def test_malformed_frames(options: dict[str, bool | int], status: str) -> None:
    bad = lin_frame(0x11, b"\x05\x06\x07", **options)  # type: ignore[arg-type]
    result = logic([lin_frame(0x12, b"\x01\x02"), bad, lin_frame(0x12, b"\x01\x02")])
    assert [frame.status for frame in result.frames] == ["good", status, "good"]
    assert result.verdict == ("measured" if status == "no response" else "fault")


def test_a_break_without_a_sync_byte() -> None:
    result = logic([lin_frame(0x12, b"\x01\x02"), [0] * 14 + [1] * 40, lin_frame(0x12, b"\x01\x02")])
    assert [frame.status for frame in result.frames] == ["good", "no sync", "good"]


def test_diagnostic_frames_take_the_classic_checksum_only() -> None:
    good = logic([lin_frame(0x3C, bytes.fromhex("7f0122ffffffffff"), classic=True)])
    bad = logic([lin_frame(0x3C, bytes.fromhex("7f0122ffffffffff"), classic=False)])
    assert good.frames[0].status == "good"
    assert bad.frames[0].status == "checksum error"


def volts(low: float = 0.7, high: float = 12.6, noise: float = 0.05) -> np.ndarray:
    levels = on_wire([lin_frame(0x12, b"\x01\x02")] * 4, BIT, RATE)
    smooth = np.convolve(np.where(levels == 1, high, low), np.ones(5) / 5, "same")
    smooth[:5] = smooth[-5:] = high
    return smooth + np.random.default_rng(1).normal(0, noise, smooth.size)


def test_levels_of_a_sound_line() -> None:
    result = lin(volts(), RATE, supply=12.8)
    assert result.verdict == "good", result.reason
    assert result["dominant"].value == pytest.approx(0.7, abs=0.05)
    assert result["recessive"].value == pytest.approx(12.6, abs=0.05)


def test_levels_outside_the_standard() -> None:
    """ISO 17987-4: a sender pulls below 0.2 and lets go above 0.8 of the supply (from memory)."""
    assert "over 0.2" in lin(volts(low=4.0), RATE, supply=12.8).reason
    assert "under 0.8" in lin(volts(high=9.0), RATE, supply=12.8).reason


def test_a_line_that_does_not_move() -> None:
    random = np.random.default_rng(1)
    dead = lin(0.05 + random.normal(0, 0.01, 20_000), RATE)
    assert dead.verdict == "fault"
    assert "shorted to body" in dead.reason
    assert lin(12.5 + random.normal(0, 0.01, 20_000), RATE).verdict == "cannot tell"


def test_other_signals_are_not_lin() -> None:
    square = np.tile([1.0] * 50 + [0.0] * 50, 200)
    result = lin_logic(edges(square, RATE, 0.3, 0.7), square.size, RATE)
    assert result.verdict == "cannot tell"
    assert "no LIN line" in result.reason


def test_too_slow_a_rate() -> None:
    result = logic([lin_frame(0x10, b"\x01\x02\x03")] * 3, rate=60e3)
    assert result.verdict == "cannot tell"


def real(folder: Path, name: str) -> LinResult:
    capture = Capture.read(folder / name)
    (result,) = analyse(capture, suggested_roles(capture))
    assert isinstance(result, LinResult)
    return result


def test_real_frames(outside_data: Callable[[str], Path]) -> None:
    """README of the data: protected id 0xC1, data 11 11, checksum 1C; and frames that break off; 19,200 baud."""
    folder = outside_data("bus")
    single = real(folder, "lin-single-frame.npz")
    (frame,) = single.frames
    assert (frame.protected, frame.data.hex(), frame.checksum, frame.kind) == (0xC1, "1111", 0x1C, "enhanced")
    assert single.bit_rate == pytest.approx(19_200, rel=0.005)
    malformed = real(folder, "lin-malformed.npz")
    assert malformed.verdict == "fault"
    assert [f.status for f in malformed.frames[:3]] == ["good", "breaks off", "no response"]


def test_who_fell_silent_is_told_with_its_times() -> None:
    """Identifier 01 answers twice and then no more, 02 misses one answer, 3D has nothing to say."""
    order = [(0x01, True), (0x02, True), (0x3D, False)] * 2
    order += [(0x01, False), (0x02, False), (0x01, False), (0x02, True), (0x01, False), (0x02, True)]
    bits = [1] * 60
    for identifier, response in order:
        bits += [*lin_frame(identifier, b"\x11\x22", response=response), *[1] * 60]
    rate = 19200.0 * 16
    levels = np.repeat(bits, 16).astype(float)
    result = lin_logic(edges(levels, rate, 0.3, 0.7), levels.size, rate)
    assert result.verdict == "measured"
    assert "01 is answered until" in result.reason
    assert "02 is not answered from" in result.reason
    assert "3D is asked" in result.reason
    silent = [frame for frame in result.frames if frame.status == "no response" and frame.identifier == 1]
    assert result["01 fell silent"].value == pytest.approx(silent[0].start)
    assert "02 fell silent" not in result
