"""Charts of practice as SVG: points from exercise to exercise, and how a question shrank on two paths.

No colour is told here: each thing has a class, and the page's style sheet colours it for light and dark.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from html import escape
from itertools import accumulate, pairwise
from statistics import fmean

from halfsplit.practice.hiding import DIFFICULTIES

WIDTH, HEIGHT = 720.0, 230.0
LEFT, RIGHT, TOP, BOTTOM = 66.0, 14.0, 16.0, 50.0
MEAN_OF = 5
"""Exercises over which the line of the mean runs."""
MOST_SHOWN = 40
LABELS = 6
SIZE = 5.5
TICKS = (0, 25, 50, 75, 100)


@dataclass(frozen=True, slots=True)
class Mark:
    """One exercise in the chart. ``day``: as it is written below; ``words``: told where one points at it."""

    day: str
    points: int
    difficulty: str
    words: str


def results_chart(marks: Sequence[Mark]) -> str:
    """Points of the last exercises, oldest first, and the mean of five; '' where there are fewer than two."""
    shown = list(marks)[-MOST_SHOWN:]
    if len(shown) < 2:
        return ""
    across = [_x(number / (len(shown) - 1)) for number in range(len(shown))]
    means, drawn = [], []
    for number, (mark, x) in enumerate(zip(shown, across, strict=True), start=1):
        means.append((x, _y(fmean(each.points for each in shown[max(0, number - MEAN_OF) : number]) / 100)))
        kind = list(DIFFICULTIES).index(mark.difficulty) if mark.difficulty in DIFFICULTIES else 0
        shape = _shape(kind, x, _y(mark.points / 100))
        drawn.append(f'<g class="mark"><title>{escape(mark.words)}</title>{shape}</g>')
    return _svg(
        f"Points of the last {len(shown)} exercises, from {min(mark.points for mark in shown)} to "
        f"{max(mark.points for mark in shown)}, the last one {shown[-1].points}",
        (
            *_grid([(tick / 100, str(tick)) for tick in TICKS]),
            *_days(shown, across),
            _line("mean", means),
            *drawn,
        ),
    )


@dataclass(frozen=True, slots=True)
class Course:
    """How a question shrank on a path: minutes of each test, and bits still needed before the first and after each."""

    minutes: Sequence[float]
    question: Sequence[float]


def paths_chart(own: Course, best: Course) -> str:
    """Bits in question against minutes on the trainee's path and on the best one; '' where nothing was measured."""
    if not own.minutes or not best.minutes:
        return ""
    minutes = max(sum(own.minutes), sum(best.minutes), 1.0)
    bits = max(1.0, *own.question, *best.question)
    most = int(bits) + (bits > int(bits))
    ticks = [(number / most, str(number)) for number in range(0, most + 1, 1 if most < 6 else 2)]
    ends = [
        f'<text class="day" x="{_x(share):.1f}" y="{HEIGHT - 14:.0f}" text-anchor="{anchor}">{words}</text>'
        for share, words, anchor in ((0.0, "0 min", "start"), (1.0, f"{minutes:.0f} min", "end"))
    ]
    return _svg(
        f"Halvings still needed: yours from {own.question[0]:.1f} to {own.question[-1]:.1f} in "
        f"{sum(own.minutes):.0f} min, the best path's to {best.question[-1]:.1f} in {sum(best.minutes):.0f} min",
        (
            *_grid(ticks),
            *ends,
            _line("best", _stairs(best, minutes, most)),
            _line("own", _stairs(own, minutes, most)),
        ),
    )


def _stairs(path: Course, minutes: float, most: float) -> list[tuple[float, float]]:
    """The question stays as it was until a test has been made."""
    times = [0.0, *accumulate(path.minutes)]
    corners = [(times[0], path.question[0])]
    for (_, before), (now, after) in pairwise(zip(times, path.question, strict=True)):
        corners += [(now, before), (now, after)]
    return [(_x(time / minutes), _y(bits / most)) for time, bits in corners]


def _x(share: float) -> float:
    return LEFT + share * (WIDTH - LEFT - RIGHT)


def _y(share: float) -> float:
    return TOP + (1.0 - share) * (HEIGHT - TOP - BOTTOM)


def _svg(words: str, parts: Sequence[str]) -> str:
    body = "".join(parts)
    return (
        f'<svg class="chart" viewBox="0 0 {WIDTH:.0f} {HEIGHT:.0f}" role="img" aria-label="{escape(words)}">'
        f"{body}</svg>"
    )


def _grid(ticks: Sequence[tuple[float, str]]) -> Iterator[str]:
    for share, words in ticks:
        y = _y(share)
        yield f'<line class="grid" x1="{LEFT:.0f}" y1="{y:.1f}" x2="{WIDTH - RIGHT:.0f}" y2="{y:.1f}"/>'
        yield f'<text class="tick" x="{LEFT - 8:.0f}" y="{y + 5:.1f}" text-anchor="end">{words}</text>'


def _days(marks: Sequence[Mark], across: Sequence[float]) -> Iterator[str]:
    """Some of the days below, the first and the last among them, none twice."""
    chosen = sorted({round(n * (len(marks) - 1) / (LABELS - 1)) for n in range(LABELS)})
    last = ""
    for number in chosen:
        anchor = "start" if number == 0 else "end" if number == len(marks) - 1 else "middle"
        if marks[number].day != last:
            yield (
                f'<text class="day" x="{across[number]:.1f}" y="{HEIGHT - 14:.0f}" text-anchor="{anchor}">'
                f"{escape(marks[number].day)}</text>"
            )
        last = marks[number].day


def _line(name: str, corners: Sequence[tuple[float, float]]) -> str:
    points = " ".join(f"{x:.1f},{y:.1f}" for x, y in corners)
    return f'<polyline class="{name}" points="{points}"/>'


def difficulty_mark(difficulty: str) -> str:
    """The mark of a difficulty alone, for the legend."""
    kind = list(DIFFICULTIES).index(difficulty)
    drawn = f'<g class="mark">{_shape(kind, 8, 8)}</g>'
    return f'<svg class="chart shape" viewBox="0 0 16 16" aria-hidden="true">{drawn}</svg>'


def _shape(kind: int, x: float, y: float) -> str:
    """A shape for each difficulty: they are told apart without colour."""
    s = SIZE
    corners = {
        1: ((-s, -s), (s, -s), (s, s), (-s, s)),
        2: ((0, -1.2 * s), (1.2 * s, s), (-1.2 * s, s)),
        3: ((0, -1.4 * s), (1.4 * s, 0), (0, 1.4 * s), (-1.4 * s, 0)),
        4: ((-1.2 * s, -s), (1.2 * s, -s), (0, 1.2 * s)),
    }
    if kind not in corners:
        return f'<circle cx="{x:.1f}" cy="{y:.1f}" r="{s:.1f}"/>'
    points = " ".join(f"{x + dx:.1f},{y + dy:.1f}" for dx, dy in corners[kind])
    return f'<polygon points="{points}"/>'
