"""The page that is painted on: elements by layer, and the geometry of everything drawn, so that tests can measure."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from itertools import pairwise
from xml.sax.saxutils import escape, quoteattr

from halfsplit.drawing.glyphs import Glyph
from halfsplit.drawing.labels import LEADING, Note, Writing, note_box, suspicion_class
from halfsplit.drawing.place import Band, Placement

Spot = tuple[float, float]
Rectangle = tuple[float, float, float, float]
"""Left, top, right, bottom."""

LAYERS = ("halos", "links", "wires", "symbols", "dots", "texts", "targets")
"""From the lowest to the topmost."""
PILL = LEADING - 1
"""Height of the ground behind a share of suspicion or a lead, px."""


@dataclass(frozen=True, slots=True)
class Boxes:
    """What was drawn where, in px: texts, symbols by glyph, targets by point or part, and lines by name.

    ``wires`` holds the segments (x1, y1, x2, y2) of each wire, in order, ``bars`` those of each point where several
    wires meet.
    """

    texts: tuple[tuple[str, Rectangle], ...]
    symbols: tuple[tuple[str, Rectangle], ...]
    targets: tuple[tuple[str, Rectangle], ...]
    wires: tuple[tuple[str, Rectangle], ...]
    bars: tuple[tuple[str, Rectangle], ...]


@dataclass(slots=True)
class Page:
    """Where things stand (``placement``), what is written (``writing``), and what has been drawn so far."""

    placement: Placement
    writing: Writing
    layers: dict[str, list[str]] = field(default_factory=dict)
    rectangles: dict[str, list[tuple[str, Rectangle]]] = field(default_factory=dict)

    def add(self, layer: str, element: str) -> None:
        self.layers.setdefault(layer, []).append(element)

    def measure(self, kind: str, name: str, rectangle: Rectangle) -> None:
        self.rectangles.setdefault(kind, []).append((name, rectangle))

    def measure_lines(self, kind: str, name: str, stretches: Iterable[Sequence[Spot]]) -> None:
        for stretch in stretches:
            for start, end in pairwise(stretch):
                if start != end:
                    self.measure(kind, name, (*start, *end))

    def boxes(self) -> Boxes:
        kinds = ("texts", "symbols", "targets", "wires", "bars")
        return Boxes(*(tuple(self.rectangles.get(kind, ())) for kind in kinds))

    def svg(self) -> str:
        """The layers as groups, those that are empty left out."""
        return "".join(
            f'<g class="{layer}">{"".join(self.layers[layer])}</g>'
            for layer in LAYERS
            if layer in self.layers
        )

    def band(self, glyph: Glyph) -> Band:
        """The heights of the row of a glyph."""
        return self.placement.bands[self.placement.row[glyph.posts[0].key]]

    def xs(self, glyph: Glyph) -> list[float]:
        """Where the posts of a glyph stand, in their order."""
        return [self.placement.x[post.key] for post in glyph.posts]

    def level(self, name: str) -> int:
        """The class of suspicion of a part, point or wire."""
        return suspicion_class(self.writing.overlays.suspicion.get(name, 0.0))

    def write(self, note: Note, x: float, y: float, style: str = "") -> None:
        """A note at an origin; a share of suspicion in its pill."""
        rectangle = note_box(note, x, y)
        left, _top, right, _bottom = rectangle
        self.measure("texts", note.text, rectangle)
        middle = y + note.y
        if note.pill:
            self.add(
                "texts",
                f'<rect class="pill {note.pill}" x="{left:g}" y="{middle - PILL / 2:g}" '
                f'width="{right - left:g}" height="{PILL:g}" rx="{PILL / 2:g}"/>',
            )
        shift = {"start": 5, "middle": 0, "end": -5}[note.anchor] if note.pill else 0
        ink = f" on-{note.pill.rpartition('-')[2]}" if note.pill else style
        self.add(
            "texts",
            f'<text class="{note.style} z{note.size:.0f} a-{note.anchor}{ink}" x="{x + note.x + shift:g}" '
            f'y="{middle + 0.35 * note.size:.1f}">{escape(note.text)}</text>',
        )

    def target(self, name: str, data: str, title: str, rectangle: Rectangle, style: str) -> None:
        """Something that can be tapped, or reached and pressed by keyboard; ``data`` are its attributes."""
        left, top, right, bottom = rectangle
        self.measure("targets", name, rectangle)
        self.add(
            "targets",
            f'<g class="target {style}" {data} role="button" tabindex="0" aria-label={quoteattr(title)}>'
            f"<title>{escape(title)}</title>"
            f'<rect x="{left:g}" y="{top:g}" width="{right - left:g}" height="{bottom - top:g}" rx="6"/></g>',
        )


def path(stretches: Iterable[Sequence[Spot]]) -> str:
    """The ``d`` of a path through these spots."""
    return "".join("M" + "L".join(f"{x:g} {y:g}" for x, y in stretch) for stretch in stretches)
