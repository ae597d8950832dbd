"""Measures a drawing: what a reader would see as an overlap, a wire through a symbol, a part that is missing."""

from itertools import combinations

from halfsplit.drawing import Drawing

HAIR = 0.5
"""Things may touch; less than this much overlap (px) is not seen."""


def overlap(one, other):
    return (
        min(one[2], other[2]) - max(one[0], other[0]) > HAIR
        and min(one[3], other[3]) - max(one[1], other[1]) > HAIR
    )


def crosses(segment, rectangle):
    """Whether an upright or level segment runs through the inside of a rectangle."""
    x1, y1, x2, y2 = segment
    left, right, top, bottom = min(x1, x2), max(x1, x2), min(y1, y2), max(y1, y2)
    return (
        left < rectangle[2] - HAIR
        and right > rectangle[0] + HAIR
        and top < rectangle[3] - HAIR
        and bottom > rectangle[1] + HAIR
    )


def collinear(one, other):
    """Whether two segments lie on each other for more than a point."""
    upright = one[0] == one[2] and other[0] == other[2] and abs(one[0] - other[0]) < HAIR
    level = one[1] == one[3] and other[1] == other[3] and abs(one[1] - other[1]) < HAIR
    if not (upright or level):
        return False
    low, high = (1, 3) if upright else (0, 2)
    return (
        min(max(one[low], one[high]), max(other[low], other[high]))
        - max(min(one[low], one[high]), min(other[low], other[high]))
    ) > HAIR


def mistakes(drawing: Drawing) -> list[str]:
    """Everything that must not be in a drawing, in words; empty for a good one."""
    boxes = drawing.boxes
    lines = [*(("wire", *wire) for wire in boxes.wires), *(("bar", *bar) for bar in boxes.bars)]
    found = [
        f"texts {a!r} and {b!r} overlap"
        for (a, one), (b, other) in combinations(boxes.texts, 2)
        if overlap(one, other)
    ]
    found += [
        f"symbols {a} and {b} overlap"
        for (a, one), (b, other) in combinations(boxes.symbols, 2)
        if overlap(one, other)
    ]
    found += [
        f"targets {a} and {b} overlap"
        for (a, one), (b, other) in combinations(boxes.targets, 2)
        if overlap(one, other)
    ]
    for kind, name, segment in lines:
        found += [
            f"{kind} {name} runs through the symbol {symbol}"
            for symbol, rectangle in boxes.symbols
            if crosses(segment, rectangle)
        ]
        found += [
            f"{kind} {name} runs through the text {text!r}"
            for text, rectangle in boxes.texts
            if crosses(segment, rectangle)
        ]
        if segment[0] != segment[2] and segment[1] != segment[3]:
            found.append(f"{kind} {name} is aslant")
    found += [
        f"{a} and {b} lie on each other"
        for (_, a, one), (_, b, other) in combinations(lines, 2)
        if a != b and collinear(one, other)
    ]
    for what, rectangle in (*boxes.texts, *boxes.symbols, *boxes.targets):
        if (
            rectangle[0] < 0
            or rectangle[1] < 0
            or rectangle[2] > drawing.width
            or rectangle[3] > drawing.height
        ):
            found.append(f"{what} is outside the page")
    return found
