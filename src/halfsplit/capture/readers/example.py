"""The recipe for a reader: a small format of our own, explained by its reader.

    halfsplit samples 1
    rate 1000
    channel battery volts V 0.01 0
    1260 1259 1258

Line 1 says what it is, `rate` is in samples a second, each `channel` has a name, a unit, a gain and an
offset and is followed by its samples as whole numbers on one line.

To add a format: copy this file, change `NAME`, `sniff` and `read`, add the module to `READERS`, and add one
recorded file to the compliance suite. Keep samples as they are stored, scale nothing; refuse with an
`InputError` that says which line (or byte) was found and what was expected.
"""

from pathlib import Path
from typing import Final

import numpy as np

from halfsplit.capture.channel import Channel, Progress, Recording
from halfsplit.errors import InputError

NAME: Final = "example"

_MAGIC: Final = b"halfsplit samples 1"


def sniff(head: bytes) -> bool:
    """Whether the head is of this format: its first line says so."""
    return head.startswith(_MAGIC)


def read(path: Path, progress: Progress | None = None) -> Recording:
    """Read the whole file; it is small. Raises `InputError` with the line."""
    lines = path.read_text(encoding="utf-8", errors="replace").splitlines()
    if len(lines) < 4 or not lines[1].startswith("rate "):
        raise InputError("no 'rate' line", remedy="write 'rate 1000' there", where="line 2")
    said = lines[1].removeprefix("rate ")
    try:
        rate = float(said)
    except ValueError:
        rate = 0.0
    if not rate > 0 or not np.isfinite(rate):
        wrong = f"a rate of {said.strip()[:20]!r}"
        raise InputError(wrong, remedy="write samples a second", where="line 2")
    channels = []
    for number, (head, samples) in enumerate(zip(lines[2::2], lines[3::2], strict=False), start=3):
        words, where = head.split(), f"line {number}"
        if len(words) < 5 or words[0] != "channel":
            raise InputError(
                f"found {head[:40]!r}", remedy="write 'channel NAME UNIT GAIN OFFSET'", where=where
            )
        try:
            raw = np.array(samples.split(), dtype=np.int32)
            gain, offset = float(words[-2]), float(words[-1])
        except ValueError as error:
            wrong = "a sample, gain or offset is no number"
            raise InputError(wrong, remedy="write numbers", where=where) from error
        channels.append(Channel(" ".join(words[1:-3]), raw, words[-3], gain, offset, rate))
    return Recording(tuple(channels))
