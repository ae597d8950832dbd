"""What is to be drawn: glyphs (a part, or the cavity of a connector) and the links (wires) between their ends.

A glyph stands in one row. It has *posts*: vertical lines that run into it from above, from below, or both; each
post takes a column. The end of a post, its top or its bottom, is a point of the circuit.
"""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from importlib.resources import files
from typing import Literal

Side = Literal["top", "bottom"]


@dataclass(frozen=True, slots=True)
class End:
    """One end of a post, on the channel above (top) or below (bottom) the row of its glyph."""

    post: str
    side: Side


@dataclass(frozen=True, slots=True)
class Post:
    """``top`` and ``bottom`` are the points at its ends; '' where nothing can be connected."""

    key: str
    top: str = ""
    bottom: str = ""

    @property
    def ends(self) -> tuple[tuple[End, str], ...]:
        """The ends that have a point, with it."""
        both = ((End(self.key, "top"), self.top), (End(self.key, "bottom"), self.bottom))
        return tuple((end, point) for end, point in both if point)


@dataclass(frozen=True, slots=True)
class Glyph:
    """``form`` is a key of the table of symbols; ``part`` the name of the part that it shows.

    ``units`` are groups of posts that stay together in this order; units may change places. Of a ``free``
    glyph (a box) the posts above and below the box are ordered apart from each other.
    """

    key: str
    form: str
    part: str
    units: tuple[tuple[Post, ...], ...]
    free: bool = False
    foot: bool = False
    head: bool = False

    @property
    def posts(self) -> tuple[Post, ...]:
        return tuple(post for unit in self.units for post in unit)


@dataclass(frozen=True, slots=True)
class Link:
    """A wire between two ends. ``name`` is the wire's name; ``mark`` its colour and section in words.

    ``drop`` is the height of ``a`` less that of ``b``: positive where current runs from a to b.
    """

    name: str
    a: End
    b: End
    mark: str = ""
    drop: float = 0.0
    dashed: bool = False
    folded: bool = False


@dataclass(frozen=True, slots=True)
class Scene:
    """Everything to be placed: glyphs by key, links in the order of the file."""

    glyphs: Mapping[str, Glyph]
    links: tuple[Link, ...]

    def hubs(self) -> frozenset[End]:
        """The ends at which two or more links meet: each is drawn as a bar with a dot for each wire."""
        seen: set[End] = set()
        hubs: set[End] = set()
        for link in self.links:
            for end in (link.a, link.b):
                (hubs if end in seen else seen).add(end)
        return frozenset(hubs)


def owners(glyphs: Mapping[str, Glyph]) -> dict[str, Glyph]:
    """Post key → the glyph that it belongs to."""
    return {post.key: glyph for glyph in glyphs.values() for post in glyph.posts}


# The symbols, drawn by us after IEC 60617, upright, with their middle at (0, 0).
#
# A symbol is SVG without colours: the classes ``s`` (line), ``f`` (line, with the ground of the page inside) and ``k``
# (filled with ink) get theirs from ``drawing.css``. Circuits are drawn at rest, as the standard wants: contacts open.


@dataclass(frozen=True, slots=True)
class Symbol:
    """``half``: half its width, ``reach``: half its height (px); between the reach and the next wire runs a lead.

    ``right``: how far it reaches to the right, where that is less than ``half``.
    """

    half: float
    reach: float
    body: str
    right: float = 0.0


_TABLE = files("halfsplit.drawing").joinpath("symbols.toml").read_text(encoding="utf-8")
SYMBOLS: Mapping[str, Symbol] = {form: Symbol(**said) for form, said in tomllib.loads(_TABLE).items()}
FLIPPED: frozenset[str] = frozenset({"battery", "generator", "diode"})
"""Forms whose first pin is the top of the symbol, and which are turned over where the second pin is above."""

OTHER = Symbol(14, 20, '<path class="f" d="M-14-20H14V20H-14Z"/>')
"""For a kind that the table does not know."""


def symbol_of(form: str) -> Symbol:
    """The symbol of a form; a plain box where there is none of its own."""
    return SYMBOLS.get(form, OTHER)
