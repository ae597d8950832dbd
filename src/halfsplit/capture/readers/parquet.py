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
        return _capture(file, path.name, progress)


def _capture(file: Any, where: str, progress: Progress | None) -> Recording:
    fields = [field for field in file.schema_arrow if _is_number(field)]
    if not fields:
        raise InputError("holds no column of numbers", remedy="save one column a channel", where=where)
    require_bounded(where, len(fields), file.metadata.num_rows * len(fields))
    names = [field.name for field in fields]
    heads = [heading(field.name, _unit(field)) for field in fields]
    clock = next((i for i, head in enumerate(heads) if is_time(head, i == 0)), None)
    sink = Growing([_store(field, i == clock) for i, field in enumerate(fields)])
    for group in range(file.num_row_groups):
        table = file.read_row_group(group, columns=names)
        sink.add([_column(table.column(name)) for name in names])
        if progress:
            progress((group + 1) / file.num_row_groups)
    columns = dict(zip(names, sink.columns(), strict=True))
    times = None if clock is None else _seconds(columns.pop(names[clock]), heads[clock].gain)
    units = {name: head for name, head in zip(names, heads, strict=True) if name in columns}
    return Recording(channels_of(columns, None, times, where, units), source=where)


def _is_number(field: Any) -> bool:
    kind = str(field.type)
    return kind.startswith(
        ("int", "uint", "float", "double", "halffloat", "bool", "decimal", "timestamp", "duration")
    )


def _unit(field: Any) -> str:
    raw = (field.metadata or {}).get(b"unit", b"")
    return str(raw.decode("utf-8", "replace"))


def _store(field: Any, clock: bool) -> np.dtype[Any]:
    if str(field.type).startswith(("timestamp", "duration")):
        return np.dtype(np.int64)  # nanoseconds
    return np.dtype(np.float64 if clock else np.float32)


def _column(chunked: Any) -> NDArray[Any]:
    array = chunked.to_numpy(zero_copy_only=False)
    if array.dtype.kind in "mM":
        return np.asarray(array.astype(f"{array.dtype.kind}8[ns]").astype(np.int64))
    return np.asarray(array, dtype=np.float64)


def _seconds(clock: NDArray[Any], gain: float) -> NDArray[np.float64]:
    if clock.dtype == np.int64:
        return np.asarray((clock - clock[:1]) * 1e-9)
    return np.asarray(clock * gain)
