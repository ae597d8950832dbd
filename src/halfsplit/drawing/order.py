"""The order of what stands in each row, so that few lines cross.

Barycentre sweeps (Sugiyama, Tagawa and Toda 1981) from row to row, down and up, each followed by exchanges of
neighbours; the best that were met are routed, and the one with the fewest crossings is drawn. ``sweeps.py`` holds
the steps.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from types import MappingProxyType

import numpy as np

from halfsplit.drawing.glyphs import End
from halfsplit.drawing.rows import Hop, Layers
from halfsplit.drawing.sweeps import Joints, Order, exchanged, placed, posts_of, swept

SWEEPS = 24
"""Half of them down, half up."""
WORK = 450
"""Glyphs and passes times starts: a small circuit is begun from more places, a large one from two.

As many orders as there are starts are routed."""


def orders_of(layers: Layers) -> list[Order]:
    """The best orders met in the sweeps from different starts, the fewest crossings first."""
    joints, costs = Joints.of(layers), _Costs(layers)
    starts = min(max(WORK // max(len(layers.glyphs), 1), 2), 12)
    orders = [
        entry
        for start in range(starts)
        for entry in _met_from(layers, first_order(layers, start, starts), joints, costs)
    ]
    distinct = {order.rows: (cost, order) for cost, order in orders}
    ranked = sorted(distinct.values(), key=lambda entry: entry[0])[:starts]
    return [_battery_left(layers, order) for _cost_met, order in ranked]


def _met_from(
    layers: Layers, order: Order, joints: Joints, costs: _Costs
) -> Iterator[tuple[tuple[int, float], Order]]:
    """The orders that sweeps from a first one meet, with their costs."""
    yield costs.of(order), order
    for sweep in range(SWEEPS):
        order = swept(layers, order, joints, upwards=bool(sweep % 2), turned=sweep % 4 > 1)
        order = exchanged(order, joints)
        yield costs.of(order), order


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


@dataclass(frozen=True, slots=True)
class _Channel:
    """The lines of a channel by the indices of their posts; what does not depend on the order, kept.

    Attributes:
        ends: the posts at both ends of each line, shape (2, n).
        through: those of the lines from top to bottom, the upper first, shape (2, k).
        turns: for each side on which a line turns back: posts of such lines, shape (2, m), and all ends on that side.
    """

    ends: np.ndarray
    through: np.ndarray
    turns: tuple[tuple[np.ndarray, np.ndarray], ...]

    @classmethod
    def of(cls, hops: Sequence[Hop], index: Mapping[str, int]) -> _Channel:
        # A line from side to side joins top and bottom; one that turns back counts as its two verticals.
        a, b = (np.array([index[end.post] for end in ends], dtype=int) for ends in _ends_of(hops))
        a_above, b_above = (
            np.array([end.side == "bottom" for end in ends], dtype=bool) for ends in _ends_of(hops)
        )
        through = a_above != b_above
        upper_first = np.array([np.where(a_above, a, b), np.where(a_above, b, a)])[:, through]
        turns = (
            (
                np.array([a, b])[:, ~through & (a_above == above)],
                np.concatenate([a[a_above == above], b[b_above == above]]),
            )
            for above in (True, False)
        )
        return cls(np.array([a, b]), upper_first, tuple(turn for turn in turns if turn[0].size))

    def crossings(self, place: np.ndarray) -> int:
        upper, lower = place[self.through]
        number = np.count_nonzero((upper[:, None] < upper) & (lower[:, None] > lower))
        for turning, ends in self.turns:
            low, high = np.sort(place[turning], axis=0)
            number += np.count_nonzero((low[:, None] < place[ends]) & (place[ends] < high[:, None]))
        return int(number)


def _ends_of(hops: Sequence[Hop]) -> tuple[list[End], list[End]]:
    return [hop.a for hop in hops], [hop.b for hop in hops]


class _Costs:
    """Orders are priced: each once, since sweeps from different starts meet the same."""

    def __init__(self, layers: Layers) -> None:
        self._posts = [post.key for glyph in layers.glyphs.values() for post in glyph.posts]
        index = {post: number for number, post in enumerate(self._posts)}
        by_channel: dict[int, list[Hop]] = {}
        for hop in layers.hops:
            by_channel.setdefault(hop.channel, []).append(hop)
        self._channels = [_Channel.of(by_channel[channel], index) for channel in sorted(by_channel)]
        self._known: dict[bytes, tuple[int, float]] = {}

    def of(self, order: Order) -> tuple[int, float]:
        """Crossings over all channels, and how far the lines run sideways."""
        place = np.array([order.places[post] for post in self._posts])
        key = place.tobytes()
        if key not in self._known:
            self._known[key] = (
                sum(channel.crossings(place) for channel in self._channels),
                sum(float(np.abs(np.subtract(*place[channel.ends])).sum()) for channel in self._channels),
            )
        return self._known[key]
