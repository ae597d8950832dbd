"""From pixels to SVG: elements with classes only, no styles and no scripts, every text escaped."""

from __future__ import annotations

from collections.abc import Sequence
from xml.sax.saxutils import escape, quoteattr

from halfsplit.circuit.model import Part
from halfsplit.drawing.bodies import paint_body
from halfsplit.drawing.channels import Line
from halfsplit.drawing.glyphs import End, Glyph
from halfsplit.drawing.labels import NAME, SMALL, TARGET, Note, Writing, point_name, values_of
from halfsplit.drawing.page import Boxes, Page, Spot, path
from halfsplit.drawing.place import Placement

FOOT_LINE = 26.0
"""From the lower edge of the drawing to the line above the column numbers."""
RAIL_START = 38.0
"""Where a feed rail begins, to the right of its number."""


def paint(placement: Placement, writing: Writing, title: str) -> tuple[str, Boxes]:
    """The inside of the SVG, and the geometry."""
    page = Page(placement, writing)
    _paint_lines(page)
    for glyph in placement.grid.layers.glyphs.values():
        if glyph.form == "loop":
            # The stretch of a wire that keeps two bars of one channel apart, through the row beside it.
            link, middle = writing.scene.links[int(glyph.key.split()[1])], page.band(glyph).middle
            ends = (End(post.key, "top" if post.top else "bottom") for post in glyph.posts)
            first, last = map(placement.pin, ends)
            way = [first, (first[0], middle), (last[0], middle), last]
            page.add("wires", f'<path class="wire" data-wire={quoteattr(link.name)} d="{path([way])}"/>')
            page.measure_lines("wires", link.name, [way])
        elif glyph.form != "pass":
            _paint_symbol(page, glyph)
        level = page.level(glyph.key) if glyph.free else 0
        for post in glyph.posts:
            band = page.band(glyph)
            origin = {"top": band.mid_top, "mid": band.middle, "bottom": band.mid_bottom}
            for note in page.placement.cells[post.key].notes:
                inside = f" on-{level}" if level and note.style == "role" else ""
                page.write(note, page.placement.x[post.key], origin[note.zone], inside)
    # The numbers of the current paths.
    y = page.placement.height - FOOT_LINE
    page.add("wires", f'<path class="foot" d="M16 {y:g}H{page.placement.width - 16:g}"/>')
    for number, x in enumerate(page.placement.numbers, start=1):
        page.write(Note("mid", 0, 0, str(number), SMALL, "middle", "column"), x, y + FOOT_LINE / 2)
    return f"<title>{escape(title)}</title>{page.svg()}", page.boxes()


# Targets


def _paint_symbol(page: Page, glyph: Glyph) -> None:
    """A symbol, and what a tap on it picks: the part; on a splice the point; on a stub what is folded there."""
    left, top, right, bottom = rectangle = paint_body(page, glyph)
    page.measure("symbols", glyph.key, rectangle)
    centre, middle = (left + right) / 2, page.band(glyph).middle
    grown = (
        min(left, centre - TARGET / 2),
        min(top, middle - TARGET / 2),
        max(right, centre + TARGET / 2),
        max(bottom, middle + TARGET / 2),
    )
    if glyph.form == "folded":
        parts = next(stub.parts for stub in page.writing.fold.stubs if stub.key == glyph.key)
        page.target(
            glyph.key, f"data-fold={quoteattr(' '.join(parts))}", f"folded: {', '.join(parts)}", grown, "part"
        )
        return
    data = f"data-part={quoteattr(glyph.part)}"
    if glyph.form == "splice":
        data += f" data-point={quoteattr(glyph.key)}"
    title = _with_values(page, part_title(glyph, page.writing.model.parts.get(glyph.part)), glyph.key)
    page.target(glyph.key, data, title, grown, "part")
    points = [entry for post in glyph.posts for entry in post.ends]
    for end, point in points if glyph.form != "splice" else ():
        if not point.endswith(" more"):
            _paint_point(page, end, point)


def part_title(glyph: Glyph, part: Part | None) -> str:
    """What a screen reader says of a part: name, kind, values, words, place."""
    words = (
        (glyph.key,)
        if part is None
        else (f"{glyph.key} {part.kind}", values_of(part), part.words, part.place)
    )
    return ", ".join(word for word in words if word)


def _with_values(page: Page, title: str, name: str) -> str:
    """A title with what is known there: the shade is never the only sign."""
    overlays = page.writing.overlays
    reading, expected = overlays.readings.get(name), overlays.expected.get(name)
    lead = overlays.leads.get(name)
    words = [title, f"{lead} lead here" if lead else "", f"reads {reading}" if reading else ""]
    words += [f"should be {expected}"] if expected else []
    share = overlays.suspicion.get(point_name(name), 0.0)
    words += [f"suspicion {share:.0%}"] if page.level(point_name(name)) else []
    return ", ".join(word for word in words if word)


def _paint_point(page: Page, end: End, point: str) -> None:
    """A small ring on the wire, in a target for a gloved finger."""
    x, pin = page.placement.pin(end)
    y = pin + (-TARGET / 2 if end.side == "top" else TARGET / 2)
    level, is_read = page.level(point_name(point)), point in page.writing.overlays.readings
    lead = page.writing.overlays.leads.get(point, "")
    style = f" at-{lead}" if lead else (" read" if is_read else "") + (f" suspicion-{level}" if level else "")
    radius = 7.0 if lead else 5.5 if is_read or level else 4.0
    page.add("dots", f'<circle class="point{style}" cx="{x:g}" cy="{y:g}" r="{radius:g}"/>')
    rectangle = (x - TARGET / 2, y - TARGET / 2, x + TARGET / 2, y + TARGET / 2)
    page.target(point, f"data-point={quoteattr(point)}", _with_values(page, point, point), rectangle, "point")


# Wires from symbol to symbol, and bars where several wires meet at one point


def _paint_lines(page: Page) -> None:
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
            way = _corners([*way_a, *reversed(way_b)])
            stretches = ways.setdefault(hop.link, [])
            if way and stretches and stretches[-1][-1] == way[0]:
                way = _corners([*stretches.pop(), *way])
            if way:
                stretches.append(way)
    for number in range(len(page.writing.scene.links)):
        _paint_wire(page, number, ways[number])


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
