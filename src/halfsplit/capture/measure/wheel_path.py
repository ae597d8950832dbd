"""The cheapest path over a trigger wheel's teeth, compiled (`wheel_search` says what it is for)."""

import numpy as np
from numba import njit
from numpy.typing import NDArray

from halfsplit.capture.measure.signal import Floats


@njit(cache=True, nogil=True)
def cheapest_offsets(sizes: Floats, values: Floats, far: float, slip: float) -> NDArray[np.int64]:
    """The offset of each interval on the cheapest path.

    ``far``: the deviation that counts at most; ``slip``: the price of a change, in the same unit (logarithms).
    """
    length = values.size
    came_from = np.empty(sizes.size, np.int64)
    changed = np.empty((sizes.size, length), np.bool_)
    cost = np.zeros(length)
    for k in range(sizes.size):
        best = int(cost.argmin())
        wall = cost[best] + slip
        came_from[k] = best
        for offset in range(length):
            changed[k, offset] = cost[offset] > wall
            apart = abs(values[(k + offset) % length] - sizes[k])
            cost[offset] = min(cost[offset], wall) + min(apart, far)
    offsets = np.empty(sizes.size, np.int64)
    offset = int(cost.argmin())
    for k in range(sizes.size - 1, -1, -1):
        offsets[k] = offset
        if changed[k, offset]:
            offset = came_from[k]
    return offsets
