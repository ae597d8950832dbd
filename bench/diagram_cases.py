"""Diagrams whose truth is known: the product's own drawings printed by Chromium, and drawings made with schemdraw."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from functools import cache
from itertools import pairwise

from halfsplit.drawing import draw
from halfsplit.notation.circuit import Circuit
from halfsplit.notation.library import samples

POINTS_PER_PIXEL = 0.75
"""Chromium prints a CSS pixel as 1/96 inch, a PDF point is 1/72."""


Placed = Callable[[float, float], tuple[float, float]]
"""From a drawing's own coordinates to points of the page."""


def _match(pattern: bytes, data: bytes) -> tuple[bytes, ...]:
    """What the groups of a pattern hold. Raises ValueError where it is not in the data."""
    match = re.search(pattern, data)
    if match is None:
        raise ValueError(f"no {pattern!r} in this drawing")
    return match.groups()


@dataclass(frozen=True)
class Case:
    """A page and what it shows.

    ``data``: the file. ``pins``: pin name → where it stands on the page (x, y in points, from the upper left corner).
    ``wires``: pairs of pin names that a line joins. ``printed``: the pins whose own number stands on the page.
    """

    name: str
    data: bytes
    pins: Mapping[str, tuple[float, float]]
    wires: Sequence[tuple[str, str]]
    printed: frozenset[str] = field(default_factory=frozenset)


@cache
def own() -> tuple[Case, ...]:
    """Every pattern, drawn by the product and printed to PDF by Chromium."""
    from playwright.sync_api import sync_playwright

    from tests.browser.chromium import launched

    cases: list[Case] = []
    with sync_playwright() as player:
        browser = launched(player)
        page = browser.new_page()
        cases += [_own_case(page, pattern.name, pattern.text) for pattern in samples()]
        browser.close()
    return tuple(cases)


def _own_case(page, name: str, text: str) -> Case:  # type: ignore[no-untyped-def]
    model = Circuit.parse(text).model
    drawing = draw(model, standalone=True)
    page.set_content(f"<style>body{{margin:0}}svg{{display:block}}</style>{drawing.svg}")
    size = (f"{drawing.width + 1:.0f}px", f"{drawing.height + 1:.0f}px")
    data = page.pdf(width=size[0], height=size[1], print_background=True, page_ranges="1")
    pins = {
        point: ((left + right) / 2 * POINTS_PER_PIXEL, (top + bottom) / 2 * POINTS_PER_PIXEL)
        for point, (left, top, right, bottom) in drawing.boxes.targets
    }
    joined = [
        (a, b)
        for a, b in ((_shown(wire.a, pins), _shown(wire.b, pins)) for wire in model.wires)
        if a in pins and b in pins
    ]
    return Case(name, data, pins, joined)


def _shown(point: str, pins: Mapping[str, object]) -> str:
    """The name under which a point can be tapped: splices and grounds stand as they are."""
    return point if point in pins else point.partition(":")[0]


# Drawings made with schemdraw (MIT), in styles of its own


@dataclass(frozen=True)
class Style:
    """How a schemdraw drawing looks; ``jumps``: a crossing wire hops; ``dots``: joints have one."""

    name: str
    iec: bool
    backend: str
    fontsize: float
    lw: float
    font: str = "sans"
    theme: str = "default"
    dots: bool = True
    jumps: bool = False
    drop: float = 3.0


SEEN = (
    Style("IEEE, thick pen", iec=False, backend="matplotlib", fontsize=14, lw=2),
    Style("IEC, fine pen, serif", iec=True, backend="matplotlib", fontsize=10, lw=0.8, font="serif"),
    Style("IEC, printed from SVG", iec=True, backend="svg", fontsize=12, lw=1.5, drop=2.4),
)
UNSEEN = (
    Style("IEEE, no dots, large letters", iec=False, backend="matplotlib", fontsize=18, lw=1.2, dots=False),
    Style(
        "IEC, hops, small letters", iec=True, backend="matplotlib", fontsize=8, lw=1.0, jumps=True, drop=3.6
    ),
    Style("IEEE, file of SVG", iec=False, backend="svgfile", fontsize=13, lw=1.0, font="serif"),
)
CODES = {
    "F": ("Fuse",),
    "R": ("Resistor", "RBox", "ResistorVar", "Photoresistor", "Thermistor"),
    "S": ("Switch", "Button", "SwitchReed"),
    "H": ("Lamp", "Lamp2"),
    "M": ("Motor",),
    "V": ("Diode", "LED", "Zener"),
    "L": ("Inductor", "Inductor2"),
    "C": ("Capacitor", "Capacitor2"),
    "B": ("MeterV", "SourceSin"),
    "G": ("Battery", "SourceV"),
}
"""Letter code → elements of the library with two ends."""


def schemdraw_cases(styles: Sequence[Style], seeds: Sequence[int]) -> Iterator[Case]:
    """Drawings of random circuits in columns, with cross-connections, control units and relays."""
    for style in styles:
        for seed in seeds:
            yield _Columns(style, seed).case()


class _Columns:
    """One drawing: a feed above, columns of parts down to grounds, wires across."""

    def __init__(self, style: Style, seed: int) -> None:
        import numpy as np
        import schemdraw
        import schemdraw.elements as elm

        self.elm, self.style, self.seed = elm, style, seed
        self.rng = np.random.default_rng(seed)
        schemdraw.use("svg" if style.backend.startswith("svg") else "matplotlib")
        schemdraw.svgconfig.text = "text"
        elm.style(elm.STYLE_IEC if style.iec else elm.STYLE_IEEE)  # type: ignore[no-untyped-call]
        if style.theme != "default":
            schemdraw.theme(style.theme)  # type: ignore[no-untyped-call]
        self.d = schemdraw.Drawing(
            show=False, fontsize=style.fontsize, lw=style.lw, font=style.font, unit=style.drop
        )
        self.count: dict[str, int] = {}
        self.pins: dict[str, tuple[float, float]] = {}
        self.wires: list[tuple[str, str]] = []
        self.printed: set[str] = set()
        self.free: list[tuple[float, float, float, str]] = []
        self.heights: list[float] = []

    def name(self, code: str) -> str:
        self.count[code] = self.count.get(code, 0) + 1
        return f"{code}{self.count[code]}"

    def line(self, a: tuple[float, float], b: tuple[float, float], label: str = "") -> None:
        made = self.elm.Line().endpoints(a, b)
        self.d.add(made.label(label, fontsize=0.8 * self.style.fontsize) if label else made)

    def dot(self, at: tuple[float, float]) -> None:
        if self.style.dots:
            self.d.add(self.elm.Dot().at(at))

    def case(self) -> Case:
        wide = 3.4
        columns = int(self.rng.integers(4, 8))
        battery = self.name("G")
        feed: list[str] = [f"{battery}.+"]
        top = 0.0
        self.column(0.0, top, [("G", "Battery", battery)], feed, battery=True)
        for number in range(1, columns):
            chosen = [str(self.rng.choice(list(CODES)[:9])) for _ in range(int(self.rng.integers(2, 5)))]
            parts = [(code, str(self.rng.choice(CODES[code])), self.name(code)) for code in chosen]
            self.column(number * wide, top, parts, feed)
        self.line((0.0, top), ((columns - 1) * wide, top))
        for number in range(1, columns - 1):
            self.dot((number * wide, top))
        for a, b in pairwise(feed):
            self.wires.append((a, b))
        self.across(int(self.rng.integers(1, 4)), wide)
        self.unit((columns + 0.6) * wide)
        return self.drawn()

    def column(
        self,
        x: float,
        top: float,
        parts: list[tuple[str, str, str]],
        feed: list[str],
        *,
        battery: bool = False,
    ) -> None:
        style, y, before = self.style, top, ""
        for number, (_, kind, name) in enumerate(parts):
            gap = 1.0 + 0.5 * float(self.rng.integers(0, 4))
            colour = str(self.rng.choice(["RD", "0.5 BK", "1.5 GN/WH", "BN", "0.75 BU", ""]))
            self.line((x, y), (x, y - gap), colour)
            if number:
                self.free.append((x, y - gap / 2, gap, before))
            y -= gap
            element = getattr(self.elm, kind)().endpoints((x, y), (x, y - style.drop))
            element.label(name)
            made = self.d.add(element)
            first, second = (f"{name}.+", f"{name}.-") if battery else (f"{name}.1", f"{name}.2")
            self.pins[first] = tuple(made.absanchors["start"])
            self.pins[second] = tuple(made.absanchors["end"])
            if number == 0 and not battery:
                feed.append(first)
            elif number:
                self.wires.append((before, first))
            before, y = second, y - style.drop
        gap = 0.8 + 0.4 * float(self.rng.integers(0, 3))
        self.line((x, y), (x, y - gap))
        ground = self.name("E")
        kind = "Ground" if self.style.iec else "GroundChassis"
        self.d.add(getattr(self.elm, kind)().at((x, y - gap)).label(ground, loc="right"))
        self.pins[ground] = (x, y - gap)
        self.wires.append((before, ground))

    def across(self, count: int, wide: float) -> None:
        """Wires between columns, over those between."""
        for _ in range(count):
            if len(self.free) < 2:
                return
            first = self.free.pop(int(self.rng.integers(len(self.free))))
            others = [one for one in self.free if one[0] != first[0] and abs(one[1] - first[1]) < 6]
            if not others:
                continue
            second = others[int(self.rng.integers(len(others)))]
            self.free.remove(second)
            y = first[1]
            if any(abs(y - other) < 0.3 for other in self.heights):
                continue
            low, high = sorted((first[0], second[0]))
            if self.in_the_way(low, high, y) or abs(second[1] - y) > 0.5 * second[2] - 0.1:
                continue
            self.heights.append(y)
            self.hop_line(first[0], second[0], y)
            self.dot((first[0], y))
            self.dot((second[0], y))
            self.wires.append((first[3], second[3]))

    def symbols(self) -> Iterator[tuple[str, str, float]]:
        for pin, (x, _) in list(self.pins.items()):
            if pin.endswith((".1", ".+")) and f"{pin[:-1]}{'2' if pin.endswith('1') else '-'}" in self.pins:
                yield pin, f"{pin[:-1]}{'2' if pin.endswith('1') else '-'}", x

    def hop_line(self, start: float, stop: float, y: float) -> None:
        low, high = sorted((start, stop))
        columns = sorted({x for _, _, x in self.symbols() if low < x < high}) if self.style.jumps else []
        at = low
        for x in columns:
            self.line((at, y), (x - 0.2, y))
            self.arc(x, y)
            at = x + 0.2
        self.line((at, y), (high, y))

    def arc(self, x: float, y: float) -> None:
        import numpy as np
        from schemdraw.segments import Segment

        turns = np.linspace(np.pi, 0, 13)
        made = self.elm.Element()
        made.segments.append(Segment([(x + 0.2 * np.cos(t), y + 0.2 * np.sin(t)) for t in turns]))
        self.d.add(made.at((0, 0)).theta(0))

    def unit(self, x: float) -> None:
        """A control unit with pins at its left, wired to columns that are free."""
        count = min(int(self.rng.integers(2, 5)), len(self.free))
        if not count:
            return
        name = self.name("A")
        numbers = [str(number) for number in self.rng.permutation(range(1, 40))[:count]]
        box = self.d.add(
            self.elm.Ic(
                pins=[self.elm.IcPin(pin=number, side="left", anchorname=f"p{number}") for number in numbers],
                size=(3, 1.2 * count + 0.8),
                label=name,
            ).at((x, -4))
        )
        taken: set[float] = set()
        for number in numbers:
            pin = f"{name}.{number}"
            px, py = (float(value) for value in box.absanchors[f"p{number}"])
            self.pins[pin] = (px, py)
            self.printed.add(pin)
            fits = [one for one in self.free if one[0] not in taken and self.clear(one, px)]
            if fits:
                chosen = fits[int(self.rng.integers(len(fits)))]
                taken.add(chosen[0])
                self.heights.append(chosen[1])
                self.free.remove(chosen)
                turn = px - 0.5 - 0.35 * len(taken)
                self.line((px, py), (turn, py))
                self.line((turn, py), (turn, chosen[1]))
                self.hop_line(chosen[0], turn, chosen[1])
                self.dot((chosen[0], chosen[1]))
                self.wires.append((pin, chosen[3]))

    def clear(self, one: tuple[float, float, float, str], stop: float) -> bool:
        """Whether a level wire from a column to ``stop`` would meet nothing but what it crosses."""
        level = all(abs(one[1] - y) > 0.3 for y in self.heights)
        return level and not self.in_the_way(one[0], stop, one[1])

    def in_the_way(self, start: float, stop: float, y: float) -> bool:
        """Whether a part stands between two columns at this height."""
        return any(
            start < x < stop
            and min(self.pins[a][1], self.pins[b][1]) - 0.3 < y < max(self.pins[a][1], self.pins[b][1]) + 0.3
            for a, b, x in self.symbols()
        )

    def drawn(self) -> Case:
        name = f"{self.style.name} {self.seed}"
        used = {pin for wire in self.wires for pin in wire}
        if self.style.backend == "matplotlib":
            data, at = self._by_matplotlib()
        else:
            data, at = self._by_svg()
        pins = {pin: at(*spot) for pin, spot in self.pins.items() if pin in used}
        return Case(name, data, pins, self.wires, frozenset(self.printed))

    def _by_matplotlib(self) -> tuple[bytes, Placed]:
        import io

        figure = self.d.draw(show=False)
        held = io.BytesIO()
        fig, axes = figure.getfig(), figure.ax
        fig.savefig(held, format="pdf")
        height = fig.get_figheight() * 72

        def at(x: float, y: float) -> tuple[float, float]:
            px, py = axes.transData.transform((x, y))
            return px * 72 / fig.dpi, height - py * 72 / fig.dpi

        return held.getvalue(), at

    def _by_svg(self) -> tuple[bytes, Placed]:
        """The file of the SVG backend; printed to PDF by Chromium unless the style asks for the file itself."""
        data = self.d.get_imagedata("svg")
        left, top, width, height = (float(one) for one in _match(rb'viewBox="([^"]+)"', data)[0].split())
        shown = [float(one) for one in _match(rb'height="([0-9.]+)pt" width="([0-9.]+)pt"', data)]
        scale = 36.0 * self.d.dwgparams.get("inches_per_unit", 0.5) * 2

        def at(x: float, y: float) -> tuple[float, float]:
            return (x * scale - left) * shown[1] / width * 4 / 3, (-y * scale - top) * shown[
                0
            ] / height * 4 / 3

        if self.style.backend == "svgfile":
            return data, at
        pdf = _printed(data.decode(), shown[1] * 4 / 3 + 1, shown[0] * 4 / 3 + 1)

        def printed(x: float, y: float) -> tuple[float, float]:
            across, down = at(x, y)
            return POINTS_PER_PIXEL * across, POINTS_PER_PIXEL * down

        return pdf, printed


def _printed(svg: str, width: float, height: float) -> bytes:
    """An SVG printed to a PDF of one page by Chromium; sizes in pixels."""
    from playwright.sync_api import sync_playwright

    from tests.browser.chromium import launched

    with sync_playwright() as player:
        browser = launched(player)
        page = browser.new_page()
        page.set_content(f"<style>body{{margin:0}}svg{{display:block}}</style>{svg}")
        data: bytes = page.pdf(
            width=f"{width:.0f}px", height=f"{height:.0f}px", print_background=True, page_ranges="1"
        )
        browser.close()
    return data
