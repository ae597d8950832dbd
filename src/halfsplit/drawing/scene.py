"""From a circuit to what is drawn: a glyph for each part and cavity, a link for each wire."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping
from types import MappingProxyType

from halfsplit.circuit.model import Model, Part, Wire
from halfsplit.drawing.fold import Fold, Stub
from halfsplit.drawing.glyphs import End, Glyph, Link, Post, Scene
from halfsplit.drawing.sides import Sides, end_points, part_points


def scene_of(fold: Fold, sides: Sides) -> Scene:
    """The glyphs and links of a circuit; ``fold`` has put stubs in the place of what is not concerned."""
    model = fold.model
    glyphs = {glyph.key: glyph for part in model.parts.values() for glyph in _glyphs(part, sides, fold)}
    glyphs |= {glyph.key: glyph for glyph in _loose_ends(model, sides)}
    ends = _ends(glyphs.values())
    links = [_link(wire, model, sides, ends) for wire in model.wires]
    for stub in fold.stubs:
        glyph, link = _stub(stub, sides, ends)
        glyphs[glyph.key] = glyph
        links.append(link)
    return Scene(MappingProxyType(glyphs), tuple(links))


# Glyphs


def _glyphs(part: Part, sides: Sides, fold: Fold) -> Iterator[Glyph]:
    if part.kind == "connector":
        cavities = {point.partition(":")[0] for point in fold.points if point.partition(".")[0] == part.name}
        yield from (_cavity(part, cavity, sides) for cavity in sorted(cavities, key=_by_number))
    else:
        yield GLYPHS.get(part.kind, _load)(part, sides, fold)


def _by_number(name: str) -> tuple[int, str]:
    digits = "".join(character for character in name.partition(".")[2] if character.isdigit())
    return int(digits or 0), name


def _upright(a: str, b: str, sides: Sides) -> tuple[str, str]:
    """The two points with the higher one first; in the order given where there is nothing to choose."""
    height = sides.height
    return (b, a) if height.get(b, 0.5) > height.get(a, 0.5) else (a, b)


def _cavity(part: Part, cavity: str, sides: Sides) -> Glyph:
    top, bottom = _upright(f"{cavity}:in", f"{cavity}:out", sides)
    return Glyph(cavity, "cavity", part.name, ((Post(cavity, top, bottom),),))


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
    rest = f"{name}.87a" if "87a" in part.pins else ""
    top, bottom = _upright(f"{name}.30", f"{name}.87", sides)
    contact = [Post(f"{name} contact", top, bottom)]
    if rest:
        contact.append(Post(f"{name} rest", rest) if top.endswith(".87") else Post(f"{name} rest", "", rest))
    return Glyph(name, "relay", name, ((coil,), tuple(contact)))


def _module(part: Part, sides: Sides, fold: Fold) -> Glyph:
    posts = []
    for point in part_points(part):
        if point in fold.points:
            top = sides.module.get(point) == "top"
            posts.append(Post(point, point, "") if top else Post(point, "", point))
    if part.name in fold.boxes:
        posts.append(Post(f"{part.name} more", "", f"{part.name} more"))
    return Glyph(
        part.name, "module", part.name, tuple((post,) for post in posts or [Post(part.name)]), free=True
    )


def _load(part: Part, sides: Sides, fold: Fold) -> Glyph:
    points = part_points(part)
    if len(points) != 2:
        # A part with more than two pins as a box with its pins above and below.
        posts = [
            Post(point, point, "") if _comes_from_above(point, sides) else Post(point, "", point)
            for point in points
            if point in fold.points
        ]
        units = tuple((post,) for post in posts or [Post(part.name)])
        return Glyph(part.name, "box", part.name, units, free=True)
    if part.name in sides.hanging:
        return Glyph(part.name, part.kind, part.name, tuple((Post(point, point),) for point in points))
    return Glyph(part.name, part.kind, part.name, ((Post(part.name, *_upright(*points, sides)),),))


def _comes_from_above(point: str, sides: Sides) -> bool:
    others = [sides.height.get(other, 0.5) for other in sides.net.wires.get(point, ())]
    return bool(others) and max(others) > sides.height.get(point, 0.5)


GLYPHS: Mapping[str, Callable[[Part, Sides, Fold], Glyph]] = MappingProxyType(
    {
        "splice": _splice,
        "ground": _ground,
        "mass": _ground,
        "battery": _source,
        "generator": _source,
        "relay": _relay,
        "module": _module,
    }
)
"""Kind → how its glyph is made; every other kind is a load with two pins, or a box."""


def _loose_ends(model: Model, sides: Sides) -> Iterator[Glyph]:
    """Points of wires that no declared part has (the body): a node of its own each."""
    points = dict.fromkeys(point for wire in model.wires for point in end_points(wire.a, wire.b, model))
    for point in points:
        if point not in sides.net.part:
            yield Glyph(point, "ground", point, ((Post(point, point),),), foot=True)


# Links


def _ends(glyphs: Iterable[Glyph]) -> dict[str, End]:
    """Point → end of a post; a splice, which has both, is looked at apart."""
    return {point: end for glyph in glyphs for post in glyph.posts for end, point in reversed(post.ends)}


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


def _stub(stub: Stub, sides: Sides, ends: Mapping[str, End]) -> tuple[Glyph, Link]:
    part = sides.net.part.get(stub.point)
    end = End(stub.point, "bottom") if part is not None and part.kind == "splice" else ends[stub.point]
    hangs = end.side == "bottom" or (part is not None and part.is_source)
    post = Post(stub.key, stub.key, "") if hangs else Post(stub.key, "", stub.key)
    other = End(stub.key, "top" if hangs else "bottom")
    return Glyph(stub.key, "folded", stub.key, ((post,),)), Link(
        stub.key, end, other, dashed=True, folded=True
    )
