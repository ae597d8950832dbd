"""Arrays with names, as NPZ and MAT files hold them: which one is the time base, and which are channels."""

from collections.abc import Mapping
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from halfsplit.capture.channel import Recording
from halfsplit.capture.readers.timebase import channels_of
from halfsplit.errors import InputError

_RATES: Final = ("rate", "fs", "samplerate", "sample_rate")
_INTERVALS: Final = ("interval", "dt", "ts", "sample_interval", "sampleinterval")
TIMES: Final = ("time", "times", "t", "timestamp", "timestamps")
"""Names of an array of times, in seconds."""


def recording(arrays: Mapping[str, NDArray[Any]], where: str) -> Recording:
    """The channels in some arrays. Raises `InputError`, naming the file `where`, if there are none."""
    left = dict(arrays)
    rate, times = _time_base(left, where)
    columns = _columns(left)
    if not columns:
        names = ", ".join(left) or "nothing"
        raise InputError(f"holds no samples, only {names}", remedy="save one array a channel", where=where)
    return Recording(channels_of(columns, rate, times, where), source=where)


def _time_base(
    arrays: dict[str, NDArray[Any]], where: str
) -> tuple[float | None, NDArray[np.float64] | None]:
    for name in list(arrays):
        key = name.casefold()
        if key in _RATES and arrays[name].size == 1:
            return _positive(arrays.pop(name), name, where), None
        if key in _INTERVALS and arrays[name].size == 1:
            return 1.0 / _positive(arrays.pop(name), name, where), None
        if key in TIMES and arrays[name].ndim == 1 and arrays[name].dtype.kind in "iuf":
            return None, arrays.pop(name).astype(np.float64, copy=False)
    return None, None


def _positive(array: NDArray[Any], name: str, where: str) -> float:
    try:
        value = float(array.ravel()[0])
    except (TypeError, ValueError):
        value = float("nan")
    if not 0 < value < float("inf"):
        raise InputError(
            f"its {name!r} is {array.ravel()[0]}", remedy="save a number above zero", where=where
        )
    return value


def _columns(arrays: dict[str, NDArray[Any]]) -> dict[str, NDArray[Any]]:
    columns: dict[str, NDArray[Any]] = {}
    for name, array in arrays.items():
        if array.dtype.kind not in "biuf" or not array.size:
            continue
        if array.ndim == 1 and array.size > 1:
            columns[name] = array
        elif array.ndim == 2:
            columns |= {f"{name} {i + 1}": array[:, i] for i in range(array.shape[1])}
    return columns
