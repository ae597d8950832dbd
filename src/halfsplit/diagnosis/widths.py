"""How wide a predicted number is, beyond the error of the instrument: compiled, for it is asked for every test."""

from __future__ import annotations

from math import sqrt

from numba import njit

FEWEST_CARS = 4
"""Cars from which the spread between them is taken from them; of fewer it is a usual one."""
COARSE_SHARE, COARSE_FLOOR = 0.04, 0.1
"""That usual one: a share of the value and volts; common practice, no source."""


@njit(cache=True, nogil=True)
def widen(value, sigma, as_next, regime, wide):  # type: ignore[no-untyped-def]
    """Fill ``wide`` (C, D): the error ``sigma`` with half the gap to the next severity and half the spread of the cars.

    ``value``, ``sigma`` (C, D); ``as_next`` (C - 1, D): whether a column and the next are severities of one hypothesis
    in the same regime; ``regime`` (C, D). The spread is that between the cars that are in the same regime.
    """
    columns, cars = value.shape
    for column in range(columns):
        mean, alike = 0.0, True
        for car in range(cars):
            mean += value[column, car] / cars
            alike &= regime[column, car] == regime[column, 0]
        together = 0.0
        for car in range(cars):
            together += (value[column, car] - mean) ** 2 / cars
        for car in range(cars):
            one_regime = alike and cars >= FEWEST_CARS
            spread = sqrt(together) if one_regime else _within(value, regime, column, car, mean)
            gap = 0.0
            if column > 0 and as_next[column - 1, car]:
                gap = abs(value[column, car] - value[column - 1, car])
            if column + 1 < columns and as_next[column, car]:
                gap = max(gap, abs(value[column + 1, car] - value[column, car]))
            wide[column, car] = sqrt(sigma[column, car] ** 2 + (0.5 * gap) ** 2 + (0.5 * spread) ** 2)


@njit(cache=True, nogil=True)
def _within(value, regime, column, car, mean):  # type: ignore[no-untyped-def]
    """Standard deviation between the cars in the regime of this one; where these are few, a usual one."""
    same, first, second = 0, 0.0, 0.0
    for other in range(value.shape[1]):
        if regime[column, other] == regime[column, car]:
            apart = value[column, other] - mean
            same, first, second = same + 1, first + apart, second + apart**2
    if same < FEWEST_CARS:
        return COARSE_SHARE * abs(value[column, car]) + COARSE_FLOOR
    return sqrt(max(second / same - (first / same) ** 2, 0.0))
