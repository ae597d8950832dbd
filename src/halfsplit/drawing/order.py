"""The order of what stands in each row, so that few lines cross.

Barycentre sweeps (Sugiyama, Tagawa and Toda 1981) from row to row, down and up, each followed by exchanges of
neighbours; the best that were met are routed, and the one with the fewest crossings is drawn. ``sweeps.py`` holds
the steps.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from types import MappingProxyType

import numpy as np

from halfsplit.drawing.glyphs import End
from halfsplit.drawing.rows import Layers
from halfsplit.drawing.sweeps import Order, exchanged, neighbours_of, placed, posts_of, swept

SWEEPS = 24
"""Half of them down, half up."""
WORK = 450
"""Glyphs and passes times starts: a small circuit is begun from more places, a large one from two.

As many orders as there are starts are routed."""


def orders_of(layers: Layers) -> list[Order]:
    """The best orders met in the sweeps from different starts, the fewest crossings first."""
    neighbours, channels = neighbours_of(layers), _channels(layers)
    starts = min(max(WORK // max(len(layers.glyphs), 1), 2), 12)
    orders = [
        entry
        for start in range(starts)
        for entry in _met_from(layers, first_order(layers, start, starts), neighbours, channels)
    ]
    distinct = {order.rows: (cost, order) for cost, order in orders}
    ranked = sorted(distinct.values(), key=lambda entry: entry[0])[:starts]
    return [_battery_left(layers, order) for _cost_met, order in ranked]


def _met_from(
    layers: Layers, order: Order, neighbours: Mapping[End, list[str]], channels: list[_Channel]
) -> Iterator[tuple[tuple[int, float], Order]]:
    """The orders that sweeps from a first one meet, with their costs."""
    yield _cost(channels, order), order
    for sweep in range(SWEEPS):
        order = swept(layers, order, neighbours, upwards=bool(sweep % 2), turned=sweep % 4 > 1)
        order = exchanged(layers, order, neighbours)
        yield _cost(channels, order), order


def _battery_left(layers: Layers, order: Order) -> Order:
    """Turned left to right, which crosses no more lines, if the battery would come to stand on the right."""
    places = order.places
    heads = [places[glyph.posts[0].key] for glyph in layers.glyphs.values() if glyph.form == "battery"]
    if not heads or heads[0] <= (min(places.values()) + max(places.values())) / 2:
        return order
    return Order(
        tuple(row[::-1] for row in order.rows),
        MappingProxyType({key: posts[::-1] for key, posts in order.upper.items()}),
        MappingProxyType({key: posts[::-1] for key, posts in order.lower.items()}),
        MappingProxyType({post: -place for post, place in places.items()}),
    )


def first_order(layers: Layers, start: int, starts: int) -> Order:
    """By a walk along the links, so that what belongs together begins side by side; each start begins elsewhere."""
    owner = {post.key: key for key, glyph in layers.glyphs.items() for post in glyph.posts}
    joined: dict[str, list[str]] = {key: [] for key in layers.glyphs}
    for hop in layers.hops:
        joined[owner[hop.a.post]].append(owner[hop.b.post])
        joined[owner[hop.b.post]].append(owner[hop.a.post])
    rank: dict[str, int] = {}
    keys = list(layers.glyphs)
    first = start * len(keys) // starts
    for origin in keys[first:] + keys[:first]:
        stack = [origin]
        while stack:
            key = stack.pop()
            if key not in rank:
                rank[key] = len(rank)
                neighbours = [other for other in joined[key] if other not in rank]
                stack.extend(neighbours if start % 2 else reversed(neighbours))
    posts = {key: posts_of(glyph, glyph.units) for key, glyph in layers.glyphs.items()}
    return placed(
        tuple(tuple(sorted(row, key=rank.__getitem__)) for row in layers.rows),
        MappingProxyType({key: upper for key, (upper, _) in posts.items()}),
        MappingProxyType({key: lower for key, (_, lower) in posts.items()}),
    )


# Cost


_Channel = tuple[list[str], list[str], np.ndarray, np.ndarray]
"""Of the lines of a channel: the posts at both ends, and whether each is above."""


def _channels(layers: Layers) -> list[_Channel]:
    # A line from side to side joins top and bottom; one that turns back counts as its two verticals.
    channels = []
    for channel in range(len(layers.rows) + 1):
        hops = [hop for hop in layers.hops if hop.channel == channel]
        a_above = np.array([hop.a.side == "bottom" for hop in hops], dtype=bool)
        b_above = np.array([hop.b.side == "bottom" for hop in hops], dtype=bool)
        channels.append(([hop.a.post for hop in hops], [hop.b.post for hop in hops], a_above, b_above))
    return channels


def _cost(channels: list[_Channel], order: Order) -> tuple[int, float]:
    """Crossings over all channels, and how far the lines run sideways."""
    places = order.places
    crossings, length = 0, 0.0
    for first, second, a_above, b_above in channels:
        a = np.array([places[post] for post in first])
        b = np.array([places[post] for post in second])
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
