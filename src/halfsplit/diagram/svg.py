"""An SVG drawing as a sheet (SVG 1.1): shapes, paths, texts, groups, references, simple styles. Scripts are not run."""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from xml.etree.ElementTree import Element, ParseError

import defusedxml
from defusedxml.ElementTree import fromstring

from halfsplit.diagram.pdf import Matrix, after, curve, moved
from halfsplit.diagram.sheet import Outline, Sheet, Spot, Word
from halfsplit.errors import InputError

MOST_ELEMENTS = 60_000
DEEPEST = 40
_NUMBER = re.compile(r"[-+]?(?:[0-9]*\.[0-9]+|[0-9]+\.?)(?:[eE][-+]?[0-9]+)?")
_ARC = re.compile(
    rf"({_NUMBER.pattern})[\s,]*" * 3 + r"([01])[\s,]*([01])[\s,]*" + rf"({_NUMBER.pattern})[\s,]*" * 2
)
"""The seven numbers of an arc, whose two flags may stand without a space (SVG 1.1, 8.3.9)."""
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
_ARGUMENTS = {"M": 2, "L": 2, "H": 1, "V": 1, "C": 6, "S": 4, "Q": 4, "T": 2, "A": 7, "Z": 0}


def path_spots(d: str) -> Iterator[Path]:
    """The subpaths of path data (SVG 1.1, 8.3), curves flattened."""
    spots: list[Spot] = []
    start: Spot = (0.0, 0.0)
    handle: Spot | None = None
    bent = False
    for command, numbers in _commands(d):
        x, y = spots[-1] if spots else start
        upper, base = command.upper(), (x, y) if command.islower() else (0.0, 0.0)
        if upper == "M":
            if len(spots) > 1:
                yield spots, False, bent
            start = (base[0] + numbers[0], base[1] + numbers[1])
            spots, bent, handle = [start], False, None
        elif upper == "Z":
            if len(spots) > 1:
                yield [*spots, start], True, bent
            spots, bent, handle = [start], False, None
        elif upper in "LHV":
            dx = numbers[0] + base[0] if upper != "V" else x
            dy = numbers[-1] + base[1] if upper != "H" else y
            spots.append((dx, dy))
            handle = None
        elif upper == "A":
            spots += _arc((x, y), numbers, (base[0] + numbers[5], base[1] + numbers[6]))
            bent, handle = True, None
        else:
            points = [(base[0] + a, base[1] + b) for a, b in zip(numbers[::2], numbers[1::2], strict=True)]
            handles, handle = _handles(upper, (x, y), points, handle)
            spots += curve((x, y), handles)
            bent = True
    if len(spots) > 1:
        yield spots, False, bent


def _commands(d: str) -> Iterator[tuple[str, list[float]]]:
    for letter, body in re.findall(r"([MmLlHhVvCcSsQqTtAaZz])([^MmLlHhVvCcSsQqTtAaZz]*)", d):
        flags = _ARC.findall(body) if letter in "Aa" else []
        numbers = [float(number) for number in (sum(flags, ()) if flags else _NUMBER.findall(body))]
        count = _ARGUMENTS[letter.upper()]
        if not count:
            yield letter, []
            continue
        for number in range(0, len(numbers) - count + 1, count):
            # more pairs after a move are lines
            following = {"M": "L", "m": "l"}.get(letter, letter) if number else letter
            yield following, numbers[number : number + count]


def _handles(kind: str, at: Spot, points: list[Spot], before: Spot | None) -> tuple[list[Spot], Spot]:
    """The handles and end of a cubic curve, for each kind of curve; and the handle that a smooth one goes on from."""
    mirrored = at if before is None else (2 * at[0] - before[0], 2 * at[1] - before[1])
    if kind in "CS":
        handles = points if kind == "C" else [mirrored, *points]
        return handles, handles[1]
    middle, end = points if kind == "Q" else (mirrored, points[0])
    first = (at[0] + 2 / 3 * (middle[0] - at[0]), at[1] + 2 / 3 * (middle[1] - at[1]))
    second = (end[0] + 2 / 3 * (middle[0] - end[0]), end[1] + 2 / 3 * (middle[1] - end[1]))
    return [first, second, end], middle


def _arc(start: Spot, numbers: Sequence[float], end: Spot) -> list[Spot]:
    """Spots on an elliptical arc after its start (SVG 1.1, F.6.5); radii that are too small are enlarged."""
    rx, ry, turn, large, sweep = (
        abs(numbers[0]),
        abs(numbers[1]),
        math.radians(numbers[2]),
        numbers[3],
        numbers[4],
    )
    if not rx or not ry or start == end:
        return [end]
    cosine, sine = math.cos(turn), math.sin(turn)
    dx, dy = (start[0] - end[0]) / 2, (start[1] - end[1]) / 2
    x, y = cosine * dx + sine * dy, -sine * dx + cosine * dy
    grow = math.sqrt(max(1.0, (x / rx) ** 2 + (y / ry) ** 2))
    rx, ry = rx * grow, ry * grow
    square = (rx * ry) ** 2 - (rx * y) ** 2 - (ry * x) ** 2
    share = math.sqrt(max(0.0, square / ((rx * y) ** 2 + (ry * x) ** 2)))
    share = -share if bool(large) == bool(sweep) else share
    cx, cy = share * rx * y / ry, -share * ry * x / rx
    middle = (
        cosine * cx - sine * cy + (start[0] + end[0]) / 2,
        sine * cx + cosine * cy + (start[1] + end[1]) / 2,
    )
    first = math.atan2((y - cy) / ry, (x - cx) / rx)
    last = math.atan2((-y - cy) / ry, (-x - cx) / rx)
    way = (last - first) % (2 * math.pi) - (0 if sweep else 2 * math.pi)
    steps = max(4, round(abs(way) * 4))
    spots = []
    for step in range(1, steps + 1):
        angle = first + way * step / steps
        px, py = rx * math.cos(angle), ry * math.sin(angle)
        spots.append((cosine * px - sine * py + middle[0], sine * px + cosine * py + middle[1]))
    return spots
