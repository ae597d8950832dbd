"""Which words of a page name which part, which pin and which wire: by nearness, each word used once.

What diagrams have in common is all that is used: a name stands near its symbol, a terminal's number where the wire
enters, colour and cross-section beside the wire.
"""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import shapely  # type: ignore[import-untyped]

from halfsplit.diagram.sheet import Box, Spot, Word, around, gap, holds
from halfsplit.diagram.terms import LETTERS, Code, WireText, code_of, reads_as_pin, wire_text
from halfsplit.diagram.wiring import Net

FAR = 1e6
NAME_REACH, PIN_REACH, WIRE_REACH = 8.0, 2.4, 1.6
"""A name, a pin's number and a wire's text stand nearer than this, in letters' heights."""
ALONG = 6.0
"""A pin's number may stand along its wire, so far from the symbol."""
LINE_SPACE = 0.75
"""Words of one line of text are nearer to one another than this."""


@dataclass(frozen=True, slots=True)
class Text:
    """A line of text: its words and box."""

    words: tuple[Word, ...]

    @property
    def text(self) -> str:
        return " ".join(word.text for word in self.words)

    @property
    def box(self) -> Box:
        return around(word.box for word in self.words)


def texts_of(words: Sequence[Word]) -> list[Text]:
    """Words joined to lines of text, those that are written upwards too."""
    lines: list[list[Word]] = []
    rows: dict[tuple[bool, int], list[list[Word]]] = defaultdict(list)
    for word in sorted(
        words, key=lambda word: (not word.upright, word.box[0] if word.upright else -word.box[3])
    ):
        row = int(word.middle[1 if word.upright else 0] // 8)
        near = [line for number in (row - 1, row, row + 1) for line in rows[word.upright, number]]
        line = next((candidate for candidate in near if _goes_on(candidate[-1], word)), None)
        if line is None:
            lines.append(line := [])
            rows[word.upright, row].append(line)
        line.append(word)
    return [Text(tuple(line)) for line in lines]


def _goes_on(before: Word, word: Word) -> bool:
    if before.upright != word.upright:
        return False
    size = max(before.size, word.size)
    if word.upright:
        space, shift = word.box[0] - before.box[2], word.middle[1] - before.middle[1]
    else:
        space, shift = before.box[1] - word.box[3], word.middle[0] - before.middle[0]
    return -0.3 * size < space < LINE_SPACE * size and abs(shift) < 0.35 * size


def assigned(costs: np.ndarray, limit: float) -> dict[int, int]:
    """Row → column, each used once, the sum of the costs as small as can be, none above ``limit``.

    ``costs``: array (rows, columns).
    """
    from scipy.optimize import linear_sum_assignment  # slow to import

    if not costs.size:
        return {}
    capped = np.where(costs > limit, FAR, costs)
    rows, columns = linear_sum_assignment(capped)
    return {
        int(row): int(column) for row, column in zip(rows, columns, strict=True) if capped[row, column] < FAR
    }


# Wires


@dataclass(frozen=True, slots=True)
class WireTexts:
    """Number of a stretch → what stands beside it; and the words that are used up by that."""

    of: Mapping[int, WireText]
    words: frozenset[Word]


def wire_texts(texts: Iterable[Text], net: Net, em: float) -> WireTexts:
    """The colour and cross-section of each stretch: the nearest text that reads like one."""
    lines = [shapely.LineString(stretch.spots) for stretch in net.stretches]
    if not lines:
        return WireTexts({}, frozenset())
    tree = shapely.STRtree(lines)
    best: dict[int, tuple[float, WireText]] = {}
    used: set[Word] = set()
    for text in texts:
        for words in _wire_words(text):
            wire = wire_text([word.text for word in words])
            if wire is None:
                continue
            box = around(word.box for word in words)
            shape = shapely.box(*box)
            near = tree.query(shape, predicate="dwithin", distance=WIRE_REACH * em).tolist()
            if not near:
                continue
            number = min(
                near,
                key=lambda candidate: (_beside(lines[candidate], shape, upright=words[0].upright), candidate),
            )
            away = shapely.distance(lines[number], shape)
            used |= set(words)
            if number not in best or away < best[number][0]:
                best[number] = (away, wire)
    return WireTexts({number: text for number, (_, text) in best.items()}, frozenset(used))


def _wire_words(text: Text) -> Iterable[tuple[Word, ...]]:
    """The whole line, or else each pair and each single word of it that reads like the text of a wire."""
    if wire_text([word.text for word in text.words]) is not None:
        yield text.words
        return
    skip = -1
    for number, word in enumerate(text.words):
        pair = text.words[number : number + 2]
        if number <= skip:
            continue
        if (
            len(pair) == 2
            and wire_text([pair[0].text]) is None
            and wire_text([word.text for word in pair]) is not None
        ):
            skip = number + 1
            yield pair
        elif len(text.words) == 1:
            yield (word,)


def _beside(line: shapely.Geometry, box: shapely.Geometry, *, upright: bool) -> float:
    """How far a text stands from a wire; one that is written along the wire counts as nearer."""
    away = float(shapely.distance(line, box))
    left, top, right, bottom = box.bounds
    long = right - left if upright else bottom - top
    grown = box.buffer(away + 0.5)
    along = float(shapely.intersection(line, grown).length)
    return away - 0.15 * float(min(along, long))


# Parts


def part_codes(words: Iterable[Word]) -> list[tuple[Word, Code]]:
    """The words that read like the name of a part and like no colour."""
    codes = [(word, code_of(word.text)) for word in words]
    return [(word, code) for word, code in codes if code is not None]


def named_parts(
    boxes: Sequence[Box], codes: Sequence[tuple[Word, Code]], pins: Sequence[Sequence[Spot]], em: float
) -> dict[int, int]:
    """Number of a body → number of the code that names it. ``pins``: where the pins of each body are."""
    costs = np.full((len(boxes), len(codes)), FAR)
    for row, box in enumerate(boxes):
        inside = [number for number, (word, _) in enumerate(codes) if holds(box, word.box, 0.2 * em)]
        for column, (word, code) in enumerate(codes):
            away = gap(box, word.box)
            if away > NAME_REACH * em:
                continue
            costs[row, column] = away + 0.05 * _off_middle(box, word.box) + (em - word.size)
            costs[row, column] += 0.0 if code.letters in LETTERS else 3 * em
            if any(gap(word.box, (*pin, *pin)) < 1.8 * em for pin in pins[row]):
                costs[row, column] += 4 * em if len(inside) > 1 and column in inside else 1.5 * em
    return assigned(costs, 2 * NAME_REACH * em)


def _off_middle(box: Box, word: Box) -> float:
    """How far a word stands from where a name usually stands: level with the middle, or above or below it."""
    across = abs((box[0] + box[2]) / 2 - (word[0] + word[2]) / 2)
    down = abs((box[1] + box[3]) / 2 - (word[1] + word[3]) / 2)
    return min(across, down)


# Pins


def pin_names(
    spots: Sequence[Spot],
    leads: Sequence[shapely.Geometry],
    boxes: Sequence[Box],
    words: Sequence[Word],
    em: float,
) -> dict[int, Word]:
    """Number of a pin → the word that names it.

    ``leads``: the wire at each pin; ``boxes``: the body of each pin. The letter in the middle of a symbol names no pin.
    """
    fit = [word for text in texts_of(words) if _lists_pins(text) for word in text.words]
    costs = np.full((len(spots), len(fit)), FAR)
    reach = PIN_REACH * em
    for row, (spot, lead, box) in enumerate(zip(spots, leads, boxes, strict=True)):
        near = shapely.intersection(lead, shapely.Point(spot).buffer(ALONG * em))
        for column, word in enumerate(fit):
            if gap(word.box, (*spot, *spot)) > ALONG * em or _is_symbol_letter(word, box):
                continue
            at_spot = gap(word.box, (*spot, *spot))
            at_lead = float(shapely.distance(near, shapely.box(*word.box))) if not near.is_empty else FAR
            inside = holds(box, word.box, 0.2 * em)
            cost = at_spot if inside else max(at_lead, 0.0) + 0.35 * at_spot
            if cost <= reach:
                number = 0.0 if word.text[0].isdigit() or word.text in "+-" else 0.5 * em
                costs[row, column] = cost + number
    return {row: fit[column] for row, column in assigned(costs, 2 * reach).items()}


def _lists_pins(text: Text) -> bool:
    """Whether every word of a line can be the name of a pin: a sign within a sentence is none."""
    return all(reads_as_pin(word.text) for word in text.words) and len(text.text) < 40


def _is_symbol_letter(word: Word, box: Box) -> bool:
    """A letter in the middle of a small symbol (the M of a motor) is part of it."""
    if not holds(box, word.box):
        return False
    across, down = box[2] - box[0], box[3] - box[1]
    middle = ((box[0] + box[2]) / 2, (box[1] + box[3]) / 2)
    return max(across, down) < 5 * word.size and math.dist(word.middle, middle) < 0.25 * max(across, down)


# Descriptions


def described(
    boxes: Sequence[Box], texts: Sequence[Text], em: float, *, reach: float
) -> dict[int, list[Text]]:
    """Number of a box → the lines of text that stand beside it, from the top; each line at its nearest box."""
    lines_of: dict[int, list[Text]] = defaultdict(list)
    for text in texts:
        near = [(gap(box, text.box), number) for number, box in enumerate(boxes)]
        away, number = min(near, default=(FAR, -1))
        if away <= reach * em:
            lines_of[number].append(text)
    return {number: sorted(lines, key=lambda text: text.box[1]) for number, lines in lines_of.items()}


def free_name(base: str, taken: Callable[[str], bool]) -> str:
    """A name that is not taken: the base with the first number that is free."""
    number = 1
    while taken(f"{base}{number}"):
        number += 1
    return f"{base}{number}"
