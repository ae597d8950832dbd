"""Older diagnostic lines built stretch by stretch from SAE J1850 and ISO 9141-2; the CRC by an outside library."""

import numpy as np
import pytest
from crc import Calculator, Configuration
from hypothesis import given
from hypothesis import strategies as st

from halfsplit.capture.measure.diagnostic_line import (
    PULSES,
    UART,
    VARIABLE,
    DiagnosticLineResult,
    crc8,
    diagnostic_line,
)
from halfsplit.capture.measure.signal import edges

J1850 = Calculator(Configuration(width=8, polynomial=0x1D, init_value=0xFF, final_xor_value=0xFF))
MESSAGES = [bytes.fromhex("686AF10100"), bytes.fromhex("486B104100BE1FA810"), bytes.fromhex("486B1041055A")]
RATE = 1e6


@given(st.binary(min_size=1, max_size=11))
def test_the_check_is_that_of_the_library(data: bytes) -> None:
    assert crc8(data) == J1850.checksum(data)


def bits_of(data: bytes) -> list[int]:
    return [octet >> (7 - i) & 1 for octet in data for i in range(8)]


def variable() -> list[tuple[int, float]]:
    line = [(0, 2000.0)]
    for message in MESSAGES:
        line.append((1, 200.0))
        for place, bit in enumerate(bits_of(message + bytes([J1850.checksum(message)]))):
            high = place % 2
            line.append((high, 128.0 if bit != high else 64.0))
        line.append((0, 3000.0))
    return line


def pulses() -> list[tuple[int, float]]:
    line = [(0, 2000.0)]
    for message in MESSAGES:
        line += [(1, 32.0), (0, 16.0)]
        for bit in bits_of(message + bytes([J1850.checksum(message)])):
            line += [(1, 8.0), (0, 16.0)] if bit else [(1, 16.0), (0, 8.0)]
        line.append((0, 3000.0))
    return line


def uart() -> list[tuple[int, float]]:
    bit = 1e6 / 10_400
    line = [(1, 60_000.0), (0, 25_000.0), (1, 25_000.0)]
    for message in MESSAGES:
        for octet in message + bytes([sum(message) & 0xFF]):
            line += [(0, bit), *((octet >> i & 1, bit) for i in range(8)), (1, bit), (1, 5_000.0)]
        line.append((1, 50_000.0))
    return line


def read(line: list[tuple[int, float]], *, noise: float = 0.0, turned: bool = False) -> DiagnosticLineResult:
    ends = np.cumsum([length for _, length in line]) * 1e-6
    clock = np.arange(int(ends[-1] * RATE)) / RATE
    levels = np.array([level for level, _ in line])[np.searchsorted(ends, clock, side="right")].astype(float)
    levels = 1 - levels if turned else levels
    levels += np.random.default_rng(1).normal(0, noise, levels.size)
    return diagnostic_line(edges(levels, RATE, 0.3, 0.7), levels.size, RATE)


@pytest.mark.parametrize(
    ("line", "standard"),
    [(variable(), VARIABLE), (pulses(), PULSES), (uart(), UART)],
    ids=[VARIABLE, PULSES, UART],
)
@pytest.mark.parametrize("turned", [False, True])
def test_each_line_is_recognised_and_read(line: list[tuple[int, float]], standard: str, turned: bool) -> None:
    result = read(line, noise=0.03, turned=turned)
    assert result.standard == standard, result.reason
    assert [message.data[:-1] for message in result.messages if message.good] == MESSAGES
    assert result.verdict == "measured"


def test_a_line_that_breaks_off_is_named_and_not_accused() -> None:
    cut = [(level, length) for level, length in variable()[:40]]
    result = read([*cut, (0, 3000.0)])
    assert result.verdict == "cannot tell"
    assert VARIABLE in result.reason


def test_another_signal_is_none_of_them() -> None:
    assert read([(0, 5000.0), *[(1, 500.0), (0, 1700.0)] * 50]).verdict == "cannot tell"
