"""A photo of a diagram made straight, its light evened, and a wire followed on it along dark pixels."""

from __future__ import annotations

import io
import math
from collections.abc import Iterable, Sequence

import numpy as np
import shapely  # type: ignore[import-untyped]
from numpy.typing import NDArray
from PIL import Image, ImageOps, UnidentifiedImageError
from scipy import ndimage
from scipy.sparse import coo_array
from scipy.sparse.csgraph import dijkstra

from halfsplit.diagram.sheet import Box, Spot
from halfsplit.errors import InputError

Grey = NDArray[np.float32]
"""Brightness of each pixel, rows from the top, 0 black to 1 white."""
LONGEST = 2000
"""Longer side of a straightened photo, pixels."""
SHOWN = 1200
"""Longer side of a photo as it is shown with its corners, pixels."""
MOST_PIXELS = 120_000_000
DARK = 0.72
"""Below this share of the paper's brightness a pixel can be of a line."""
REACH = 30
"""Pixels around a tap in which its line lies."""
GAP_COST = 6.0
"""A step over paper costs as many steps as this on a line; lines are broken by blur and JPEG."""


def opened(data: bytes) -> Image.Image:
    """A picture, upright as its camera says. Raises `InputError` where it cannot be opened or is too large."""
    try:
        picture = Image.open(io.BytesIO(data))
        if picture.width * picture.height > MOST_PIXELS:
            raise InputError(
                f"the picture has {picture.width} × {picture.height} pixels", remedy="make it smaller"
            )
        return ImageOps.exif_transpose(picture).convert("RGB")
    except (UnidentifiedImageError, OSError, ValueError, Image.DecompressionBombError) as error:
        raise InputError("the picture cannot be opened", remedy="save it as PNG or JPEG") from error


def reduced(picture: Image.Image) -> Image.Image:
    """The picture at most ``SHOWN`` pixels long, to be looked at."""
    shown = picture.copy()
    shown.thumbnail((SHOWN, SHOWN))
    return shown


def corners_of(picture: Image.Image) -> tuple[Spot, Spot, Spot, Spot]:
    """The corners of the paper: above left, above right, below right, below left; else those of the picture.

    The paper is the largest bright area (threshold by Otsu 1979) that fills at least a quarter of the picture.
    """
    scale = 400 / max(picture.size)
    small = picture.convert("L").resize(
        (max(8, round(picture.width * scale)), max(8, round(picture.height * scale)))
    )
    grey = ndimage.gaussian_filter(np.asarray(small, dtype=float), 2)
    label, count = ndimage.label(grey > _otsu(grey))
    sizes = ndimage.sum_labels(np.ones_like(grey), label, range(1, count + 1))
    if not count or max(sizes) < 0.25 * grey.size:
        width, height = map(float, picture.size)
        return (0.0, 0.0), (width, 0.0), (width, height), (0.0, height)
    ys, xs = np.nonzero(label == 1 + int(np.argmax(sizes)))
    picks = [np.argmin(xs + ys), np.argmax(xs - ys), np.argmax(xs + ys), np.argmin(xs - ys)]
    a, b, c, d = ((float(xs[pick]) / scale, float(ys[pick]) / scale) for pick in picks)
    return a, b, c, d


def _otsu(grey: NDArray[np.float64]) -> float:
    """The brightness that parts dark from bright best: the largest variance between the two."""
    counts, edges = np.histogram(grey, bins=64)
    middles = (edges[:-1] + edges[1:]) / 2
    below, above = np.cumsum(counts), np.cumsum(counts[::-1])[::-1]
    total_below = np.cumsum(counts * middles) / np.maximum(below, 1)
    total_above = (np.cumsum((counts * middles)[::-1]) / np.maximum(above[::-1], 1))[::-1]
    between = below[:-1] * above[1:] * (total_below[:-1] - total_above[1:]) ** 2
    return float(middles[int(np.argmax(between))])


def homography(corners: Sequence[Spot], width: float, height: float) -> tuple[float, ...]:
    """Nine numbers, row by row: from the straightened picture (width × height) to the photo.

    The four corners of the one fall on those of the other (the direct linear transformation). Raises `InputError` where
    three of them lie on a line.
    """
    target = ((0.0, 0.0), (width, 0.0), (width, height), (0.0, height))
    rows, right = [], []
    for (x, y), (u, v) in zip(target, corners, strict=True):
        rows += [[x, y, 1, 0, 0, 0, -u * x, -u * y], [0, 0, 0, x, y, 1, -v * x, -v * y]]
        right += [u, v]
    try:
        solution = np.linalg.solve(np.array(rows), np.array(right))
    except np.linalg.LinAlgError:
        raise InputError(
            "these are not the corners of a page", remedy="drag each onto a corner of the paper"
        ) from None
    return (*(float(value) for value in solution), 1.0)


def straightened(picture: Image.Image, corners: Sequence[Spot]) -> tuple[Image.Image, tuple[float, ...]]:
    """The paper as seen from straight above, its light evened; and the homography."""
    a, b, c, d = corners
    across = max(math.dist(a, b), math.dist(d, c))
    down = max(math.dist(a, d), math.dist(b, c))
    if min(across, down) < 40:
        raise InputError(
            "the page is too small in this photo", remedy="drag the corners onto those of the paper"
        )
    scale = min(LONGEST / max(across, down), 1.5)
    width, height = round(across * scale), round(down * scale)
    matrix = homography(corners, width, height)
    flat = picture.transform(
        (width, height), Image.Transform.PERSPECTIVE, matrix[:8], Image.Resampling.BILINEAR
    )
    return Image.fromarray((255 * evened(flat)).astype(np.uint8)), matrix


def evened(picture: Image.Image) -> NDArray[np.float64]:
    """The picture by the brightness of the paper around: 1 where it is paper. Shape (rows, columns, 3)."""
    pixels = np.asarray(picture, dtype=np.float64) / 255
    step = max(1, max(picture.size) // 160)
    paper = np.stack(
        [
            ndimage.gaussian_filter(
                ndimage.percentile_filter(pixels[::step, ::step, channel], 80, size=15), 6
            )
            for channel in range(3)
        ],
        axis=-1,
    )
    zoom = (pixels.shape[0] / paper.shape[0], pixels.shape[1] / paper.shape[1], 1)
    background = ndimage.zoom(paper, zoom, order=1, grid_mode=True, mode="nearest")[
        : pixels.shape[0], : pixels.shape[1]
    ]
    return np.clip(pixels / np.maximum(background, 0.05), 0, 1)


def png(picture: Image.Image) -> bytes:
    """The picture as PNG."""
    held = io.BytesIO()
    picture.save(held, "PNG", compress_level=4)
    return held.getvalue()


# Following a wire


def grey_of(picture: Image.Image) -> Grey:
    """Brightness of each pixel; the darkest of the three colours, so that coloured wires count as dark."""
    darkest: Grey = np.asarray(picture, dtype=np.float32).min(axis=-1) / np.float32(255)
    return darkest


def followed(
    grey: Grey, start: Spot, stop: Spot, boxes: Iterable[Box] = (), own: Iterable[Box] = ()
) -> tuple[Spot, ...]:
    """The way from one tap to the other along dark pixels, as few straight pieces; empty where there is none.

    ``boxes`` are those of other parts: no way leads through them. ``own`` are those of the two parts that are joined:
    inside them a way may cross the gaps of the symbol, a switch's or a battery's. A way proves nothing before somebody
    confirms it.
    """
    dark = grey < DARK
    allowed = ndimage.binary_dilation(dark, iterations=2)
    for left, top, right, bottom in own:
        allowed[_rows(top, bottom, grey.shape[0]), _rows(left, right, grey.shape[1])] = True
    for left, top, right, bottom in boxes:
        allowed[_rows(top, bottom, grey.shape[0]), _rows(left, right, grey.shape[1])] = False
    first, last = _nearest(allowed, dark, start), _nearest(allowed, dark, stop)
    way = _way(allowed, dark, first, last) if first and last else []
    if not way:
        return ()
    spots = [(float(column), float(row)) for row, column in way]
    # Its corners (Douglas and Peucker 1973): no spot left out lies farther than 3 pixels from it. Pieces that are
    # nearly level or upright are made quite so, the ends left where they were tapped.
    line = shapely.LineString([start, *spots, stop]).simplify(3.0, preserve_topology=False)
    made: list[Spot] = [(x, y) for x, y in line.coords]
    for number in range(1, len(made) - 1):
        (ax, ay), (bx, by) = made[number - 1], made[number]
        if abs(ay - by) <= 0.08 * abs(ax - bx):
            made[number] = (bx, ay)
        elif abs(ax - bx) <= 0.08 * abs(ay - by):
            made[number] = (ax, by)
    return tuple(made)


def _rows(low: float, high: float, size: int) -> slice:
    return slice(max(0, math.ceil(low)), min(size, max(0, math.floor(high))))


def _nearest(allowed: NDArray[np.bool_], dark: NDArray[np.bool_], spot: Spot) -> tuple[int, int] | None:
    """The dark pixel nearest to a tap, within `REACH`."""
    column, row = round(spot[0]), round(spot[1])
    top, left = max(0, row - REACH), max(0, column - REACH)
    window = (allowed & dark)[top : row + REACH + 1, left : column + REACH + 1]
    ys, xs = np.nonzero(window)
    if not len(xs):
        return None
    best = int(np.argmin((ys + top - row) ** 2 + (xs + left - column) ** 2))
    return int(ys[best] + top), int(xs[best] + left)


def _way(
    allowed: NDArray[np.bool_], dark: NDArray[np.bool_], first: tuple[int, int], last: tuple[int, int]
) -> list[tuple[int, int]]:
    """The cheapest way over allowed pixels (Dijkstra), a step over paper dearer than one on a line."""
    label, _ = ndimage.label(allowed, structure=np.ones((3, 3)))
    if label[first] != label[last] or not label[first]:
        return []
    member = label == label[first]
    rows, columns = np.nonzero(member)
    number = np.full(allowed.shape, -1, dtype=np.int32)
    number[member] = np.arange(len(rows), dtype=np.int32)
    price = np.where(dark, 1.0, GAP_COST)[member]
    sources, targets, costs = [], [], []
    for down, across in ((0, 1), (1, 0), (1, 1), (1, -1)):
        other_rows, other_columns = rows + down, columns + across
        inside = (other_rows < allowed.shape[0]) & (other_columns >= 0) & (other_columns < allowed.shape[1])
        other = np.full(len(rows), -1, dtype=np.int32)
        other[inside] = number[other_rows[inside], other_columns[inside]]
        here = np.flatnonzero(other >= 0)
        sources.append(here)
        targets.append(other[here])
        costs.append(math.hypot(down, across) * (price[here] + price[other[here]]) / 2)
    size = len(rows)
    graph = coo_array(
        (np.concatenate(costs), (np.concatenate(sources), np.concatenate(targets))), shape=(size, size)
    ).tocsr()
    start, end = int(number[first]), int(number[last])
    before = dijkstra(graph, False, [start], True)[1][0]
    way = [end]
    while way[-1] != start:
        way.append(int(before[way[-1]]))
        if way[-1] < 0:
            return []
    return [(int(rows[step]), int(columns[step])) for step in reversed(way)]
