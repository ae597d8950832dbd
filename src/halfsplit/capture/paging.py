"""Long columns lie in files that are mapped: pages that were looked at are given back, so that memory stays bounded."""

import mmap
from collections.abc import Iterator
from pathlib import Path
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

BLOCK: Final = 1 << 20
"""Samples that are looked at together."""


def blocks(values: NDArray[Any], overlap: int = 0) -> Iterator[tuple[int, NDArray[Any]]]:
    """The values in stretches of `BLOCK` (and `overlap` more), each with its first place; pages are given back."""
    for first in range(0, values.size, BLOCK):
        yield first, np.asarray(values[first : first + BLOCK + overlap])
        give_back(values)


def give_back(values: NDArray[Any]) -> None:
    """Let the system drop the pages of a mapped array; they are read again when they are asked for."""
    holder: Any = values
    while holder is not None and not isinstance(holder, mmap.mmap):
        holder = getattr(holder, "base", None)
    if holder is not None and hasattr(mmap, "MADV_DONTNEED"):
        holder.madvise(mmap.MADV_DONTNEED)


def save_array(path: Path, values: NDArray[Any]) -> None:
    """As `numpy.save` for one dimension, in blocks."""
    with path.open("wb") as file:
        header = {
            "descr": np.lib.format.dtype_to_descr(values.dtype),
            "fortran_order": False,
            "shape": values.shape,
        }
        np.lib.format.write_array_header_1_0(file, header)
        for _, block in blocks(values):
            file.write(np.ascontiguousarray(block).tobytes())
