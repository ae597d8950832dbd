"""Change points of a current and the levels between them.

Seeded binary segmentation (Kovács, Bühlmann, Li and Munk, Biometrika 110, 2023) with the narrowest interval over a
threshold taken first (Baranowski, Chen and Fryzlewicz, JRSS B 81, 2019): intervals of every length are laid over the
series in a fixed pattern, so that a wake-up of a second in an hour of sleep is found as surely as a step between hours.
Cost: n log n. An exact search (PELT, as in the library `ruptures`, with which the tests compare) takes some 18 s on
the 86,400 blocks of a quiet day, since nothing can be pruned there.

The current spans four decades, and its noise grows with it; so the search runs on asinh(current / 5 mA), which is
linear below and logarithmic above, and each interval is judged by the noise inside it.
"""

from __future__ import annotations

from bisect import bisect_right, insort
from collections.abc import Iterator
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from halfsplit.drain.log import CurrentLog, Floats

BLOCK = 1.0
MOST_BLOCKS = 100_000
SOFT = 0.005
DECAY = 2**-0.5
CONFIDENCE = 1.6
"""Threshold over sqrt(2 log n), which white noise hardly reaches; above 1 since real noise is coloured."""

LEAST_STEP = 0.001
LEAST_SHARE = 0.05
NOISE_WINDOW = 60


@dataclass(frozen=True, slots=True)
class Segment:
    """A stretch of one level. start, end: s. mean: A. sd: A, of the samples about it. error: A, of the mean."""

    start: float
    end: float
    mean: float
    sd: float
    error: float

    @property
    def seconds(self) -> float:
        """How long it lasts, gaps included."""
        return self.end - self.start


@dataclass(frozen=True, slots=True, eq=False)
class Blocks:
    """A log in blocks of equal time: start of each in s, its mean in A, how many samples; empty blocks left out.

    breaks: indices of blocks before which there is a gap. resolution: of the instrument, A.
    """

    starts: Floats
    means: Floats
    breaks: tuple[int, ...]
    width: float
    resolution: float


def segments(log: CurrentLog) -> tuple[Segment, ...]:
    """The levels of a log, in order of time."""
    blocks = into_blocks(log)
    value = np.arcsinh(blocks.means / SOFT)
    rounding = blocks.resolution / np.sqrt(12) / np.hypot(SOFT, blocks.means)
    points = sorted({*change_points(value, rounding), *blocks.breaks})
    # Each change point is moved to the best split between its neighbours; gaps stay where they are.
    sums = np.concatenate(([0.0], np.cumsum(value)))
    edges = [0, *points, value.size]
    for place in range(1, len(edges) - 1):
        a, b = edges[place - 1], edges[place + 1]
        if edges[place] not in blocks.breaks and b - a >= 3:
            inner = np.arange(a + 1, b)
            left = (sums[inner] - sums[a]) / (inner - a)
            right = (sums[b] - sums[inner]) / (b - inner)
            edges[place] = int(inner[np.argmax(np.abs(left - right) * np.sqrt((inner - a) * (b - inner)))])
    levels = []
    for a, b in pairwise(_merged(blocks, edges)):
        start, means = float(blocks.starts[a]), blocks.means[a:b]
        end = float(blocks.starts[b]) if b < value.size else float(log.seconds[-1])
        first, last = np.searchsorted(log.seconds, (start, end))
        sd = float(np.std(log.amps[first : max(last, first + 1)]))
        error = float(np.std(means) / np.sqrt(means.size)) if means.size > 1 else sd
        levels.append(Segment(start, end, float(means.mean()), sd, error))
    return tuple(levels)


def into_blocks(log: CurrentLog) -> Blocks:
    """Means over blocks of a second, or longer where samples are rarer or the log is very long."""
    width = max(BLOCK, log.step, log.duration / MOST_BLOCKS)
    index = (log.seconds / width).astype(np.int64)
    counts = np.bincount(index)
    sums = np.bincount(index, weights=log.amps)
    filled = np.flatnonzero(counts)
    starts = filled * width
    gap_ends = np.array([end for _, end in log.gaps], np.float64)
    breaks = np.searchsorted(starts, (gap_ends / width).astype(np.int64) * width)
    inner = tuple(int(place) for place in np.unique(breaks) if 0 < place < filled.size)
    return Blocks(starts.astype(np.float64), sums[filled] / counts[filled], inner, width, log.resolution)


def change_points(value: Floats, rounding: Floats | float = 0.0) -> list[int]:
    """Indices at which the mean of `value` (n,) changes, ascending; index k means a change between k - 1 and k.

    rounding: standard deviation that the instrument's steps add, (n,) or one number, in the unit of `value`.
    """
    n = value.size
    if n < 3:
        return []
    threshold = CONFIDENCE * np.sqrt(2 * np.log(n))
    sums = np.concatenate(([0.0], np.cumsum(value - value.mean())))
    noise = np.concatenate(([0.0], np.cumsum(local_noise(value) ** 2 + np.square(rounding))))
    points: list[int] = []
    for length in _lengths(
        n
    ):  # the shortest first: each interval that holds no change point yet gives its split
        for start, split in sorted(_over_threshold(sums, noise, length, threshold)):
            place = bisect_right(points, start)
            if place == len(points) or points[place] >= start + length:
                insort(points, split)
    return points


def local_noise(value: Floats) -> Floats:
    """Standard deviation of the noise at each point, from differences of neighbours, robust to steps; (n,)."""
    steps = np.abs(np.diff(value))
    window = min(NOISE_WINDOW, max(steps.size // 2, 1))
    count = steps.size // window
    medians = np.median(steps[: count * window].reshape(count, window), axis=1) * 1.4826 / np.sqrt(2)
    overall = float(np.median(medians))
    centres = (np.arange(count) + 0.5) * window
    smooth: Floats = np.interp(np.arange(value.size), centres, medians)
    floor = max(0.3 * overall, 1e-4 * float(np.ptp(value)), 1e-9)
    return np.clip(smooth, floor, None)


def _lengths(n: int) -> list[int]:
    """Interval lengths from the whole down to three, each shorter by the square root of two."""
    count = int(np.ceil(np.log(n / 3) / -np.log(DECAY))) + 1
    return sorted({max(3, round(n * DECAY**level)) for level in range(count)})


def _over_threshold(sums: Floats, noise: Floats, length: int, threshold: float) -> Iterator[tuple[int, int]]:
    """Seeded intervals of one length whose best split passes: (start, split)."""
    n = sums.size - 1
    count = 2 * int(np.ceil(n / length)) - 1
    starts = np.unique(np.linspace(0, n - length, max(count, 1)).astype(np.int64))
    inner = np.arange(1, length)
    weight = np.sqrt(inner * (length - inner) / length)
    rows = max(1, 2_000_000 // length)
    for first in range(0, starts.size, rows):
        part = starts[first : first + rows]
        left = sums[part[:, None] + inner] - sums[part][:, None]
        total = (sums[part + length] - sums[part])[:, None]
        gain = np.abs(left / inner - (total - left) / (length - inner)) * weight
        best = np.argmax(gain, axis=1)
        scatter = np.sqrt((noise[part + length] - noise[part]) / length)
        passed = np.flatnonzero(gain[np.arange(part.size), best] > threshold * scatter)
        yield from zip(part[passed].tolist(), (part + inner[best])[passed].tolist(), strict=True)


def _merged(blocks: Blocks, edges: list[int]) -> list[int]:
    """Edges without those between levels that differ by too little to matter.

    In each round every edge goes whose step is too small and no larger than its neighbours' steps, so that the closest
    levels join first and many small steps cost few rounds.
    """
    sums = np.concatenate(([0.0], np.cumsum(blocks.means)))
    least = max(LEAST_STEP, 0.5 * blocks.resolution)
    kept = np.unique(np.array(edges))
    while kept.size > 2:
        levels = np.diff(sums[kept]) / np.diff(kept)
        lower = np.minimum(np.abs(levels[:-1]), np.abs(levels[1:]))
        steps = np.abs(np.diff(levels)) / np.maximum(least, LEAST_SHARE * lower)
        around = np.concatenate(([np.inf], steps, [np.inf]))
        goes = (steps < 1) & (steps <= around[:-2]) & (steps < around[2:])
        if not np.any(goes):
            break
        kept = np.delete(kept, np.flatnonzero(goes) + 1)
    return [int(edge) for edge in kept]
