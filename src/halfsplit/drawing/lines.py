"""The lines: wires from symbol to symbol, and bars where several wires meet at one point."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from xml.sax.saxutils import escape, quoteattr

from halfsplit.drawing.channels import Line
from halfsplit.drawing.glyphs import End, Glyph
from halfsplit.drawing.labels import NAME, Note
from halfsplit.drawing.page import Page, Spot, path

RAIL_START = 38.0
"""Where a feed rail begins, to the right of its number."""


def paint_lines(page: Page) -> None:
    """Every wire once, every bar once."""
    posts = (post for glyph in page.placement.grid.layers.glyphs.values() for post in glyph.posts)
    points = {end: point for post in posts for end, point in post.ends}
    ways: dict[int, list[list[Spot]]] = {}
    for line in page.placement.grid.channels.lines:
        if line.hub is not None:
            _paint_bar(page, line, line.hub, points[line.hub])
        for hop in line.hops:
            # One wire within a channel, with its stretches inside the rows; a hub's own stretch belongs to the bar.
            way_a = [] if hop.a == line.hub else [_into_row(page, hop.a), *page.placement.way(hop.a, line)]
            way_b = [] if hop.b == line.hub else [_into_row(page, hop.b), *page.placement.way(hop.b, line)]
            hop_way = _corners([*way_a, *reversed(way_b)])
            ways.setdefault(hop.link, []).append(hop_way)
    for number in range(len(page.writing.scene.links)):
        _paint_wire(page, number, _joined(ways[number]))


def _into_row(page: Page, end: End) -> Spot:
    """The pin of the symbol; a pass is crossed from its middle, so that its halves meet."""
    glyph = page.placement.grid.layers.glyphs.get(end.post)
    if glyph is not None and glyph.form == "pass":
        return page.placement.x[end.post], page.band(glyph).middle
    return page.placement.pin(end)


def _corners(spots: Sequence[Spot]) -> list[Spot]:
    """Without repeated spots and spots on the way straight on."""
    kept: list[Spot] = []
    for spot in spots:
        if kept and kept[-1] == spot:
            continue
        if len(kept) > 1 and any(kept[-2][axis] == kept[-1][axis] == spot[axis] for axis in (0, 1)):
            kept.pop()
        kept.append(spot)
    return kept


def _joined(stretches: Iterable[list[Spot]]) -> list[list[Spot]]:
    """Stretches that meet are one."""
    joined: list[list[Spot]] = []
    for stretch in stretches:
        if joined and stretch and joined[-1][-1] == stretch[0]:
            joined[-1] = _corners([*joined[-1], *stretch])
        elif stretch:
            joined.append(stretch)
    return joined


def _paint_wire(page: Page, number: int, stretches: list[list[Spot]]) -> None:
    link = page.writing.scene.links[number]
    page.measure_lines("wires", link.name, stretches)
    d, level = path(stretches), page.level(link.name)
    if link.folded:
        page.add("wires", f'<path class="wire folded" d="{d}"/>')
        return
    if level:
        page.add("halos", f'<path class="halo suspicion-{level}" d="{d}"/>')
    style = ("wire dashed" if link.dashed else "wire") + (f" on-{level}" if level else "")
    title = escape(f"{link.name} {link.mark}".strip())
    page.add(
        "wires",
        f'<path class="{style}" data-wire={quoteattr(link.name)} d="{d}"><title>{title}</title></path>',
    )


def paint_loop(page: Page, glyph: Glyph) -> None:
    """The stretch of a wire that keeps two bars of one channel apart, through the row beside it."""
    link = page.writing.scene.links[int(glyph.key.split()[1])]
    middle = page.band(glyph).middle
    first, last = (page.placement.pin(End(post.key, "top" if post.top else "bottom")) for post in glyph.posts)
    way = [first, (first[0], middle), (last[0], middle), last]
    page.add("wires", f'<path class="wire" data-wire={quoteattr(link.name)} d="{path([way])}"/>')
    page.measure_lines("wires", link.name, [way])


def _paint_bar(page: Page, line: Line, hub: End, point: str) -> None:
    """The bar of a point where several wires meet, from its symbol, with a dot wherever three lines join."""
    own = page.placement.way(hub, line)
    y = own[-1][1]
    places = [page.placement.way(end, line)[-1][0] for end in line.ends]
    rail = hub in page.placement.grid.rails
    left, right = RAIL_START if rail else min(places), max(places)
    stretches = [_corners([page.placement.pin(hub), *own]), [(left, y), (right, y)]]
    style = "bar rail" if rail else "bar"
    page.add("wires", f'<path class="{style}" data-bar={quoteattr(point)} d="{path(stretches)}"/>')
    page.measure_lines("bars", point, stretches)
    if rail:
        page.write(Note("top", RAIL_START - 6, 0, "30", NAME, "end", "name"), 0.0, y)
    for x in sorted(set(places)):
        if (left < x) + (x < right) + places.count(x) > 2:
            page.add("dots", f'<circle class="k" cx="{x:g}" cy="{y:g}" r="3.5"/>')
