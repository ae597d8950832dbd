"""The order of what stands in each row, so that few lines cross: barycentres, then exchanges of neighbours."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from types import MappingProxyType

import numpy as np

from halfsplit.drawing.glyphs import End, Glyph, Post
from halfsplit.drawing.rows import Layers

SWEEPS = 20
"""Half of them down, half up."""
FEW = 300
"""Up to so many glyphs and passes a second start is tried."""


@dataclass(frozen=True, slots=True)
class Order:
    """``rows``: keys from left to right; ``upper`` and ``lower``: the posts of each glyph from left to right."""

    rows: tuple[tuple[str, ...], ...]
    upper: Mapping[str, tuple[Post, ...]]
    lower: Mapping[str, tuple[Post, ...]]


def order_of(layers: Layers) -> Order:
    """The best order met in the sweeps, by the number of crossings and then by the sideways length."""
    neighbours = _neighbours(layers)
    starts = 1 if len(layers.glyphs) > FEW else 2
    best = min(
        (_best_from(layers, _first(layers, turned=bool(start)), neighbours) for start in range(starts)),
        key=lambda found: found[0],
    )
    return _battery_left(layers, best[1])


def _best_from(
    layers: Layers, order: Order, neighbours: Mapping[End, list[str]]
) -> tuple[tuple[int, float], Order]:
    """The best order that sweeps from a first one meet, with its cost."""
    best = _cost(layers, order), order
    for sweep in range(SWEEPS):
        order = _swept(layers, order, neighbours, upwards=bool(sweep % 2), turned=sweep % 4 > 1)
        order = _exchanged(layers, order, neighbours)
        cost = _cost(layers, order)
        if cost < best[0]:
            best = cost, order
    return best


def _battery_left(layers: Layers, order: Order) -> Order:
    """Turned left to right, which crosses no more lines, if the battery would come to stand on the right."""
    places = positions(order)
    heads = [
        places[post.key]
        for glyph in layers.glyphs.values()
        if glyph.form == "battery"
        for post in glyph.posts
    ]
    if not heads or heads[0] <= (min(places.values()) + max(places.values())) / 2:
        return order
    return Order(
        tuple(row[::-1] for row in order.rows),
        MappingProxyType({key: posts[::-1] for key, posts in order.upper.items()}),
        MappingProxyType({key: posts[::-1] for key, posts in order.lower.items()}),
    )


def _posts(glyph: Glyph, units: Iterable[tuple[Post, ...]]) -> tuple[tuple[Post, ...], tuple[Post, ...]]:
    posts = [post for unit in units for post in unit]
    if not glyph.free:
        return tuple(posts), tuple(posts)
    return tuple(post for post in posts if post.top or not post.bottom), tuple(
        post for post in posts if post.bottom
    )


def _first(layers: Layers, *, turned: bool) -> Order:
    """By a walk along the links from the first glyph, so that what belongs together starts side by side."""
    owner = {post.key: key for key, glyph in layers.glyphs.items() for post in glyph.posts}
    joined: dict[str, list[str]] = {key: [] for key in layers.glyphs}
    for hop in layers.hops:
        joined[owner[hop.a.post]].append(owner[hop.b.post])
        joined[owner[hop.b.post]].append(owner[hop.a.post])
    rank: dict[str, int] = {}
    for start in layers.glyphs:
        stack = [start]
        while stack:
            key = stack.pop()
            if key not in rank:
                rank[key] = len(rank)
                found = [other for other in joined[key] if other not in rank]
                stack.extend(found if turned else reversed(found))
    rows = tuple(tuple(sorted(row, key=rank.__getitem__)) for row in layers.rows)
    posts = {key: _posts(glyph, glyph.units) for key, glyph in layers.glyphs.items()}
    return Order(
        rows,
        MappingProxyType({key: upper for key, (upper, _) in posts.items()}),
        MappingProxyType({key: lower for key, (_, lower) in posts.items()}),
    )


def positions(order: Order) -> dict[str, float]:
    """Post key → place in its row, counted in posts and centred, so that rows compare."""
    places: dict[str, float] = {}
    widest = max((sum(_width(order, key) for key in row) for row in order.rows), default=0)
    for row in order.rows:
        _place_row(row, order, widest, places)
    return places


def _place_row(row: tuple[str, ...], order: Order, widest: float, places: dict[str, float]) -> None:
    left = (widest - sum(_width(order, key) for key in row)) / 2
    for key in row:
        width = _width(order, key)
        for posts in (order.upper[key], order.lower[key]):
            for number, post in enumerate(posts):
                places[post.key] = left + (number + 0.5) * width / len(posts)
        left += width


def _width(order: Order, key: str) -> int:
    return max(len(order.upper[key]), len(order.lower[key]), 1)


def _swept(
    layers: Layers, order: Order, neighbours: Mapping[End, list[str]], *, upwards: bool, turned: bool
) -> Order:
    """One sweep; items that are pulled alike keep their order, or are ``turned``: both must be tried."""
    rows = list(order.rows)
    upper, lower = dict(order.upper), dict(order.lower)
    places = positions(order)
    widest = max((sum(_width(order, key) for key in row) for row in order.rows), default=0)
    for number in reversed(range(len(rows))) if upwards else range(len(rows)):
        pull = {key: _pull(layers.glyphs[key], neighbours, places, upwards) for key in rows[number]}
        before = reversed(rows[number]) if turned else rows[number]
        rows[number] = tuple(sorted(before, key=pull.__getitem__))
        for key in rows[number]:
            upper[key], lower[key] = _sorted_posts(layers.glyphs[key], neighbours, places)
        _place_row(rows[number], Order(tuple(rows), upper, lower), widest, places)
    return Order(tuple(rows), MappingProxyType(upper), MappingProxyType(lower))


def _exchanged(layers: Layers, order: Order, neighbours: Mapping[End, list[str]]) -> Order:
    """Neighbours in a row change places where that saves crossings in the channels above and below."""
    places = positions(order)
    rows = []
    for row in order.rows:
        items = list(row)
        joined = {
            key: [
                [
                    places[other]
                    for post in layers.glyphs[key].posts
                    for other in neighbours.get(End(post.key, side), ())
                ]
                for side in ("top", "bottom")
            ]
            for key in row
        }
        for _ in range(3):
            for number in range(len(items) - 1):
                left, right = items[number], items[number + 1]
                if _inverted(joined[left], joined[right]) > _inverted(joined[right], joined[left]):
                    items[number], items[number + 1] = right, left
        rows.append(tuple(items))
    return Order(tuple(rows), order.upper, order.lower)


def _inverted(left: list[list[float]], right: list[list[float]]) -> int:
    """Crossings of the lines of two neighbours that stand in this order."""
    return sum(a > b for side in (0, 1) for a in left[side] for b in right[side])


def _neighbours(layers: Layers) -> Mapping[End, list[str]]:
    found: dict[End, list[str]] = {}
    for hop in layers.hops:
        found.setdefault(hop.a, []).append(hop.b.post)
        found.setdefault(hop.b, []).append(hop.a.post)
    return found


def _pull(
    glyph: Glyph, neighbours: Mapping[End, list[str]], places: Mapping[str, float], upwards: bool
) -> float:
    """The mean place of what is joined on the side that the sweep comes from; of all, or its own, where there is none."""
    sides = ("bottom", "top") if upwards else ("top", "bottom")
    for side in sides:
        ends = [End(post.key, side) for post in glyph.posts]
        found = [places[other] for end in ends for other in neighbours.get(end, ())]
        if found:
            return sum(found) / len(found)
    return sum(places[post.key] for post in glyph.posts) / len(glyph.posts)


def _sorted_posts(
    glyph: Glyph, neighbours: Mapping[End, list[str]], places: Mapping[str, float]
) -> tuple[tuple[Post, ...], tuple[Post, ...]]:
    def mean(unit: tuple[Post, ...]) -> float:
        found = [
            places[other]
            for post in unit
            for side in ("top", "bottom")
            for other in neighbours.get(End(post.key, side), ())
        ]
        return sum(found) / len(found) if found else sum(places[post.key] for post in unit) / len(unit)

    return _posts(glyph, sorted(glyph.units, key=mean))


# Cost


def _cost(layers: Layers, order: Order) -> tuple[int, float]:
    """Crossings over all channels, and how far the lines run sideways."""
    places = positions(order)
    crossings, length = 0, 0.0
    for channel in range(len(layers.rows) + 1):
        hops = [hop for hop in layers.hops if hop.channel == channel]
        a = np.array([places[hop.a.post] for hop in hops])
        b = np.array([places[hop.b.post] for hop in hops])
        # A line from side to side joins top and bottom; one that turns back counts as its two verticals.
        a_above = np.array([hop.a.side == "bottom" for hop in hops], dtype=bool)
        b_above = np.array([hop.b.side == "bottom" for hop in hops], dtype=bool)
        crossings += _crossings(a, b, a_above, b_above)
        length += float(np.abs(a - b).sum())
    return crossings, length


def _crossings(a: np.ndarray, b: np.ndarray, a_above: np.ndarray, b_above: np.ndarray) -> int:
    through = a_above != b_above
    upper, lower = np.where(a_above, a, b)[through], np.where(a_above, b, a)[through]
    inverted = (upper[:, None] < upper[None, :]) & (lower[:, None] > lower[None, :])
    low, high = np.minimum(a, b), np.maximum(a, b)
    inside = 0
    for above in (True, False):
        turning = ~through & (a_above == above)
        ends = np.concatenate([a[a_above == above], b[b_above == above]])
        within = (low[turning, None] < ends[None, :]) & (ends[None, :] < high[turning, None])
        inside += int(within.sum())
    return int(inverted.sum()) + inside
