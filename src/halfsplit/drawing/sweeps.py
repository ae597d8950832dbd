"""The steps by which the order of the rows is bettered: sweeps by barycentre, exchanges of neighbours."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from types import MappingProxyType

from halfsplit.drawing.glyphs import End, Glyph, Post, Side
from halfsplit.drawing.rows import Layers

BOTH: tuple[Side, Side] = ("top", "bottom")


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


def neighbours_of(layers: Layers) -> Mapping[End, list[str]]:
    """End → the posts that it is joined to within its channel."""
    neighbours: dict[End, list[str]] = {}
    for hop in layers.hops:
        neighbours.setdefault(hop.a, []).append(hop.b.post)
        neighbours.setdefault(hop.b, []).append(hop.a.post)
    return neighbours


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


def swept(
    layers: Layers, order: Order, neighbours: Mapping[End, list[str]], *, upwards: bool, turned: bool
) -> Order:
    """One sweep; items that are pulled alike keep their order, or are ``turned``: both must be tried."""
    rows = list(order.rows)
    upper, lower, places = dict(order.upper), dict(order.lower), dict(order.places)
    for number in reversed(range(len(rows))) if upwards else range(len(rows)):
        pulls = {key: _pull(layers.glyphs[key], neighbours, places, upwards) for key in rows[number]}
        before = reversed(rows[number]) if turned else rows[number]
        rows[number] = tuple(sorted(before, key=pulls.__getitem__))
        for key in rows[number]:
            upper[key], lower[key] = _sorted_posts(layers.glyphs[key], neighbours, places)
        items = [
            _Item.of(layers.glyphs[key], upper[key], lower[key], pulls[key], neighbours, places)
            for key in rows[number]
        ]
        _settle_items(items, places)
    return Order(tuple(rows), MappingProxyType(upper), MappingProxyType(lower), MappingProxyType(places))


def exchanged(layers: Layers, order: Order, neighbours: Mapping[End, list[str]]) -> Order:
    """Neighbours in a row change places where that saves crossings in the channels above and below."""
    places = dict(order.places)
    rows = []
    for row in order.rows:
        items = list(row)
        joined = {key: _joined_places(layers.glyphs[key], neighbours, places) for key in row}
        for _ in range(3):
            for number in range(len(items) - 1):
                left, right = items[number], items[number + 1]
                if _inverted(joined[left], joined[right]) > _inverted(joined[right], joined[left]):
                    items[number], items[number + 1] = right, left
        if tuple(items) != row:
            _settle_items(
                [_Item.standing(order.upper[key], order.lower[key], places) for key in items], places
            )
        rows.append(tuple(items))
    return replace(order, rows=tuple(rows), places=MappingProxyType(places))


def _joined_places(
    glyph: Glyph, neighbours: Mapping[End, list[str]], places: Mapping[str, float]
) -> list[list[float]]:
    return [
        [places[other] for post in glyph.posts for other in neighbours.get(End(post.key, side), ())]
        for side in BOTH
    ]


def _inverted(left: list[list[float]], right: list[list[float]]) -> int:
    """Crossings of the lines of two neighbours that stand in this order."""
    return sum(a > b for side in (0, 1) for a in left[side] for b in right[side])


def _pull(
    glyph: Glyph, neighbours: Mapping[End, list[str]], places: Mapping[str, float], upwards: bool
) -> float:
    """The mean place of what is joined on the side that the sweep comes from; else on the other; else its own."""
    for side in reversed(BOTH) if upwards else BOTH:
        pulls = [places[other] for post in glyph.posts for other in neighbours.get(End(post.key, side), ())]
        if pulls:
            return sum(pulls) / len(pulls)
    return sum(places[post.key] for post in glyph.posts) / len(glyph.posts)


def _post_pull(
    posts: Sequence[Post], neighbours: Mapping[End, list[str]], places: Mapping[str, float]
) -> float:
    pulls = [
        places[other] for post in posts for side in BOTH for other in neighbours.get(End(post.key, side), ())
    ]
    return sum(pulls) / len(pulls) if pulls else sum(places[post.key] for post in posts) / len(posts)


def _sorted_posts(
    glyph: Glyph, neighbours: Mapping[End, list[str]], places: Mapping[str, float]
) -> tuple[tuple[Post, ...], tuple[Post, ...]]:
    if len(glyph.units) == 1:
        return posts_of(glyph, glyph.units)
    return posts_of(glyph, sorted(glyph.units, key=lambda unit: _post_pull(unit, neighbours, places)))


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
        neighbours: Mapping[End, list[str]],
        places: Mapping[str, float],
    ) -> _Item:
        """A glyph where its neighbours pull it; each post of a free one stands where its own pull it."""
        if not glyph.free:
            offsets = {post.key: number + 0.5 for number, post in enumerate(upper)}
            return cls(offsets, float(len(upper)), pull)
        wanted: dict[str, float] = {}
        for posts in (upper, lower):
            middles = [_post_pull((post,), neighbours, places) for post in posts]
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
        places |= {post: edge + offset for post, offset in item.offsets.items()}


def _settled(widths: Sequence[float], middles: Sequence[float]) -> list[float]:
    """Left edges in this order without overlap: the mean of pushing all to the right and all to the left."""
    wanted = [middle - width / 2 for width, middle in zip(widths, middles, strict=True)]
    pushed, back = list(wanted), list(wanted)
    for number in range(1, len(wanted)):
        pushed[number] = max(pushed[number], pushed[number - 1] + widths[number - 1])
    for number in reversed(range(len(wanted) - 1)):
        back[number] = min(back[number], back[number + 1] - widths[number])
    return [(a + b) / 2 for a, b in zip(pushed, back, strict=True)]
