"""The ramps of all particles added up on the grids of their tests (``information``): compiled, for it is asked most."""

from __future__ import annotations

from numba import njit


@njit(cache=True, nogil=True)
def add_ramps(steps, corner, slope, weights, group):  # type: ignore[no-untyped-def]
    """Add to ``steps`` (T, G, B + 2) the step of each ramp, shared by two cells where it begins between their borders.

    ``corner``, ``slope`` (T, N): in cells from the lower end of the grid, and what it adds to the slope; ``weights``,
    ``group`` (N,).
    """
    tests, particles = corner.shape
    last = steps.shape[2] - 2
    for test in range(tests):
        for particle in range(particles):
            place = min(max(corner[test, particle], 0.0), last)
            cell = int(place)
            added = slope[test, particle] * weights[particle]
            later = added * (corner[test, particle] - cell)
            steps[test, group[particle], cell] += added - later
            steps[test, group[particle], cell + 1] += later
