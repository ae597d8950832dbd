"""CAN and LIN built bit by bit from the standards' field tables, and the volts of their wires.

The CRC comes from the general-purpose library `crc` (width 15, polynomial 0x4599); leading zeros do not change it,
so that any number of bits can be handed over as bytes.
"""

import numpy as np
from crc import Calculator, Configuration

CAN_CRC = Calculator(Configuration(width=15, polynomial=0x4599))


def bits_of(value: int, width: int) -> list[int]:
    return [value >> (width - 1 - i) & 1 for i in range(width)]


def library_crc(bits: list[int]) -> int:
    padded = [0] * (-len(bits) % 8) + bits
    octets = bytes(int("".join(map(str, padded[i : i + 8])), 2) for i in range(0, len(padded), 8))
    return CAN_CRC.checksum(octets)


def stuffed_correctly(bits: list[int]) -> list[int]:
    """After five equal bits, stuffed ones counted, comes one of the other kind."""
    out: list[int] = []
    run = 0
    for bit in bits:
        run = run + 1 if out and out[-1] == bit else 1
        out.append(bit)
        if run == 5:
            out.append(1 - bit)
            run = 1
    return out


def can_frame(
    identifier: int,
    data: bytes = b"",
    *,
    extended: bool = False,
    remote: bool = False,
    acknowledged: bool = True,
    length: int | None = None,
    spoil_crc: bool = False,
) -> list[int]:
    """The bits of a frame on the wire from the start bit to the end of frame, 0 dominant (ISO 11898-1)."""
    head = [0]
    if extended:
        head += [*bits_of(identifier >> 18, 11), 1, 1, *bits_of(identifier & 0x3FFFF, 18), int(remote), 0, 0]
    else:
        head += [*bits_of(identifier, 11), int(remote), 0, 0]
    body = head + bits_of(len(data) if length is None else length, 4)
    for octet in b"" if remote else data:
        body += bits_of(octet, 8)
    crc = library_crc(body) ^ (0x0010 if spoil_crc else 0)
    return [*stuffed_correctly(body + bits_of(crc, 15)), 1, 0 if acknowledged else 1, 1, *[1] * 7]


def fd_crc(bits: list[int], width: int, *, iso: bool) -> int:
    """CRC-17 or CRC-21 of CAN FD by the general-purpose library.

    The library takes whole bytes. A CRC is linear: leading zeros change nothing where the first value is zero, and a
    first value with the top bit set is the same as turning the first bit of what is read.
    """
    polynomial = {17: 0x1685B, 21: 0x102899}[width]
    read = [bits[0] ^ iso, *bits[1:]]
    padded = [0] * (-len(read) % 8) + read
    octets = bytes(int("".join(map(str, padded[i : i + 8])), 2) for i in range(0, len(padded), 8))
    return Calculator(Configuration(width=width, polynomial=polynomial)).checksum(octets)


def fd_frame(
    identifier: int,
    data: bytes,
    *,
    faster: bool,
    extended: bool = False,
    iso: bool = True,
    passive: bool = False,
    acknowledged: bool = True,
    spoil_crc: bool = False,
    ratio: float = 4.0,
    turn: float = 0.8,
) -> list[tuple[int, float]]:
    """A CAN FD frame (ISO 11898-1) as (bit, length in nominal bits), 0 dominant.

    ratio: how much faster the data is; turn: the share of a bit after which the sender switches the rate.
    """
    lengths = [*range(9), 12, 16, 20, 24, 32, 48, 64]
    if extended:
        head = [
            0,
            *bits_of(identifier >> 18, 11),
            1,
            1,
            *bits_of(identifier & 0x3FFFF, 18),
            0,
            1,
            0,
            int(faster),
        ]
    else:
        head = [0, *bits_of(identifier, 11), 0, 0, 1, 0, int(faster)]
    plain = [*head, int(passive), *bits_of(lengths.index(len(data)), 4)]
    for octet in data:
        plain += bits_of(octet, 8)
    whole = stuffed_correctly(plain[:-1])
    whole.append(plain[-1])  # after the last bit of the data no stuff bit follows: a fixed one does
    switch = len(stuffed_correctly(head[:-1])) + 1
    width = 17 if len(data) <= 16 else 21
    stuffed = len(whole) - len(plain)
    gray = {0: "000", 1: "001", 2: "011", 3: "010", 4: "110", 5: "111", 6: "101", 7: "100"}[stuffed % 8]
    count = [int(c) for c in gray + str(gray.count("1") % 2)] if iso else []
    crc = fd_crc(whole + count, width, iso=iso) ^ (0x10 if spoil_crc else 0)
    tail: list[int] = []
    for place, bit in enumerate(count + bits_of(crc, width)):
        if place % 4 == 0:
            tail.append(1 - (whole + tail)[-1])
        tail.append(bit)
    short = 1.0 / ratio if faster else 1.0
    turning = turn + (1 - turn) * short
    parts = [(bit, 1.0) for bit in whole[: switch - 1]] + [(whole[switch - 1], turning)]
    parts += [(bit, short) for bit in whole[switch:] + tail]
    parts += [(1, turn * short + (1 - turn)), (0 if acknowledged else 1, 1.0), (1, 1.0)]
    return parts + [(1, 1.0)] * 7


def fd_on_wire(
    parts: list[list[tuple[int, float]]], bit: float, rate: float, idle_bits: float = 15.0
) -> np.ndarray:
    """Logic levels, 1 recessive, of frames whose bits have lengths of their own; sampled at `rate`."""
    line = [(1, 30.0)]
    for part in parts:
        line += [*part, (1, idle_bits)]
    line.append((1, 30.0))
    ends = np.cumsum([length for _, length in line]) * bit
    clock = np.arange(int(ends[-1] * rate)) / rate
    levels = np.array([value for value, _ in line])
    return np.asarray(levels[np.minimum(np.searchsorted(ends, clock, side="right"), len(line) - 1)])


def on_wire(parts: list[list[int]], bit: float, rate: float, idle_bits: int = 15) -> np.ndarray:
    """Logic levels, 1 recessive, of frames with idle stretches between; sampled at `rate`."""
    bits = [1] * 30
    for part in parts:
        bits += part + [1] * idle_bits
    bits += [1] * 30
    count = int(len(bits) * bit * rate)
    index = np.minimum((np.arange(count) / rate / bit).astype(int), len(bits) - 1)
    return np.asarray(np.array(bits)[index])


def can_pair(
    levels: np.ndarray, rate: float, *, difference: float = 2.0, fall: float = 60e-9
) -> tuple[np.ndarray, np.ndarray]:
    """Volts of CAN high and low: driven when dominant, returning by R C (`fall` seconds) when recessive."""
    share = np.zeros(levels.size)
    now = 0.0
    decay = np.exp(-1 / rate / fall)
    for i, level in enumerate(levels):
        now = min(1.0, now + 1 / rate / 50e-9) if level == 0 else now * decay
        share[i] = now
    return 2.5 + 0.5 * difference * share, 2.5 - 0.5 * difference * share


def lin_octet(value: int) -> list[int]:
    return [0, *[value >> i & 1 for i in range(8)], 1]


def lin_frame(
    identifier: int,
    data: bytes,
    *,
    classic: bool = False,
    response: bool = True,
    spoil_parity: bool = False,
    spoil_checksum: bool = False,
    drop: int = 0,
) -> list[int]:
    """Break, sync, protected identifier, data and checksum as bits (LIN 2.x), 0 dominant."""
    b = [identifier >> i & 1 for i in range(6)]
    parity = (b[0] + b[1] + b[2] + b[4]) % 2 | ((b[1] + b[3] + b[4] + b[5] + 1) % 2) << 1
    protected = identifier | (parity ^ (1 if spoil_parity else 0)) << 6
    total = sum(data) + (0 if classic else protected)
    checksum = 255 - (total % 255 if total % 255 or not total else 255)
    bits = [0] * 13 + [1] * 2 + lin_octet(0x55) + [1] + lin_octet(protected)
    if not response:
        return bits + [1] * 60
    octets = [*data, checksum ^ (0x08 if spoil_checksum else 0)]
    for octet in octets[: len(octets) - drop]:
        bits += [1, *lin_octet(octet)]
    return bits + [1] * 10
