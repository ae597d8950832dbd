"""What a page shows before anything is understood: lines, closed shapes and words, wherever they came from.

Coordinates are the page's own, in points (1/72 inch) or pixels of a picture, x to the right and y downwards from the
upper left corner, as the page is looked at.
"""

from __future__ import annotations

import math
import statistics
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Literal

Spot = tuple[float, float]
Box = tuple[float, float, float, float]
"""Left, top, right, bottom."""


@dataclass(frozen=True, slots=True)
class Outline:
    """One line or shape as it is drawn: its spots in order, curves flattened.

    ``bent`` says that it has a curve in it, ``stroked`` and ``filled`` how it is painted, ``width`` how wide the pen
    is, ``ink`` the colour as ``#rrggbb``, ``dashed`` that the file itself calls it dashed.
    """

    spots: tuple[Spot, ...]
    closed: bool = False
    bent: bool = False
    stroked: bool = True
    filled: bool = False
    width: float = 1.0
    ink: str = "#000000"
    dashed: bool = False

    @property
    def box(self) -> Box:
        return box_of(self.spots)


@dataclass(frozen=True, slots=True)
class Word:
    """Characters without a gap; ``size`` is the height of the letters; ``upright``: not written upwards."""

    text: str
    box: Box
    size: float
    upright: bool = True

    @property
    def middle(self) -> Spot:
        return (self.box[0] + self.box[2]) / 2, (self.box[1] + self.box[3]) / 2


@dataclass(frozen=True, slots=True)
class Sheet:
    """One page: its size, its lines and shapes, its words."""

    width: float
    height: float
    outlines: tuple[Outline, ...]
    words: tuple[Word, ...]

    @property
    def em(self) -> float:
        """The usual height of a letter, by which distances are judged; where nothing is written, a guess."""
        sizes = [word.size for word in self.words if word.size > 0]
        return statistics.median(sizes) if sizes else max(6.0, min(self.width, self.height) / 60)


@dataclass(frozen=True, slots=True)
class Letter:
    """One character as a file places it; ``turn`` is its direction of writing in degrees, 0 or 90 counter-clockwise."""

    text: str
    box: Box
    size: float
    turn: Literal[0, 90] = 0


def box_of(spots: Iterable[Spot]) -> Box:
    """The smallest upright box around some spots."""
    xs, ys = zip(*spots, strict=True)
    return min(xs), min(ys), max(xs), max(ys)


def around(boxes: Iterable[Box]) -> Box:
    """The smallest box around some boxes."""
    lefts, tops, rights, bottoms = zip(*boxes, strict=True)
    return min(lefts), min(tops), max(rights), max(bottoms)


def grown(box: Box, by: float) -> Box:
    """A box that is larger on each side."""
    return box[0] - by, box[1] - by, box[2] + by, box[3] + by


def gap(a: Box, b: Box) -> float:
    """The distance between two boxes; 0 where they touch or overlap."""
    across = max(a[0] - b[2], b[0] - a[2], 0.0)
    down = max(a[1] - b[3], b[1] - a[3], 0.0)
    return math.hypot(across, down)


def holds(outer: Box, inner: Box, slack: float = 0.0) -> bool:
    """Whether one box lies within another."""
    return (
        outer[0] <= inner[0] + slack
        and outer[1] <= inner[1] + slack
        and outer[2] >= inner[2] - slack
        and outer[3] >= inner[3] - slack
    )


# Letters to words

SPACE = 0.28
"""A gap of this share of the letters' height, and more, parts two words."""


def words_of(letters: Sequence[Letter]) -> tuple[Word, ...]:
    """Letters joined to words by where they stand, whatever order the file has them in."""
    words: list[Word] = []
    for turn in (0, 90):
        lying = [_laid(letter) for letter in letters if letter.turn == turn]
        words += [_word(run, turn) for line in _lines(lying) for run in _runs(line)]
    return tuple(words)


def _laid(letter: Letter) -> Letter:
    """A letter of a line that is written upwards, turned so that the line is level."""
    if letter.turn == 0:
        return letter
    left, top, right, bottom = letter.box
    return Letter(letter.text, (-bottom, left, -top, right), letter.size)


def _lines(letters: Iterable[Letter]) -> list[list[Letter]]:
    """Letters whose middles are level, as lines, each from left to right."""
    lines: list[list[Letter]] = []
    tails: list[tuple[float, float]] = []
    for letter in sorted(letters, key=lambda letter: ((letter.box[1] + letter.box[3]) / 2, letter.box[0])):
        middle = (letter.box[1] + letter.box[3]) / 2
        for number in range(len(lines) - 1, max(-1, len(lines) - 12), -1):
            centre, size = tails[number]
            if abs(centre - middle) < 0.35 * max(size, letter.size) and 0.5 < letter.size / size < 2:
                lines[number].append(letter)
                break
        else:
            lines.append([letter])
            tails.append((middle, letter.size))
    return [sorted(line, key=lambda word: word.box[0]) for line in lines]


def _runs(line: Sequence[Letter]) -> Iterable[list[Letter]]:
    run: list[Letter] = []
    for letter in line:
        if letter.text.isspace():
            if run:
                yield run
            run = []
            continue
        if run and letter.box[0] - run[-1].box[2] > SPACE * letter.size:
            yield run
            run = []
        run.append(letter)
    if run:
        yield run


def _word(run: Sequence[Letter], turn: int) -> Word:
    left, top, right, bottom = around(letter.box for letter in run)
    box = (left, top, right, bottom) if turn == 0 else (top, -right, bottom, -left)
    size = statistics.median(letter.size for letter in run)
    return Word("".join(letter.text for letter in run), box, size, upright=turn == 0)
