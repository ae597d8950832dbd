"""A number that is read again: what the first reading left open about the vehicle is not left open once more.

A forecast is as wide as the instrument's error and what is not known of the vehicle together: the resistance between
two severities of the grid, the spread between cars. Made again, only the instrument errs anew.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from itertools import combinations

import numpy as np

from halfsplit.diagnosis.expected import Floats, Numeric

MOST = 5
"""Readings of one measurement that are taken together; more hardly ever come."""
AGAIN_FLOOR, AGAIN_SHARE = 0.05, 0.02
"""By how much a number that is read again differs."""


def log_together(values: Sequence[float], slipped: Sequence[Floats], expected: Numeric) -> Floats:
    """Log density (C, D) of readings of one measurement, on the scale of comparison; their order does not matter.

    slipped  density (C, D) of each where the hand slips there: any of them may be a slip
    """
    total = np.zeros(expected.value.shape)
    for honest in _subsets(len(values)):
        rest = [slipped[number] for number in range(len(values)) if number not in honest]
        share = (1 - expected.slip) ** len(honest) * expected.slip ** len(rest)
        read = [values[number] for number in honest]
        total += share * math.prod(rest, start=_honest(read, expected) if read else np.ones(1))
    return np.asarray(np.log(np.maximum(total, 1e-300)))


def _subsets(size: int) -> Iterator[tuple[int, ...]]:
    for count in range(size + 1):
        yield from combinations(range(size), count)


def _honest(read: Sequence[float], expected: Numeric) -> Floats:
    """Density of readings that are no slips: all of what is there, or all of what floats."""
    there = (1 - expected.ghost) * _normal(read, expected)
    return np.asarray(there + expected.ghost * _floating(read, expected))


def _normal(read: Sequence[float], expected: Numeric) -> Floats:
    """Normal densities with one deviation of the vehicle in common: the mean of the readings, and each about it."""
    many, mean = len(read), float(np.mean(read))
    differs = np.maximum(expected.own, AGAIN_FLOOR + AGAIN_SHARE * abs(mean))
    own = np.minimum(differs, expected.sigma) ** 2
    common = expected.sigma**2 - own + own / many
    apart = float(np.sum((np.array(read) - mean) ** 2))
    exponent = -0.5 * (mean - expected.value) ** 2 / common - 0.5 * apart / own
    norm = np.sqrt(2 * np.pi * common) * (2 * np.pi * own) ** (0.5 * (many - 1)) * math.sqrt(many)
    return np.asarray(np.exp(exponent) / norm)


def _floating(read: Sequence[float], expected: Numeric) -> float:
    """Anything in the range the first time, and that again."""
    many, mean = len(read), float(np.mean(read))
    sigma = AGAIN_FLOOR + AGAIN_SHARE * abs(mean)
    apart = float(np.sum((np.array(read) - mean) ** 2))
    spread: float = math.exp(-0.5 * apart / sigma**2) / (
        math.pow(2 * math.pi * sigma**2, 0.5 * (many - 1)) * math.sqrt(many)
    )
    return expected.evenly(mean) * spread
