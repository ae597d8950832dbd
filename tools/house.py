"""Draw docs/pictures/house.svg: the packages of halfsplit as rooms on floors, each below all that import it.

    .venv/bin/python tools/house.py

The arrows are the imports, so the picture cannot tell of a house that is not there; tests/test_house.py holds the file
against them. Left out: `errors`, which all import, and an arrow that another way tells already (workbench -> job
-> store says workbench -> store).
"""

from __future__ import annotations

from collections.abc import Iterable
from html import escape
from pathlib import Path

import grimp
import networkx as nx

PICTURE = Path(__file__).parents[1] / "docs" / "pictures" / "house.svg"
WIDE, HIGH, GAP, FLOOR = 108, 42, 22, 100


def imports() -> nx.DiGraph:
    """Room -> room: which package (or module beside them) imports which while the program runs."""
    graph = grimp.build_graph("halfsplit", exclude_type_checking_imports=True, cache_dir=None)
    rooms = nx.DiGraph()
    for module in graph.modules:
        for imported in graph.find_modules_directly_imported_by(module):
            pair = [name.split(".")[1] if "." in name else "" for name in (module, imported)]
            if all(pair) and pair[0] != pair[1] and pair[1] != "errors":
                rooms.add_edge(*pair)
    return rooms


def floors(rooms: nx.DiGraph) -> list[list[str]]:
    """The rooms of each floor, the top first: one floor below the lowest room that imports it.

    Within a floor a room stands below those that import it.
    """
    level: dict[str, int] = {}
    for room in nx.topological_sort(rooms):
        level[room] = 1 + max((level[above] for above in rooms.predecessors(room)), default=-1)
    found: list[list[str]] = []
    place: dict[str, float] = {}
    for number in range(max(level.values()) + 1):
        here = sorted(
            (room for room in level if level[room] == number),
            key=lambda room: (_mean(place[above] for above in rooms.predecessors(room)), room),
        )
        place |= {room: (spot + 0.5) / len(here) for spot, room in enumerate(here)}
        found.append(here)
    return found


def _mean(places: Iterable[float]) -> float:
    known = list(places)
    return sum(known) / len(known) if known else 0.5


def picture(rooms: nx.DiGraph) -> str:
    """The drawing as SVG."""
    levels = floors(rooms)
    width = max(len(level) for level in levels) * (WIDE + GAP) + GAP
    height = len(levels) * FLOOR
    at = {
        room: (
            (width - len(level) * (WIDE + GAP) + GAP) / 2 + place * (WIDE + GAP),
            number * FLOOR + (FLOOR - HIGH) / 2,
        )
        for number, level in enumerate(levels)
        for place, room in enumerate(level)
    }
    shown = nx.transitive_reduction(rooms).edges
    arrows = [_arrow(at[above], at[below]) for above, below in sorted(shown)]
    boxes = [_box(x, y, room) for room, (x, y) in sorted(at.items())]
    return "\n".join(
        [
            f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width} {height}" font-family="sans-serif">',
            '<defs><marker id="tip" viewBox="0 0 8 8" refX="8" refY="4" markerWidth="7" markerHeight="7" orient="auto">'
            '<path d="M0 0L8 4L0 8z" fill="#456"/></marker></defs>',
            f'<rect width="{width}" height="{height}" fill="#fff"/>',
            *arrows,
            *boxes,
            "</svg>\n",
        ]
    )


def _arrow(start: tuple[float, float], stop: tuple[float, float]) -> str:
    """Dashed where it passes a floor."""
    (x1, y1), (x2, y2) = start, stop
    passing = ' stroke-dasharray="5 4"' if y2 - y1 > FLOOR else ""
    return (
        f'<path d="M{x1 + WIDE / 2:g} {y1 + HIGH:g}L{x2 + WIDE / 2:g} {y2:g}" fill="none" '
        'stroke="#456" stroke-width="1.2"' + passing + ' marker-end="url(#tip)"/>'
    )


def _box(x: float, y: float, room: str) -> str:
    middle = x + WIDE / 2
    return (
        f'<rect x="{x:g}" y="{y:g}" width="{WIDE}" height="{HIGH}" rx="5" fill="#eef2f5" stroke="#345"/>'
        f'<text x="{middle:g}" y="{y + HIGH / 2 + 5:g}" text-anchor="middle" font-size="16">{escape(room)}</text>'
    )


if __name__ == "__main__":
    PICTURE.parent.mkdir(exist_ok=True)
    PICTURE.write_text(picture(imports()), encoding="utf-8")
