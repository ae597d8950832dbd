"""What the result of a numeric test can be, in a few ranges: 'about 12.3 V', 'about 0 V', 'between'.

The ranges are the division of the reading into at most so many intervals that keeps the most information
about the repair group. Dynamic programming over intervals finds it (Kurkoski & Yagi, "Quantization of
binary-input discrete memoryless channels", IEEE Transactions on Information Theory 60(8), 2014).
"""

from __future__ import annotations

import operator
from collections.abc import Callable
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import ndtr

from halfsplit.diagnosis.information import (
    EXACT,
    KNEE,
    TINY,
    USUAL_SLIPS,
    Array,
    Floats,
    Integers,
    Mixture,
    Precision,
    Slips,
    mixture,
)

MOST_OUTCOMES = 4
KEPT = 0.95
"""Share of the reading's information that the ranges must keep; the fewest ranges that do so are taken."""
BARELY = 0.01
"""What weighs less than this share of the heaviest particle does not hold a limit where it is."""
CLEAR = 1.0
"""Standard deviations that a limit keeps from what is predicted."""
ALIKE = 0.1
"""Total variation below which two ranges leave the same."""
FEW = 0.25
"""Share of what lies on one side of a cut, at most, that a limit may leave on the other."""
SELDOM = 0.005
"""Probability of a range below which nobody would be told of it by itself."""
INTERVALS = 32
"""Cells between which ranges may be cut."""
BINNING = Precision(256, np.array([-2.0, -0.7, 0.7, 2.0]), np.array([0.25, 0.5, 0.25]))


@dataclass(frozen=True)
class OutcomeBin:
    """Readings that mean the same.

    low, high    where the range ends, unit of the reading; the outermost are infinite
    typical      the median of the readings in the range
    probability  chance that the reading falls in the range
    posterior    (G,) probability of each repair group if it does
    """

    low: float
    high: float
    typical: float
    probability: float
    posterior: Floats


def outcome_bins(
    predicted: Array,
    sigma: Array,
    weights: Array,
    group: Integers,
    *,
    slips: Slips = USUAL_SLIPS,
    knee: float = KNEE,
    same: Callable[[float, float], bool] = operator.eq,
    limit: Callable[[float, float], float | None] | None = None,
) -> tuple[OutcomeBin, ...]:
    """Return the ranges of one numeric test's reading, ascending.

    predicted, sigma (N,); otherwise as ``information.information``. ``same``: whether nobody could tell two readings
    apart; of cuts so close to each other one is kept. ``limit``: what one would say for a cut between two
    readings, or None; what leaves nearly the same is told as one.
    """
    cells = mixture(predicted[None], sigma[None], weights, group, slips=slips, knee=knee, precision=EXACT)
    borders = cuts(cells)[0]
    # One of each run of cuts that are the same reading: the middle one.
    runs: list[list[float]] = []
    for cut in borders[np.isfinite(borders)].tolist():
        if runs and same(runs[-1][-1], cut):
            runs[-1].append(cut)
        else:
            runs.append([cut])
    said = dict.fromkeys(_said(run[len(run) // 2], predicted, sigma, weights, limit) for run in runs)
    ends = [-np.inf, *sorted(said), np.inf]
    bins = (_bin(cells, low, high) for low, high in pairwise(ends) if low < high)
    return tuple(_joined([cell for cell in bins if cell is not None]))


def _said(
    cut: float,
    predicted: Array,
    sigma: Array,
    weights: Array,
    limit: Callable[[float, float], float | None] | None,
) -> float:
    """The cut as one would say it, where it can move without parting what is predicted on either side."""
    heavy = weights > BARELY * float(np.max(weights))
    under, over = heavy & (predicted < cut), heavy & (predicted >= cut)
    if limit is None:
        return cut
    low = _outermost((predicted + CLEAR * sigma)[under], weights[under])
    high = -_outermost((CLEAR * sigma - predicted)[over], weights[over])
    # Where what is predicted runs through, a limit is only rounded.
    words = limit(float(low), float(high)) if low < high and np.isfinite(high - low) else None
    words = limit(cut, cut) if words is None else words
    return cut if words is None else words


def _outermost(readings: Array, weights: Array) -> float:
    """The largest of these readings but for a few: a cut is no finer than the intervals between which it is made."""
    order = np.argsort(-readings)
    along = np.cumsum(weights[order])
    few = min(1.0 / INTERVALS, FEW * float(along[-1])) if len(along) else 0.0
    kept = order[along > few]
    return float(readings[kept[0]]) if len(kept) else -np.inf


def _joined(bins: list[OutcomeBin]) -> list[OutcomeBin]:
    """Neighbouring ranges that leave nearly the same, or of which one hardly ever comes, are one."""
    joined: list[OutcomeBin] = []
    for cell in bins:
        last = joined[-1] if joined else None
        if last is not None and (
            min(last.probability, cell.probability) < SELDOM
            or 0.5 * np.abs(last.posterior - cell.posterior).sum() < ALIKE
        ):
            share = last.probability + cell.probability
            posterior = (last.probability * last.posterior + cell.probability * cell.posterior) / share
            typical = last.typical if last.probability >= cell.probability else cell.typical
            joined[-1] = OutcomeBin(last.low, cell.high, typical, share, posterior)
        elif cell.probability > 0:
            joined.append(cell)
    return joined


def _bin(cells: Mixture, low: float, high: float) -> OutcomeBin | None:
    """The range between two cuts; None where they are so close that nothing lies between."""
    centres = 0.5 * (cells.edges[0, :-1] + cells.edges[0, 1:])
    inside = (centres >= low) & (centres < high)
    if not inside.any():
        return None
    shares = cells.joint[0][:, inside]
    along = np.cumsum(shares.sum(axis=0))
    probability = float(along[-1])
    median = centres[inside][np.searchsorted(along, 0.5 * probability)]
    return OutcomeBin(low, high, float(median), probability, shares.sum(axis=1) / probability)


def cuts(cells: Mixture, *, most: int = MOST_OUTCOMES, kept: float = KEPT) -> Floats:
    """Return the readings at which each test is cut, ascending, padded with infinity; (T, most - 1)."""
    labels, wanted = _intervals(cells.joint), np.arange(INTERVALS)
    onehot = labels[:, :, None] == wanted
    scores = _scores(np.matmul(cells.joint, onehot.astype(float)))
    # The reading at the lower end of each interval.
    rows = zip(labels, cells.edges, strict=True)
    borders = [edges[np.searchsorted(label, wanted)] for label, edges in rows]
    return np.stack([_cut(*each, most, kept) for each in zip(scores, borders, strict=True)])


def _intervals(joint: Floats) -> Integers:
    """Label each cell, (T, B), with one of ``INTERVALS`` intervals that hold equal shares.

    Groups count by the root of their probability, so that a rare one has its intervals too.
    """
    by_group = joint.sum(axis=-1, keepdims=True)
    balanced = (joint / np.sqrt(np.maximum(by_group, TINY))).sum(axis=1)
    along = np.cumsum(balanced, axis=-1)
    middle = (along - 0.5 * balanced) / along[:, -1:]
    labels: Integers = np.clip((middle * INTERVALS).astype(np.intp), 0, INTERVALS - 1)
    return labels


def _scores(joint: Floats) -> Floats:
    """Return for each range of intervals from i up to j what it adds to the information, (T, I + 1, I + 1).

    That is the sum over groups of p log2 p less P log2 P; the information is the sum over the ranges plus the
    entropy of the groups. Only i < j counts, the rest is minus infinity.
    """
    tests, groups, intervals = joint.shape
    along = np.zeros((tests, intervals + 1, groups))
    np.cumsum(joint.transpose(0, 2, 1), axis=1, out=along[:, 1:])
    start, stop = np.triu_indices(intervals + 1, 1)
    shares = np.maximum(along[:, stop] - along[:, start], 0.0)
    scores = np.full((tests, intervals + 1, intervals + 1), -np.inf)
    scores[:, start, stop] = _plogp(shares).sum(axis=-1) - _plogp(shares.sum(axis=-1))
    return scores


def _plogp(shares: Floats) -> Floats:
    product: Floats = shares * np.log2(np.maximum(shares, TINY))
    return product


def _cut(scores: Floats, borders: Floats, most: int, kept: float) -> Floats:
    """Return the cuts of one test: the fewest that keep the share ``kept`` of the information."""
    size = len(scores)
    whole = scores[0, size - 1]
    finest = scores[np.arange(size - 1), np.arange(1, size)].sum()
    best = scores[0].copy()
    back: list[NDArray[np.intp]] = []
    for _ in range(most - 1):
        if best[-1] - whole >= kept * (finest - whole) - 1e-12:
            break
        ways = best[:, None] + scores
        back.append(ways.argmax(axis=0))
        best = ways.max(axis=0)
    cut, end = np.full(most - 1, np.inf), len(borders)
    for number in range(len(back) - 1, -1, -1):
        end = int(back[number][end])
        cut[number] = borders[end]
    return cut


def outcome_likelihood(
    predicted: Array,
    sigma: Array,
    cut: Floats,
    slips: Slips = USUAL_SLIPS,
) -> Array:
    """Return the probability of each range under each particle, (T, N, K), for cuts (T, K - 1)."""
    ends = cut[:, None, :].astype(predicted.dtype)
    below = ndtr((ends - predicted[:, :, None]) / sigma[:, :, None])
    spoilt = 0.5 * (cut > 0) + 0.5 * slips.below(cut)
    below = (1.0 - slips.share) * below + (slips.share * spoilt[:, None, :]).astype(below.dtype)
    below = np.where(np.isinf(ends), below.dtype.type(1), below)
    chances: Array = np.diff(below, axis=-1, prepend=below.dtype.type(0), append=below.dtype.type(1))
    return chances


def outcome_ranges(
    predicted: Array, sigma: Array, weights: Array, group: Integers, *, slips: Slips, knee: ArrayLike
) -> Array:
    """Return the probability of each range under each particle, (T, N, K), ranges found for each test."""
    cells = mixture(predicted, sigma, weights, group, slips=slips, knee=knee, precision=BINNING)
    return outcome_likelihood(predicted, sigma, cuts(cells), slips)
