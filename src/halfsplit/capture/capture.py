"""A capture: what an instrument recorded, one channel per lead, with the samples as they were stored.

Samples stay raw; gain, offset, unit and rate belong to the channel, and values are made on request.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from functools import cached_property
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from halfsplit.capture import pyramid
from halfsplit.errors import InputError, NotFoundError

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

    def clock(self) -> NDArray[np.float64]:
        """The time of each sample in seconds, float64; where no time base is known, the sample's number."""
        if self.times is not None:
            return np.asarray(self.times)
        return self.start + np.arange(len(self)) / (self.rate or 1.0)

    @property
    def stop(self) -> float:
        """The time of the last sample, in seconds (the sample's number without a time base)."""
        if not len(self):
            return self.start
        return (
            float(self.times[-1])
            if self.times is not None
            else self.start + (len(self) - 1) / (self.rate or 1.0)
        )

    @property
    def has_time(self) -> bool:
        """Whether a time base is known."""
        return self.rate is not None or self.times is not None

    def scaled(self, gain: float, offset: float = 0.0, unit: str | None = None) -> "Channel":
        """The same samples with `gain` and `offset` applied after the present ones (a clamp's A per V)."""
        return replace(
            self,
            gain=self.gain * gain,
            offset=self.offset * gain + offset,
            unit=self.unit if unit is None else unit,
        )

    @cached_property
    def pyramid(self) -> pyramid.Pyramid:
        """The extremes for display: those that were kept, or made when first asked for."""
        return self.kept_pyramid or pyramid.build(self.raw)

    def position(self, time: float) -> int:
        """How many samples lie before a time in seconds."""
        if self.times is not None:
            return int(np.searchsorted(self.times, time))
        place = np.ceil((time - self.start) * (self.rate or 1.0) - 1e-6)
        return int(np.clip(place, 0, len(self)))


@dataclass(frozen=True, eq=False)
class Window:
    """What a screen draws of one channel.

    With `exact`, `low` and `high` are the samples themselves at `times`; otherwise pixel i spans `times[i]`
    to the next one and its samples lie between `low[i]` and `high[i]`. Values are in the channel's unit.
    """

    channel: str
    unit: str
    times: NDArray[np.float64]
    low: NDArray[np.float64]
    high: NDArray[np.float64]
    exact: bool

    def as_dict(self) -> dict[str, Any]:
        """For JSON; what is no number becomes null."""
        return {
            "channel": self.channel,
            "unit": self.unit,
            "times": self.times.tolist(),
            "low": _numbers(self.low),
            "high": _numbers(self.high),
            "exact": self.exact,
        }


def _numbers(values: NDArray[np.float64]) -> list[float | None]:
    return [
        value if finite else None for value, finite in zip(values.tolist(), np.isfinite(values), strict=True)
    ]


@dataclass(frozen=True, eq=False)
class Capture:
    """The channels of one recording, in the order of the file, with what the reader has to say about it."""

    channels: tuple[Channel, ...]
    source: str = ""
    notes: tuple[str, ...] = ()

    @classmethod
    def read(cls, path: str | Path, *, progress: Progress | None = None) -> "Capture":
        """Read a file of any known format; the content decides, not the ending.

        Raises `InputError` with the line or byte where the content makes no sense, and
        `MissingProgramError` where the format needs a library that is not installed.
        """
        from halfsplit.capture.readers import read  # the readers build captures: imported late

        return read(Path(path), progress)

    def __getitem__(self, name: str) -> Channel:
        for channel in self.channels:
            if channel.name == name:
                return channel
        known = ", ".join(repr(channel.name) for channel in self.channels)
        raise NotFoundError(f"no channel {name!r} in {self.source or 'this capture'}; there are {known}")

    def __contains__(self, name: str) -> bool:
        return any(channel.name == name for channel in self.channels)

    def window(self, channel: str, start: float, stop: float, pixels: int) -> Window:
        """The samples of a channel from `start` to `stop` seconds, for a drawing `pixels` wide.

        Few samples come as they are, with one on either side of the window so that the line reaches its
        edges; many come as the extremes within each pixel.
        """
        if not stop > start or pixels < 1:
            raise InputError(f"a window from {start:g} to {stop:g} s over {pixels} pixels is empty")
        trace = self[channel]
        first, last = trace.position(start), trace.position(stop)
        if last - first <= 2 * pixels:
            return _few(trace, max(first - 1, 0), min(last + 1, len(trace)))
        return _many(trace, np.linspace(start, stop, pixels + 1))

    def with_rate(self, rate: float, start: float = 0.0) -> "Capture":
        """The same capture where channels without a time base are taken at `rate` samples a second."""
        return replace(
            self,
            channels=tuple(c if c.has_time else replace(c, rate=rate, start=start) for c in self.channels),
        )

    def scaled(self, gains: Mapping[str, tuple[float, str]]) -> "Capture":
        """The same capture with a gain and a unit for some channels, by name (a clamp's `(100, "A")`)."""
        return replace(
            self,
            channels=tuple(
                c.scaled(gains[c.name][0], unit=gains[c.name][1]) if c.name in gains else c
                for c in self.channels
            ),
        )


def _few(trace: Channel, first: int, last: int) -> Window:
    values = trace.values(first, last)
    numbers = np.arange(first, last) / (trace.rate or 1.0) + trace.start
    times = numbers if trace.times is None else np.asarray(trace.times[first:last])
    return Window(trace.name, trace.unit, times, values, values, exact=True)


def _many(trace: Channel, walls: NDArray[np.float64]) -> Window:
    if trace.times is not None:
        bounds = np.searchsorted(trace.times, walls)
    else:
        places = np.ceil((walls - trace.start) * (trace.rate or 1.0) - 1e-6)
        bounds = np.clip(places, 0, len(trace)).astype(np.int64)
    low, high = pyramid.extremes(trace.raw, trace.pyramid, bounds)
    ends = np.stack([low, high]).astype(np.float64) * trace.gain + trace.offset
    covered = (walls[1:] > trace.start if trace.times is None else bounds[1:] > 0) & (
        walls[:-1] <= trace.stop
    )
    return Window(
        trace.name,
        trace.unit,
        walls[:-1][covered],
        ends.min(axis=0)[covered],
        ends.max(axis=0)[covered],
        exact=False,
    )
