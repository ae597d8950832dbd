"""Edges of crank and cam sensors: what interference and an overdriven input add is taken out first.

An inductive sensor gives volts in proportion to the change of flux and passes zero in the middle of a tooth,
whatever the speed; its amplitude grows with the speed, so the hysteresis about zero follows the local
amplitude. A Hall or optical sensor switches between two levels.

Some inputs turn over where they are overdriven: the trace jumps from the top of its range to the bottom and comes back
the same way. A tooth does not: it comes down as it went up. Such peaks are turned up again.
"""

from itertools import pairwise
from typing import Final

import numpy as np
from numpy.typing import NDArray

from halfsplit.capture.measure.result import CannotTell
from halfsplit.capture.measure.signal import Edges, Floats, edges, noise, require, runs, smooth, two_levels

_QUIET: Final = 0.05
"""Noise against the effective value up to which the crossings are sharp."""

_JUMP: Final = 0.6
"""Share of the whole swing that only an edge, or an input that turns over, covers in two samples."""

_STEEP: Final = 0.3
"""Share of the whole swing from which a step between two samples may be a change of the range."""

_MOST_STEEP: Final = 300_000
"""Samples beside steep steps beyond which a trace is left as it is, for want of time."""

_RAISED: Final = 0.02
"""Price of a sample in the range above, in ranges: without need the trace is as it was read."""

_APART: Final = 1e9

_GLITCH: Final = 0.03
"""A pulse shorter than this share of its usual length is interference: no tooth is that narrow beside another."""

_WIDTHS: Final = 11
"""Pulses of one level whose median is the usual length there."""


def sensor_edges(values: Floats, rate: float) -> Edges:
    """Edges of a crank or cam trace, inductive or switching, in volts or any unit.

    Raises `CannotTell` where the trace is too slow, too short or flat.
    """
    require(rate, values, least_rate=500.0, least_seconds=0.02, what="a trigger wheel")
    # The peaks as they were where the input turned over, at the top, the bottom or both.
    values = -_turned_up_at_top(-_turned_up_at_top(values))
    levels = two_levels(values)
    crossings = edges(values, rate, *levels.walls(0.3)) if levels else _inductive(values, rate)
    gaps = np.diff(crossings.of(True))
    if gaps.size and float(np.median(gaps)) * rate < 4:
        raise CannotTell(f"{rate:g} samples a second give fewer than four samples a tooth")
    return crossings


def _turned_up_at_top(values: Floats) -> Floats:
    low, high = float(values.min()), float(values.max())
    if values.size < 8 or high <= low:
        return values
    steps = np.diff(values, append=values[-1])
    over_two = steps[:-1] + steps[1:]
    walls = _JUMP * (high - low)
    least = min(max(steps.max(), over_two.max()), max(-steps.min(), -over_two.min()))
    if least < walls:
        return values
    near = np.convolve(np.abs(steps) > _STEEP * (high - low), np.ones(5), "same") > 0
    if np.count_nonzero(near) > _MOST_STEEP or two_levels(values):
        return values
    peaks = runs(_beyond((values - low) / (high - low), np.flatnonzero(near)))
    # After a switch has gone up it stays there until it jumps down; a tooth goes down of itself and up again.
    between = [float(values[last:first].min()) for (_, last), (first, _) in pairwise(peaks) if first > last]
    down = sum(lowest < 0.5 * (low + high) for lowest in between)
    if not between or down < 0.8 * len(between):
        return values
    turned = values.copy()
    for first, last in peaks:
        turned[first:last] = high + np.clip(values[first:last] - low, 0.0, 0.5 * (high - low))
    return turned


def _beyond(shares: Floats, near: NDArray[np.int64]) -> NDArray[np.bool_]:
    """The samples that read one range too low: raised by a range, the trace bends least.

    `shares` are the values in ranges, `near` the samples beside a steep step: the range changes only there. The path of
    the least sum of absolute second differences, by dynamic programming over the ranges of a sample and the next.
    """
    padded = np.pad(shares, 1, mode="edge")
    bends = (padded[near + 2] - 2 * padded[near + 1] + padded[near]).tolist()
    begins = (np.diff(near, prepend=near[0] - 2) > 1).tolist()
    both_down, up_next, up_here, both_up = 0.0, _APART, _APART, 0.0
    came = np.empty((near.size, 4), np.int8)
    for j, (bend, begin) in enumerate(zip(bends, begins, strict=True)):
        if begin:  # in the stretch before no step is steep: the range stays
            up_next = up_here = _APART
        # (range here, range after) from (range before, range here); the bend changes by before - 2 here + after
        ways = (
            (both_down + abs(bend), up_here + abs(bend + 1)),
            (both_down + abs(bend + 1), up_here + abs(bend + 2)),
            (up_next + abs(bend - 2), both_up + abs(bend - 1)),
            (up_next + abs(bend - 1), both_up + abs(bend)),
        )
        came[j] = [(0, 2, 1, 3)[2 * (n >= 2) + (way[1] < way[0])] for n, way in enumerate(ways)]
        both_down, up_next, up_here, both_up = (min(way) for way in ways)
        up_next, both_up = up_next + _RAISED, both_up + _RAISED
    state = int(np.argmin((both_down, up_next, up_here, both_up)))
    raised = np.empty(near.size, np.bool_)
    for j in range(near.size - 1, -1, -1):
        raised[j] = state >= 2
        state = int(came[j, state])
    return raised[np.maximum(np.searchsorted(near, np.arange(shares.size), side="right") - 1, 0)]


def _inductive(values: Floats, rate: float) -> Edges:
    """Crossings of the middle, with a hysteresis of 0.4 of the effective value of the teeth near by."""
    centred = values - np.median(values)
    effective, error = float(np.sqrt(np.mean(centred**2))), noise(centred)
    if error > _QUIET * effective:  # noise averaged down to that, over an eighth of a tooth at most
        part = centred[: 1 << 18]
        power = np.abs(np.fft.rfft(part * np.hanning(part.size)))
        tooth = part.size / max(int(np.argmax(power)), 1)
        centred = smooth(centred, int(min((error / (_QUIET * effective)) ** 2, tooth / 8)))
    top = float(np.quantile(np.abs(centred), 0.999))
    floor = min(max(0.04 * top, 4 * noise(centred)), 0.12 * top)
    if floor <= 0:
        raise CannotTell("the trace is flat: no tooth passes the sensor, or it is not connected")
    span = 0.05
    for _ in range(2):
        local = np.sqrt(smooth(centred**2, int(span * rate)))
        crossings = edges(centred / np.maximum(0.4 * local, floor), rate, -1.0, 1.0)
        teeth = np.diff(crossings.of(True))
        if not teeth.size or span >= 2 * np.median(teeth):
            break
        span = 2 * float(np.median(teeth))  # slow teeth: over a whole one at least
    return crossings


def without_glitches(signal: Edges) -> tuple[Edges, int]:
    """The edges without those of pulses far shorter than their neighbours, and how many pulses were left out."""
    from scipy.ndimage import median_filter  # slow to import

    times, keep = signal.times, np.ones(signal.times.size, np.bool_)
    if times.size < 8:
        return signal, 0
    widths = np.diff(times)
    usual = np.empty(widths.size)
    for kind in (0, 1):
        own = widths[kind::2]
        usual[kind::2] = median_filter(own, _WIDTHS, mode="mirror" if own.size > _WIDTHS else "nearest")
    count = 0
    for i in np.flatnonzero(widths < _GLITCH * usual).tolist():
        if keep[i] and keep[i + 1]:
            keep[i] = keep[i + 1] = False
            count += 1
    if not count:
        return signal, 0
    return Edges(times[keep], signal.rising[keep], signal.starts_high), count
