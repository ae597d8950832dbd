"""From pixels to SVG: elements with classes only, no styles and no scripts, every text escaped.

Besides the SVG the geometry of everything drawn is collected, so that tests measure what a reader would see.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from xml.sax.saxutils import escape, quoteattr

from halfsplit.circuit.model import Part
from halfsplit.drawing.channels import Line
from halfsplit.drawing.glyphs import End, Glyph
from halfsplit.drawing.labels import (
    BOX_MARGIN,
    SMALL,
    TARGET,
    Note,
    Writing,
    box_height,
    box_lines,
    box_room,
    note_box,
    point_name,
    suspicion_class,
    values_of,
)
from halfsplit.drawing.place import Placement
from halfsplit.drawing.symbols import FLIPPED, Symbol, symbol_of

Rectangle = tuple[float, float, float, float]
"""Left, top, right, bottom."""


@dataclass(frozen=True, slots=True)
class Boxes:
    """What was drawn where, in px: texts, symbols by glyph, targets by point or part, and lines by name.

    ``wires`` holds the segments (x1, y1, x2, y2) of each wire, in order; ``bars`` those of each point where several wires meet.
    """

    texts: tuple[tuple[str, Rectangle], ...]
    symbols: tuple[tuple[str, Rectangle], ...]
    targets: tuple[tuple[str, Rectangle], ...]
    wires: tuple[tuple[str, Rectangle], ...]
    bars: tuple[tuple[str, Rectangle], ...]


@dataclass(slots=True)
class Canvas:
    """Elements by layer, from the lowest, and the geometry that goes with them."""

    layers: dict[str, list[str]] = field(default_factory=dict)
    found: dict[str, list[tuple[str, Rectangle]]] = field(default_factory=dict)

    def add(self, layer: str, element: str) -> None:
        self.layers.setdefault(layer, []).append(element)

    def note(self, kind: str, name: str, rectangle: Rectangle) -> None:
        self.found.setdefault(kind, []).append((name, rectangle))

    def boxes(self) -> Boxes:
        return Boxes(
            *(tuple(self.found.get(kind, ())) for kind in ("texts", "symbols", "targets", "wires", "bars"))
        )


LAYERS = ("halos", "links", "wires", "symbols", "dots", "texts", "targets")


def paint(placement: Placement, writing: Writing, title: str) -> tuple[str, Boxes]:
    """The inside of the SVG, and the geometry."""
    canvas = Canvas()
    _paint_lines(canvas, placement, writing)
    for glyph in placement.grid.layers.glyphs.values():
        _paint_glyph(canvas, glyph, placement, writing)
    _paint_foot(canvas, placement)
    groups = [
        f'<g class="{layer}">{"".join(canvas.layers[layer])}</g>'
        for layer in LAYERS
        if layer in canvas.layers
    ]
    return f"<title>{escape(title)}</title>{''.join(groups)}", canvas.boxes()


# Lines


def _paint_lines(canvas: Canvas, placement: Placement, writing: Writing) -> None:
    ways: dict[int, list[list[tuple[float, float]]]] = {}
    for line in placement.grid.channels.lines:
        if line.hub is not None:
            _paint_bar(canvas, line, line.hub, placement, writing)
        for hop in line.hops:
            ways.setdefault(hop.link, []).append(_hop_way(hop.a, hop.b, line, placement))
    for number, link in enumerate(writing.scene.links):
        stretches = _joined(ways[number])
        _paint_wire(canvas, number, stretches, writing)
        _note_segments(canvas, "wires", link.name, stretches)


def _hop_way(a: End, b: End, line: Line, placement: Placement) -> list[tuple[float, float]]:
    """One wire within a channel, with its stretches inside the rows; a hub's own stretch belongs to the bar."""
    start = _into_row(a, placement) if a != line.hub else []
    goal = _into_row(b, placement) if b != line.hub else []
    way_a = placement.way(a, line) if a != line.hub else []
    way_b = placement.way(b, line) if b != line.hub else []
    return _corners([*start, *way_a, *reversed(way_b), *reversed(goal)])


def _into_row(end: End, placement: Placement) -> list[tuple[float, float]]:
    """From the symbol to the edge of the row; a pass is crossed from its middle, so that its halves meet."""
    glyph = placement.grid.layers.glyphs.get(end.post)
    if glyph is not None and glyph.form == "pass":
        band = placement.bands[placement.row[end.post]]
        return [(placement.x[end.post], band.middle)]
    return [placement.pin(end)]


def _corners(points: Sequence[tuple[float, float]]) -> list[tuple[float, float]]:
    """Without repeated points and points on the way straight on."""
    kept: list[tuple[float, float]] = []
    for point in points:
        if kept and kept[-1] == point:
            continue
        if len(kept) > 1 and (
            kept[-2][0] == kept[-1][0] == point[0] or kept[-2][1] == kept[-1][1] == point[1]
        ):
            kept.pop()
        kept.append(point)
    return kept


def _joined(stretches: Iterable[list[tuple[float, float]]]) -> list[list[tuple[float, float]]]:
    """Stretches that meet are one."""
    joined: list[list[tuple[float, float]]] = []
    for stretch in stretches:
        if joined and stretch and joined[-1][-1] == stretch[0]:
            joined[-1] = _corners([*joined[-1], *stretch])
        elif stretch:
            joined.append(stretch)
    return joined


def _path(stretches: Iterable[Sequence[tuple[float, float]]]) -> str:
    return "".join("M" + "L".join(f"{x:g} {y:g}" for x, y in stretch) for stretch in stretches)


def _paint_wire(
    canvas: Canvas, number: int, stretches: list[list[tuple[float, float]]], writing: Writing
) -> None:
    link = writing.scene.links[number]
    d = _path(stretches)
    level = suspicion_class(writing.overlays.suspicion.get(link.name, 0.0))
    if level:
        canvas.add("halos", f'<path class="halo suspicion-{level}" d="{d}"/>')
    if link.folded:
        canvas.add("wires", f'<path class="wire folded" d="{d}"/>')
        return
    title = escape(f"{link.name} {link.mark}".strip())
    style = ("wire dashed" if link.dashed else "wire") + (f" on-{level}" if level else "")
    canvas.add(
        "wires",
        f'<path class="{style}" data-wire={quoteattr(link.name)} d="{d}"><title>{title}</title></path>',
    )


def _paint_bar(canvas: Canvas, line: Line, hub: End, placement: Placement, writing: Writing) -> None:
    """The bar of a point where several wires meet, from its symbol, with a dot wherever three lines join."""
    own = placement.way(hub, line)
    ways = [placement.way(end, line) for end in line.ends]
    places = [way[-1][0] for way in ways]
    rail = hub in placement.grid.rails
    left, y = 38.0 if rail else min(places), own[-1][1]
    stretches = [_corners([placement.pin(hub), *own]), [(left, y), (max(places), y)]]
    point = point_at(hub, placement)
    style = "bar rail" if rail else "bar"
    canvas.add("wires", f'<path class="{style}" data-bar={quoteattr(point)} d="{_path(stretches)}"/>')
    _note_segments(canvas, "bars", point, stretches)
    if rail:
        _write(canvas, Note("top", 32, 0, "30", 15, "end", "name"), 0.0, y)
    for x in sorted(set(places)):
        directions = (left < x) + (x < max(places)) + sum(place == x for place in places)
        if directions > 2:
            canvas.add("dots", f'<circle class="k" cx="{x:g}" cy="{y:g}" r="3.5"/>')


def point_at(end: End, placement: Placement) -> str:
    """The name of the point at an end."""
    post = next(
        post
        for glyph in placement.grid.layers.glyphs.values()
        for post in glyph.posts
        if post.key == end.post
    )
    return post.top if end.side == "top" else post.bottom


def _note_segments(
    canvas: Canvas, kind: str, name: str, stretches: Iterable[Sequence[tuple[float, float]]]
) -> None:
    for stretch in stretches:
        for (x1, y1), (x2, y2) in zip(stretch, stretch[1:], strict=False):
            if (x1, y1) != (x2, y2):
                canvas.note(kind, name, (x1, y1, x2, y2))


# Glyphs


def _paint_glyph(canvas: Canvas, glyph: Glyph, placement: Placement, writing: Writing) -> None:
    if glyph.form == "pass":
        _write_notes(canvas, glyph, placement, writing)
        return
    if glyph.form == "loop":
        _paint_loop(canvas, glyph, placement, writing)
    else:
        body = _box_body if glyph.free else _relay_body if glyph.form == "relay" else _body
        rectangle = body(canvas, glyph, placement, writing)
        canvas.note("symbols", glyph.key, rectangle)
        _paint_part_target(canvas, glyph, rectangle, placement, writing)
        for post in glyph.posts:
            for end, point in ((End(post.key, "top"), post.top), (End(post.key, "bottom"), post.bottom)):
                if point and glyph.form not in {"splice", "folded"} and not point.endswith(" more"):
                    _paint_point(canvas, end, point, placement, writing)
    _write_notes(canvas, glyph, placement, writing)


def _paint_loop(canvas: Canvas, glyph: Glyph, placement: Placement, writing: Writing) -> None:
    """The wire of a loop below (above) the channel."""
    link = writing.scene.links[int(glyph.key.split()[1])]
    ends = [End(post.key, "top" if post.top else "bottom") for post in glyph.posts]
    middle = placement.bands[placement.row[ends[0].post]].middle
    pins = [placement.pin(end) for end in ends]
    way = [pins[0], (pins[0][0], middle), (pins[1][0], middle), pins[1]]
    canvas.add("wires", f'<path class="wire" data-wire={quoteattr(link.name)} d="{_path([way])}"/>')
    _note_segments(canvas, "wires", link.name, [way])


def _halo(canvas: Canvas, glyph: Glyph, rectangle: Rectangle, writing: Writing) -> str:
    """Shades the ground of a suspected glyph; gives the class that suits its ink to the shade."""
    level = suspicion_class(writing.overlays.suspicion.get(glyph.key, 0.0))
    if level:
        left, top, right, bottom = rectangle
        if glyph.form == "splice":
            middle = (top + bottom) / 2
            top, bottom = middle - 12, middle + 12
        canvas.add(
            "halos",
            f'<rect class="suspicion-{level}" x="{left - 6:g}" y="{top:g}" width="{right - left + 12:g}" '
            f'height="{bottom - top:g}" rx="8"/>',
        )
    return f" on-{level}" if level else ""


def _drawn(form: str, symbol: Symbol, x: float, y: float, turn: str = "", style: str = "") -> str:
    return f'<g class="symbol {form}{style}" transform="translate({x:g} {y:g}){turn}">{symbol.body}</g>'


def _body(canvas: Canvas, glyph: Glyph, placement: Placement, writing: Writing) -> Rectangle:
    """A symbol on one post, or lying between two posts that come from the same side."""
    symbol = symbol_of(glyph.form)
    band = placement.bands[placement.row[glyph.posts[0].key]]
    xs = [placement.x[post.key] for post in glyph.posts]
    if len(xs) > 1:
        return _lying_body(canvas, glyph, symbol, placement, writing)
    x, y = xs[0], band.middle
    post = glyph.posts[0]
    if glyph.form in {"ground", "mass"}:
        y = band.mid_top + 8
    rectangle = (
        x - symbol.half,
        min(band.mid_top, y - symbol.reach) if post.top else y - symbol.reach,
        x + (symbol.right or symbol.half),
        band.mid_bottom if post.bottom else y + symbol.reach,
    )
    style = _halo(canvas, glyph, rectangle, writing)
    used = [
        _is_used(End(post.key, side), point, glyph, writing)
        for side, point in (("top", post.top), ("bottom", post.bottom))
    ]
    leads = (
        [[(x, band.mid_top), (x, y - symbol.reach)]] if used[0] and band.mid_top < y - symbol.reach else []
    )
    leads += [[(x, y + symbol.reach), (x, band.mid_bottom)]] if used[1] else []
    turned = glyph.form in FLIPPED and post.top.rpartition(".")[2] in {"-", "k", "2"}
    shaded = "" if glyph.form == "splice" else style
    canvas.add("symbols", f'<path class="s{shaded}" d="{_path(leads)}"/>' if leads else "")
    canvas.add("symbols", _drawn(glyph.form, symbol, x, y, " rotate(180)" if turned else "", style))
    return rectangle


def _is_used(end: End, point: str, glyph: Glyph, writing: Writing) -> bool:
    """Whether a lead is drawn: at every pin of a part, but on a splice only where there is a wire."""
    return bool(point) and (
        glyph.form != "splice" or any(end in (link.a, link.b) for link in writing.scene.links)
    )


def _lying_body(
    canvas: Canvas, glyph: Glyph, symbol: Symbol, placement: Placement, writing: Writing
) -> Rectangle:
    band = placement.bands[placement.row[glyph.posts[0].key]]
    ends = sorted(
        (placement.x[post.key], band.mid_top if post.top else band.mid_bottom) for post in glyph.posts
    )
    middle, y = (ends[0][0] + ends[-1][0]) / 2, band.middle
    rectangle = (ends[0][0] - 2, band.mid_top, ends[-1][0] + 2, max(y + symbol.half, y + 2))
    style = _halo(canvas, glyph, rectangle, writing)
    leads = [
        [ends[0], (ends[0][0], y), (middle - symbol.reach, y)],
        [(middle + symbol.reach, y), (ends[-1][0], y), ends[-1]],
    ]
    canvas.add("symbols", f'<path class="s{style}" d="{_path(leads)}"/>')
    first_left = placement.x[glyph.posts[0].key] == ends[0][0]
    turn = "" if glyph.form == "motor" else " rotate(-90)" if first_left else " rotate(90)"
    canvas.add("symbols", _drawn(glyph.form, symbol, middle, y, turn, style))
    return rectangle


def _relay_body(canvas: Canvas, glyph: Glyph, placement: Placement, writing: Writing) -> Rectangle:
    """Coil and contact, joined by a dashed line."""
    coil, contact = glyph.posts[0], glyph.posts[1]
    band = placement.bands[placement.row[coil.key]]
    y, x1, x2 = band.middle, placement.x[coil.key], placement.x[contact.key]
    xs = [placement.x[post.key] for post in glyph.posts]
    rectangle = (min(xs) - 18, band.mid_top, max(xs) + 18, band.mid_bottom)
    style = _halo(canvas, glyph, rectangle, writing)
    for x, reach in ((x1, 14.0), (x2, 20.0)):
        leads = [[(x, band.mid_top), (x, y - reach)], [(x, y + reach), (x, band.mid_bottom)]]
        canvas.add("symbols", f'<path class="s{style}" d="{_path(leads)}"/>')
    canvas.add("symbols", _drawn("coil", symbol_of("coil"), x1, y, "", style))
    canvas.add("symbols", _contact(glyph, placement, style))
    blade = (x1 + 18, x2 - 6) if x1 < x2 else (x2 + 6 if len(xs) == 2 else x2 + 6, x1 - 18)
    canvas.add("links", f'<path class="dash{style}" d="M{blade[0]:g} {y:g}H{blade[1]:g}"/>')
    return rectangle


def _contact(glyph: Glyph, placement: Placement, style: str) -> str:
    """A make contact; with a rest contact (87a) a changeover, which rests there."""
    contact = glyph.posts[1]
    band = placement.bands[placement.row[contact.key]]
    x, y = placement.x[contact.key], band.middle
    turned = not contact.top.endswith(".30")
    if len(glyph.posts) == 2:
        return _drawn("contact", symbol_of("contact"), x, y, " rotate(180)" if turned else "", style)
    rest = placement.x[glyph.posts[2].key]
    way = -1 if turned else 1
    out = band.mid_bottom if way > 0 else band.mid_top
    toward = 1 if rest > x else -1
    d = (
        f"M{x:g} {y - 20 * way:g}V{y - 12 * way:g}L{x + 17 * toward:g} {y + 10 * way:g}"
        f"M{x:g} {y + 20 * way:g}V{y + 12 * way:g}"
        f"M{x + 14 * toward:g} {y + 12 * way:g}H{rest:g}V{out:g}"
    )
    return f'<path class="s{style}" d="{d}"/>'


def _box_body(canvas: Canvas, glyph: Glyph, placement: Placement, writing: Writing) -> Rectangle:
    """A box over the columns of its posts, with its name inside."""
    xs = [placement.x[post.key] for post in glyph.posts]
    band = placement.bands[placement.row[glyph.posts[0].key]]
    lines = box_lines(glyph, writing)
    left, right = min(xs) - BOX_MARGIN, max(max(xs) + BOX_MARGIN, min(xs) - BOX_MARGIN + box_room(lines))
    half = box_height(glyph, writing) / 2
    rectangle = (left, band.mid_top, right, band.mid_bottom)
    level = suspicion_class(writing.overlays.suspicion.get(glyph.key, 0.0))
    style = f" suspicion-{level}" if level else ""
    canvas.add(
        "symbols",
        f'<rect class="box{style}" x="{left:g}" y="{band.middle - half:g}" width="{right - left:g}" '
        f'height="{2 * half:g}" rx="3"/>',
    )
    for post in glyph.posts:
        x = placement.x[post.key]
        leads = [[(x, band.mid_top), (x, band.middle - half)]] if post.top else []
        leads += [[(x, band.middle + half), (x, band.mid_bottom)]] if post.bottom else []
        if band.mid_top < band.middle - half and leads:
            canvas.add("symbols", f'<path class="s" d="{_path(leads)}"/>')
    for note in lines:
        _write(canvas, note, left, band.middle, f" on-{level}" if level else "")
    return rectangle


# Targets


def _paint_part_target(
    canvas: Canvas, glyph: Glyph, rectangle: Rectangle, placement: Placement, writing: Writing
) -> None:
    """What a tap on the symbol picks: the part; on a splice or a fold, the point."""
    row = placement.bands[placement.row[glyph.posts[0].key]]
    left, top, right, bottom = rectangle
    centre = (left + right) / 2
    left, right = min(left, centre - TARGET / 2), max(right, centre + TARGET / 2)
    top, bottom = min(top, row.middle - TARGET / 2), max(bottom, row.middle + TARGET / 2)
    if glyph.form == "folded":
        stub = next(stub for stub in writing.fold.stubs if stub.key == glyph.key)
        what, title = f"data-fold={quoteattr(' '.join(stub.parts))}", f"folded: {', '.join(stub.parts)}"
    else:
        part = writing.model.parts.get(glyph.part)
        what = f"data-part={quoteattr(glyph.part)}"
        if glyph.form == "splice":
            what += f" data-point={quoteattr(glyph.key)}"
        title = _with_values(part_title(glyph, part), glyph.key, writing)
    _target(canvas, glyph.key, what, title, (left, top, right, bottom), "part")


def part_title(glyph: Glyph, part: Part | None) -> str:
    """What a screen reader says of a part: name, kind, values, words, place."""
    if part is None:
        return glyph.key
    words = (f"{glyph.key} {part.kind}", values_of(part), part.words, part.place)
    return ", ".join(word for word in words if word)


def _with_values(title: str, name: str, writing: Writing) -> str:
    overlays = writing.overlays
    reading, expected = overlays.readings.get(name), overlays.expected.get(name)
    share = overlays.suspicion.get(name, 0.0)
    words = [
        title,
        f"reads {reading}" if reading else "",
        f"should be {expected}" if expected else "",
        f"suspicion {share:.0%}" if suspicion_class(share) else "",
    ]
    return ", ".join(word for word in words if word)


def _paint_point(canvas: Canvas, end: End, point: str, placement: Placement, writing: Writing) -> None:
    """A point to measure at: a small ring on the wire, in a target for a gloved finger."""
    x, pin = placement.pin(end)
    y = pin + (-TARGET / 2 if end.side == "top" else TARGET / 2)
    read = " read" if point in writing.overlays.readings else ""
    level = suspicion_class(writing.overlays.suspicion.get(point_name(point), 0.0))
    style = f" suspicion-{level}" if level else ""
    canvas.add(
        "dots",
        f'<circle class="point{read}{style}" cx="{x:g}" cy="{y:g}" r="{5.5 if read or level else 4:g}"/>',
    )
    title = _with_values(point, point, writing)
    rectangle = (x - TARGET / 2, y - TARGET / 2, x + TARGET / 2, y + TARGET / 2)
    _target(canvas, point, f"data-point={quoteattr(point)}", title, rectangle, "point")


def _target(canvas: Canvas, name: str, what: str, title: str, rectangle: Rectangle, style: str) -> None:
    left, top, right, bottom = rectangle
    canvas.note("targets", name, rectangle)
    canvas.add(
        "targets",
        f'<g class="target {style}" {what} role="button" tabindex="0" aria-label={quoteattr(title)}>'
        f"<title>{escape(title)}</title>"
        f'<rect x="{left:g}" y="{top:g}" width="{right - left:g}" height="{bottom - top:g}" rx="6"/></g>',
    )


# Texts


def _write_notes(canvas: Canvas, glyph: Glyph, placement: Placement, writing: Writing) -> None:
    level = suspicion_class(writing.overlays.suspicion.get(glyph.key, 0.0)) if glyph.free else 0
    for post in glyph.posts:
        band = placement.bands[placement.row[post.key]]
        origin = {"top": band.mid_top, "mid": band.middle, "bottom": band.mid_bottom}
        for note in placement.cells[post.key].notes:
            inside = f" on-{level}" if level and note.style == "role" else ""
            _write(canvas, note, placement.x[post.key], origin[note.zone], inside)


def _write(canvas: Canvas, note: Note, x: float, y: float, style: str = "") -> None:
    left, top, right, bottom = note_box(note, x, y)
    canvas.note("texts", note.text, (left, top, right, bottom))
    middle = y + note.y
    if note.pill:
        canvas.add(
            "texts",
            f'<rect class="pill suspicion-{note.pill}" x="{left:g}" y="{middle - 8:g}" '
            f'width="{right - left:g}" height="16" rx="8"/>',
        )
    shift = {"start": 5, "middle": 0, "end": -5}[note.anchor] if note.pill else 0
    size = f" z{note.size:.0f}"
    ink = f" on-{note.pill}" if note.pill else style
    canvas.add(
        "texts",
        f'<text class="{note.style}{size} a-{note.anchor}{ink}" x="{x + note.x + shift:g}" '
        f'y="{middle + 0.35 * note.size:.1f}">{escape(note.text)}</text>',
    )


def _paint_foot(canvas: Canvas, placement: Placement) -> None:
    """The numbers of the current paths."""
    y = placement.height - 26
    canvas.add("wires", f'<path class="foot" d="M16 {y:g}H{placement.width - 16:g}"/>')
    for number, x in enumerate(placement.numbers, start=1):
        _write(canvas, Note("mid", 0, 0, str(number), SMALL, "middle", "column"), x, y + 13)
