"""What is solved of one scene and kept: each column once, whichever hypotheses are looked at together with it."""

from __future__ import annotations

from collections.abc import Callable, Hashable, Iterable, Sequence
from functools import cached_property
from typing import TYPE_CHECKING, Any
from weakref import WeakKeyDictionary

import numpy as np
from numpy.typing import NDArray

from halfsplit.circuit.batch import Batch, Cars, Cases

if TYPE_CHECKING:
    from halfsplit.diagnosis.predict import Predictor, Scene

Floats = NDArray[np.float64]
Readings = NDArray[np.float32]
Ints = NDArray[np.intp]
Bools = NDArray[np.bool_]
Numbers = NDArray[np.int64]

AT_ONCE = 256
"""Points that are solved together: many are cheaper than few, and too many take too much memory."""
MOST_PIECES = 6
"""Pieces that what is known of a point is put together from; more are joined."""


class Piece:
    """What is known of some points in K columns: ``columns`` (K,) ascending, ``values`` (K, D, …) by point."""

    def __init__(self, columns: Ints, values: dict[Hashable, NDArray[Any]]) -> None:
        self.columns, self.values = columns, values


class Solved:
    """What the circuit does in one scene, in D cars and in every column that was asked for yet.

    ``regime`` (columns, D): a number that is the same where the same fuses are blown and every device rests in the same
    state. ``restless`` (columns, D): where devices find no rest. ``scenes``: what each predictor sees of it.
    """

    def __init__(self, cars: Cars) -> None:
        self.cars = cars
        self._batch: Batch | None = None
        self._place: dict[Hashable, int] = {}
        self._pieces: dict[tuple[str, Hashable], tuple[Piece, ...]] = {}
        self._bytes = 0
        self.regime: Numbers = np.zeros((0, len(cars)), dtype=np.int64)
        self.restless: Bools = np.zeros((0, len(cars)), dtype=bool)
        self.scenes: WeakKeyDictionary[Predictor, dict[Hashable, Scene]] = WeakKeyDictionary()

    @property
    def batch(self) -> Batch:
        """All columns, settled."""
        assert self._batch is not None  # noqa: S101 - nothing is asked before there are columns
        return self._batch

    @property
    def nbytes(self) -> int:
        """Bytes of what is kept and of the cars."""
        return self.cars.nbytes + self._bytes + (self._batch.nbytes if self._batch else 0)

    def let_go(self) -> None:
        """Forget who sees it: its scenes know it, so only the garbage collector would find that nobody else does."""
        self.scenes.clear()

    def places(self, numbers: Numbers, before: Bools, cases: Callable[[Numbers], Cases]) -> Ints:
        """Where columns are in it (C,), by the numbers of their cases and the fuses (F, C, D) that have opened before.

        Those that were never asked for are settled.
        """
        keys: list[Hashable] = numbers.tolist()
        for column in np.flatnonzero(before.any(axis=(0, 2))).tolist():
            keys[column] = keys[column], before[:, column].tobytes()
        new = {key: column for column, key in enumerate(keys) if key not in self._place}
        if new:
            columns = np.array(list(new.values()), dtype=np.intp)
            self._settle(cases(numbers[columns]), before[:, columns])
            self._place.update(zip(new, range(len(self._place), len(self._place) + len(new)), strict=True))
        return np.array([self._place[key] for key in keys], dtype=np.intp)

    def _settle(self, cases: Cases, before: Bools) -> None:
        more = Batch(self.cars, cases, before if before.any() else None)
        rests = np.concatenate([more.blown | before, more.states.astype(np.int8)])
        regime = np.zeros(more.shape, dtype=np.int64)
        for salt, each in zip(np.random.default_rng(1).integers(1, 1 << 40, len(rests)), rests, strict=True):
            regime += salt * each
        self.regime = np.concatenate([self.regime, regime])
        self.restless = np.concatenate([self.restless, more.chattering.any(axis=0)])
        if self._batch is None:
            self._batch = more
        else:
            self._batch.add(more)

    def pieces(self, what: str, point: Hashable) -> tuple[Piece, ...]:
        """What is known of a point."""
        return self._pieces.get((what, point), ())

    def solve(self, what: str, points: Sequence[Hashable], columns: Ints) -> None:
        """Solve for points of which the same is known, in more columns, ascending."""
        some = None if len(columns) == len(self.batch.cases) else columns
        piece = Piece(columns, {})
        for start in range(0, len(points), AT_ONCE):
            asked = points[start : start + AT_ONCE]
            piece.values.update(zip(asked, SOLVED[what](self.batch, asked, some), strict=True))
        self._bytes += sum(each.nbytes for each in piece.values.values())
        known = (*self.pieces(what, points[0]), piece)
        if len(known) > MOST_PIECES:
            # What all of them know of these points, which they no longer keep, becomes one.
            every = np.concatenate([each.columns for each in known])
            order = np.argsort(every)
            of_points = {
                point: np.concatenate([each.values.pop(point) for each in known])[order] for point in points
            }
            known = (Piece(every[order], of_points),)
        for point in points:
            self._pieces[what, point] = known


class Part:
    """Some columns of what is solved, in an order of one's own; what is not known of them is solved when asked for."""

    def __init__(self, solved: Solved, columns: Ints) -> None:
        self._solved, self._columns = solved, columns
        self._filled: set[tuple[str, Hashable]] = set()
        self._shared: dict[Piece, tuple[Ints, Ints]] = {}

    def fill(self, what: str, points: Iterable[Hashable]) -> None:
        """Solve for ``volts`` or ``source_ohms`` of nodes, ``amps`` of elements, ``port_ohms`` of pairs of nodes.

        Many together are much cheaper than one by one.
        """
        by_known: dict[tuple[Piece, ...], list[Hashable]] = {}
        for point in dict.fromkeys(points):
            if (what, point) not in self._filled:
                by_known.setdefault(self._solved.pieces(what, point), []).append(point)
                self._filled.add((what, point))
        for known, some in by_known.items():
            missing = np.ones(len(self._columns), dtype=bool)
            for piece in known:
                missing[self._shared_with(piece)[0]] = False
            if missing.any():
                self._solved.solve(what, some, np.unique(self._columns[missing]))

    def get(self, what: str, point: Hashable) -> NDArray[Any]:
        """One of these (C, D); of the modules that are ``fed`` and of the ``links`` of a bus all, (C, D, M)."""
        self.fill(what, [point])
        pieces = self._solved.pieces(what, point)
        for piece in pieces:
            own, theirs = self._shared_with(piece)
            if len(own) == len(self._columns):
                return np.asarray(piece.values[point][theirs])
        first = pieces[0].values[point]
        values = np.empty((len(self._columns), *first.shape[1:]), dtype=first.dtype)
        for piece in pieces:
            own, theirs = self._shared_with(piece)
            values[own] = piece.values[point][theirs]
        return values

    def _shared_with(self, piece: Piece) -> tuple[Ints, Ints]:
        """Which of its columns a piece knows, and where in the piece they are."""
        if piece not in self._shared:
            at = np.minimum(np.searchsorted(piece.columns, self._columns), len(piece.columns) - 1)
            own = np.flatnonzero(piece.columns[at] == self._columns)
            self._shared[piece] = own, at[own]
        return self._shared[piece]

    @cached_property
    def regime(self) -> Numbers:
        """A number (C, D) that is the same where the same fuses are blown and every device is in the same state."""
        return self._solved.regime[self._columns]

    @cached_property
    def restless(self) -> Bools:
        """Where devices find no rest (C, D)."""
        return self._solved.restless[self._columns]

    def blown(self, fuse: int | None = None) -> Bools:
        """Fuses that open by overload (F, C, D); whether one does, by its number (C, D)."""
        blown = self._solved.batch.blown
        return blown[:, self._columns] if fuse is None else blown[fuse][self._columns]

    def state(self, device: int) -> NDArray[np.int8]:
        """The state (C, D) in which a device rests."""
        return np.asarray(self._solved.batch.states[device, self._columns])

    def links(self) -> dict[tuple[str, str], Bools]:
        """(listener, speaker) → whether the one hears the other (C, D)."""
        pairs = self._solved.batch.table.pairs
        return dict(zip(pairs, np.moveaxis(self.get("links", 0), -1, 0), strict=True))


def _links(batch: Batch, cases: Ints | None) -> Bools:
    """Which units of a bus hear which (C, D, pairs); a unit may be alone on its bus."""
    heard, count = batch.links(cases), len(batch.cases) if cases is None else len(cases)
    links = np.zeros((count, len(batch.cars), len(batch.table.pairs)), dtype=bool)
    for number, pair in enumerate(batch.table.pairs):
        links[..., number] = heard[pair]
    return links


Solver = Callable[[Batch, Sequence[Hashable], Ints | None], Iterable[NDArray[Any]]]


def _of_points(ask: Callable[..., Floats]) -> Solver:
    """What a batch tells of nodes, elements or pairs of nodes, in single precision."""

    def solve(batch: Batch, points: Sequence[Hashable], cases: Ints | None) -> Readings:
        ends = np.array(points, dtype=np.intp).reshape(len(points), -1).T
        return np.asarray(ask(batch, *ends, cases), dtype=np.float32)

    return solve


SOLVED: dict[str, Solver] = {
    "volts": _of_points(Batch.volts),
    "amps": _of_points(Batch.amps),
    "source_ohms": _of_points(Batch.source_ohms),
    "port_ohms": _of_points(Batch.port_ohms),
    "fed": lambda batch, _, cases: [np.moveaxis(batch.fed(cases), 0, -1)],
    "links": lambda batch, _, cases: [_links(batch, cases)],
}
