"""MAT, the files of numerical programs (versions 4 to 7, through scipy): one array for each channel, as in NPZ.

Arrays of one row or one column are channels, of several columns a channel for each; numbers alone are rates and
intervals. What a struct holds is taken by its fields. Version 7.3 is another format (HDF5): refused with the way out.
"""

from pathlib import Path
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from halfsplit.capture.channel import Progress, Recording
from halfsplit.capture.readers.npz import recording
from halfsplit.errors import InputError

NAME: Final = "MAT"

MOST_VALUES: Final = 200_000_000
_HDF: Final = b"\x89HDF\r\n\x1a\n"
_SAVE: Final = "save it again as version 7 (-v7), with one array a channel and 'rate' or 'time' beside them"
DAMAGED: Final = ("its arrays cannot be read", _SAVE)


def sniff(head: bytes) -> bool:
    """The words with which versions 5 and later begin, or HDF5.

    Version 4 begins with five whole numbers that make sense: type, rows, columns, complex, length of the name.
    """
    if head.startswith((b"MATLAB 5.0 MAT-file", b"MATLAB 7.3 MAT-file", _HDF)):
        return True
    if len(head) < 24 or head[:4] not in (b"\x00\x00\x00\x00", b"\x0a\x00\x00\x00"):
        return False
    _, rows, columns, imaginary, name = np.frombuffer(head[:20], "<i4").tolist()
    text = head[20 : 20 + max(name - 1, 0)]
    named = 1 < name < 64 and text.isascii() and text.replace(b"_", b"").isalnum()
    return rows > 0 and columns > 0 and imaginary == 0 and bool(named)


def read(path: Path, progress: Progress | None = None) -> Recording:
    """Read every array; sizes are looked at first. Raises `InputError`."""
    from scipy.io import loadmat, whosmat

    with path.open("rb") as stream:
        head = stream.read(32)
    if head.startswith((b"MATLAB 7.3", _HDF)):
        raise InputError("is of version 7.3, which is not read", remedy=_SAVE)
    with path.open("rb") as file:
        opened: Any = file  # scipy takes an open file, its types know paths only
        values = sum(int(np.prod(shape, dtype=np.float64)) for _, shape, _ in whosmat(opened))
        if values > MOST_VALUES:
            raise InputError(
                f"holds {values:,} values, at most {MOST_VALUES:,} are read",
                remedy="save a part",
            )
        file.seek(0)
        variables = loadmat(opened, squeeze_me=True, struct_as_record=True)
    arrays: list[tuple[str, NDArray[Any]]] = []
    for name, value in variables.items():
        array = np.asarray(value)
        if name.startswith("__"):
            continue
        if array.dtype.names and array.ndim == 0:
            arrays += [(field, np.asarray(array[field].item())) for field in array.dtype.names]
        else:
            arrays.append((name, array))
    return recording(dict(arrays))
