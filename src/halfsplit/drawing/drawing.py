"""``draw``: the current-path drawing of a circuit as SVG, from the circuit alone."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, replace
from importlib.resources import files
from typing import Any, Literal

from halfsplit.circuit.model import Model
from halfsplit.drawing.channels import channels_of, crossings
from halfsplit.drawing.columns import columns_of
from halfsplit.drawing.fold import Fold, folded, unfolded
from halfsplit.drawing.glyphs import End, Scene
from halfsplit.drawing.labels import Overlays, Writing
from halfsplit.drawing.order import orders_of
from halfsplit.drawing.page import Boxes
from halfsplit.drawing.paint import paint
from halfsplit.drawing.place import Grid, place, with_marks
from halfsplit.drawing.rows import layers_of
from halfsplit.drawing.scene import scene_of
from halfsplit.drawing.sides import sides_of

CSS = files(__package__ or "halfsplit.drawing").joinpath("drawing.css").read_text(encoding="utf-8")
"""The stylesheet of the drawing, for the page that shows it. Colours are custom properties with fallbacks."""

Theme = Literal["light", "dark"]
DARK: Mapping[str, str] = {
    "paper": "#1d2329",
    "ink": "#eef1f3",
    "dim": "#a9b3bc",
    "line": "#343c44",
    "reading": "#7cc4f0",
    "act": "#7cc4f0",
}
"""Custom properties (``--drawing-…``) for a dark page; light ones are the fallbacks in the stylesheet."""

ROOM, NARROW_ROOM = 132.0, 96.0
"""Width of a label beside a symbol, px; where the drawing is wider than the page."""


@dataclass(frozen=True, slots=True)
class Drawing:
    """``svg``: one well-formed element. ``width``, ``height`` in px at scale 1. ``boxes``: where everything is."""

    svg: str
    width: float
    height: float
    boxes: Boxes


@dataclass(frozen=True, slots=True)
class Plan:
    """The arrangement of a circuit: rows, columns, tracks. Independent of readings, so worth keeping between them."""

    model: Model
    fold: Fold
    scene: Scene
    grid: Grid


def plan(model: Model, *, focus: frozenset[str] = frozenset(), fold: bool = True) -> Plan:
    """Arranges a circuit; with ``fold``, only what concerns the parts (or points) of ``focus``, if any."""
    return arranged(model, concerned(model, focus if fold else frozenset()))


def concerned(model: Model, focus: frozenset[str]) -> Fold:
    """What of a circuit concerns the parts (or points) of ``focus``, all of it without any; cheap beside the rest."""
    return folded(model, sides_of(model), focus) if focus else unfolded(model)


def arranged(model: Model, fold: Fold) -> Plan:
    """Arranges what is left of a circuit."""
    scene = scene_of(fold, sides_of(model))
    layers = layers_of(scene)
    rails = frozenset(
        End(glyph.key, "top")
        for glyph in scene.glyphs.values()
        if glyph.form == "battery" and End(glyph.key, "top") in layers.hubs
    )
    grids = []
    for order in orders_of(layers):
        columns = columns_of(layers, order)
        grids.append(Grid(layers, order, columns, channels_of(layers, columns, rails), rails))
    return Plan(model, fold, scene, min(grids, key=_tangle))


def _tangle(grid: Grid) -> tuple[int, int]:
    """What makes a drawing hard to follow: crossings and detours (as four each); then the number of level lines."""
    detours = sum(len(line.detours) for line in grid.channels.lines)
    crossed = crossings(grid.channels, grid.columns)
    return crossed + 4 * detours, sum(line.track is not None for line in grid.channels.lines)


def draw(
    model: Model,
    *,
    width: float | None = None,
    focus: frozenset[str] = frozenset(),
    fold: bool = True,
    theme: Theme = "light",
    standalone: bool = False,
    **overlays: Mapping[str, Any],
) -> Drawing:
    """The current-path drawing of a circuit.

    ``width`` (px) is the room on the page: a smaller drawing spreads into it, labels of a wider one are set narrower.
    ``focus`` names the parts that matter (or points, for a single cavity): what does not lie on a current path of
    theirs is folded into labelled stubs, unless ``fold`` is off. ``overlays`` are those of `Overlays`: ``suspicion``
    (0 to 1) goes by part, point or wire name, ``readings`` and ``expected`` by point, as they shall be written
    ('8.9 V'), ``leads`` by point, each 'red' or 'black'. ``standalone`` embeds the styles in the colours of ``theme``,
    for reports; otherwise the page brings ``CSS`` and sets its custom properties.
    """
    laid = Overlays(**overlays)
    return paint_plan(
        plan(model, focus=focus, fold=fold), laid, width=width, theme=theme, standalone=standalone
    )


def paint_plan(
    plan: Plan,
    overlays: Overlays,
    *,
    width: float | None = None,
    theme: Theme = "light",
    standalone: bool = False,
) -> Drawing:
    """Draws an arrangement with what is known by now; cheap beside ``plan``."""
    writing = with_marks(Writing(plan.model, plan.fold, plan.scene, overlays, ROOM, {}), plan.grid)
    placement = place(plan.grid, writing, width or 0.0)
    if width is not None and placement.width > width:
        writing = replace(writing, room=NARROW_ROOM)
        placement = place(plan.grid, writing, width)
    title = f"Current paths: {plan.model.title}" if plan.model.title else "Current paths"
    inside, boxes = paint(placement, writing, title)
    style = f"<style>{standalone_css(theme)}</style>" if standalone else ""
    svg = (
        f'<svg xmlns="http://www.w3.org/2000/svg" class="drawing" role="group" viewBox="0 0 {placement.width:.0f} '
        f'{placement.height:.0f}" width="{placement.width:.0f}" height="{placement.height:.0f}">{style}{inside}</svg>'
    )
    return Drawing(svg, placement.width, placement.height, boxes)


def standalone_css(theme: Theme) -> str:
    """The stylesheet without custom properties, which not every reader of SVG knows."""
    colours = DARK if theme == "dark" else {}
    return re.sub(r"var\(--drawing-(\w+), (#\w+)\)", lambda match: colours.get(match[1], match[2]), CSS)
