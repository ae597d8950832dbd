"""What a screen asks of a capture: windows as bytes, values at cursors, what lies between them, the event to align by.

Whatever the zoom, an answer has a bounded number of bytes and touches a bounded number of samples; only the mean
between two cursors reads each sample there, in blocks.
"""

import json
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from halfsplit.capture.capture import Capture, Window
from halfsplit.capture.channel import Channel
from halfsplit.capture.pyramid import size
from halfsplit.errors import InputError

MOST_PIXELS: Final = 4096
"""Columns of a window; no screen has more."""

MOST_CHANNELS: Final = 16
"""Channels of one answer."""

_BLOCK: Final = 1 << 22


def packed(windows: Sequence[Window]) -> bytes:
    """Windows as bytes, little-endian.

    The length of a JSON head (uint32), the head, zeros up to a multiple of 8, then for each window its times less
    `origin`, its lows and its highs (float32, NaN for none). The head has `origin` (seconds) and for each window
    `channel`, `unit`, `exact` and `count`.
    """
    origin = min((float(w.times[0]) for w in windows if w.times.size), default=0.0)
    described = [
        {"channel": w.channel, "unit": w.unit, "exact": w.exact, "count": int(w.times.size)} for w in windows
    ]
    head = json.dumps({"origin": origin, "windows": described}).encode()
    parts = [len(head).to_bytes(4, "little"), head, bytes(-(4 + len(head)) % 8)]
    for window in windows:
        for values in (window.times - origin, window.low, window.high):
            with np.errstate(over="ignore"):
                parts.append(np.ascontiguousarray(values, dtype="<f4").tobytes())
    return b"".join(parts)


def windows(
    capture: Capture, channels: Sequence[str], start: float, stop: float, pixels: int
) -> tuple[Window, ...]:
    """The windows of several channels; raises `InputError` for one that is empty or larger than a screen."""
    if not (np.isfinite(start) and np.isfinite(stop) and stop > start):
        empty = f"a window from {start:g} to {stop:g} s is empty"
        raise InputError(empty, remedy="let it end after it starts")
    if not 1 <= pixels <= MOST_PIXELS:
        raise InputError(f"a window of {pixels} columns", remedy=f"ask for 1 to {MOST_PIXELS}")
    if len(channels) > MOST_CHANNELS:
        raise InputError(f"{len(channels)} channels at once", remedy=f"ask for at most {MOST_CHANNELS}")
    return tuple(capture.window(name, start, stop, pixels) for name in channels)


def value_at(channel: Channel, time: float) -> float | None:
    """The channel's value at a time: on the straight line between samples, or the level held since the last change.

    None outside the recording and where a sample is no number.
    """
    place = channel.position(time)
    first, last = max(place - 1, 0), min(place + 1, len(channel))
    values = channel.values(first, last)
    clock, slack = channel.clock(first, last), 1e-6 / (channel.rate or 1.0)
    if not values.size or not clock[0] - slack <= time <= clock[-1] + slack:
        return None
    held = values[np.searchsorted(clock, time, side="right") - 1] if channel.edges else None
    value = np.interp(time, clock, values) if held is None else held
    return float(value) if np.isfinite(value) else None


@dataclass(frozen=True)
class Stretch:
    """A channel between two times, in its unit: the `mean` of its samples, their extremes and standard deviation."""

    samples: int
    mean: float
    low: float
    high: float
    deviation: float


def stretch(channel: Channel, start: float, stop: float) -> Stretch | None:
    """What lies between two times; None where no sample does. A record of edges is weighed by how long it holds."""
    first, last = channel.position(min(start, stop)), channel.position(max(start, stop))
    if channel.edges:
        return _held(channel, min(start, stop), max(start, stop))
    count, total, squares, low, high = 0, 0.0, 0.0, np.inf, -np.inf
    about = 0.0
    for here in range(first, last, _BLOCK):
        values = channel.values(here, min(here + _BLOCK, last))
        values = values[np.isfinite(values)]
        if not values.size:
            continue
        about = about if count else float(values[0])  # squares of differences lose no digits to an offset
        count += values.size
        total += float((values - about).sum())
        squares += float(((values - about) ** 2).sum())
        low, high = min(low, float(values.min())), max(high, float(values.max()))
    if not count:
        return None
    mean = total / count
    return Stretch(count, about + mean, low, high, max(squares / count - mean**2, 0.0) ** 0.5)


def _held(channel: Channel, start: float, stop: float) -> Stretch | None:
    first, last = max(channel.position(start) - 1, 0), channel.position(stop)
    values = channel.values(first, last)
    if not values.size or stop <= start:
        return None
    walls = np.clip(np.append(channel.clock(first, last), stop), start, stop)
    spans = np.diff(walls)
    if not spans.sum():
        return None
    mean = float(np.average(values, weights=spans))
    spread = float(np.average((values - mean) ** 2, weights=spans)) ** 0.5
    seen = values[spans > 0]
    return Stretch(int(seen.size), mean, float(seen.min()), float(seen.max()), spread)


def event(channel: Channel, *, rising: bool = True) -> float | None:
    """The time at which a trace first crosses the middle between its extremes, up or down; None where it is flat.

    The pyramid leads to it, so that only a few thousand samples are read. A trace that begins beyond the middle has
    to come back to the other quarter first.
    """
    levels = channel.pyramid
    lows, highs = (levels.lows[-1], levels.highs[-1]) if levels.lows else (channel.raw, channel.raw)
    lows, highs = (np.asarray(values)[np.isfinite(values)] for values in (lows, highs))
    if not lows.size or not float(highs.max()) > float(lows.min()):
        return None
    low, swing = float(lows.min()), float(highs.max()) - float(lows.min())
    up = rising == (channel.gain > 0)
    armed = _first(channel, 0, low + (0.25 if up else 0.75) * swing, below=up)
    crossed = None if armed is None else _first(channel, armed, low + 0.5 * swing, below=not up)
    return None if crossed is None else float(channel.clock(crossed, crossed + 1)[0])


def _first(channel: Channel, start: int, wall: float, *, below: bool) -> int | None:
    """The first sample from `start` on that lies below (or above) a wall."""
    extremes = channel.pyramid.lows if below else channel.pyramid.highs

    def search(level: int, first: int, last: int) -> int | None:
        if level < 0:
            hits = _beyond(channel.raw[first:last], wall, below)
            return first + int(hits[0]) if hits.size else None
        width = size(level)
        for hit in _beyond(extremes[level][first // width : -(-last // width)], wall, below):
            begin = (first // width + int(hit)) * width
            # Only the first bin can deceive: what is beyond the wall in it may lie before `first`.
            place = search(level - 1, max(begin, first), min(begin + width, last))
            if place is not None:
                return place
        return None

    return search(len(extremes) - 1, start, len(channel))


def _beyond(values: NDArray[Any], wall: float, below: bool) -> NDArray[np.intp]:
    return np.flatnonzero(np.asarray(values) < wall if below else np.asarray(values) > wall)
