"""From pixels to SVG: elements with classes only, no styles and no scripts, every text escaped."""

from __future__ import annotations

from xml.sax.saxutils import escape, quoteattr

from halfsplit.circuit.model import Part
from halfsplit.drawing.bodies import paint_body
from halfsplit.drawing.glyphs import End, Glyph
from halfsplit.drawing.labels import SMALL, TARGET, Note, Writing, point_name, values_of
from halfsplit.drawing.lines import paint_lines, paint_loop
from halfsplit.drawing.page import Boxes, Page, Rectangle
from halfsplit.drawing.place import Placement

FOOT_LINE = 26.0
"""From the lower edge of the drawing to the line above the column numbers."""


def paint(placement: Placement, writing: Writing, title: str) -> tuple[str, Boxes]:
    """The inside of the SVG, and the geometry."""
    page = Page(placement, writing)
    paint_lines(page)
    for glyph in placement.grid.layers.glyphs.values():
        _paint_glyph(page, glyph)
    # The numbers of the current paths.
    y = page.placement.height - FOOT_LINE
    page.add("wires", f'<path class="foot" d="M16 {y:g}H{page.placement.width - 16:g}"/>')
    for number, x in enumerate(page.placement.numbers, start=1):
        page.write(Note("mid", 0, 0, str(number), SMALL, "middle", "column"), x, y + FOOT_LINE / 2)
    return f"<title>{escape(title)}</title>{page.svg()}", page.boxes()


def _paint_glyph(page: Page, glyph: Glyph) -> None:
    if glyph.form == "loop":
        paint_loop(page, glyph)
    elif glyph.form != "pass":
        rectangle = paint_body(page, glyph)
        page.measure("symbols", glyph.key, rectangle)
        _paint_part_target(page, glyph, rectangle)
        _paint_points(page, glyph)
    level = page.level(glyph.key) if glyph.free else 0
    for post in glyph.posts:
        band = page.band(glyph)
        origin = {"top": band.mid_top, "mid": band.middle, "bottom": band.mid_bottom}
        for note in page.placement.cells[post.key].notes:
            inside = f" on-{level}" if level and note.style == "role" else ""
            page.write(note, page.placement.x[post.key], origin[note.zone], inside)


# Targets


def _paint_part_target(page: Page, glyph: Glyph, rectangle: Rectangle) -> None:
    """What a tap on the symbol picks: the part; on a splice the point; on a stub what is folded there."""
    left, top, right, bottom = rectangle
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


def _paint_points(page: Page, glyph: Glyph) -> None:
    """The points of a part that can be measured at; a splice is one itself."""
    if glyph.form in {"splice", "folded"}:
        return
    for post in glyph.posts:
        for end, point in post.ends:
            if not point.endswith(" more"):
                _paint_point(page, end, point)


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
