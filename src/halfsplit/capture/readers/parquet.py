"""Parquet, through pyarrow (an optional library): one column for each channel, one of them the time."""

from pathlib import Path
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from halfsplit.capture.channel import Progress, Recording
from halfsplit.capture.readers.timebase import Growing, channels_of, require_bounded
from halfsplit.delimited.headings import heading, is_time
from halfsplit.errors import InputError, MissingProgramError

NAME: Final = "Parquet"
DAMAGED: Final = ("its Parquet pages cannot be read", "export it again")


_NUMBERS: Final = ("int", "uint", "float", "double", "halffloat", "bool", "decimal", "timestamp", "duration")
"""How the types begin whose values are taken; times are kept as whole nanoseconds."""


def sniff(head: bytes) -> bool:
    """The four letters that the format starts (and ends) with."""
    return head.startswith(b"PAR1")


def read(path: Path, progress: Progress | None = None) -> Recording:
    """Read row group by row group, so that a file larger than the memory passes.

    Units stand in the column names (`volts (V)`) or in the field's metadata `unit`. Raises `InputError`
    where the file is damaged and `MissingProgramError` without pyarrow.
    """
    try:
        from pyarrow import parquet
    except ImportError as error:
        raise MissingProgramError("Parquet files need pyarrow: install halfsplit[captures]") from error
    with parquet.ParquetFile(path) as file:
        fields = [field for field in file.schema_arrow if str(field.type).startswith(_NUMBERS)]
        if not fields:
            raise InputError("holds no column of numbers", remedy="save one column a channel")
        require_bounded(len(fields), file.metadata.num_rows * len(fields))
        said = [(field.metadata or {}).get(b"unit", b"").decode("utf-8", "replace") for field in fields]
        heads = {f.name: heading(f.name, unit) for f, unit in zip(fields, said, strict=True)}
        clock = next((f.name for i, f in enumerate(fields) if is_time(heads[f.name], i == 0)), None)
        wide = [np.float64 if field.name == clock else np.float32 for field in fields]
        moments = [str(field.type).startswith(("timestamp", "duration")) for field in fields]
        sink = Growing([np.dtype(np.int64 if m else kind) for m, kind in zip(moments, wide, strict=True)])
        for group in range(file.num_row_groups):
            table = file.read_row_group(group, columns=list(heads))
            sink.add([_column(table.column(name)) for name in heads])
            if progress:
                progress((group + 1) / file.num_row_groups)
    columns = dict(zip(heads, sink.columns(), strict=True))
    times = None if clock is None else columns.pop(clock)
    if clock is not None and times is not None:
        nanoseconds = times.dtype == np.int64
        times = np.asarray((times - times[:1]) * 1e-9 if nanoseconds else times * heads[clock].gain)
    return Recording(channels_of(columns, None, times, heads))


def _column(chunked: Any) -> NDArray[Any]:
    array = chunked.to_numpy(zero_copy_only=False)
    if array.dtype.kind in "mM":
        return np.asarray(array.astype(f"{array.dtype.kind}8[ns]").astype(np.int64))
    return np.asarray(array, dtype=np.float64)
