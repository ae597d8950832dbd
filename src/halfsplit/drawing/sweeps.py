"""The steps by which the order of the rows is bettered: sweeps by barycentre, exchanges of neighbours."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from types import MappingProxyType

from halfsplit.drawing.glyphs import End, Glyph, Post, Side
from halfsplit.drawing.rows import Layers


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
    return Order(rows, upper, lower, MappingProxyType(places))


def swept(layers: Layers, order: Order, joints: Joints, *, upwards: bool, turned: bool) -> Order:
    """One sweep; items that are pulled alike keep their order, or are ``turned``: both must be tried."""
    rows = list(order.rows)
    upper, lower, places = dict(order.upper), dict(order.lower), dict(order.places)
    for number in reversed(range(len(rows))) if upwards else range(len(rows)):
        pulls = {key: _pull(layers.glyphs[key], joints, places, upwards) for key in rows[number]}
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
    return Order(tuple(rows), MappingProxyType(upper), MappingProxyType(lower), MappingProxyType(places))


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
    return replace(order, rows=tuple(rows), places=MappingProxyType(places))


def _saved(left: list[list[float]], right: list[list[float]]) -> int:
    """Crossings of the lines of two neighbours that stand in this order, less those in the other."""
    saved = 0
    for lefts, rights in zip(left, right, strict=True):
        for a in lefts:
            for b in rights:
                saved += (a > b) - (a < b)
    return saved


def _pull(glyph: Glyph, joints: Joints, places: Mapping[str, float], upwards: bool) -> float:
    """The mean place of what is joined on the side that the sweep comes from; else on the other; else its own."""
    above, below = joints.glyphs[glyph.key]
    first, second = (below, above) if upwards else (above, below)
    return _mean_place(first or second or [post.key for post in glyph.posts], places)


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
