"""A capture: what an instrument recorded, one channel per lead, and windows of it for a screen."""

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from halfsplit.capture import pyramid
from halfsplit.capture.channel import Channel, Progress, Recording
from halfsplit.capture.readers import read
from halfsplit.errors import InputError, NotFoundError


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
        low, high = (
            [value if math.isfinite(value) else None for value in ends.tolist()]
            for ends in (self.low, self.high)
        )
        return {
            "channel": self.channel,
            "unit": self.unit,
            "times": self.times.tolist(),
            "low": low,
            "high": high,
            "exact": self.exact,
        }


@dataclass(frozen=True, eq=False)
class Capture(Recording):
    """The channels of one recording, found by name, read by content, drawn by window."""

    @classmethod
    def read(cls, path: str | Path, *, progress: Progress | None = None) -> "Capture":
        """Read a file of any known format; the content decides, not the ending.

        Raises `InputError` with the line or byte where the content makes no sense, and
        `MissingProgramError` where the format needs a library that is not installed.
        """
        recording = read(Path(path), progress)
        return cls(recording.channels, recording.source, recording.notes)

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
            around = max(first - 1, 0), min(last + 1, len(trace))
            values = trace.values(*around)
            return Window(trace.name, trace.unit, trace.clock(*around), values, values, exact=True)
        walls = np.linspace(start, stop, pixels + 1)
        bounds = trace.positions(walls)
        low, high = pyramid.extremes(trace.raw, trace.pyramid, bounds)
        ends = np.stack([low, high]).astype(np.float64) * trace.gain + trace.offset
        begun = walls[1:] > trace.start if trace.times is None else bounds[1:] > 0
        covered = begun & (walls[:-1] <= trace.stop)
        low, high = ends.min(axis=0)[covered], ends.max(axis=0)[covered]
        return Window(trace.name, trace.unit, walls[:-1][covered], low, high, exact=False)

    def part(self, start: float, stop: float) -> "Capture":
        """The same channels between two times in seconds, each in the capture's own time; no sample is copied."""
        return replace(self, channels=tuple(channel.part(start, stop) for channel in self.channels))

    def with_rate(self, rate: float) -> "Capture":
        """The same capture where channels without a time base are taken at `rate` samples a second."""
        timed = (c if c.has_time else replace(c, rate=rate, start=0.0) for c in self.channels)
        return replace(self, channels=tuple(timed))

    def scaled(self, gains: Mapping[str, tuple[float, str]]) -> "Capture":
        """The same capture with a gain and a unit for some channels, by name (a clamp's `(100, "A")`)."""
        channels = list(self.channels)
        for i, channel in enumerate(channels):
            if channel.name in gains:
                gain, unit = gains[channel.name]
                channels[i] = channel.scaled(gain, unit=unit)
        return replace(self, channels=tuple(channels))
