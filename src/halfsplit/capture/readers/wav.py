"""WAV: a sound card as an oscilloscope. The scale is unknown, so the samples come in counts.

Give the gain with `Capture.scaled`; a sound card's input blocks direct volts unless it was altered.
"""

import warnings
from pathlib import Path
from typing import Final

from halfsplit.capture.channel import Channel, Progress, Recording
from halfsplit.capture.readers.timebase import require_bounded
from halfsplit.errors import InputError

NAME: Final = "WAV"
DAMAGED: Final = ("its WAV chunks cannot be read", "record it again, as PCM of 8, 16, 24 or 32 bits")

_NOTE: Final = "a WAV file has no scale: the values are counts until a gain is given"


def sniff(head: bytes) -> bool:
    """RIFF (or its 64-bit and big-endian kin) with the form type WAVE."""
    return head[:4] in (b"RIFF", b"RF64", b"RIFX") and head[8:12] == b"WAVE"


def read(path: Path, progress: Progress | None = None) -> Recording:
    """Read through scipy, memory-mapped where the sample size allows it."""
    from scipy.io import wavfile  # 0.4 s to import: only when a WAV file is read

    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # chunks that are no samples, such as names and dates
        try:
            rate, samples = wavfile.read(path, mmap=True)
        except ValueError:  # 24 bits cannot be mapped
            rate, samples = wavfile.read(path)
    if samples.size == 0:
        raise InputError("its WAV data chunk is empty", remedy="record it again")
    columns = samples.reshape(len(samples), -1)
    require_bounded(columns.shape[1], columns.size)
    channels = tuple(
        Channel(f"channel {i + 1}", columns[:, i], "count", rate=float(rate)) for i in range(columns.shape[1])
    )
    return Recording(channels, notes=(_NOTE,))
