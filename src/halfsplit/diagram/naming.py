"""Which words of a page name which part, which pin and which wire: by nearness, each word used once.

What diagrams have in common is all that is used: a name stands near its symbol, a terminal's number where the wire
enters, colour and cross-section beside the wire.
"""

from __future__ import annotations

import math
import re
from collections import defaultdict
from collections.abc import Container, Iterable, Sequence
from dataclasses import dataclass, field
from itertools import count

import numpy as np
import shapely  # type: ignore[import-untyped]

from halfsplit.diagram.bodies import Body
from halfsplit.diagram.sheet import Box, Spot, Word, around, gap, holds, middle
from halfsplit.diagram.terms import LETTERS, Code, WireText, reads_as_pin, wire_text
from halfsplit.diagram.wiring import Net

FAR = 1e6
NAME_REACH, DESCRIPTION_REACH, PIN_REACH, WIRE_REACH = 8.0, 3.0, 2.4, 1.6
"""A name, a description, a pin's number and a wire's text stand nearer than this, in letters' heights."""
VALUE = re.compile(r"[0-9]+(?:[.,][0-9]+)? ?(?:A|W|V|Ω|ohm|kΩ|kohm)")
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
        for line in near:
            before, size = line[-1], max(line[-1].size, word.size)
            if word.upright:
                space, shift = word.box[0] - before.box[2], word.middle[1] - before.middle[1]
            else:
                space, shift = before.box[1] - word.box[3], word.middle[0] - before.middle[0]
            if -0.3 * size < space < LINE_SPACE * size and abs(shift) < 0.35 * size:
                line.append(word)
                break
        else:
            lines.append([word])
            rows[word.upright, row].append(lines[-1])
    return [Text(tuple(line)) for line in lines]


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


def wire_texts(texts: Iterable[Text], net: Net, em: float) -> tuple[dict[int, WireText], set[Word]]:
    """Number of a stretch → colour and cross-section by the nearest text that reads like one; the words of all."""
    lines = [shapely.LineString(stretch.spots) for stretch in net.stretches]
    tree = shapely.STRtree(lines)
    best: dict[int, tuple[float, WireText]] = {}
    used: set[Word] = set()
    for words in (words for text in texts for words in _wire_words(text)):
        wire = wire_text([word.text for word in words])
        shape = shapely.box(*around(word.box for word in words))
        near = tree.query(shape, predicate="dwithin", distance=WIRE_REACH * em).tolist()
        if wire is None or not near:
            continue
        left, top, right, bottom = shape.bounds
        long = right - left if words[0].upright else bottom - top
        beside: list[tuple[float, int, float]] = []
        for number in near:
            # A wire along which the text is written counts as nearer.
            away = float(shapely.distance(lines[number], shape))
            along = float(shapely.intersection(lines[number], shape.buffer(away + 0.5)).length)
            beside.append((away - 0.15 * min(along, long), number, away))
        _, number, away = min(beside)
        used |= set(words)
        if number not in best or away < best[number][0]:
            best[number] = (away, wire)
    return {number: text for number, (_, text) in best.items()}, used


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


# Parts


@dataclass(slots=True)
class Device:
    """One part as it is made out: its bodies, its pins (numbers of nodes), its name and what is written there."""

    bodies: list[int]
    box: Box
    pins: list[int] = field(default_factory=list)
    name: str = ""
    letters: str = ""
    pin: str = ""
    words: list[str] = field(default_factory=list)
    value: str = ""


def name_devices(
    devices: Sequence[Device], codes: Sequence[tuple[Word, Code]], net: Net, bodies: Sequence[Body], em: float
) -> set[Word]:
    """Gives each device the name that stands near one of its symbols; the words used for that."""
    symbols = [(device, body) for device in devices for body in device.bodies]
    costs = np.full((len(symbols), len(codes)), FAR)
    for row, (device, body) in enumerate(symbols):
        box = bodies[body].box
        pins = [net.nodes[pin].spot for pin in device.pins if net.nodes[pin].body == body]
        inside = [number for number, (word, _) in enumerate(codes) if holds(box, word.box, 0.2 * em)]
        for column, (word, code) in enumerate(codes):
            away = gap(box, word.box)
            if away > NAME_REACH * em:
                continue
            # A name usually stands level with the middle, or above or below it.
            aside = min(abs(a - b) for a, b in zip(middle(box), word.middle, strict=True))
            costs[row, column] = away + 0.05 * aside + (em - word.size)
            costs[row, column] += 0.0 if code.letters in LETTERS else 3 * em
            if any(gap(word.box, (*pin, *pin)) < 1.8 * em for pin in pins):
                costs[row, column] += 4 * em if len(inside) > 1 and column in inside else 1.5 * em
    used = set()
    for row, column in assigned(costs, 2 * NAME_REACH * em).items():
        device, (word, code) = symbols[row][0], codes[column]
        if not device.name:
            device.name, device.letters, device.pin = code.name, code.letters, code.pin
            used.add(word)
    return used


def describe_devices(devices: Sequence[Device], words: Sequence[Word], em: float) -> None:
    """Gives each device the value and the words of the lines of text that stand beside it, from the top."""
    lines = [(text, [gap(device.box, text.box) for device in devices]) for text in texts_of(words)]
    for line, away in sorted(lines, key=lambda entry: entry[0].box[1]):
        if min(away, default=FAR) > DESCRIPTION_REACH * em:
            continue
        device = devices[away.index(min(away))]
        if VALUE.fullmatch(line.text) and not device.value:
            device.value = line.text.replace(",", ".").replace("Ω", "ohm")
        elif re.search(r"[A-Za-z]{2}", line.text) and not (
            holds(device.box, line.box) and len(line.text) < 3
        ):
            device.words.append(line.text)


# Pins


def pin_names(devices: Sequence[Device], net: Net, words: Sequence[Word], em: float) -> dict[int, Word]:
    """Number of a node → the word that names it as a pin.

    The letter in the middle of a small symbol (the M of a motor) names none.
    """
    leads: dict[int, list[tuple[Spot, ...]]] = defaultdict(list)
    for stretch in net.stretches:
        leads[stretch.a].append(stretch.spots)
        leads[stretch.b].append(stretch.spots)
    nameless = [(pin, device) for device in devices if not device.pin for pin in device.pins if leads[pin]]
    # Every word of a line can be the name of a pin: a sign within a sentence is none.
    lists = [text for text in texts_of(words) if len(text.text) < 40]
    fit = [
        word for text in lists if all(reads_as_pin(word.text) for word in text.words) for word in text.words
    ]
    costs = np.full((len(nameless), len(fit)), FAR)
    for row, (pin, device) in enumerate(nameless):
        spot = net.nodes[pin].spot
        long = max(device.box[2] - device.box[0], device.box[3] - device.box[1])
        near = shapely.MultiLineString(leads[pin]).intersection(shapely.Point(spot).buffer(ALONG * em))
        for column, word in enumerate(fit):
            at_spot = gap(word.box, (*spot, *spot))
            central = holds(device.box, word.box) and long < 5 * word.size
            is_letter = central and math.dist(word.middle, middle(device.box)) < 0.25 * long
            if at_spot > ALONG * em or is_letter:
                continue
            at_lead = FAR if near.is_empty else shapely.distance(near, shapely.box(*word.box))
            cost = at_spot if holds(device.box, word.box, 0.2 * em) else at_lead + 0.35 * at_spot
            if cost <= PIN_REACH * em:
                costs[row, column] = cost + (0.0 if word.text[0].isdigit() or word.text in "+-" else 0.5 * em)
    return {nameless[row][0]: fit[column] for row, column in assigned(costs, 2 * PIN_REACH * em).items()}


def free_name(base: str, taken: Container[str]) -> str:
    """A name that is not taken: the base with the first number that is free."""
    return next(name for number in count(1) if (name := f"{base}{number}") not in taken)
