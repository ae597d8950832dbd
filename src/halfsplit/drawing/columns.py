"""In which column each post stands: a linear programme that keeps paths straight and the drawing narrow.

Every constraint is a difference of two unknowns that is at least a whole number, so that the corners of the feasible
set are whole numbers (the matrix is totally unimodular) and the simplex method returns columns, not fractions.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from itertools import pairwise

import numpy as np
from scipy.sparse import coo_array

from halfsplit.drawing.glyphs import End
from halfsplit.drawing.rows import Hop, Layers
from halfsplit.drawing.sweeps import Order

STRAIGHT_PASS, STRAIGHT, BAR, BOX, NARROW = 8.0, 4.0, 1.0, 0.5, 3.0
"""Price of a column of sideways run: of a long wire, a wire, a bar; of the width of a box; of the drawing."""


@dataclass(slots=True)
class _Programme:
    """Unknowns by name, constraints ``x[high] − x[low] ≥ gap``, prices."""

    index: dict[str, int] = field(default_factory=dict)
    price: list[float] = field(default_factory=list)
    gaps: list[tuple[int, int, int]] = field(default_factory=list)

    def unknown(self, name: str, price: float = 0.0) -> int:
        if name not in self.index:
            self.index[name] = len(self.price)
            self.price.append(0.0)
        self.price[self.index[name]] += price
        return self.index[name]

    def apart(self, low: str, high: str, gap: int) -> None:
        self.gaps.append((self.unknown(low), self.unknown(high), gap))

    def span(self, name: str, inner: Sequence[str], price: float) -> None:
        """Charges ``price`` for each column between the outermost of ``inner``."""
        self.unknown(f"{name} left", -price)
        self.unknown(f"{name} right", price)
        for column in inner:
            self.apart(f"{name} left", column, 0)
            self.apart(column, f"{name} right", 0)

    def solve(self) -> dict[str, int]:
        from scipy.optimize import linprog  # slow to import

        rows = np.repeat(np.arange(len(self.gaps)), 2)
        columns = np.array([pair for low, high, _ in self.gaps for pair in (low, high)], dtype=int)
        signs = np.tile([1.0, -1.0], len(self.gaps))
        matrix = coo_array((signs, (rows, columns)), shape=(len(self.gaps), len(self.price))).tocsr()
        bounds = np.array([-gap for _, _, gap in self.gaps], dtype=float)
        solution = linprog(  # type: ignore[call-overload]  # its stubs know dense matrices only
            self.price, A_ub=matrix, b_ub=bounds, bounds=(0, None), method="highs-ds"
        )
        return {name: round(solution.x[number]) for name, number in self.index.items()}


def columns_of(layers: Layers, order: Order) -> dict[str, int]:
    """Post key → column, from 0."""
    programme = _Programme()
    for row in order.rows:
        for key in row:
            _place_posts(programme, key, order)
        for left, right in pairwise(row):
            programme.apart(f"{left} right", f"{right} left", 1)
        for key in row[-1:]:
            programme.apart(f"{key} right", "drawing width", 0)
    programme.unknown("drawing width", NARROW)
    for net in nets(layers.hops, layers.hubs):
        _pull_straight(programme, net, layers)
    solution = programme.solve()
    return {post.key: solution[post.key] for glyph in layers.glyphs.values() for post in glyph.posts}


def _place_posts(programme: _Programme, key: str, order: Order) -> None:
    posts = [*order.upper[key], *order.lower[key]]
    programme.span(key, list(dict.fromkeys(post.key for post in posts)), BOX)
    for row in (order.upper[key], order.lower[key]):
        for left, right in pairwise(row):
            programme.apart(left.key, right.key, 1)


def _pull_straight(programme: _Programme, net: Sequence[Hop], layers: Layers) -> None:
    """A bar is pulled together as a whole, and its owner to the first of its wires; a single wire to be straight."""
    posts = list(dict.fromkeys(end.post for hop in net for end in (hop.a, hop.b)))
    passing = any(layers.glyphs[post].form == "pass" for post in posts if post in layers.glyphs)
    name = f"net {net[0].link} {net[0].channel} {net[0].a.post}"
    if len(net) > 1:
        programme.span(name, posts, BAR)
    else:
        programme.span(name, posts, STRAIGHT_PASS if passing else STRAIGHT)


def nets(hops: Sequence[Hop], hubs: frozenset[End]) -> list[list[Hop]]:
    """Hops that are one line within their channel: all those at the same hub, every other by itself."""
    grouped: dict[object, list[Hop]] = {}
    for number, hop in enumerate(hops):
        hub = next((end for end in (hop.a, hop.b) if end in hubs), None)
        grouped.setdefault(hub if hub is not None else number, []).append(hop)
    return list(grouped.values())


def hub_of(net: Sequence[Hop], hubs: frozenset[End]) -> End | None:
    """The end that owns a bar; None for a single wire."""
    return next((end for end in (net[0].a, net[0].b) if end in hubs), None)


def by_row(order: Order, columns: Mapping[str, int]) -> list[list[tuple[int, str]]]:
    """For each row its posts as (column, key)."""
    return [
        [
            (columns[post.key], post.key)
            for key in row
            for post in dict.fromkeys((*order.upper[key], *order.lower[key]))
        ]
        for row in order.rows
    ]
