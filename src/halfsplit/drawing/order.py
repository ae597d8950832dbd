"""The order of what stands in each row, so that few lines cross.

Barycentre sweeps (Sugiyama, Tagawa and Toda 1981) from row to row, down and up, each followed by exchanges of
neighbours; the best that were met are routed, and the one with the fewest crossings is drawn.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from halfsplit.drawing.glyphs import End, Glyph, Post, Side, owners
from halfsplit.drawing.rows import Hop, Layers

SWEEPS = 24
"""Half of them down, half up."""
WORK = 450
"""Glyphs and passes times starts: a small circuit is begun from more places, a large one from two.

As many orders as there are starts are routed."""


@dataclass(frozen=True, slots=True)
class Order:
    """``rows``: keys from left to right; ``upper`` and ``lower``: the posts of each glyph from left to right.

    ``places``: post key → where it would like to stand, in columns, in the order of its row.
    """

    rows: tuple[tuple[str, ...], ...]
    upper: Mapping[str, tuple[Post, ...]]
    lower: Mapping[str, tuple[Post, ...]]
    places: Mapping[str, float]


def posts_of(glyph: Glyph, units: Iterable[tuple[Post, ...]]) -> tuple[tuple[Post, ...], tuple[Post, ...]]:
    """The posts on the upper and on the lower side of a glyph, its units in this order."""
    posts = tuple(post for unit in units for post in unit)
    if not glyph.free:
        return posts, posts
    upper = tuple(post for post in posts if post.top or not post.bottom)
    return upper, tuple(post for post in posts if post.bottom)


@dataclass(frozen=True, slots=True)
class Joints:
    """The posts that are joined within their channels: looked up in every sweep, so told once, by key.

    Attributes:
        glyphs: glyph → the posts joined to the tops of its own, and those joined to their bottoms.
        posts: post → the posts joined to either of its ends.
    """

    glyphs: Mapping[str, tuple[tuple[str, ...], tuple[str, ...]]]
    posts: Mapping[str, tuple[str, ...]]

    @classmethod
    def of(cls, layers: Layers) -> Joints:
        at: dict[End, list[str]] = {}
        for hop in layers.hops:
            at.setdefault(hop.a, []).append(hop.b.post)
            at.setdefault(hop.b, []).append(hop.a.post)

        def joined(posts: Iterable[Post], *sides: Side) -> tuple[str, ...]:
            return tuple(
                other for post in posts for side in sides for other in at.get(End(post.key, side), ())
            )

        return cls(
            {
                key: (joined(glyph.posts, "top"), joined(glyph.posts, "bottom"))
                for key, glyph in layers.glyphs.items()
            },
            {
                post.key: joined((post,), "top", "bottom")
                for glyph in layers.glyphs.values()
                for post in glyph.posts
            },
        )


def placed(
    rows: tuple[tuple[str, ...], ...],
    upper: Mapping[str, tuple[Post, ...]],
    lower: Mapping[str, tuple[Post, ...]],
) -> Order:
    """An order with its posts side by side, each row centred."""
    widths = [[max(len(upper[key]), len(lower[key]), 1) for key in row] for row in rows]
    widest = max((sum(row) for row in widths), default=0)
    places: dict[str, float] = {}
    for row, sizes in zip(rows, widths, strict=True):
        left = (widest - sum(sizes)) / 2
        for key, width in zip(row, sizes, strict=True):
            for posts in (upper[key], lower[key]):
                places |= {post.key: left + number + 0.5 for number, post in enumerate(posts)}
            left += width
    return Order(rows, upper, lower, places)


def orders_of(layers: Layers) -> list[Order]:
    """The best orders met in the sweeps from different starts, the fewest crossings first."""
    joints, costs = Joints.of(layers), _Costs(layers)
    starts = min(max(WORK // max(len(layers.glyphs), 1), 2), 12)
    distinct: dict[tuple[tuple[str, ...], ...], Order] = {}
    for start in range(starts):
        order = first_order(layers, start, starts)
        distinct[order.rows] = order
        for sweep in range(SWEEPS):
            order = swept(layers, order, joints, upwards=bool(sweep % 2), turned=sweep % 4 > 1)
            order = exchanged(order, joints)
            distinct[order.rows] = order
    ranked = sorted(distinct.values(), key=costs.of)[:starts]
    batteries = [glyph.posts[0].key for glyph in layers.glyphs.values() if glyph.form == "battery"]
    orders: list[Order] = []
    for order in ranked:
        places = order.places
        if batteries and places[batteries[0]] > (min(places.values()) + max(places.values())) / 2:
            # Turned left to right, which crosses no more lines: the battery stands on the left.
            turned = Order(
                tuple(row[::-1] for row in order.rows),
                {key: posts[::-1] for key, posts in order.upper.items()},
                {key: posts[::-1] for key, posts in order.lower.items()},
                {post: -place for post, place in places.items()},
            )
            orders.append(turned)
        else:
            orders.append(order)
    return orders


def first_order(layers: Layers, start: int, starts: int) -> Order:
    """By a walk along the links, so that what belongs together begins side by side; each start begins elsewhere."""
    owner = owners(layers.glyphs)
    joined: dict[str, list[str]] = {key: [] for key in layers.glyphs}
    for hop in layers.hops:
        a, b = owner[hop.a.post].key, owner[hop.b.post].key
        joined[a].append(b)
        joined[b].append(a)
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
        {key: upper for key, (upper, _) in posts.items()},
        {key: lower for key, (_, lower) in posts.items()},
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
        a, b = np.array([[index[hop.a.post], index[hop.b.post]] for hop in hops]).T
        a_above, b_above = np.array([[hop.a.side == "bottom", hop.b.side == "bottom"] for hop in hops]).T
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


class _Costs:
    """The prices of orders."""

    def __init__(self, layers: Layers) -> None:
        self._posts = list(owners(layers.glyphs))
        index = {post: number for number, post in enumerate(self._posts)}
        by_channel: dict[int, list[Hop]] = {}
        for hop in layers.hops:
            by_channel.setdefault(hop.channel, []).append(hop)
        self._channels = [_Channel.of(by_channel[channel], index) for channel in sorted(by_channel)]

    def of(self, order: Order) -> tuple[int, float]:
        """Crossings over all channels, and how far the lines run sideways."""
        place = np.array([order.places[post] for post in self._posts])
        return (
            sum(channel.crossings(place) for channel in self._channels),
            sum(float(np.abs(np.subtract(*place[channel.ends])).sum()) for channel in self._channels),
        )


# The steps by which the order is bettered


def swept(layers: Layers, order: Order, joints: Joints, *, upwards: bool, turned: bool) -> Order:
    """One sweep; items that are pulled alike keep their order, or are ``turned``: both must be tried."""
    rows = list(order.rows)
    upper, lower, places = dict(order.upper), dict(order.lower), dict(order.places)
    for number in reversed(range(len(rows))) if upwards else range(len(rows)):
        # The mean place of what is joined on the side that the sweep comes from; else on the other; else its own.
        pulls = {}
        for key in rows[number]:
            first, second = joints.glyphs[key][::-1] if upwards else joints.glyphs[key]
            own = [post.key for post in layers.glyphs[key].posts]
            pulls[key] = _mean_place(first or second or own, places)
        before = reversed(rows[number]) if turned else rows[number]
        rows[number] = tuple(sorted(before, key=pulls.__getitem__))
        items = []
        for key in rows[number]:
            glyph = layers.glyphs[key]
            if len(glyph.units) > 1:
                units = sorted(glyph.units, key=lambda unit: _post_pull(unit, joints, places))
                upper[key], lower[key] = posts_of(glyph, units)
            items.append(_Item.of(glyph, upper[key], lower[key], pulls[key], joints, places))
        _settle_items(items, places)
    return Order(tuple(rows), upper, lower, places)


def exchanged(order: Order, joints: Joints) -> Order:
    """Neighbours in a row change places where that saves crossings in the channels above and below."""
    places = dict(order.places)
    rows = []
    for row in order.rows:
        items = list(row)
        joined = {key: [[places[other] for other in side] for side in joints.glyphs[key]] for key in row}
        for _ in range(3):
            before = list(items)
            for number in range(len(items) - 1):
                left, right = items[number], items[number + 1]
                if _saved(joined[left], joined[right]) > 0:
                    items[number], items[number + 1] = right, left
            if items == before:
                break
        if tuple(items) != row:
            _settle_items(
                [_Item.standing(order.upper[key], order.lower[key], places) for key in items], places
            )
        rows.append(tuple(items))
    return replace(order, rows=tuple(rows), places=places)


def _saved(left: list[list[float]], right: list[list[float]]) -> int:
    """Crossings of the lines of two neighbours that stand in this order, less those in the other."""
    saved = 0
    for lefts, rights in zip(left, right, strict=True):
        for a in lefts:
            for b in rights:
                saved += (a > b) - (a < b)
    return saved


def _post_pull(posts: Sequence[Post], joints: Joints, places: Mapping[str, float]) -> float:
    joined = [other for post in posts for other in joints.posts[post.key]]
    return _mean_place(joined or [post.key for post in posts], places)


def _mean_place(posts: Sequence[str], places: Mapping[str, float]) -> float:
    return sum([places[post] for post in posts]) / len(posts)


# Places in a row


@dataclass(frozen=True, slots=True)
class _Item:
    """Something that stands in a row: its posts by offset from its left edge, its width, where its middle would be."""

    offsets: Mapping[str, float]
    width: float
    middle: float

    @classmethod
    def of(
        cls,
        glyph: Glyph,
        upper: Sequence[Post],
        lower: Sequence[Post],
        pull: float,
        joints: Joints,
        places: Mapping[str, float],
    ) -> _Item:
        """A glyph where its neighbours pull it; each post of a free one stands where its own pull it."""
        if not glyph.free:
            offsets = {post.key: number + 0.5 for number, post in enumerate(upper)}
            return cls(offsets, float(len(upper)), pull)
        wanted: dict[str, float] = {}
        for posts in (upper, lower):
            middles = [_post_pull((post,), joints, places) for post in posts]
            edges = _settled([1.0] * len(posts), middles)
            wanted |= {post.key: edge + 0.5 for post, edge in zip(posts, edges, strict=True)}
        return cls._around(wanted)

    @classmethod
    def standing(cls, upper: Sequence[Post], lower: Sequence[Post], places: Mapping[str, float]) -> _Item:
        """An item as it stands."""
        return cls._around({post.key: places[post.key] for post in (*upper, *lower)})

    @classmethod
    def _around(cls, wanted: Mapping[str, float]) -> _Item:
        left, right = min(wanted.values()) - 0.5, max(wanted.values()) + 0.5
        return cls({key: place - left for key, place in wanted.items()}, right - left, (left + right) / 2)


def _settle_items(items: Sequence[_Item], places: dict[str, float]) -> None:
    edges = _settled([item.width for item in items], [item.middle for item in items])
    for item, edge in zip(items, edges, strict=True):
        for post, offset in item.offsets.items():
            places[post] = edge + offset


def _settled(widths: Sequence[float], middles: Sequence[float]) -> list[float]:
    """Left edges in this order without overlap: the mean of pushing all to the right and all to the left."""
    wanted = [middle - width / 2 for width, middle in zip(widths, middles, strict=True)]
    pushed, back = list(wanted), list(wanted)
    for number in range(1, len(wanted)):
        pushed[number] = max(pushed[number], pushed[number - 1] + widths[number - 1])
    for number in reversed(range(len(wanted) - 1)):
        back[number] = min(back[number], back[number + 1] - widths[number])
    return [(a + b) / 2 for a, b in zip(pushed, back, strict=True)]
