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


def fd_frame(identifier: int, data: bytes, *, faster: bool) -> list[tuple[int, float]]:
    """A CAN FD frame up to its data as (bit, length in nominal bits); the end is left as recessive."""
    head = [0, *bits_of(identifier, 11), 0, 0, 1, 0, int(faster)]
    codes = {8: 8, 12: 9, 16: 10}
    rest = [0, *bits_of(codes[len(data)], 4)]
    for octet in data:
        rest += bits_of(octet, 8)
    whole = stuffed_correctly(head + rest)
    switch = len(stuffed_correctly(head))
    return [(bit, 1.0 if i < switch or not faster else 0.25) for i, bit in enumerate(whole)] + [(1, 12.0)]


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
