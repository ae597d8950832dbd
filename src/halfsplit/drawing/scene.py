"""From a circuit to what is drawn: a glyph for each part and cavity, a link for each wire."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator, Mapping

from halfsplit.circuit.model import Model, Part, Wire
from halfsplit.drawing.fold import Fold
from halfsplit.drawing.glyphs import End, Glyph, Link, Post, Scene
from halfsplit.drawing.sides import Sides, end_points, part_points


def scene_of(fold: Fold, sides: Sides) -> Scene:
    """The glyphs and links of a circuit; ``fold`` has put stubs in the place of what is not concerned."""
    model = fold.model
    glyphs = {glyph.key: glyph for part in model.parts.values() for glyph in _glyphs(part, sides, fold)}
    for point in dict.fromkeys(point for wire in model.wires for point in end_points(wire.a, wire.b, model)):
        if point not in sides.net.part:  # of no declared part (the body): a node of its own
            glyphs[point] = Glyph(point, "ground", point, ((Post(point, point),),), foot=True)
    posts = [post for glyph in glyphs.values() for post in glyph.posts]
    # Point → end of a post; a splice, which has both, is looked at apart.
    ends = {point: end for post in posts for end, point in reversed(post.ends)}
    links = [_link(wire, model, sides, ends) for wire in model.wires]
    for stub in fold.stubs:
        part = sides.net.part.get(stub.point)
        end = End(stub.point, "bottom") if part is not None and part.kind == "splice" else ends[stub.point]
        hangs = end.side == "bottom" or (part is not None and part.is_source)
        post, other = _post(stub.key, stub.key, above=hangs), End(stub.key, "top" if hangs else "bottom")
        glyphs[stub.key] = Glyph(stub.key, "folded", stub.key, ((post,),))
        links.append(Link(stub.key, end, other, dashed=True, folded=True))
    return Scene(glyphs, tuple(links))


# Glyphs


def _glyphs(part: Part, sides: Sides, fold: Fold) -> Iterator[Glyph]:
    if part.kind != "connector":
        yield GLYPHS.get(part.kind, _load)(part, sides, fold)
        return
    cavities = {point.partition(":")[0] for point in fold.points if point.partition(".")[0] == part.name}

    def by_number(cavity: str) -> tuple[int, str]:
        return int(re.sub(r"\D", "", cavity.partition(".")[2]) or 0), cavity

    for cavity in sorted(cavities, key=by_number):
        top, bottom = _upright(f"{cavity}:in", f"{cavity}:out", sides)
        yield Glyph(cavity, "cavity", part.name, ((Post(cavity, top, bottom),),))


def _upright(a: str, b: str, sides: Sides) -> tuple[str, str]:
    """The two points with the higher one first; in the order given where there is nothing to choose."""
    height = sides.height
    return (b, a) if height.get(b, 0.5) > height.get(a, 0.5) else (a, b)


def _splice(part: Part, _sides: Sides, _fold: Fold) -> Glyph:
    return Glyph(part.name, "splice", part.name, ((Post(part.name, part.name, part.name),),))


def _ground(part: Part, _sides: Sides, _fold: Fold) -> Glyph:
    return Glyph(part.name, part.kind, part.name, ((Post(part.name, part.name),),), foot=True)


def _source(part: Part, _sides: Sides, _fold: Fold) -> Glyph:
    post = Post(part.name, f"{part.name}.+", f"{part.name}.-")
    return Glyph(part.name, part.kind, part.name, ((post,),), head=True)


def _relay(part: Part, sides: Sides, _fold: Fold) -> Glyph:
    name = part.name
    coil = Post(f"{name} coil", *_upright(f"{name}.86", f"{name}.85", sides))
    top, bottom = _upright(f"{name}.30", f"{name}.87", sides)
    contact = [Post(f"{name} contact", top, bottom)]
    if "87a" in part.pins:
        contact.append(_post(f"{name} rest", f"{name}.87a", above=top.endswith(".87")))
    return Glyph(name, "relay", name, ((coil,), tuple(contact)))


def _module(part: Part, sides: Sides, fold: Fold) -> Glyph:
    posts = [
        _post(point, point, above=sides.module.get(point) == "top")
        for point in part_points(part)
        if point in fold.points
    ]
    if part.name in fold.boxes:
        posts.append(Post(f"{part.name} more", "", f"{part.name} more"))
    return Glyph(
        part.name, "module", part.name, tuple((post,) for post in posts or [Post(part.name)]), free=True
    )


def _load(part: Part, sides: Sides, fold: Fold) -> Glyph:
    points = part_points(part)
    if len(points) != 2:
        # A part with more than two pins as a box with its pins above and below.
        wired = [(point, sides.net.wires.get(point, ())) for point in points if point in fold.points]
        heights = [(point, [sides.height.get(end, 0.5) for end in ends]) for point, ends in wired]
        posts = [
            _post(point, point, above=max(ends, default=0.0) > sides.height.get(point, 0.5))
            for point, ends in heights
        ]
        units = tuple((post,) for post in posts or [Post(part.name)])
        return Glyph(part.name, "box", part.name, units, free=True)
    if part.name in sides.hanging:
        return Glyph(part.name, part.kind, part.name, tuple((Post(point, point),) for point in points))
    return Glyph(part.name, part.kind, part.name, ((Post(part.name, *_upright(*points, sides)),),))


def _post(key: str, point: str, *, above: bool) -> Post:
    """A post with a point at one of its ends."""
    return Post(key, point, "") if above else Post(key, "", point)


GLYPHS: Mapping[str, Callable[[Part, Sides, Fold], Glyph]] = {
    "splice": _splice,
    "ground": _ground,
    "mass": _ground,
    "battery": _source,
    "generator": _source,
    "relay": _relay,
    "module": _module,
}
"""Kind → how its glyph is made; every other kind is a load with two pins, or a box."""


# Links


def _end(point: str, other: str, sides: Sides, ends: Mapping[str, End]) -> End:
    part = sides.net.part.get(point)
    if part is None or part.kind != "splice":
        return ends[point]
    above = sides.height.get(other, 0.5) > sides.height.get(point, 0.5)
    return End(point, "top" if above else "bottom")


def _link(wire: Wire, model: Model, sides: Sides, ends: Mapping[str, End]) -> Link:
    a, b = end_points(wire.a, wire.b, model)
    drop = sides.height.get(a, 0.5) - sides.height.get(b, 0.5)
    return Link(
        wire.name,
        _end(a, b, sides, ends),
        _end(b, a, sides, ends),
        wire_mark(wire),
        drop,
        dashed=wire.unknown or bool(wire.variant),
    )


def wire_mark(wire: Wire) -> str:
    """Cross-section and colour as they are written along a wire: ``2.5 RD/WH``, ``14 AWG BK``."""
    unit = "" if wire.colour else " mm²"
    section = (
        f"{wire.gauge} AWG"
        if wire.gauge is not None
        else f"{wire.mm2:g}{unit}"
        if wire.mm2 is not None
        else ""
    )
    words = (
        section,
        wire.colour,
        "not shown" if wire.unknown else "",
        f"({wire.variant})" if wire.variant else "",
    )
    return " ".join(word for word in words if word)
