"""One trace of a recording, with the samples as they were stored, and what a reader makes of a file.

Samples stay raw; gain, offset, unit and rate belong to the channel, and values are made on request.
"""

from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray

from halfsplit.capture import pyramid

Progress = Callable[[float], None]
"""Called with the share of a file that is done, 0 to 1, while a long file is read."""


@dataclass(frozen=True, eq=False)
class Channel:
    """One trace. `values = raw * gain + offset` in `unit`.

    `raw` is one-dimensional, of any real type, in memory or memory-mapped. The time base is either even
    (`rate` in samples a second from `start` in seconds) or `times` (seconds, rising, one for each sample),
    or unknown (neither). With `edges` the trace holds each value until the next sample: the record of a
    logic input that notes changes only.
    """

    name: str
    raw: NDArray[Any]
    unit: str = ""
    gain: float = 1.0
    offset: float = 0.0
    rate: float | None = None
    start: float = 0.0
    times: NDArray[np.float64] | None = None
    edges: bool = False
    kept_pyramid: pyramid.Pyramid | None = None

    def __post_init__(self) -> None:
        if self.raw.ndim != 1:
            raise ValueError(f"channel {self.name!r} has {self.raw.ndim} dimensions, one is needed")
        if self.times is not None and self.times.shape != self.raw.shape:
            raise ValueError(f"channel {self.name!r}: {self.raw.size} samples, {self.times.size} times")
        if self.rate is not None and not self.rate > 0:
            raise ValueError(f"channel {self.name!r}: a rate of {self.rate} samples a second")

    def __len__(self) -> int:
        return int(self.raw.size)

    def values(self, first: int = 0, last: int | None = None) -> NDArray[np.float64]:
        """Samples `first` to `last` in the channel's unit, float64."""
        return np.asarray(self.raw[first:last], dtype=np.float64) * self.gain + self.offset

    def clock(self, first: int = 0, last: int | None = None) -> NDArray[np.float64]:
        """The times of samples `first` to `last` in seconds, float64; where none are known, the samples' numbers."""
        if self.times is not None:
            return np.asarray(self.times[first:last])
        return self.start + np.arange(first, len(self) if last is None else last) / (self.rate or 1.0)

    @property
    def stop(self) -> float:
        """The time of the last sample, in seconds (the sample's number without a time base)."""
        return float(self.clock(len(self) - 1)[0]) if len(self) else self.start

    @property
    def has_time(self) -> bool:
        """Whether a time base is known."""
        return self.rate is not None or self.times is not None

    def scaled(self, gain: float, offset: float = 0.0, unit: str | None = None) -> "Channel":
        """The same samples with `gain` and `offset` applied after the present ones (a clamp's A per V)."""
        unit = self.unit if unit is None else unit
        return replace(self, gain=self.gain * gain, offset=self.offset * gain + offset, unit=unit)

    def part(self, start: float, stop: float) -> "Channel":
        """The samples from `start` up to `stop` seconds; a record of edges keeps the level at its beginning."""
        first, last = self.position(start), self.position(stop)
        first -= 1 if self.edges and first else 0
        begin = self.start + first / (self.rate or 1.0) if self.times is None else self.start
        times = None if self.times is None else self.times[first:last]
        return replace(self, raw=self.raw[first:last], start=begin, times=times, kept_pyramid=None)

    def positions(self, times: NDArray[np.float64]) -> NDArray[np.int64]:
        """How many samples lie before each of some times in seconds."""
        if self.times is not None:
            return np.searchsorted(self.times, times)
        places = np.ceil((times - self.start) * (self.rate or 1.0) - 1e-6)
        return np.clip(places, 0, len(self)).astype(np.int64)

    @cached_property
    def pyramid(self) -> pyramid.Pyramid:
        """The extremes for display: those that were kept, or made when first asked for."""
        return self.kept_pyramid or pyramid.build(self.raw)

    def position(self, time: float) -> int:
        """How many samples lie before a time in seconds."""
        return int(self.positions(np.array([time]))[0])


@dataclass(frozen=True, eq=False)
class Recording:
    """What a reader found in a file: channels in its order, the file's name, and what there is to say about it."""

    channels: tuple[Channel, ...]
    source: str = ""
    notes: tuple[str, ...] = ()
