"""A current log as a drawing: the span of the samples in each column, the levels over it, gaps left open.

The scale of the current is logarithmic, since it spans four decades between awake and asleep. Colours come from
classes, so that a page draws it in its own scheme; ``standalone`` brings its own for paper.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from html import escape

import numpy as np
from numpy.typing import NDArray

from halfsplit.drain.analysis import USUAL_LIMIT, DrainAnalysis
from halfsplit.drain.log import CurrentLog
from halfsplit.drain.words import amps_words, time_words

Floats = NDArray[np.float64]

WIDTH, HEIGHT = 760, 330
LEFT, RIGHT, TOP, BOTTOM = 66, 12, 14, 44
LEAST, MOST = 1e-4, 1e3
COLUMNS = WIDTH - LEFT - RIGHT
TICKS_H = (1 / 60, 1 / 12, 1 / 6, 0.5, 1, 2, 3, 6, 12, 24, 48, 96)
MOST_TICKS = 9

STYLE = (
    "<style>.drain-span{fill:#9cc3dd}.drain-level{fill:none;stroke:#0b5c8a;stroke-width:2}"
    ".drain-line{fill:none;stroke:#d9d6cd}.drain-usual{stroke:#8f3400;stroke-dasharray:6 4}.drain-gap{fill:#f0eee7}"
    ".drain-text{font:14px DejaVu Sans,sans-serif;fill:#1c2126}</style>"
)


def plot_svg(log: CurrentLog, analysis: DrainAnalysis, *, standalone: bool = False) -> str:
    """The log as SVG, ``WIDTH`` by ``HEIGHT``. Never fails on a log that was analysed."""
    # Whole decades that hold nearly all samples.
    low, high = np.quantile(np.clip(log.amps, LEAST, MOST), (0.001, 1.0))
    bottom = float(np.floor(np.log10(low) + 1e-9))
    scale = _Scale(log.duration, bottom, float(max(np.ceil(np.log10(high) - 1e-9), bottom + 1)))
    title = f"Current over {time_words(log.duration)}: {analysis.verdict}"
    gaps = []
    for start, end in log.gaps:
        x, width = scale.x(start), max(scale.x(end) - scale.x(start), 1)
        place = f'x="{x:.1f}" y="{TOP}" width="{width:.1f}" height="{HEIGHT - TOP - BOTTOM}"'
        gaps.append(f'<rect class="drain-gap" {place}/>')
    stretches = [
        f"{scale.x(s.start):.1f} {scale.y(max(s.mean, LEAST)):.1f}H{scale.x(s.end):.1f}"
        for s in analysis.segments
    ]
    level = f"M{'L'.join(stretches)}"
    pieces = [
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDTH} {HEIGHT}" class="drain-plot" role="img" '
        f'aria-label="{escape(title)}">',
        STYLE if standalone else "",
        *gaps,
        *_grid(scale),
        f'<path class="drain-span" d="{_span(log, scale)}"/>',
        f'<path class="drain-level" d="{level}"/>',
        "</svg>",
    ]
    return "".join(pieces)


@dataclass(frozen=True)
class _Scale:
    """From seconds and amperes to the drawing. `bottom`, `top`: exponents of ten."""

    duration: float
    bottom: float
    top: float

    def x(self, seconds: float) -> float:
        return LEFT + COLUMNS * seconds / max(self.duration, 1e-9)

    def y(self, amps: Floats | float) -> Floats:
        share = np.log10(np.clip(amps, 10**self.bottom, 10**self.top)) - self.bottom
        return np.asarray(HEIGHT - BOTTOM - (HEIGHT - TOP - BOTTOM) * (share / (self.top - self.bottom)))


def _span(log: CurrentLog, scale: _Scale) -> str:
    """One upright line a column, from the least to the most that was read in it; columns without samples stay open."""
    column = np.minimum((log.seconds / max(log.duration, 1e-9) * COLUMNS).astype(np.int64), COLUMNS - 1)
    first = np.flatnonzero(np.concatenate(([True], np.diff(column) > 0)))
    low, high = (scale.y(extreme.reduceat(log.amps, first)) for extreme in (np.minimum, np.maximum))
    # A log with fewer samples than columns is drawn as wide as its step.
    wide = np.diff(np.concatenate((column[first], [COLUMNS])))
    width = np.minimum(wide, max(np.ceil(1.5 * COLUMNS * log.step / max(log.duration, 1e-9)), 1))
    return "".join(
        f"M{LEFT + x:.0f} {y0 - 0.75:.1f}h{w:.0f}V{y1 + 0.75:.1f}h-{w:.0f}z"
        for x, y0, y1, w in zip(column[first], high, low, width, strict=True)
    )


def _grid(scale: _Scale) -> Iterator[str]:
    end = WIDTH - RIGHT
    for exponent in range(int(scale.bottom), int(scale.top) + 1):
        y = float(scale.y(10.0**exponent))
        yield f'<path class="drain-line" d="M{LEFT} {y:.1f}H{end}"/>'
        decade = f"{10.0**exponent:g} A" if exponent >= 0 else f"{1000 * 10.0**exponent:g} mA"
        yield _text(LEFT - 8, y + 5, decade, "end")
    if 10**scale.bottom < USUAL_LIMIT < 10**scale.top:
        y = float(scale.y(USUAL_LIMIT))
        yield f'<path class="drain-usual" d="M{LEFT} {y:.1f}H{end}"/>'
        limit = amps_words(USUAL_LIMIT).replace(".0", "")
        yield _text(end - 4, y + 17, f"usual limit asleep, {limit}", "end")
    hours = scale.duration / 3600
    step = next((apart for apart in TICKS_H if hours / apart <= MOST_TICKS), np.ceil(hours / MOST_TICKS))
    for number in range(int(hours / step + 1e-6) + 1):
        x = scale.x(number * step * 3600)
        yield f'<path class="drain-line" d="M{x:.1f} {TOP}V{HEIGHT - BOTTOM}"/>'
        words = f"{number * step:g}" if step >= 1 else f"{round(number * step * 60)}"
        yield _text(x, HEIGHT - BOTTOM + 18, words, "middle")
    yield _text((LEFT + end) / 2, HEIGHT - 6, "hours" if step >= 1 else "minutes", "middle")


def _text(x: float, y: float, words: str, anchor: str) -> str:
    return f'<text class="drain-text" x="{x:.1f}" y="{y:.1f}" text-anchor="{anchor}">{escape(words)}</text>'
