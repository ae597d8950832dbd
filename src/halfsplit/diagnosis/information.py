"""What a reading tells about the repair group: mutual information in bits.

    I(group; reading) = sum over g of the integral of p(g, r) log2( p(g, r) / (p(g) p(r)) ) dr

(Cover & Thomas, Elements of Information Theory, 2.28 and 8.47.) The hypotheses are particles: each has a
weight, a repair group and a predicted reading with its standard deviation. The density p(g, r) is their
mixture of normals, plus the chance of a slip of the hand that is the same for all. It is integrated on a grid
of cells: nothing is rounded to 'good' and 'bad'.

The grid is even in log(1 + |r| / knee), where ``knee`` is the reading at which the instrument's fixed and
its proportional error are equal (20 mV and 0.5 % give 4 V), so that a cell is about as many standard
deviations wide everywhere. It spans what is predicted for the test; slips beyond that tell nothing and share
its end cells.

The normal distribution function is taken as a polygon (two corners when screening, many when it must be
exact), for a polygon's share of every cell follows from one cumulative sum, however many particles there are.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import ndtr

Array = NDArray[np.floating]
Floats = NDArray[np.float64]
Integers = NDArray[np.intp]

SLIP = 0.02
"""Share of readings that a slip of the hand spoils: half read 0, half anything in the range."""
SLIP_RANGE = (0.0, 15.0)
KNEE = 4.0
TINY = 1e-30
"""Keeps logarithms and quotients of a zero probability finite, in single precision too."""
NARROWEST = 0.25
"""Least width of an error's polygon, in cells: below it a reading is a point within its cell."""


@dataclass(frozen=True)
class Precision:
    """How finely the integral is taken: ``cells`` of the grid, corners of the error's polygon.

    ``corners``: (C,) in standard deviations, ascending; ``shares``: (C - 1,) probability between them.
    """

    cells: int
    corners: Floats
    shares: Floats


_FINE = np.linspace(-4.0, 4.0, 33)
_SHARES = np.diff(ndtr(_FINE))
SCREENING = Precision(96, np.array([-np.sqrt(3.0), np.sqrt(3.0)]), np.array([1.0]))
"""For hundreds of tests: the error as an even distribution of the same variance."""
EXACT = Precision(768, _FINE, _SHARES / _SHARES.sum())
"""For the best few: within about 0.001 bit of quadrature."""

BLOCK = 8
"""Tests worked on together: few enough that their arrays stay in the processor's cache."""


@dataclass(frozen=True)
class Slips:
    """Readings that say nothing: with ``share``, half of them 0 and half even over ``low`` to ``high``.

    ``low`` and ``high``: scalars, or (T,) where the tests have different units.
    """

    share: float = SLIP
    low: ArrayLike = SLIP_RANGE[0]
    high: ArrayLike = SLIP_RANGE[1]

    def of(self, tests: int, rows: slice | Integers = slice(None)) -> Slips:
        """Return the slips of some of the tests, with ranges (T,)."""
        low, high = (np.broadcast_to(np.asarray(end, dtype=float), (tests,)) for end in (self.low, self.high))
        return Slips(self.share, low[rows], high[rows])

    def below(self, readings: Floats) -> Floats:
        """Return the chance that the even half of the slips reads less, for readings (T, …)."""
        low, high = (np.reshape(np.asarray(end, dtype=float), (-1, 1)) for end in (self.low, self.high))
        share: Floats = np.clip((readings - low) / (high - low), 0.0, 1.0)
        return share


USUAL_SLIPS = Slips()


@dataclass(frozen=True)
class Mixture:
    """The joint probability of repair group and reading on the cells of each test's grid.

    joint  (T, G, B), sums to 1 for each test
    edges  (T, B + 1) readings at the cells' borders, in the unit of the reading
    """

    joint: Floats
    edges: Floats


def information(
    predicted: Array,
    sigma: Array,
    weights: Array,
    group: Integers,
    *,
    slips: Slips = USUAL_SLIPS,
    knee: ArrayLike = KNEE,
    precision: Precision = SCREENING,
) -> Floats:
    """Return the bits that each numeric test tells about the repair group; (T,).

    predicted  (T, N) predicted reading of each particle, any unit, finite; float32 serves
    sigma      (T, N) its standard deviation, same unit, positive
    weights    (N,) probabilities, sum 1
    group      (N,) repair group of each particle, numbered from 0
    knee       scalar or (T,), same unit as the reading
    """
    tests = len(predicted)
    knees = np.broadcast_to(np.asarray(knee, dtype=float), (tests,))
    bits = np.empty(tests)
    for start in range(0, tests, BLOCK):
        rows = slice(start, start + BLOCK)
        some = (predicted[rows], sigma[rows], weights, group)
        cells = mixture(*some, slips=slips.of(tests, rows), knee=knees[rows], precision=precision)
        bits[rows] = mutual_information(cells.joint)
    return bits


def outcome_information(likelihood: Array, weights: Array, group: Integers) -> Floats:
    """Return the bits of tests with a few outcomes (yes, weak, no; bright, dim, dark); (T,).

    likelihood (T, N, K): probability of each outcome under each particle, sums to 1 over K.
    """
    return mutual_information(joint_with_outcomes(likelihood, weights, group))


def joint_with_outcomes(likelihood: Array, weights: Array, group: Integers) -> Floats:
    """Return the joint probability of repair group and outcome, (T, G, K)."""
    members = np.zeros((int(group.max()) + 1, len(weights)), dtype=likelihood.dtype)
    members[group, np.arange(len(weights))] = weights
    joint: Floats = np.matmul(members, likelihood).astype(float)
    return joint


def mutual_information(joint: Floats) -> Floats:
    """Return the mutual information in bits of joint probabilities (..., G, K), each table summing to 1."""
    bits = _log_sum(joint, (-2, -1)) - _log_sum(joint.sum(-1), -1) - _log_sum(joint.sum(-2), -1)
    return np.maximum(bits, 0.0)


def entropy(shares: Floats) -> Floats:
    """Return the entropy in bits along the last axis."""
    return np.maximum(-_log_sum(shares, -1), 0.0)


def _log_sum(shares: Floats, axis: int | tuple[int, ...]) -> Floats:
    """Return the sum of p log2 p, with 0 log 0 = 0."""
    total: Floats = np.sum(shares * np.log2(np.maximum(shares, TINY)), axis=axis)
    return total


def mixture(
    predicted: Array,
    sigma: Array,
    weights: Array,
    group: Integers,
    *,
    slips: Slips = USUAL_SLIPS,
    knee: ArrayLike = KNEE,
    precision: Precision = EXACT,
) -> Mixture:
    """Return the joint probability of repair group and reading on a grid for each test.

    Arguments as for ``information``.
    """
    if not np.issubdtype(predicted.dtype, np.floating):
        predicted = predicted.astype(float)
    sigma = sigma.astype(predicted.dtype, copy=False)
    knees = np.broadcast_to(np.asarray(knee, dtype=predicted.dtype), (len(predicted),))[:, None]
    corners = [_stretch(predicted + np.asarray(z, sigma.dtype) * sigma, knees) for z in precision.corners]
    low, high = corners[0].min(axis=1, keepdims=True), corners[-1].max(axis=1, keepdims=True)
    scale = (precision.cells - 2) / np.maximum(high - low, 1e-9)
    placed = [(corner - low) * scale + 1 for corner in corners]
    groups = int(group.max()) + 1
    # At least ``NARROWEST`` cells apart from first to last.
    lacking = np.maximum(NARROWEST - (placed[-1] - placed[0]), 0)
    fractions = (precision.corners / np.ptp(precision.corners)).astype(lacking.dtype)
    wide = [corner + fraction * lacking for corner, fraction in zip(placed, fractions, strict=True)]
    joint = _shares_of_cells(wide, precision, weights, group, groups)
    even = low + (np.arange(precision.cells + 1) - 1) / scale
    edges: Floats = np.copysign(np.expm1(np.abs(even)) * knees.astype(float), even)
    if slips.share > 0:
        spoilt = _slip_shares(edges, sigma.min(axis=1), slips)
        by_group = np.bincount(group, weights=weights, minlength=groups)
        joint *= 1.0 - slips.share
        joint += slips.share * by_group[:, None] * spoilt[:, None, :]
    return Mixture(joint, edges)


def _stretch(readings: Array | np.float64, knee: Array) -> Array:
    """Return the coordinate in which the grid is even."""
    stretched: Array = np.copysign(np.log(1.0 + np.abs(readings) / knee), readings)
    return stretched


def _shares_of_cells(
    corners: list[Array], precision: Precision, weights: Array, group: Integers, groups: int
) -> Floats:
    """Return the probability of each group and cell, (T, G, B), of errors with the given corners.

    corners: C arrays (T, N), in cells from the lower end of the grid. A polygon is a sum of ramps, one from
    each corner; the slope that a ramp adds to the cells is a step, and a step is a single entry (shared by
    two cells where the corner lies between borders) before the cumulative sum over the cells.
    """
    from halfsplit.diagnosis.ramps import add_ramps  # compiled code comes in when it is asked for

    steps = np.zeros((len(corners[0]), groups, precision.cells + 2))
    for corner, slope in zip(corners, _changes_of_slope(corners, precision), strict=True):
        add_ramps(steps, corner.astype(float), slope.astype(float), weights, group)
    shares = np.cumsum(steps, axis=-1)[..., :-2]
    return np.maximum(shares, 0.0)


def _changes_of_slope(corners: list[Array], precision: Precision) -> list[Array]:
    """Return what each corner adds to the slope of the error's distribution function; C arrays (T, N)."""
    slopes = [
        share / (after - before)
        for (before, after), share in zip(pairwise(corners), precision.shares, strict=True)
    ]
    return [slopes[0], *(after - before for before, after in pairwise(slopes)), -slopes[-1]]


def _slip_shares(edges: Floats, sigma: Array, slips: Slips) -> Floats:
    """Return the probability of each cell under a slip, (T, B); the end cells take what lies beyond them."""
    borders = edges.copy()
    borders[:, 0], borders[:, -1] = -np.inf, np.inf
    zero = np.diff(ndtr(borders / sigma[:, None].astype(float)), axis=1)
    even = np.diff(slips.below(borders), axis=1)
    shares: Floats = 0.5 * zero + 0.5 * even
    return shares
