"""WAV: a sound card as an oscilloscope. The scale is unknown, so the samples come in counts.

Give the gain with `Capture.scaled`; a sound card's input blocks direct volts unless it was altered.
"""

import warnings
from collections.abc import Callable
from pathlib import Path
from typing import Any, Final

from numpy.typing import NDArray

from halfsplit.capture.channel import Channel, Progress, Recording
from halfsplit.capture.readers.limits import require_bounded
from halfsplit.errors import InputError

NAME: Final = "WAV"

_NOTE: Final = "a WAV file has no scale: the values are counts until a gain is given"


def sniff(head: bytes) -> bool:
    """RIFF (or its 64-bit and big-endian kin) with the form type WAVE."""
    return head[:4] in (b"RIFF", b"RF64", b"RIFX") and head[8:12] == b"WAVE"


def read(path: Path, progress: Progress | None = None) -> Recording:
    """Read through scipy, memory-mapped where the sample size allows it."""
    from scipy.io import wavfile  # 0.4 s to import: only when a WAV file is read

    try:
        rate, samples = _with_map(wavfile.read, path)
    except Exception as error:  # damaged chunks end in anything from struct.error to ZeroDivisionError
        remedy = "record it again, as PCM of 8, 16, 24 or 32 bits"
        raise InputError(
            f"its WAV chunks cannot be read ({error})", remedy=remedy, where=path.name
        ) from error
    if samples.size == 0:
        raise InputError("its WAV data chunk is empty", remedy="record it again", where=path.name)
    columns = samples.reshape(len(samples), -1)
    require_bounded(path.name, columns.shape[1], columns.size)
    if progress:
        progress(1.0)
    channels = tuple(
        Channel(f"channel {i + 1}", columns[:, i], "count", rate=float(rate)) for i in range(columns.shape[1])
    )
    return Recording(channels, source=path.name, notes=(_NOTE,))


def _with_map(load: Callable[..., tuple[int, NDArray[Any]]], path: Path) -> tuple[int, NDArray[Any]]:
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # chunks that are no samples, such as names and dates
        try:
            return load(path, mmap=True)
        except ValueError:  # 24 bits cannot be mapped
            return load(path)
