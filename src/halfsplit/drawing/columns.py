"""In which column each post stands: a linear programme that keeps paths straight and the drawing narrow.

Every constraint is a difference of two unknowns that is at least a whole number, so that the corners of the feasible
set are whole numbers (the matrix is totally unimodular) and the simplex method returns columns, not fractions.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from itertools import pairwise

import numpy as np
from scipy.sparse import coo_array

from halfsplit.drawing.glyphs import End
from halfsplit.drawing.order import Order
from halfsplit.drawing.rows import Hop, Layers

STRAIGHT_PASS, STRAIGHT, BAR, BOX, NARROW = 8.0, 4.0, 1.0, 0.5, 3.0
"""Price of a column of sideways run: of a long wire, a wire, a bar; of the width of a box; of the drawing."""


@dataclass(slots=True)
class _Programme:
    """Unknowns by name with their prices, constraints ``x[high] − x[low] ≥ gap``."""

    prices: dict[str, float] = field(default_factory=dict)
    gaps: list[tuple[str, str, int]] = field(default_factory=list)

    def charge(self, name: str, price: float) -> None:
        self.prices[name] = self.prices.get(name, 0.0) + price

    def apart(self, low: str, high: str, gap: int) -> None:
        self.charge(low, 0.0)
        self.charge(high, 0.0)
        self.gaps.append((low, high, gap))

    def span(self, name: str, inner: Iterable[str], price: float) -> None:
        """Charges ``price`` for each column between the outermost of ``inner``."""
        self.charge(f"{name} left", -price)
        self.charge(f"{name} right", price)
        for column in inner:
            self.apart(f"{name} left", column, 0)
            self.apart(column, f"{name} right", 0)

    def solve(self) -> dict[str, int]:
        from scipy.optimize import linprog  # slow to import

        index = {name: number for number, name in enumerate(self.prices)}
        rows = np.repeat(np.arange(len(self.gaps)), 2)
        columns = np.array([index[name] for low, high, _ in self.gaps for name in (low, high)], dtype=int)
        signs = np.tile([1.0, -1.0], len(self.gaps))
        matrix = coo_array((signs, (rows, columns)), shape=(len(self.gaps), len(index))).tocsr()
        bounds = np.array([-gap for _, _, gap in self.gaps], dtype=float)
        solution = linprog(  # type: ignore[call-overload]  # its stubs know dense matrices only
            [*self.prices.values()], A_ub=matrix, b_ub=bounds, bounds=(0, None), method="highs-ds"
        )
        return {name: round(solution.x[number]) for name, number in index.items()}


def columns_of(layers: Layers, order: Order) -> dict[str, int]:
    """Post key → column, from 0."""
    programme = _Programme()
    for row in order.rows:
        for key in row:
            upper, lower = order.upper[key], order.lower[key]
            programme.span(key, dict.fromkeys(post.key for post in (*upper, *lower)), BOX)
            for left, right in (*pairwise(upper), *pairwise(lower)):
                programme.apart(left.key, right.key, 1)
        for before, after in pairwise(row):
            programme.apart(f"{before} right", f"{after} left", 1)
        for key in row[-1:]:
            programme.apart(f"{key} right", "drawing width", 0)
    programme.charge("drawing width", NARROW)
    # A bar is pulled together as a whole, and its owner to the first of its wires; a single wire to be straight.
    for _, net in nets(layers.hops, layers.hubs):
        posts = dict.fromkeys(end.post for hop in net for end in (hop.a, hop.b))
        passing = any(layers.glyphs[post].form == "pass" for post in posts if post in layers.glyphs)
        price = BAR if len(net) > 1 else STRAIGHT_PASS if passing else STRAIGHT
        programme.span(f"net {net[0].link} {net[0].channel} {net[0].a.post}", posts, price)
    solution = programme.solve()
    return {post.key: solution[post.key] for glyph in layers.glyphs.values() for post in glyph.posts}


def nets(hops: Iterable[Hop], hubs: frozenset[End]) -> list[tuple[End | None, list[Hop]]]:
    """Hops that are one line within their channel: all those at the same hub, with it, every other by itself."""
    grouped: dict[object, tuple[End | None, list[Hop]]] = {}
    for number, hop in enumerate(hops):
        hub = next((end for end in (hop.a, hop.b) if end in hubs), None)
        grouped.setdefault(number if hub is None else hub, (hub, []))[1].append(hop)
    return list(grouped.values())
