"""Many right sides of one sparse factorisation at once.

A vehicle's network is nearly a tree, so its triangular factors fall into few *levels*: the unknowns of a level depend
on those of earlier levels only (Anderson and Saad, Int. J. High Speed Computing 1, 1989). Each level is one product of
a sparse matrix with all right sides, which is several times faster than solving for one after the other.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import csr_matrix
from scipy.sparse.linalg import SuperLU

Floats = NDArray[np.float64]
Ints = NDArray[np.intp]


@dataclass(frozen=True)
class _Level:
    """Rows from ``first`` to ``last`` get what ``coupling`` (last - first, N) takes from earlier rows."""

    first: int
    last: int
    coupling: csr_matrix


class Substitution:
    """Solves ``A X = B`` for dense B (N, m) from the factors of A."""

    def __init__(self, lu: SuperLU) -> None:
        lower, upper = csr_matrix(lu.L), csr_matrix(lu.U)
        self._lower, forward = _levels(lower, range(lower.shape[0]))
        self._upper, backward = _levels(upper, range(upper.shape[0] - 1, -1, -1))
        self._pivots = upper.diagonal()[backward][:, None]
        inverse_row = np.argsort(lu.perm_r)
        self._enter = inverse_row[forward]
        self._turn = np.argsort(forward)[backward]
        self._leave = np.argsort(backward)[lu.perm_c]

    def solve(self, right: Floats) -> Floats:
        """A⁻¹ B (N, m)."""
        solved = right[self._enter]
        for level in self._lower:
            solved[level.first : level.last] -= level.coupling @ solved
        solved = solved[self._turn]
        solved /= self._pivots
        for level in self._upper:
            solved[level.first : level.last] -= level.coupling @ solved
        return np.asarray(solved[self._leave])


def _levels(triangle: csr_matrix, order: range) -> tuple[list[_Level], Ints]:
    """The levels of a triangular factor with its rows divided by their pivots, and its unknowns in level order."""
    starts, columns = triangle.indptr.tolist(), triangle.indices.tolist()
    depth = [0] * triangle.shape[0]
    for row in order:
        needs = (depth[column] + 1 for column in columns[starts[row] : starts[row + 1]] if column != row)
        depth[row] = max(needs, default=0)
    level_of = np.array(depth)
    ordered = np.argsort(level_of, kind="stable")
    scaled = csr_matrix(triangle.multiply(1.0 / triangle.diagonal()[:, None]))
    scaled.setdiag(0.0)
    scaled = scaled[ordered][:, ordered].tocsr()
    scaled.eliminate_zeros()
    bounds = np.searchsorted(level_of[ordered], np.arange(level_of.max(initial=0) + 2))
    return [
        _Level(int(first), int(last), scaled[first:last]) for first, last in pairwise(bounds[1:])
    ], ordered
