"""Small pieces that several analyses share: noise, clipping, levels, edges, repetition.

All arrays are one-dimensional float64; times are in seconds from the first sample.
"""

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from halfsplit.capture.measure.result import CannotTell

Floats = NDArray[np.float64]

_BIG: Final = 200_000
"""Samples from which statistics of a whole trace are taken from an even thinning of it."""


def require(rate: float, *traces: Floats | None, least_rate: float, least_seconds: float, what: str) -> None:
    """Raise `CannotTell` where a trace (None: not recorded) holds gaps, is too slow or too short to carry `what`."""
    for values in traces:
        if values is None:
            continue
        if rate < least_rate:
            raise CannotTell(f"{rate:g} samples a second are too slow for {what}: {least_rate:g} are needed")
        if values.size < least_seconds * rate or values.size < 8:
            have = values.size / rate
            raise CannotTell(
                f"the trace is {have:.3g} s long, too short for {what}: {least_seconds:g} s are needed"
            )
        gaps = int((~np.isfinite(values)).sum())
        if gaps:
            raise CannotTell(f"{gaps} samples are missing or over range in the trace for {what}")


def noise(values: Floats) -> float:
    """Standard deviation of the noise from sample to sample, from the second differences.

    The median absolute second difference of white noise is 0.6745 * sqrt(6) of its standard deviation; a
    smooth signal hardly adds to it.
    """
    if values.size < 8:
        return 0.0
    return float(np.median(np.abs(np.diff(thinned(values), 2))) / (0.6745 * np.sqrt(6.0)))


def thinned(values: Floats) -> Floats:
    """The values themselves, or a stretch of whole neighbours from each part of a long trace."""
    if values.size <= _BIG:
        return values
    parts = np.linspace(0, values.size - 2000, _BIG // 2000).astype(np.int64)
    return np.concatenate([values[first : first + 2000] for first in parts])


def clipped(values: Floats) -> float:
    """The share of samples that stand flat at the top or bottom after arriving there in a jump.

    A trace that is cut off stays at exactly one extreme for three samples and more, and comes there with a
    step larger than the instrument's own; a peak of its own accord does not.
    """
    return max(cut_off(values), cut_off(-values))


def cut_off(values: Floats) -> float:
    """The same at the top alone, for traces whose floor is flat by nature (no current flows)."""
    if values.size < 8:
        return 0.0
    at_top = values >= values.max() - 1e-9 * max(abs(float(values.max())), 1e-9)
    quantum = least_step(thinned(values))
    total = 0
    for first, last in runs(at_top):
        entry = values[first] - values[first - 1] if first else 0.0
        leave = values[last - 1] - values[last] if last < values.size else 0.0
        if last - first >= 3 and max(entry, leave) > 2.5 * quantum:
            total += last - first
    return total / values.size


def least_step(values: Floats) -> float:
    """The smallest step from sample to sample, which is the instrument's own; 0 where it stands still."""
    steps = np.abs(np.diff(values))
    return float(steps[steps > 0].min(initial=np.inf)) if steps.any() else 0.0


def runs(mask: NDArray[np.bool_]) -> list[tuple[int, int]]:
    """First and last-plus-one index of each run of true.

    >>> runs(np.array([False, True, True, False, True]))
    [(1, 3), (4, 5)]
    """
    padded = np.concatenate(([False], mask, [False]))
    walls = np.flatnonzero(padded[1:] != padded[:-1])
    return list(zip(walls[::2].tolist(), walls[1::2].tolist(), strict=True))


def joined(spans: list[tuple[int, int]], gap: float) -> list[tuple[int, int]]:
    """Runs of which those less than `gap` apart are one."""
    one_run = spans[:1]
    for first, end in spans[1:]:
        if first - one_run[-1][1] < gap:
            one_run[-1] = (one_run[-1][0], end)
        else:
            one_run.append((first, end))
    return one_run


def smooth(values: Floats, width: int) -> Floats:
    """Centred mean over `width` samples (made odd); at the ends over those that there are."""
    half = max(int(width), 1) // 2
    if half == 0 or values.size < 3:
        return values.copy()
    sums = np.concatenate(([0.0], np.cumsum(values)))
    places = np.arange(values.size)
    first, last = np.maximum(places - half, 0), np.minimum(places + half + 1, values.size)
    return np.asarray((sums[last] - sums[first]) / (last - first))


def local_median(values: Floats, neighbours: int) -> Floats:
    """The median of each value and those beside it, so many on either side; at the ends of those that there are."""
    padded = np.pad(values, neighbours, constant_values=np.nan)
    windows = np.lib.stride_tricks.sliding_window_view(padded, 2 * neighbours + 1)
    return np.asarray(np.nanmedian(windows, axis=1))


@dataclass(frozen=True)
class Levels:
    """The two levels that a switched signal rests at, and the spread about each (same unit)."""

    low: float
    high: float
    low_spread: float
    high_spread: float

    @property
    def middle(self) -> float:
        """Half way between the levels."""
        return 0.5 * (self.low + self.high)

    @property
    def swing(self) -> float:
        """From the low to the high level."""
        return self.high - self.low

    def walls(self, share: float) -> tuple[float, float]:
        """What lies this share of the swing above the low level, and below the high one: thresholds for `edges`."""
        return self.low + share * self.swing, self.high - share * self.swing


def two_levels(values: Floats) -> Levels | None:
    """The two levels by repeated means of the halves; None where the trace has only one.

    Two levels are there when they are further apart than six times the spread about them.
    """
    part = thinned(values)
    low, high = float(part.min()), float(part.max())
    for _ in range(50):
        wall = 0.5 * (low + high)
        below, above = part[part < wall], part[part >= wall]
        if not below.size or not above.size:
            return None
        middle = float(np.median(below)), float(np.median(above))
        if middle == (low, high):
            break
        low, high = middle
    spreads = [1.4826 * float(np.median(np.abs(side - np.median(side)))) for side in (below, above)]
    if high - low <= 6 * max(spreads) or high <= low:
        return None
    return Levels(low, high, *spreads)


@dataclass(frozen=True)
class Edges:
    """The changes of a two-level signal: `times` in seconds, `rising` for each, and the level before the first."""

    times: Floats
    rising: NDArray[np.bool_]
    starts_high: bool

    def of(self, rising: bool) -> Floats:
        """The times of the edges of one direction."""
        return np.asarray(self.times[self.rising == rising])

    def high(self, time: float) -> bool:
        """The level at a time in seconds."""
        place = int(np.searchsorted(self.times, time, side="right"))
        return self.starts_high if place == 0 else bool(self.rising[place - 1])

    def turned(self) -> "Edges":
        """The same signal upside down."""
        return Edges(self.times, ~self.rising, not self.starts_high)

    def rests_high(self, stop: float) -> bool:
        """Whether it is high for the longest of its stretches; `stop` is the time of the last sample."""
        walls = np.concatenate(([0.0], self.times, [stop]))
        longest = int(np.argmax(np.diff(walls)))
        return self.starts_high if longest == 0 else bool(self.rising[longest - 1])


def edges(values: Floats, rate: float, low: float, high: float) -> Edges:
    """Edges with hysteresis: up when `high` is reached from below `low`, down the other way.

    The time of an edge is where the straight line between two samples crosses the middle, at the last
    crossing before the far threshold is reached: better than the sample interval.
    """
    state = np.where(values >= high, 1, np.where(values <= low, -1, 0)).astype(np.int8)
    known = np.flatnonzero(state)
    if not known.size:
        return Edges(np.empty(0), np.empty(0, np.bool_), starts_high=False)
    changed = np.flatnonzero(np.diff(state[known]) != 0) + 1
    arrive = known[changed]
    rising = state[arrive] > 0
    middle = 0.5 * (low + high)
    above = values >= middle
    cross = np.flatnonzero(above[1:] != above[:-1])
    places = np.searchsorted(cross, arrive, side="left") - 1
    before = cross[np.maximum(places, 0)]
    fits = above[before + 1] == rising
    before = np.where(fits, before, cross[np.maximum(places - 1, 0)])
    step = values[before + 1] - values[before]
    share = np.divide(middle - values[before], step, out=np.full(step.shape, 0.5), where=step != 0)
    crossings = np.asarray((before + np.clip(share, 0.0, 1.0)) / rate)
    return Edges(crossings, rising, bool(state[known[0]] > 0))


def without_glitches(signal: Edges, shortest: float) -> Edges:
    """The edges without those of pulses, up or down, shorter than `shortest` seconds.

    >>> without_glitches(Edges(np.array([1.0, 4.0, 4.1, 8.0]), np.array([True, False, True, False]), False), 0.5).times
    array([1., 8.])
    """
    keep = np.ones(signal.times.size, np.bool_)
    last = -2
    for place in np.flatnonzero(np.diff(signal.times) < shortest).tolist():
        if place != last + 1:
            keep[place : place + 2] = False
            last = place
    if keep.all():
        return signal
    return Edges(signal.times[keep], signal.rising[keep], signal.starts_high)


def level_edges(times: Floats, levels: Floats) -> Edges:
    """Edges from a record of changes: `levels` (0 or 1) hold from `times` until the next."""
    high = levels > 0.5
    changed = np.flatnonzero(high[1:] != high[:-1]) + 1
    return Edges(times[changed], high[changed], bool(high[0]) if high.size else False)


def as_recessive_high(signal: Edges, stop: float) -> Edges:
    """A bus signal turned so that high is recessive: a bus rests recessive, so its longest stretch is that.

    `stop` is the time of the last sample. No dominant stretch is as long as a pause between frames.
    """
    return signal if signal.rests_high(stop) else signal.turned()


def repetition(values: Floats, rate: float, shortest: float, longest: float) -> tuple[float, float]:
    """The period in seconds at which a trace repeats best, and how well (1: exactly).

    The first maximum of the autocorrelation that reaches 0.85 of the best one between the two periods; a
    later multiple correlates as well. Returns (0, 0) where nothing repeats.
    """
    correlation = autocorrelation(values - values.mean(), int(longest * rate) + 2)
    first = max(int(shortest * rate), 2)
    peaks = maxima(correlation)
    peaks = peaks[peaks >= first]
    if not peaks.size or correlation[peaks].max() <= 0:
        return 0.0, 0.0
    best = peaks[correlation[peaks] >= 0.85 * correlation[peaks].max()][0]
    return (best + beside(correlation, best)) / rate, float(correlation[best])


def maxima(values: Floats) -> NDArray[np.int64]:
    """The places of the inner maxima."""
    inner = values[1:-1]
    return np.flatnonzero((inner >= values[:-2]) & (inner > values[2:])) + 1


def beside(values: Floats, place: int) -> float:
    """How far from a maximum the top of the parabola through it and its neighbours lies, in samples."""
    left, top, right = values[place - 1 : place + 2]
    bend = left - 2 * top + right
    return float(np.clip(0.5 * (left - right) / bend, -0.5, 0.5)) if bend else 0.0


def strongest_line(values: Floats, rate: float, least: float, most: float, finer: int) -> tuple[float, float]:
    """The strongest frequency between two (Hz), and how often it is as high as the middle one of them.

    `finer`: how much closer the lines of the spectrum lie than those of the trace alone.
    """
    window = values * np.hanning(values.size)
    size = 1 << int(np.ceil(np.log2(finer * window.size)))
    power = np.abs(np.fft.rfft(window, size))
    lines = np.fft.rfftfreq(size, 1.0 / rate)
    power[(lines < least) | (lines > most)] = 0.0
    top = int(np.argmax(power))
    above = power[power > 0]
    return float(lines[top]), float(power[top] / np.median(above)) if above.size else 0.0


def autocorrelation(values: Floats, lags: int) -> Floats:
    """Autocorrelation at lags 0 to `lags`, each normalised by the power of the samples that overlap."""
    lags = min(lags, values.size - 2)
    size = 1 << int(np.ceil(np.log2(2 * values.size)))
    spectrum = np.fft.rfft(values, size)
    raw = np.fft.irfft(spectrum * np.conj(spectrum), size)[: lags + 1]
    power = np.concatenate(([0.0], np.cumsum(values**2)))
    places = np.arange(lags + 1)
    head, tail = power[values.size - places], power[-1] - power[places]
    scale = np.sqrt(np.maximum(head * tail, 1e-300))
    return np.asarray(raw / scale)
