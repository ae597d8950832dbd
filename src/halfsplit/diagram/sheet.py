"""What a page shows before anything is understood: lines, closed shapes and words, wherever they came from.

Coordinates are the page's own, in points (1/72 inch) or pixels of a picture, x to the right and y downwards from the
upper left corner, as the page is looked at.
"""

from __future__ import annotations

import math
import statistics
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Literal

Spot = tuple[float, float]
Box = tuple[float, float, float, float]
"""Left, top, right, bottom."""


@dataclass(frozen=True, slots=True)
class Outline:
    """One line or shape as it is drawn: its spots in order, curves flattened.

    ``stroked`` and ``filled`` say how it is painted, ``dashed`` that the file itself calls it dashed. What is painted
    in the white of the paper is no outline.
    """

    spots: tuple[Spot, ...]
    closed: bool = False
    stroked: bool = True
    filled: bool = False
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
        return middle(self.box)


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


def within(spot: Spot, box: Box) -> bool:
    """Whether a spot lies in a box."""
    return holds(box, (*spot, *spot))


def middle(box: Box) -> Spot:
    """The middle of a box."""
    return (box[0] + box[2]) / 2, (box[1] + box[3]) / 2


# Letters to words

SPACE = 0.28
"""A gap of this share of the letters' height, and more, parts two words."""


def words_of(letters: Sequence[Letter]) -> tuple[Word, ...]:
    """Letters joined to words by where they stand, whatever order the file has them in."""
    words: list[Word] = []
    for turn in (0, 90):
        lying = [letter for letter in letters if letter.turn == turn]
        if turn == 90:  # turned so that the line is level
            boxes = [
                (-bottom, left, -top, right) for left, top, right, bottom in (each.box for each in lying)
            ]
            lying = [replace(letter, box=box) for letter, box in zip(lying, boxes, strict=True)]
        for run in _runs(lying):
            left, top, right, bottom = around(letter.box for letter in run)
            box = (left, top, right, bottom) if turn == 0 else (top, -right, bottom, -left)
            size = statistics.median(letter.size for letter in run)
            words.append(Word("".join(letter.text for letter in run), box, size, upright=turn == 0))
    return tuple(words)


def _runs(letters: Iterable[Letter]) -> Iterator[list[Letter]]:
    """The letters of each word: those whose middles are level, as lines, each from left to right, cut at its gaps."""
    lines: list[tuple[float, float, list[Letter]]] = []
    for letter in sorted(letters, key=lambda letter: ((letter.box[1] + letter.box[3]) / 2, letter.box[0])):
        middle = (letter.box[1] + letter.box[3]) / 2
        for centre, size, line in lines[
            :-12:-1
        ]:  # a line of letters is never far from the last that was begun
            if abs(centre - middle) < 0.35 * max(size, letter.size) and 0.5 < letter.size / size < 2:
                line.append(letter)
                break
        else:
            lines.append((middle, letter.size, [letter]))
    for _, _, line in lines:
        run: list[Letter] = []
        for letter in sorted(line, key=lambda letter: letter.box[0]):
            blank = letter.text.isspace()
            if run and (blank or letter.box[0] - run[-1].box[2] > SPACE * letter.size):
                yield run
                run = []
            if not blank:
                run.append(letter)
        if run:
            yield run
