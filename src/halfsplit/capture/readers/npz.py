"""NPZ, the archive of NumPy: one array for each channel and the time base beside them.

Taken are one-dimensional arrays of real numbers or truth values of one length. The time base is an array
`time` (or `t`, `times`, `timestamp`, in seconds), or a single number `rate` (or `fs`, `samplerate`: samples
a second), or `interval` (or `dt`: seconds). Two-dimensional arrays give a channel for each column.
"""

from pathlib import Path
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from halfsplit.capture.channel import Progress, Recording
from halfsplit.capture.readers.named_arrays import recording
from halfsplit.errors import InputError

NAME: Final = "NPZ"


def sniff(head: bytes) -> bool:
    """A zip archive that holds `.npy` members (the first name stands in the head)."""
    return head.startswith(b"PK\x03\x04") and b".npy" in head[:300]


def read(path: Path, progress: Progress | None = None) -> Recording:
    """Read every array; object arrays are refused, since they could run code."""
    try:
        with path.open("rb") as stream, np.load(stream, allow_pickle=False) as archive:
            arrays = _arrays(archive, progress)
    except Exception as error:  # damaged archives end in anything from zlib.error to NotImplementedError
        remedy = "save plain arrays with numpy.savez"
        raise InputError(f"its arrays cannot be read ({error})", remedy=remedy, where=path.name) from error
    return recording(arrays, path.name)


MOST_UNFOLDED: Final = 4_000_000_000
"""Bytes to which an archive may unfold: a few kilobytes of zeros must not fill the memory."""


def _arrays(archive: Any, progress: Progress | None) -> dict[str, NDArray[Any]]:
    unfolded = sum(member.file_size for member in archive.zip.infolist())
    if unfolded > MOST_UNFOLDED:
        raise ValueError(f"it unfolds to {unfolded / 1e9:.0f} GB, at most {MOST_UNFOLDED / 1e9:.0f} are read")
    arrays = {}
    for done, name in enumerate(archive, start=1):
        array = archive[name]
        if not isinstance(array, np.ndarray):  # a member that only has the name of an array comes as bytes
            raise TypeError(f"{name} is no array")
        arrays[name] = array
        if progress:
            progress(done / len(archive))
    return arrays
