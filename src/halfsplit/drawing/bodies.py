"""The bodies of the glyphs: a symbol on its post or lying between two, relay, box; each tells its rectangle."""

from __future__ import annotations

from collections.abc import Callable, Mapping

from halfsplit.drawing.glyphs import FLIPPED, End, Glyph, Symbol, symbol_of
from halfsplit.drawing.labels import BOX_MARGIN, box_height, box_lines, box_room
from halfsplit.drawing.page import Page, Rectangle, Spot, path


def paint_body(page: Page, glyph: Glyph) -> Rectangle:
    """Draws a glyph without its texts; the rectangle that it takes."""
    if glyph.free:
        return _box(page, glyph)
    if glyph.form not in BODIES and len(glyph.posts) > 1:
        return _lying(page, glyph)
    return BODIES.get(glyph.form, _upright)(page, glyph)


def _halo(page: Page, glyph: Glyph, rectangle: Rectangle) -> str:
    """Shades the ground of a suspected glyph; gives the class that suits its ink to the shade."""
    level = page.level(glyph.key)
    if not level:
        return ""
    left, top, right, bottom = rectangle
    page.add(
        "halos",
        f'<rect class="suspicion-{level}" x="{left - 6:g}" y="{top:g}" width="{right - left + 12:g}" '
        f'height="{bottom - top:g}" rx="8"/>',
    )
    return f" on-{level}"


def _drawn(page: Page, form: str, x: float, y: float, turn: int = 0, style: str = "") -> None:
    turned = f" rotate({turn})" if turn else ""
    page.add(
        "symbols",
        f'<g class="symbol {form}{style}" transform="translate({x:g} {y:g}){turned}">{symbol_of(form).body}</g>',
    )


def _leads(page: Page, stretches: list[list[Spot]], style: str = "") -> None:
    if stretches:
        page.add("symbols", f'<path class="s{style}" d="{path(stretches)}"/>')


def _upright(page: Page, glyph: Glyph) -> Rectangle:
    """A symbol on one post, with leads to the edges of its row."""
    symbol, band, post = symbol_of(glyph.form), page.band(glyph), glyph.posts[0]
    x, y = page.placement.x[post.key], band.middle
    right = x + (symbol.right or symbol.half)
    rectangle = (
        x - symbol.half,
        band.mid_top if post.top else y - symbol.reach,
        right,
        band.mid_bottom if post.bottom else y + symbol.reach,
    )
    style = _halo(page, glyph, rectangle)
    leads = [[(x, band.mid_top), (x, y - symbol.reach)]] if post.top else []
    leads += [[(x, y + symbol.reach), (x, band.mid_bottom)]] if post.bottom else []
    _leads(page, leads, style)
    turned = glyph.form in FLIPPED and post.top.rpartition(".")[2] in {"-", "k", "2"}
    _drawn(page, glyph.form, x, y, 180 if turned else 0, style)
    return rectangle


def _splice(page: Page, glyph: Glyph) -> Rectangle:
    """A dot, with a lead on each side that has a wire."""
    symbol, band = symbol_of(glyph.form), page.band(glyph)
    x, y = page.placement.x[glyph.key], band.middle
    style = _halo(page, glyph, (x - symbol.half, y - 12, x + symbol.half, y + 12))
    used = {end for link in page.writing.scene.links for end in (link.a, link.b)}
    leads = [[(x, band.mid_top), (x, y)]] if End(glyph.key, "top") in used else []
    leads += [[(x, y), (x, band.mid_bottom)]] if End(glyph.key, "bottom") in used else []
    _leads(page, leads)
    _drawn(page, glyph.form, x, y, 0, style)
    return x - symbol.half, band.mid_top, x + symbol.half, band.mid_bottom


def _ground(page: Page, glyph: Glyph) -> Rectangle:
    """The sign of the body, hung directly on its wire."""
    symbol, band = symbol_of(glyph.form), page.band(glyph)
    x, y = page.xs(glyph)[0], band.mid_top + symbol.reach
    rectangle = (x - symbol.half, band.mid_top, x + symbol.half, y + symbol.reach)
    _drawn(page, glyph.form, x, y, 0, _halo(page, glyph, rectangle))
    return rectangle


def _lying(page: Page, glyph: Glyph) -> Rectangle:
    """A symbol between two posts that come from the same side."""
    symbol, band, y = symbol_of(glyph.form), page.band(glyph), page.band(glyph).middle
    (left, top), (right, _) = sorted(
        (page.placement.x[post.key], band.mid_top if post.top else band.mid_bottom) for post in glyph.posts
    )
    middle = (left + right) / 2
    rectangle = (left - 2, min(top, y - symbol.half), right + 2, max(top, y + symbol.half))
    style = _halo(page, glyph, rectangle)
    leads = [
        [(left, top), (left, y), (middle - symbol.reach, y)],
        [(middle + symbol.reach, y), (right, y), (right, top)],
    ]
    _leads(page, leads, style)
    first_left = page.xs(glyph)[0] == left
    _drawn(page, glyph.form, middle, y, 0 if glyph.form == "motor" else -90 if first_left else 90, style)
    return rectangle


# Relay


def _relay(page: Page, glyph: Glyph) -> Rectangle:
    """Coil and contact, joined by a dashed line."""
    band, xs, y = page.band(glyph), page.xs(glyph), page.band(glyph).middle
    coil, contact = symbol_of("coil"), symbol_of("contact")
    rectangle = (min(xs) - coil.half, band.mid_top, max(xs) + coil.half, band.mid_bottom)
    style = _halo(page, glyph, rectangle)
    for x, symbol in zip(xs, (coil, contact), strict=False):
        _leads(
            page,
            [[(x, band.mid_top), (x, y - symbol.reach)], [(x, y + symbol.reach), (x, band.mid_bottom)]],
            style,
        )
    _drawn(page, "coil", xs[0], y, 0, style)
    _contact(page, glyph, contact, style)
    start, end = (xs[0] + coil.half, xs[1] - 6) if xs[0] < xs[1] else (xs[1] + 6, xs[0] - coil.half)
    page.add("links", f'<path class="dash{style}" d="M{start:g} {y:g}H{end:g}"/>')
    return rectangle


def _contact(page: Page, glyph: Glyph, symbol: Symbol, style: str) -> None:
    """A make contact; with a rest contact (87a) a changeover, which rests there."""
    band, xs, y = page.band(glyph), page.xs(glyph), page.band(glyph).middle
    x = xs[1]
    turned = not glyph.posts[1].top.endswith(".30")
    if len(xs) == 2:
        _drawn(page, "contact", x, y, 180 if turned else 0, style)
        return
    down = -1 if turned else 1
    aside = 1 if xs[2] > x else -1
    common, blade_end, make = y - 12 * down, y + 10 * down, y + 12 * down
    leads = [
        [(x, y - symbol.reach * down), (x, common), (x + 17 * aside, blade_end)],
        [(x, y + symbol.reach * down), (x, make)],
        [(x + 14 * aside, make), (xs[2], make), (xs[2], band.mid_top if turned else band.mid_bottom)],
    ]
    _leads(page, leads, style)


# Boxes


def _box(page: Page, glyph: Glyph) -> Rectangle:
    """A box over the columns of its posts, with its name inside."""
    xs, band, half = page.xs(glyph), page.band(glyph), box_height(glyph, page.writing) / 2
    lines = box_lines(glyph, page.writing)
    left = min(xs) - BOX_MARGIN
    right = max(max(xs) + BOX_MARGIN, left + box_room(lines))
    level = page.level(glyph.key)
    page.add(
        "symbols",
        f'<rect class="box{f" suspicion-{level}" if level else ""}" x="{left:g}" y="{band.middle - half:g}" '
        f'width="{right - left:g}" height="{2 * half:g}" rx="3"/>',
    )
    upper = [
        [(x, band.mid_top), (x, band.middle - half)]
        for x, post in zip(xs, glyph.posts, strict=True)
        if post.top
    ]
    lower = [
        [(x, band.middle + half), (x, band.mid_bottom)]
        for x, post in zip(xs, glyph.posts, strict=True)
        if post.bottom
    ]
    if band.mid_top < band.middle - half:
        _leads(page, upper + lower)
    for note in lines:
        page.write(note, left, band.middle, f" on-{level}" if level else "")
    return left, band.mid_top, right, band.mid_bottom


BODIES: Mapping[str, Callable[[Page, Glyph], Rectangle]] = {
    "relay": _relay,
    "splice": _splice,
    "ground": _ground,
    "mass": _ground,
}
"""Form → how it is drawn, where that is not simply a symbol on its post."""
