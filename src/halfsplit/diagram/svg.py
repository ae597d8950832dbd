"""An SVG drawing as a sheet (SVG 1.1): shapes, paths, texts, groups, references, simple styles. Scripts are not run."""

from __future__ import annotations

import contextlib
import math
import re
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from xml.etree.ElementTree import Element, ParseError

import defusedxml
from defusedxml.ElementTree import fromstring
from fontTools.misc.transform import Identity, Transform
from fontTools.pens.recordingPen import RecordingPen
from fontTools.svgLib.path import parse_path

from halfsplit.diagram.pdf import flattened
from halfsplit.diagram.sheet import Outline, Sheet, Spot, Word, box_of
from halfsplit.errors import InputError

MOST_ELEMENTS = 60_000
DEEPEST = 40
_NUMBER = re.compile(r"[-+]?(?:[0-9]*\.[0-9]+|[0-9]+\.?)(?:[eE][-+]?[0-9]+)?")
_UNITS = {"px": 1.0, "": 1.0, "pt": 4 / 3, "mm": 96 / 25.4, "cm": 96 / 2.54, "in": 96.0, "%": 1.0}
_WHITE = re.compile(r"#fff(?:fff)?|white|rgb\(\s*255[ ,]+255[ ,]+255\s*\)", re.IGNORECASE)
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

    matrix: Transform
    style: Mapping[str, str]


def sheet_of(data: bytes) -> Sheet:
    """The lines and words of an SVG. Raises `InputError` where it is not well formed, or unreasonably large."""
    try:
        root = fromstring(data, forbid_dtd=False, forbid_entities=True, forbid_external=True)
    except (ParseError, ValueError, defusedxml.DefusedXmlException) as error:
        raise InputError("the SVG cannot be read", remedy="save it again as plain SVG") from error
    if _tag(root) != "svg":
        raise InputError("this XML is not an SVG drawing")
    # As it is shown, and the matrix from its own coordinates to that.
    box = [float(number) for number in _NUMBER.findall(root.get("viewBox", ""))]
    width, height, matrix = _length(root.get("width", "")), _length(root.get("height", "")), Identity
    if len(box) == 4 and box[2] > 0 and box[3] > 0:
        width, height = width or box[2], height or box[3]
        scale = min(width / box[2], height / box[3])
        matrix = Identity.scale(scale).translate(-box[0], -box[1])
    elif not width or not height:
        raise InputError("the SVG gives no size", remedy="save it with a width and a height")
    reader = _Reader(root)
    reader.walk(root, _Look(matrix, {}), 0)
    return Sheet(width, height, tuple(reader.outlines), tuple(reader.words))


def _tag(element: Element) -> str:
    return str(element.tag).rpartition("}")[2]


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
        self.rules: dict[str, dict[str, str]] = {}
        """Rules of the style sheets for a tag, a class or an id; of a longer selector the last of its names counts."""
        for sheet in (element for element in root.iter() if _tag(element) == "style"):
            text = re.sub(
                r"/\*.*?\*/|@[^{]*\{(?:[^{}]*\{[^}]*\})*[^}]*\}", "", sheet.text or "", flags=re.DOTALL
            )
            for selectors, body in re.findall(r"([^{}]+)\{([^}]*)\}", text):
                for selector in selectors.split(","):
                    last = (selector.split() or [""])[-1]
                    if re.fullmatch(r"[a-zA-Z]+|[.#][\w-]+", last):
                        self.rules.setdefault(last, {}).update(_declared(body))

    def walk(self, element: Element, look: _Look, depth: int) -> None:
        self.count += 1
        if self.count > MOST_ELEMENTS or depth > DEEPEST:
            raise InputError(f"the SVG has more than {MOST_ELEMENTS} elements, or they lie too deep")
        tag = _tag(element)
        style = {**look.style, **self._style(element)}
        if style.get("display") == "none" or tag in _UNSEEN:
            return
        look = _Look(_transformed(look.matrix, element.get("transform", "")), style)
        if tag == "text":
            self._text(element, look)
        elif tag == "use":
            links = [value for key, value in element.attrib.items() if key.rpartition("}")[2] == "href"]
            target = self.known.get("".join(links[:1]).removeprefix("#"))
            if target is not None:
                x, y = _length(element.get("x", "")), _length(element.get("y", ""))
                placed = _Look(look.matrix.translate(x, y), style)
                for each in target if _tag(target) == "symbol" else [target]:
                    self.walk(each, placed, depth + 1)
        else:
            if tag in _SHAPES and style.get("visibility") != "hidden":
                self.outlines += _outlines(_SHAPES[tag](element), look)
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
            corners = [(a, b) for a in (left, right) for b in (y - 0.78 * size, y + 0.2 * size)]
            box = box_of(look.matrix.transformPoints(corners))
            upright = abs(look.matrix[0]) >= abs(look.matrix[1])
            self.words.append(Word(match[0], box, box[3] - box[1] if upright else box[2] - box[0], upright))


def _outlines(paths: Iterable[Path], look: _Look) -> Iterator[Outline]:
    """What is drawn along some paths; nothing where it is painted in the white of the paper."""
    stroke, fill = look.style.get("stroke", "none").strip(), look.style.get("fill", "black").strip()
    stroked = stroke not in ("none", "transparent", "")
    filled = fill not in ("none", "transparent") and not (stroked and _WHITE.fullmatch(fill))
    if not (stroked or filled) or _WHITE.fullmatch(stroke if stroked else fill):
        return
    dashed = look.style.get("stroke-dasharray", "none") not in ("none", "", "0", "-")
    for spots, closed in paths:
        if len(spots) > 1 and (stroked or closed or len(spots) > 2):
            yield Outline(tuple(look.matrix.transformPoints(spots)), closed, stroked, filled, dashed)


def _first(text: str | None, missing: float = 0.0) -> float:
    number = _NUMBER.search(text or "")
    return float(number[0]) if number else missing


# Styles


def _declared(text: str) -> dict[str, str]:
    pairs = (declaration.partition(":") for declaration in text.split(";"))
    return {name.strip(): value.strip() for name, _, value in pairs if name.strip() in _PROPERTIES}


def _transformed(matrix: Transform, text: str) -> Transform:
    """A matrix after the transformations that an element has of its own."""
    for name, body in re.findall(r"(\w+)\s*\(([^)]*)\)", text):
        numbers = [float(number) for number in _NUMBER.findall(body)]
        if numbers and name in _TRANSFORMS:
            matrix = matrix.transform(_TRANSFORMS[name](numbers))
    return matrix


_TRANSFORMS: Mapping[str, Callable[[Sequence[float]], Transform]] = {
    "translate": lambda n: Identity.translate(*n[:2]),
    "scale": lambda n: Identity.scale(*n[:2]),
    "rotate": lambda n: (
        Identity.translate(*n[1:3]).rotate(math.radians(n[0])).translate(*(-x for x in n[1:3]))
    ),
    "matrix": lambda n: Transform(*n) if len(n) == 6 else Identity,
    "skewX": lambda n: Identity.skew(x=math.radians(n[0])),
    "skewY": lambda n: Identity.skew(y=math.radians(n[0])),
}


# Shapes

Path = tuple[Sequence[Spot], bool]
"""Spots, closed."""


def _line(element: Element) -> Iterator[Path]:
    x1, y1, x2, y2 = (_length(element.get(name, "")) for name in ("x1", "y1", "x2", "y2"))
    yield [(x1, y1), (x2, y2)], False


def _rect(element: Element) -> Iterator[Path]:
    x, y, w, h = (_length(element.get(name, "")) for name in ("x", "y", "width", "height"))
    if "%" not in element.get("width", "") and w > 0 and h > 0:
        yield [(x, y), (x + w, y), (x + w, y + h), (x, y + h), (x, y)], True


def _ellipse(element: Element) -> Iterator[Path]:
    x, y, r, rx, ry = (_length(element.get(name, "")) for name in ("cx", "cy", "r", "rx", "ry"))
    turns = [2 * math.pi * step / 24 for step in range(25)]
    yield [(x + (r or rx) * math.cos(turn), y + (r or ry) * math.sin(turn)) for turn in turns], True


def _polyline(element: Element) -> Iterator[Path]:
    numbers = [float(number) for number in _NUMBER.findall(element.get("points", ""))]
    spots = list(zip(numbers[::2], numbers[1::2], strict=False))
    closed = _tag(element) == "polygon"
    yield [*spots, spots[0]] if closed and spots else spots, closed


def _path(element: Element) -> Iterator[Path]:
    """The subpaths of path data (SVG 1.1, 8.3); what comes after a mistake in it is left out."""
    pen = RecordingPen()
    with contextlib.suppress(ValueError):
        parse_path(element.get("d", ""), pen)
    return flattened(pen.value)


_SHAPES: Mapping[str, Callable[[Element], Iterator[Path]]] = {
    "line": _line, "rect": _rect, "circle": _ellipse, "ellipse": _ellipse, "polyline": _polyline, "polygon": _polyline,
    "path": _path,
}  # fmt: skip
