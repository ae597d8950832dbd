"""In which row each glyph stands, and the way of each link from channel to channel.

Rows are counted from the top; channel ``r`` lies above row ``r``, the last channel below the last row. A link that
runs between channels passes the rows between them on *passes*: posts of its own, on which nothing else stands. So no
wire can meet a symbol or a text, whatever the circuit.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass
from graphlib import TopologicalSorter
from typing import TypeVar

from halfsplit.drawing.glyphs import End, Glyph, Link, Post, Scene, Side, owners

T = TypeVar("T")


@dataclass(frozen=True, slots=True)
class Hop:
    """The stretch of a link within one channel, from end to end."""

    link: int
    a: End
    b: End
    channel: int


@dataclass(frozen=True, slots=True)
class Layers:
    """``glyphs`` with the passes and loops; ``rows``: their keys by row; ``hops`` along each link, in order."""

    glyphs: Mapping[str, Glyph]
    rows: tuple[tuple[str, ...], ...]
    hops: tuple[Hop, ...]
    hubs: frozenset[End]


def layers_of(scene: Scene) -> Layers:
    """Rows by the longest way from the top; grounds in the last row."""
    rows = _rows(scene)
    count = max(rows.values(), default=0) + 1
    owner, hubs = owners(scene.glyphs), scene.hubs()
    extra: dict[str, tuple[Glyph, int]] = {}
    hops: list[Hop] = []
    for number, link in enumerate(scene.links):
        channels = [rows[owner[end.post].key] + (end.side == "bottom") for end in (link.a, link.b)]
        if channels[0] == channels[1] and {link.a, link.b} <= hubs:
            # Two bars of one channel: by a loop in the row below (or above the last), so that they stay apart.
            key, channel, low = f"loop {number}", channels[0], channels[0] == count
            names = (f"{key} a", f"{key} b")
            posts = [Post(name, "", name) if low else Post(name, name, "") for name in names]
            extra[key] = (Glyph(key, "loop", "", tuple((post,) for post in posts)), channel - low)
            side: Side = "bottom" if low else "top"
            hops.append(Hop(number, link.a, End(names[0], side), channel))
            hops.append(Hop(number, End(names[1], side), link.b, channel))
        else:
            hops.extend(_passes(number, link, channels[0], channels[1], extra))
    for key, (_glyph, row) in extra.items():
        rows[key] = row
    glyphs = {**scene.glyphs, **{key: glyph for key, (glyph, _row) in extra.items()}}
    by_row = tuple(tuple(key for key in glyphs if rows[key] == row) for row in range(count))
    return Layers(glyphs, by_row, tuple(hops), hubs)


def _rows(scene: Scene) -> dict[str, int]:
    """Glyph key → row: no wire runs up the page, save one that would close a circle."""
    owner, hubs = owners(scene.glyphs), scene.hubs()
    below: dict[str, list[tuple[str, int]]] = {key: [] for key in scene.glyphs}
    for link in sorted(scene.links, key=lambda link: link.a.side == link.b.side):
        # In the higher row is a bottom end over a top end; of two alike the one nearer to the feed.
        falls = link.a.side == "bottom" if link.a.side != link.b.side else link.drop >= 0
        upper, lower = (link.a, link.b) if falls else (link.b, link.a)
        u, v = owner[upper.post], owner[lower.post]
        step = (upper.side != lower.side) + ({link.a, link.b} <= hubs)
        if (
            u is not v
            and not (u.foot or v.head)
            and not leads(v.key, u.key, lambda key: (lower for lower, _ in below[key]))
        ):
            below[u.key].append((v.key, step))
    rows = _longest(below)
    last = max((row for key, row in rows.items() if not scene.glyphs[key].foot), default=0)
    foot = max([last + 1, *(row for key, row in rows.items() if scene.glyphs[key].foot)])
    rows = {key: foot if scene.glyphs[key].foot else row for key, row in rows.items()}
    for key, links in below.items():
        if scene.glyphs[key].form == "folded" and links:
            rows[key] = min(rows[other] - step for other, step in links)
    return rows


def leads(start: T, goal: T, following: Callable[[T], Iterable[T]]) -> bool:
    """Whether a way leads from the start to the goal."""
    ways, seen = [start], {start}
    for key in ways:
        if key == goal:
            return True
        new = set(following(key)) - seen
        ways.extend(new)
        seen |= new
    return False


def _longest(below: Mapping[str, list[tuple[str, int]]]) -> dict[str, int]:
    """Longest distance from the top in a graph without circles."""
    lowest_first = TopologicalSorter({key: [lower for lower, _ in links] for key, links in below.items()})
    rows = dict.fromkeys(below, 0)
    for key in reversed(tuple(lowest_first.static_order())):
        for lower, step in below[key]:
            rows[lower] = max(rows[lower], rows[key] + step)
    return rows


def _passes(
    number: int, link: Link, start: int, goal: int, extra: dict[str, tuple[Glyph, int]]
) -> Iterator[Hop]:
    """The hops of a link from channel ``start`` to channel ``goal``; its passes are added to ``extra``."""
    down = start <= goal
    near: Side = "top" if down else "bottom"
    far: Side = "bottom" if down else "top"
    here, channel = link.a, start
    for row in range(start, goal) if down else range(start - 1, goal - 1, -1):
        key = f"pass {number} {row}"
        extra[key] = (Glyph(key, "pass", "", ((Post(key, key, key),),)), row)
        yield Hop(number, here, End(key, near), channel)
        here, channel = End(key, far), row + 1 if down else row
    yield Hop(number, here, link.b, channel)
