"""An SVG drawing as a sheet (SVG 1.1): shapes, paths, texts, groups, references, simple styles. Scripts are not run."""

from __future__ import annotations

import contextlib
import math
import re
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from xml.etree.ElementTree import Element, ParseError

import defusedxml
from defusedxml.ElementTree import fromstring
from fontTools.pens.recordingPen import RecordingPen
from fontTools.svgLib.path import parse_path

from halfsplit.diagram.pdf import Matrix, after, curve, moved
from halfsplit.diagram.sheet import Outline, Sheet, Spot, Word
from halfsplit.errors import InputError

MOST_ELEMENTS = 60_000
DEEPEST = 40
_NUMBER = re.compile(r"[-+]?(?:[0-9]*\.[0-9]+|[0-9]+\.?)(?:[eE][-+]?[0-9]+)?")
_IDENTITY: Matrix = (1.0, 0.0, 0.0, 1.0, 0.0, 0.0)
_UNITS = {"px": 1.0, "": 1.0, "pt": 4 / 3, "mm": 96 / 25.4, "cm": 96 / 2.54, "in": 96.0, "%": 1.0}
_NAMED = {"black": "#000000", "white": "#ffffff", "red": "#ff0000", "blue": "#0000ff", "green": "#008000"}
_UNSEEN = frozenset(
    ("defs", "symbol", "clipPath", "mask", "marker", "style", "pattern", "title", "desc", "metadata")
)
_PROPERTIES = (
    "stroke", "fill", "stroke-width", "stroke-dasharray", "display", "visibility", "font-size", "text-anchor",
    "dominant-baseline",
)  # fmt: skip
WIDTH_OF_LETTER = 0.58
"""Mean width of a letter as a share of its height; the fonts are not read."""


@dataclass(frozen=True, slots=True)
class _Look:
    """What an element inherits."""

    matrix: Matrix
    style: Mapping[str, str]


def sheet_of(data: bytes) -> Sheet:
    """The lines and words of an SVG. Raises `InputError` where it is not well formed, or unreasonably large."""
    try:
        root = fromstring(data, forbid_dtd=False, forbid_entities=True, forbid_external=True)
    except (ParseError, ValueError, defusedxml.DefusedXmlException) as error:
        raise InputError("the SVG cannot be read", remedy="save it again as plain SVG") from error
    if _tag(root) != "svg":
        raise InputError("this XML is not an SVG drawing")
    width, height, matrix = _frame(root)
    reader = _Reader(root)
    reader.walk(root, _Look(matrix, {}), 0)
    return Sheet(width, height, tuple(reader.outlines), tuple(reader.words))


def _tag(element: Element) -> str:
    return str(element.tag).rpartition("}")[2]


def _frame(root: Element) -> tuple[float, float, Matrix]:
    """Width and height of the drawing as it is shown, and the matrix from its own coordinates to that."""
    box = [float(number) for number in _NUMBER.findall(root.get("viewBox", ""))]
    width, height = _length(root.get("width", "")), _length(root.get("height", ""))
    if len(box) == 4 and box[2] > 0 and box[3] > 0:
        width, height = width or box[2], height or box[3]
        scale = min(width / box[2], height / box[3])
        return width, height, (scale, 0.0, 0.0, scale, -box[0] * scale, -box[1] * scale)
    if not width or not height:
        raise InputError("the SVG gives no size", remedy="save it with a width and a height")
    return width, height, _IDENTITY


def _length(text: str, base: float = 16.0) -> float:
    """A length in pixels; 0 where there is none. A share of the page counts as none."""
    match = re.match(rf"\s*({_NUMBER.pattern})\s*([a-z%]*)", text or "")
    if not match or match[2] == "%":
        return 0.0
    return float(match[1]) * (base if match[2] in ("em", "rem") else _UNITS.get(match[2], 1.0))


class _Reader:
    """Walks through the elements and collects what is drawn."""

    def __init__(self, root: Element) -> None:
        self.outlines: list[Outline] = []
        self.words: list[Word] = []
        self.count = 0
        self.known = {element.get("id"): element for element in root.iter() if element.get("id")}
        self.rules = _rules(root)

    def walk(self, element: Element, look: _Look, depth: int) -> None:
        self.count += 1
        if self.count > MOST_ELEMENTS or depth > DEEPEST:
            raise InputError(f"the SVG has more than {MOST_ELEMENTS} elements, or they lie too deep")
        tag = _tag(element)
        style = {**look.style, **self._style(element)}
        if style.get("display") == "none" or tag in _UNSEEN:
            return
        look = _Look(after(_transform(element.get("transform", "")), look.matrix), style)
        if tag == "text":
            self._text(element, look)
        elif tag == "use":
            self._use(element, look, depth)
        else:
            self._shape(element, tag, look)
            for child in element:
                self.walk(child, look, depth + 1)

    def _style(self, element: Element) -> dict[str, str]:
        style = dict(self.rules.get(_tag(element), {}))
        for name in (element.get("class") or "").split():
            style |= self.rules.get(f".{name}", {})
        if element.get("id"):
            style |= self.rules.get(f"#{element.get('id')}", {})
        style = {**{name: element.get(name, "") for name in _PROPERTIES if element.get(name)}, **style}
        return style | _declared(element.get("style") or "")

    def _use(self, element: Element, look: _Look, depth: int) -> None:
        name = next((value for key, value in element.attrib.items() if key.rpartition("}")[2] == "href"), "")
        target = self.known.get(name.removeprefix("#"))
        if target is None:
            return
        x, y = _length(element.get("x", "")), _length(element.get("y", ""))
        placed = _Look(after((1.0, 0.0, 0.0, 1.0, x, y), look.matrix), look.style)
        if _tag(target) == "symbol":
            for child in target:
                self.walk(child, placed, depth + 1)
        else:
            self.walk(target, placed, depth + 1)

    def _shape(self, element: Element, tag: str, look: _Look) -> None:
        make = _SHAPES.get(tag)
        if make is None or look.style.get("visibility") == "hidden":
            return
        stroke, fill = look.style.get("stroke", "none"), look.style.get("fill", "black")
        stroked, ink = stroke not in ("none", "transparent", ""), _colour(fill)
        filled = fill not in ("none", "transparent") and not (stroked and ink == "#ffffff")
        if not stroked and not filled:
            return
        scale = math.sqrt(abs(look.matrix[0] * look.matrix[3] - look.matrix[1] * look.matrix[2]))
        width = _length(look.style.get("stroke-width", "1")) * scale
        dashed = look.style.get("stroke-dasharray", "none") not in ("none", "", "0", "-")
        for spots, closed, bent in make(element):
            placed = tuple(moved(look.matrix, *spot) for spot in spots)
            if len(placed) > 1 and (stroked or closed or len(placed) > 2):
                self.outlines.append(
                    Outline(
                        placed,
                        closed,
                        bent,
                        stroked,
                        filled,
                        width,
                        _colour(stroke) if stroked else ink,
                        dashed,
                    )
                )

    def _text(self, element: Element, look: _Look) -> None:
        x, y = _first(element.get("x")), _first(element.get("y"))
        size = _length(look.style.get("font-size", "16")) or 16.0
        anchor = look.style.get("text-anchor", "start")
        self._write(element.text or "", x, y, size, anchor, look)
        for child in element:
            style = {**look.style, **self._style(child)}
            own = _length(style.get("font-size", "")) or size
            x = _first(child.get("x"), x)
            y = _first(child.get("y"), y) + _length(child.get("dy", ""), own)
            self._write("".join(child.itertext()), x, y, own, style.get("text-anchor", anchor), look)

    def _write(self, text: str, x: float, y: float, size: float, anchor: str, look: _Look) -> None:
        """Words of a line, by the mean width of letters."""
        text = " ".join(text.split())
        wide = WIDTH_OF_LETTER * size
        if look.style.get("dominant-baseline", "") in ("central", "middle"):
            y += 0.29 * size
        x -= {"middle": 0.5, "end": 1.0}.get(anchor, 0.0) * len(text) * wide
        for match in re.finditer(r"\S+", text):
            left, right = x + match.start() * wide, x + match.end() * wide
            corners = [
                moved(look.matrix, a, b) for a in (left, right) for b in (y - 0.78 * size, y + 0.2 * size)
            ]
            xs, ys = [spot[0] for spot in corners], [spot[1] for spot in corners]
            upright = abs(look.matrix[0]) >= abs(look.matrix[1])
            box = (min(xs), min(ys), max(xs), max(ys))
            self.words.append(Word(match[0], box, box[3] - box[1] if upright else box[2] - box[0], upright))


def _first(text: str | None, missing: float = 0.0) -> float:
    number = _NUMBER.search(text or "")
    return float(number[0]) if number else missing


# Styles


def _rules(root: Element) -> dict[str, dict[str, str]]:
    """Rules of the style sheets for a tag, a class or an id; of a longer selector the last of its names counts."""
    rules: dict[str, dict[str, str]] = {}
    for sheet in (element for element in root.iter() if _tag(element) == "style"):
        text = re.sub(r"/\*.*?\*/|@[^{]*\{(?:[^{}]*\{[^}]*\})*[^}]*\}", "", sheet.text or "", flags=re.DOTALL)
        for selectors, body in re.findall(r"([^{}]+)\{([^}]*)\}", text):
            for selector in selectors.split(","):
                last = (selector.split() or [""])[-1]
                if re.fullmatch(r"[a-zA-Z]+|[.#][\w-]+", last):
                    rules.setdefault(last, {}).update(_declared(body))
    return rules


def _declared(text: str) -> dict[str, str]:
    pairs = (declaration.partition(":") for declaration in text.split(";"))
    return {name.strip(): value.strip() for name, _, value in pairs if name.strip() in _PROPERTIES}


def _colour(text: str) -> str:
    text = text.strip().lower()
    short = re.fullmatch(r"#([0-9a-f])([0-9a-f])([0-9a-f])", text)
    if short:
        return "#" + "".join(2 * digit for digit in short.groups())
    parts = re.fullmatch(r"rgb\(\s*(\d+)[ ,]+(\d+)[ ,]+(\d+)\s*\)", text)
    if parts:
        return "#" + "".join(f"{min(255, int(group)):02x}" for group in parts.groups())
    return text if re.fullmatch(r"#[0-9a-f]{6}", text) else _NAMED.get(text, "#000000")


def _transform(text: str) -> Matrix:
    matrix = _IDENTITY
    for name, body in reversed(re.findall(r"(\w+)\s*\(([^)]*)\)", text)):
        matrix = after(
            matrix, _TRANSFORMS.get(name, _no_transform)([float(number) for number in _NUMBER.findall(body)])
        )
    return matrix


def _rotate(numbers: Sequence[float]) -> Matrix:
    turn = math.radians(numbers[0]) if numbers else 0.0
    cosine, sine = math.cos(turn), math.sin(turn)
    x, y = (numbers[1], numbers[2]) if len(numbers) > 2 else (0.0, 0.0)
    return cosine, sine, -sine, cosine, x - cosine * x + sine * y, y - sine * x - cosine * y


def _no_transform(_: Sequence[float]) -> Matrix:
    return _IDENTITY


_TRANSFORMS: Mapping[str, Callable[[Sequence[float]], Matrix]] = {
    "translate": lambda n: (1.0, 0.0, 0.0, 1.0, n[0], n[1] if len(n) > 1 else 0.0) if n else _IDENTITY,
    "scale": lambda n: (n[0], 0.0, 0.0, n[-1], 0.0, 0.0) if n else _IDENTITY,
    "rotate": _rotate,
    "matrix": lambda n: (n[0], n[1], n[2], n[3], n[4], n[5]) if len(n) == 6 else _IDENTITY,
    "skewX": lambda n: (1.0, 0.0, math.tan(math.radians(n[0])), 1.0, 0.0, 0.0) if n else _IDENTITY,
    "skewY": lambda n: (1.0, math.tan(math.radians(n[0])), 0.0, 1.0, 0.0, 0.0) if n else _IDENTITY,
}


# Shapes

Path = tuple[list[Spot], bool, bool]
"""Spots, closed, bent."""


def _line(element: Element) -> Iterator[Path]:
    x1, y1, x2, y2 = (_length(element.get(name, "")) for name in ("x1", "y1", "x2", "y2"))
    yield [(x1, y1), (x2, y2)], False, False


def _rect(element: Element) -> Iterator[Path]:
    x, y, w, h = (_length(element.get(name, "")) for name in ("x", "y", "width", "height"))
    if "%" not in element.get("width", "") and w > 0 and h > 0:
        yield [(x, y), (x + w, y), (x + w, y + h), (x, y + h), (x, y)], True, False


def _ellipse(element: Element) -> Iterator[Path]:
    x, y = _length(element.get("cx", "")), _length(element.get("cy", ""))
    rx = _length(element.get("r", "")) or _length(element.get("rx", ""))
    ry = _length(element.get("r", "")) or _length(element.get("ry", ""))
    turns = [2 * math.pi * step / 24 for step in range(25)]
    yield [(x + rx * math.cos(turn), y + ry * math.sin(turn)) for turn in turns], True, True


def _polyline(element: Element) -> Iterator[Path]:
    numbers = [float(number) for number in _NUMBER.findall(element.get("points", ""))]
    spots = list(zip(numbers[::2], numbers[1::2], strict=False))
    closed = _tag(element) == "polygon"
    yield [*spots, spots[0]] if closed and spots else spots, closed, False


def _path(element: Element) -> Iterator[Path]:
    yield from path_spots(element.get("d", ""))


_SHAPES = {
    "line": _line, "rect": _rect, "circle": _ellipse, "ellipse": _ellipse, "polyline": _polyline, "polygon": _polyline,
    "path": _path,
}  # fmt: skip


def path_spots(d: str) -> Iterator[Path]:
    """The subpaths of path data (SVG 1.1, 8.3), curves flattened; what comes after a mistake in it is left out."""
    pen = RecordingPen()
    with contextlib.suppress(ValueError):
        parse_path(d, pen)
    spots: list[Spot] = []
    bent = False
    for act, points in (*pen.value, ("endPath", ())):
        if act == "moveTo":
            spots, bent = [*points], False
        elif act == "lineTo":
            spots += points
        elif act in ("endPath", "closePath"):
            if len(spots) > 1:
                yield spots, act == "closePath", bent
            spots = []
        else:
            spots += curve(spots[-1], points if act == "curveTo" else _cubic(spots[-1], *points))
            bent = True


def _cubic(start: Spot, handle: Spot, end: Spot) -> list[Spot]:
    """The handles and end of the cubic curve that is the same as a quadratic one."""
    first, second = (
        (at[0] + 2 / 3 * (handle[0] - at[0]), at[1] + 2 / 3 * (handle[1] - at[1])) for at in (start, end)
    )
    return [first, second, end]
