"""A page of the diagram as SVG: to mark on, and on the bench with suspects, leads and readings."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from xml.sax.saxutils import escape, quoteattr

from halfsplit.diagram.marks import Marks, Page, Trace
from halfsplit.diagram.sheet import Box, Spot
from halfsplit.drawing import Overlays
from halfsplit.drawing.labels import per_cent, suspicion_class

SHOWN_WIDTH = 1100.0
"""Width of a page in px at scale 1."""


@dataclass(frozen=True)
class PagePicture:
    """A page as it is shown: its key, a name for it, and the SVG.

    ``corners``: of the paper in a photo, as x,y,x,y… in its pixels, where they can still be moved, and ``whole``: the
    photo with them, as SVG.
    """

    key: str
    name: str
    svg: str
    corners: str = ""
    whole: str = ""


def corners_picture(address: str, size: tuple[int, int], corners: Sequence[Spot]) -> str:
    """A photo as it was taken (``size`` in pixels), with a handle on each corner of the paper."""
    reach, names = 0.05 * max(size), ("upper left", "upper right", "lower right", "lower left")
    handles = "".join(
        f'<g class="grip" transform="translate({x:.1f} {y:.1f})" tabindex="0" role="button" '
        f'aria-label="{name} corner of the paper: drag it, or move it with the arrow keys">'
        f'<circle class="hit" r="{reach:.1f}"/><circle class="knob" r="{0.4 * reach:.1f}"/></g>'
        for (x, y), name in zip(corners, names, strict=True)
    )
    outline = " ".join(f"{x:.1f},{y:.1f}" for x, y in corners)
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" class="corners" viewBox="0 0 {size[0]} {size[1]}" role="group" '
        f'aria-label="The photo, and the corners of the paper in it"><image href={quoteattr(address)} '
        f'width="{size[0]}" height="{size[1]}"/><polygon points="{outline}"/>{handles}</svg>'
    )


@dataclass(slots=True)
class _Sheet:
    marks: Marks
    page: Page
    layers: dict[str, list[str]] = field(default_factory=dict)

    @property
    def unit(self) -> float:
        """One px of the page at scale 1, in the page's own measure."""
        return self.page.width / min(SHOWN_WIDTH, max(500.0, 1.4 * self.page.width))

    def add(self, layer: str, element: str) -> None:
        self.layers.setdefault(layer, []).append(element)

    def dot(self, spot: Spot, radius: float, style: str, layer: str = "dots") -> None:
        x, y = spot
        self.add(layer, f'<circle class="{style}" cx="{x:.1f}" cy="{y:.1f}" r="{radius * self.unit:.2f}"/>')

    def text(self, spot: Spot, across: float, down: float, text: str, style: str = "name") -> None:
        """Text beside a spot, so many px away from it."""
        x, y, size = spot[0] + across * self.unit, spot[1] + down * self.unit, 13 * self.unit
        words = f'<text class="{style}" x="{x:.1f}" y="{y:.1f}" font-size="{size:.2f}">{escape(text)}</text>'
        self.add("texts", words)

    def target(self, box: Box, data: str, title: str) -> None:
        self.add(
            "targets",
            f'<g class="target" {data} role="button" tabindex="0" aria-label={quoteattr(title)}>'
            f"<title>{escape(title)}</title>{_box(box, 'hit', '')}</g>",
        )

    def around(self, spot: Spot, half: float) -> Box:
        """A square of twice so many px."""
        x, y, half = *spot, half * self.unit
        return x - half, y - half, x + half, y + half

    def picture(self, address: str, style: str) -> PagePicture:
        page = self.page
        layers = "".join(
            f'<g class="{name}">{"".join(self.layers[name])}</g>' for name in LAYERS if name in self.layers
        )
        width, height = page.width / self.unit, page.height / self.unit
        svg = (
            f'<svg xmlns="http://www.w3.org/2000/svg" class="drawing page {style}" data-page="{page.key}" role="group" '
            f"aria-label={quoteattr(f'Page {page.number} of the diagram')} "
            f'viewBox="0 0 {page.width:.1f} {page.height:.1f}" '
            f'width="{width:.0f}" height="{height:.0f}">'
            f'<image href={quoteattr(address)} width="{page.width:.1f}" height="{page.height:.1f}" '
            f'preserveAspectRatio="none"/>{layers}</svg>'
        )
        return PagePicture(page.key, page.name or f"Page {page.number}", svg)


def marked_page(marks: Marks, page: Page, address: str, last: str = "") -> PagePicture:
    """A page to mark on; ``address`` is that of its picture, ``last`` the mark from which a path goes on."""
    sheet = _Sheet(marks, page)
    for trace in marks.traces.values():
        if trace.page == page.key:
            _paint_trace(sheet, trace)
    for part in (part for part in marks.parts.values() if part.page == page.key):
        style = part.state + (" last" if part.key == last else "")
        sheet.add("boxes", _box(part.box, f"part {style}", f'data-mark="{part.key}"'))
        sheet.text(part.box[:2], 0, -3, part.name)
        kind = f'data-kind="part" data-of={quoteattr(part.kind)} data-name={quoteattr(part.name)}'
        sheet.target(part.box, f'data-mark="{part.key}" {kind}', part.name)
    for key, pin in marks.pins.items():
        if marks.parts[pin.part].page == page.key:
            sheet.dot(pin.spot, 3, "pin")
            data = f'data-mark="{key}" data-kind="pin" data-name={quoteattr(pin.name)}'
            sheet.target(sheet.around(pin.spot, 9), data, f"{marks.parts[pin.part].name}.{pin.name}")
    for key, joint in marks.joints.items():
        if joint.page == page.key:
            sheet.dot(joint.spot, 4, "joint" + (" last" if key == last else ""))
    for key, crossing in marks.crossings.items():
        if crossing.page == page.key:
            sheet.dot(crossing.spot, 8, "doubt")
            data = f'data-mark="{key}" data-kind="crossing"'
            sheet.target(sheet.around(crossing.spot, 12), data, "crossing: joined or not?")
    return sheet.picture(address, "marking")


def measured_page(
    marks: Marks, page: Page, address: str, marks_of: Mapping[str, Sequence[str]], overlays: Overlays
) -> PagePicture:
    """A page on the bench: suspicion as a shade, the leads of the next test, readings; each pin can be tapped."""
    sheet = _Sheet(marks, page)
    names = {key: name for name, keys in marks_of.items() for key in keys}
    for name, share in overlays.suspicion.items():
        for key in marks_of.get(name, ()):
            _shade(sheet, key, share)
    for key, name in names.items():
        if key in marks.parts and marks.parts[key].page == page.key:
            sheet.target(marks.parts[key].box, f"data-part={quoteattr(name)}", name)
    for key, name in names.items():
        if key in marks.pins and marks.parts[marks.pins[key].part].page == page.key:
            _point(sheet, name, marks.pins[key].spot, overlays)
        elif key in marks.joints and marks.joints[key].page == page.key:
            _point(sheet, name, marks.joints[key].spot, overlays)
    return sheet.picture(address, "measuring")


def best_page(marks: Marks, marks_of: Mapping[str, Sequence[str]], names: Iterable[str]) -> Page | None:
    """The page that shows most of what is named; the first where none does."""
    counts = dict.fromkeys(marks.pages, 0)
    for name in names:
        for key in marks_of.get(name.partition(":")[0], ()):
            held = marks.parts.get(key) or marks.traces.get(key)
            counts[held.page if held else marks.page_of(key)] += 1
    best = max(counts, key=lambda key: counts[key], default=None)
    return marks.pages[best] if best else None


# Painting


def _paint_trace(sheet: _Sheet, trace: Trace) -> None:
    d = _path(trace.spots)
    label = " ".join(filter(None, (f"{trace.mm2:g}" if trace.mm2 else "", trace.colour)))
    attributes = f'data-mark="{trace.key}" data-kind="trace" data-name={quoteattr(label)}'
    attributes += f" data-colour={quoteattr(trace.colour)}"
    sheet.add("wires", f'<path class="trace {trace.state}{" broken" if trace.broken else ""}" d="{d}"/>')
    title = f"<title>{escape(f'wire {label}'.strip())}, {trace.state}</title>"
    sheet.add("touch", f'<path class="touch" {attributes} d="{d}">{title}</path>')
    for doubt in trace.doubts:
        sheet.dot(doubt.spot, 8, "doubt")
        sheet.target(sheet.around(doubt.spot, 12), attributes + " data-doubt=1", doubt.why)


def _shade(sheet: _Sheet, key: str, share: float) -> None:
    level, marks = suspicion_class(share), sheet.marks
    if key in marks.parts and marks.parts[key].page == sheet.page.key:
        box = marks.parts[key].box
        sheet.add("halos", _box(box, f"shade suspicion-{level}", ""))
        sheet.text(box[:2], 0, -4, per_cent(share), "share")
    elif key in marks.traces and marks.traces[key].page == sheet.page.key:
        trace = marks.traces[key]
        sheet.add("halos", f'<path class="halo suspicion-{level}" d="{_path(trace.spots)}"/>')
        sheet.text(trace.spots[len(trace.spots) // 2], 5, 0, per_cent(share), "share")
    elif key in marks.pins and marks.parts[marks.pins[key].part].page == sheet.page.key:
        sheet.dot(marks.pins[key].spot, 10, f"shade suspicion-{level}", "halos")


def _point(sheet: _Sheet, name: str, spot: Spot, overlays: Overlays) -> None:
    sides = (name, f"{name}:in", f"{name}:out")
    point = next((side for side in sides if side in overlays.leads), "")
    lead = overlays.leads.get(point, "")
    reading = next((overlays.readings[side] for side in sides if side in overlays.readings), "")
    expected = overlays.expected.get(name, "")
    sheet.dot(spot, 6 if lead else 4, f"point{f' lead-{lead}' if lead else ''}{' read' if reading else ''}")
    words = [
        (lead, f"lead lead-{lead}"),
        (reading, "reading"),
        (f"({expected})" if expected else "", "expected"),
    ]
    for number, (text, style) in enumerate([word for word in words if word[0]]):
        sheet.text(spot, 9, 5 + 16 * number, text, style)
    title = ", ".join(
        filter(None, (name, f"{lead} lead" if lead else "", f"reads {reading}" if reading else ""))
    )
    sheet.target(sheet.around(spot, 22), f"data-point={quoteattr(point or name)}", title)


def _path(spots: Sequence[Spot]) -> str:
    return "M" + "L".join(f"{x:.1f} {y:.1f}" for x, y in spots)


def _box(box: Box, style: str, data: str) -> str:
    left, top, right, bottom = box
    size = f'width="{right - left:.1f}" height="{bottom - top:.1f}"'
    return f'<rect class="{style}" {data} x="{left:.1f}" y="{top:.1f}" {size}/>'


LAYERS = ("halos", "wires", "boxes", "touch", "dots", "texts", "targets")
