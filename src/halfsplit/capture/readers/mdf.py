"""ASAM MDF 4 (and 3), through asammdf, an optional library."""

from contextlib import suppress
from pathlib import Path
from typing import Any, Final

import numpy as np

from halfsplit.capture.channel import Channel, Progress, Recording
from halfsplit.capture.readers.timebase import channels_of, require_bounded
from halfsplit.delimited.headings import Heading, unit_of
from halfsplit.errors import InputError, MissingProgramError

NAME: Final = "MDF"
DAMAGED: Final = ("its MDF blocks cannot be read", "finalise or export the recording again")


def sniff(head: bytes) -> bool:
    """The identification block: `MDF` and spaces, or `UnFinMF` for a recording that was broken off."""
    return head[:8] in (b"MDF     ", b"UnFinMF ")


def read(path: Path, progress: Progress | None = None) -> Recording:
    """Read every numeric channel with its group's master as time, converted to physical values.

    Raises `InputError` where the blocks are damaged and `MissingProgramError` without asammdf.
    """
    try:
        from asammdf import MDF
        from asammdf.blocks.mdf_v3 import MDF3
        from asammdf.blocks.mdf_v4 import MDF4
    except ImportError as error:
        raise MissingProgramError("MDF files need asammdf: install halfsplit[captures]") from error
    MDF3.__del__ = MDF4.__del__ = _close_quietly  # type: ignore[method-assign]
    channels: list[Channel] = []
    with path.open("rb") as stream, MDF(stream) as file:
        counts = [(len(group.channels), int(group.channel_group.cycles_nr)) for group in file.groups]
        require_bounded(sum(n for n, _ in counts), sum(n * rows for n, rows in counts))
        for group, (count, _) in enumerate(counts):
            numbers = [i for i in range(count) if i != file.masters_db.get(group)]
            for signal in file.select([(None, group, i) for i in numbers]) if numbers else ():
                samples = signal.samples
                if samples.ndim == 1 and samples.dtype.kind in "biuf" and samples.size:
                    unit, gain = unit_of(signal.unit or "") or (signal.unit or "", 1.0)
                    heads = {signal.name: Heading(signal.name, unit, gain)}
                    times = np.asarray(signal.timestamps, dtype=np.float64)
                    channels += channels_of({signal.name: samples}, None, times, heads)
            if progress:
                progress((group + 1) / len(counts))
    if not channels:
        raise InputError("holds no numeric channel with samples", remedy="export it again")
    return Recording(tuple(channels))


def _close_quietly(file: Any) -> None:
    """What a file object does when it goes: one that damaged blocks left half made cannot be closed, nor has to be.

    asammdf's own lets the error go to the terminal as a traceback.
    """
    with suppress(Exception):
        file.close()
