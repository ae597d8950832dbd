"""Measures a drawing: what a reader would see as an overlap, a wire through a symbol, a wire that leads nowhere."""

from collections import Counter, defaultdict

import numpy as np

from halfsplit.circuit.model import Model
from halfsplit.drawing import Drawing

HAIR = 0.5
"""Things may touch; less than this much overlap (px) is not seen."""


def mistakes(drawing: Drawing) -> list[str]:
    """Everything that must not be in a drawing, in words; empty for a good one."""
    boxes = drawing.boxes
    lines = [*boxes.wires, *boxes.bars]
    found = [
        *overlapping("texts", boxes.texts),
        *overlapping("symbols", boxes.symbols),
        *overlapping("targets", boxes.targets),
        *running_through(lines, boxes.symbols),
        *running_through(lines, boxes.texts),
        *lying_on_each_other(lines),
    ]
    found += [f"{name} is aslant" for name, (x1, y1, x2, y2) in lines if x1 != x2 and y1 != y2]
    found += [
        f"{what} is outside the page"
        for what, (left, top, right, bottom) in (*boxes.texts, *boxes.symbols, *boxes.targets)
        if left < 0 or top < 0 or right > drawing.width or bottom > drawing.height
    ]
    return found


def overlapping(kind, entries):
    names, r = [name for name, _ in entries], array(entries)
    across = np.minimum(r[:, None, 2], r[None, :, 2]) - np.maximum(r[:, None, 0], r[None, :, 0])
    down = np.minimum(r[:, None, 3], r[None, :, 3]) - np.maximum(r[:, None, 1], r[None, :, 1])
    pairs = np.argwhere(np.triu((across > HAIR) & (down > HAIR), k=1))
    return [f"{kind} {names[i]!r} and {names[j]!r} overlap" for i, j in pairs]


def running_through(lines, entries):
    s, r = spread(lines), array(entries)
    inside = (
        (s[:, None, 0] < r[None, :, 2] - HAIR)
        & (s[:, None, 2] > r[None, :, 0] + HAIR)
        & (s[:, None, 1] < r[None, :, 3] - HAIR)
        & (s[:, None, 3] > r[None, :, 1] + HAIR)
    )
    return [f"{lines[i][0]} runs through {entries[j][0]!r}" for i, j in np.argwhere(inside)]


def lying_on_each_other(lines):
    """Two different lines on the same stretch: nobody could tell them apart."""
    s = spread(lines)
    found = []
    for along, across in ((0, 1), (1, 0)):
        level = np.abs(s[:, across] - s[:, across + 2]) < HAIR
        same = np.abs(s[:, None, across] - s[None, :, across]) < HAIR
        shared = np.minimum(s[:, None, along + 2], s[None, :, along + 2]) - np.maximum(
            s[:, None, along], s[None, :, along]
        )
        pairs = np.argwhere(np.triu(level[:, None] & level[None, :] & same & (shared > HAIR), k=1))
        found += [
            f"{lines[i][0]} and {lines[j][0]} lie on each other"
            for i, j in pairs
            if lines[i][0] != lines[j][0]
        ]
    return found


def array(entries):
    return np.array([rectangle for _, rectangle in entries], dtype=float).reshape(-1, 4)


def spread(lines):
    """Segments as (left, top, right, bottom)."""
    s = array(lines)
    return np.column_stack(
        [
            np.minimum(s[:, 0], s[:, 2]),
            np.minimum(s[:, 1], s[:, 3]),
            np.maximum(s[:, 0], s[:, 2]),
            np.maximum(s[:, 1], s[:, 3]),
        ]
    )


# What the drawing says, read back from its lines


def misread(drawing: Drawing, model: Model) -> list[str]:
    """Wires that do not lead, in one piece, from the one of their points to the other."""
    segments = defaultdict(list)
    for name, segment in drawing.boxes.wires:
        segments[name].append(segment)
    found = []
    for wire in model.wires:
        degrees = Counter(
            (round(x, 3), round(y, 3))
            for x1, y1, x2, y2 in segments[wire.name]
            for x, y in ((x1, y1), (x2, y2))
        )
        ends = [spot for spot, degree in degrees.items() if degree == 1]
        if len(ends) != 2 or any(degree > 2 for degree in degrees.values()):
            found.append(f"{wire.name} is not one line")
        elif not any(
            touches(drawing, wire.a, first) and touches(drawing, wire.b, second)
            for first, second in (ends, reversed(ends))
        ):
            found.append(f"{wire.name} does not join its points")
    return found


def touches(drawing, point, spot):
    """Whether a spot is at the edge of the symbol of a point, or on its bar."""
    x, y = spot
    bare = point.partition(":")[0]
    for name, (left, top, right, bottom) in drawing.boxes.symbols:
        on_edge = min(abs(y - top), abs(y - bottom)) < HAIR
        if name in {bare, bare.partition(".")[0]} and left <= x <= right and on_edge:
            return True
    for name, (x1, y1, x2, y2) in drawing.boxes.bars:
        if (
            name.partition(":")[0] == bare
            and abs(y - y1) < HAIR
            and abs(y - y2) < HAIR
            and x1 - HAIR <= x <= x2 + HAIR
        ):
            return True
    return False
