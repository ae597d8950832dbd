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
    unit: float
    """One px of the page at scale 1, in the page's own measure."""
    layers: dict[str, list[str]] = field(default_factory=dict)

    def add(self, layer: str, element: str) -> None:
        self.layers.setdefault(layer, []).append(element)


def marked_page(marks: Marks, page: Page, address: str, last: str = "") -> PagePicture:
    """A page to mark on; ``address`` is that of its picture, ``last`` the mark from which a path goes on."""
    sheet = _Sheet(marks, page, _unit(page))
    for trace in marks.traces.values():
        if trace.page == page.key:
            _paint_trace(sheet, trace)
    for part in (part for part in marks.parts.values() if part.page == page.key):
        style = part.state + (" last" if part.key == last else "")
        sheet.add("boxes", _box(part.box, f"part {style}", f'data-mark="{part.key}"'))
        sheet.add("texts", _text(part.box[0], part.box[1] - 3 * sheet.unit, part.name, sheet.unit))
        _target(
            sheet,
            part.box,
            f'data-mark="{part.key}" data-kind="part" data-of={quoteattr(part.kind)} data-name={quoteattr(part.name)}',
            part.name,
        )
    for key, pin in marks.pins.items():
        if marks.parts[pin.part].page == page.key:
            name = f"{marks.parts[pin.part].name}.{pin.name}"
            sheet.add("dots", _dot(pin.spot, 3, sheet.unit, "pin"))
            _target(
                sheet,
                _around(pin.spot, 9 * sheet.unit),
                f'data-mark="{key}" data-kind="pin" data-name={quoteattr(pin.name)}',
                name,
            )
    for key, joint in marks.joints.items():
        if joint.page == page.key:
            sheet.add("dots", _dot(joint.spot, 4, sheet.unit, "joint" + (" last" if key == last else "")))
    for key, crossing in marks.crossings.items():
        if crossing.page == page.key:
            sheet.add("dots", _dot(crossing.spot, 8, sheet.unit, "doubt"))
            _target(
                sheet,
                _around(crossing.spot, 12 * sheet.unit),
                f'data-mark="{key}" data-kind="crossing"',
                "crossing: joined or not?",
            )
    return PagePicture(page.key, page.name or f"Page {page.number}", _svg(sheet, address, "marking"))


def measured_page(
    marks: Marks, page: Page, address: str, marks_of: Mapping[str, Sequence[str]], overlays: Overlays
) -> PagePicture:
    """A page on the bench: suspicion as a shade, the leads of the next test, readings; each pin can be tapped."""
    sheet = _Sheet(marks, page, _unit(page))
    names = {key: name for name, keys in marks_of.items() for key in keys}
    for name, share in overlays.suspicion.items():
        for key in marks_of.get(name, ()):
            _shade(sheet, key, share)
    for key, name in names.items():
        if key in marks.parts and marks.parts[key].page == page.key:
            _target(sheet, marks.parts[key].box, f"data-part={quoteattr(name)}", name)
    for key, name in names.items():
        if key in marks.pins and marks.parts[marks.pins[key].part].page == page.key:
            _point(sheet, name, marks.pins[key].spot, overlays)
        elif key in marks.joints and marks.joints[key].page == page.key:
            _point(sheet, name, marks.joints[key].spot, overlays)
    return PagePicture(page.key, page.name or f"Page {page.number}", _svg(sheet, address, "measuring"))


def best_page(marks: Marks, marks_of: Mapping[str, Sequence[str]], names: Iterable[str]) -> Page | None:
    """The page that shows most of what is named; the first where none does."""
    counts = dict.fromkeys(marks.pages, 0)
    for name in names:
        for key in marks_of.get(name.partition(":")[0], ()):
            counts[_page_of(marks, key)] += 1
    best = max(counts, key=lambda key: counts[key], default=None)
    return marks.pages[best] if best else None


def _page_of(marks: Marks, key: str) -> str:
    for held in (marks.parts, marks.traces):
        if key in held:
            return held[key].page
    return marks.page_of(key)


def _unit(page: Page) -> float:
    return page.width / min(SHOWN_WIDTH, max(500.0, 1.4 * page.width))


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
        sheet.add("dots", _dot(doubt.spot, 8, sheet.unit, "doubt"))
        _target(sheet, _around(doubt.spot, 12 * sheet.unit), attributes + " data-doubt=1", doubt.why)


def _shade(sheet: _Sheet, key: str, share: float) -> None:
    level, marks = suspicion_class(share), sheet.marks
    if key in marks.parts and marks.parts[key].page == sheet.page.key:
        box = marks.parts[key].box
        sheet.add("halos", _box(box, f"shade suspicion-{level}", ""))
        sheet.add("texts", _text(box[0], box[1] - 4 * sheet.unit, per_cent(share), sheet.unit, "share"))
    elif key in marks.traces and marks.traces[key].page == sheet.page.key:
        trace = marks.traces[key]
        sheet.add("halos", f'<path class="halo suspicion-{level}" d="{_path(trace.spots)}"/>')
        x, y = trace.spots[len(trace.spots) // 2]
        sheet.add("texts", _text(x + 5 * sheet.unit, y, per_cent(share), sheet.unit, "share"))
    elif key in marks.pins and marks.parts[marks.pins[key].part].page == sheet.page.key:
        sheet.add("halos", _dot(marks.pins[key].spot, 10, sheet.unit, f"shade suspicion-{level}"))


def _point(sheet: _Sheet, name: str, spot: Spot, overlays: Overlays) -> None:
    point = next((point for point in (name, f"{name}:in", f"{name}:out") if point in overlays.leads), "")
    lead = overlays.leads.get(point, "")
    reading = next(
        (
            overlays.readings[point]
            for point in (name, f"{name}:in", f"{name}:out")
            if point in overlays.readings
        ),
        "",
    )
    expected = overlays.expected.get(name, "")
    sheet.add(
        "dots",
        _dot(
            spot,
            6 if lead else 4,
            sheet.unit,
            f"point{f' lead-{lead}' if lead else ''}{' read' if reading else ''}",
        ),
    )
    words = [
        (lead, f"lead lead-{lead}"),
        (reading, "reading"),
        (f"({expected})" if expected else "", "expected"),
    ]
    for number, (text, style) in enumerate([word for word in words if word[0]]):
        sheet.add(
            "texts",
            _text(
                spot[0] + 9 * sheet.unit, spot[1] + (5 + 16 * number) * sheet.unit, text, sheet.unit, style
            ),
        )
    title = ", ".join(
        filter(None, (name, f"{lead} lead" if lead else "", f"reads {reading}" if reading else ""))
    )
    _target(sheet, _around(spot, 22 * sheet.unit), f"data-point={quoteattr(point or name)}", title)


def _path(spots: Sequence[Spot]) -> str:
    return "M" + "L".join(f"{x:.1f} {y:.1f}" for x, y in spots)


def _around(spot: Spot, half: float) -> Box:
    return spot[0] - half, spot[1] - half, spot[0] + half, spot[1] + half


def _box(box: Box, style: str, data: str) -> str:
    left, top, right, bottom = box
    size = f'width="{right - left:.1f}" height="{bottom - top:.1f}"'
    return f'<rect class="{style}" {data} x="{left:.1f}" y="{top:.1f}" {size}/>'


def _dot(spot: Spot, radius: float, unit: float, style: str) -> str:
    return f'<circle class="{style}" cx="{spot[0]:.1f}" cy="{spot[1]:.1f}" r="{radius * unit:.2f}"/>'


def _text(x: float, y: float, text: str, unit: float, style: str = "name") -> str:
    return f'<text class="{style}" x="{x:.1f}" y="{y:.1f}" font-size="{13 * unit:.2f}">{escape(text)}</text>'


def _target(sheet: _Sheet, box: Box, data: str, title: str) -> None:
    sheet.add(
        "targets",
        f'<g class="target" {data} role="button" tabindex="0" aria-label={quoteattr(title)}>'
        f"<title>{escape(title)}</title>{_box(box, 'hit', '')}</g>",
    )


LAYERS = ("halos", "wires", "boxes", "touch", "dots", "texts", "targets")


def _svg(sheet: _Sheet, address: str, style: str) -> str:
    page = sheet.page
    layers = "".join(
        f'<g class="{name}">{"".join(sheet.layers[name])}</g>' for name in LAYERS if name in sheet.layers
    )
    width, height = page.width / sheet.unit, page.height / sheet.unit
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" class="drawing page {style}" data-page="{page.key}" role="group" '
        f"aria-label={quoteattr(f'Page {page.number} of the diagram')} "
        f'viewBox="0 0 {page.width:.1f} {page.height:.1f}" '
        f'width="{width:.0f}" height="{height:.0f}">'
        f'<image href={quoteattr(address)} width="{page.width:.1f}" height="{page.height:.1f}" '
        f'preserveAspectRatio="none"/>{layers}</svg>'
    )
