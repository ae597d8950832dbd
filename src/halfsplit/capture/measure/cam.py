"""The cam's edges in crank degrees, cycle by cycle, and which of them come in every cycle."""

from collections import Counter, defaultdict
from dataclasses import dataclass
from typing import Final

import numpy as np

from halfsplit.capture.measure.signal import Edges, Floats
from halfsplit.capture.measure.wheel import Wheel, crank_places

CYCLE: Final = 720.0
"""Crank degrees in one turn of the camshaft."""

_APART: Final = 6.0
"""Degrees that part two edges of a fine crank wheel; a coarse one needs a third of its pitch."""


@dataclass(frozen=True)
class CamEdge:
    """One edge of the cam's turn: mean angle after the reference tooth and its spread, in crank degrees."""

    rising: bool
    degrees: float
    spread: float
    share: float

    def __str__(self) -> str:
        kind = "rises" if self.rising else "falls"
        return f"cam {kind} at {self.degrees:.1f} ± {self.spread:.1f} crank degrees"


@dataclass(frozen=True)
class CamPattern:
    """The edges of the usual turn, how many turns were whole, the spans (s) of turns that differ and how.

    `lost` are those of them in which a whole tooth, both its edges, stays away at a speed at which it came elsewhere.
    """

    edges: tuple[CamEdge, ...] = ()
    cycles: int = 0
    odd_cycles: tuple[tuple[float, float], ...] = ()
    oddities: tuple[str, ...] = ()
    lost: tuple[tuple[float, float], ...] = ()

    @property
    def fault(self) -> str:
        """What of the cam is wrong for sure, '' if nothing."""
        places = ", ".join(f"{start:.3f} s" for start, _ in self.lost[:5])
        turns = f"in {len(self.lost)} of {self.cycles} turns, at {places}"
        return f"a whole tooth of the cam is missing {turns}, though it came at lower speed" if places else ""


@dataclass(frozen=True, eq=False)
class _Group:
    """Edges that lie together: their angles from the origin, and how many usually come in a turn."""

    angles: Floats
    usual: int


@dataclass(frozen=True, eq=False)
class _Direction:
    """The rising or the falling edges: their groups, and per cycle number what lacks or is too many.

    `cycles` is the number of the cycle after the last one with an edge.
    """

    rising: bool
    origin: float
    groups: tuple[_Group, ...]
    odd: dict[int, list[str]]
    cycles: int

    @property
    def spread(self) -> float:
        """Degrees that the edges wander about the middle of their groups."""
        return float(np.mean([np.std(group.angles) for group in self.groups])) if self.groups else np.inf


def cam_pattern(crank: Floats, wheel: Wheel, cycle: int, cam: Edges) -> CamPattern:
    """Group the cam's edges by angle and find the turns of the camshaft where one lacks or is too many.

    Judged is the direction that comes more regularly: the slow flank of an inductive sensor, and the far
    edge of a tooth that passes slowly, wander with the speed.
    """
    if cam.times.size < 2:
        return CamPattern()
    # The crank angle of each edge in degrees, 0 at the first edge after the largest gap (or the first edge).
    angle = np.arange(crank.size) * CYCLE / cycle
    if wheel.places:
        angle = np.concatenate(([0.0], np.cumsum(wheel.units))) * 360.0 / wheel.places
        angle = angle - angle[wheel.turn_starts[0]] if wheel.turn_starts.size else angle
    apart = max(_APART, CYCLE / cycle / 3)
    both = [_direction(cam.of(rising), rising, crank, angle, apart) for rising in (True, False)]
    best = min(both, key=lambda direction: (len(direction.odd), direction.spread))
    recorded = float(angle[-1] - angle[0])
    edges = []
    for direction in both:
        for group in direction.groups:
            if group.usual:
                degrees = float(np.mod(np.mean(group.angles) + direction.origin, CYCLE))
                share = group.angles.size * CYCLE / max(recorded, CYCLE) / group.usual
                edges.append(CamEdge(direction.rising, degrees, float(np.std(group.angles)), min(share, 1.0)))
    odd = {number: _span(number, best.origin, angle, crank) for number in sorted(best.odd)}
    return CamPattern(
        tuple(sorted(edges, key=lambda edge: edge.degrees)),
        int(recorded // CYCLE),
        tuple(odd.values()),
        tuple(f"{text} at {start:.3f} s" for n, (start, _) in odd.items() for text in best.odd[n]),
        _lost(both, best, angle, crank),
    )


def _lost(
    both: list[_Direction], best: _Direction, angle: Floats, crank: Floats
) -> tuple[tuple[float, float], ...]:
    """The turns in which an edge of each direction is missing, where the speed is no reason for it.

    An inductive sensor gives less at low speed: a tooth is lost only if it came in a turn that took longer.
    """
    rising, falling = both
    spans = {n: _span(n, best.origin, angle, crank) for n in range(best.cycles + 1)}
    sound = [stop - start for n, (start, stop) in spans.items() if n not in best.odd]
    lost = []
    for n in sorted(set(rising.odd) & set(falling.odd) & set(spans)):
        start, stop = spans[n]
        texts = [*rising.odd[n], *falling.odd[n]]
        if all(_MISSING in text for text in texts) and stop - start < max(sound, default=0.0):
            lost.append((start, stop))
    return tuple(lost) if len(sound) >= max(_LEAST_SOUND, 3 * len(lost)) else ()


_LEAST_SOUND: Final = 6
"""Turns in which every tooth of the cam comes before one that stays away says anything."""


_MISSING: Final = "is missing"


def _direction(times: Floats, rising: bool, crank: Floats, angle: Floats, apart: float) -> _Direction:
    places = crank_places(crank, times)
    inside = (places >= 0) & (places < crank.size - 1)
    absolute = np.interp(places[inside], np.arange(crank.size), angle)
    if not absolute.size:
        return _Direction(rising, 0.0, (), {}, 0)
    # An angle in the middle of the widest stretch without cam edges, so that no group lies across it.
    within = np.sort(np.mod(absolute, CYCLE))
    gaps = np.diff(np.concatenate((within, within[:1] + CYCLE)))
    widest = int(np.argmax(gaps))
    origin = float(np.mod(within[widest] + 0.5 * gaps[widest], CYCLE))
    numbers = np.floor((absolute - origin) / CYCLE).astype(np.int64)
    angles = absolute - origin - CYCLE * numbers
    order = np.argsort(angles)
    groups, odd = [], defaultdict(list)
    for part in np.split(order, np.flatnonzero(np.diff(angles[order]) > apart) + 1):
        own = angles[part]
        # The cycles in which the whole group lies within what was recorded of the crank.
        first = np.ceil((angle[0] - origin - own.min() + _APART) / CYCLE)
        last = np.floor((angle[-1] - origin - own.max() - _APART) / CYCLE)
        counts = {n: int(np.sum(numbers[part] == n)) for n in range(int(first), int(last) + 1)}
        usual = Counter(counts.values()).most_common(1)[0][0] if counts else 1
        groups.append(_Group(own, usual))
        for number, count in counts.items():
            if count != usual:
                what = _MISSING if count < usual else "is too many"
                odd[number].append(f"a {'rising' if rising else 'falling'} edge {what} in the turn")
    return _Direction(rising, origin, tuple(groups), dict(odd), int(numbers.max()) + 1)


def _span(number: int, origin: float, angle: Floats, crank: Floats) -> tuple[float, float]:
    walls = origin + CYCLE * np.array([number, number + 1])
    start, stop = np.interp(walls, angle, crank)
    return float(start), float(stop)


def shift(edges: tuple[CamEdge, ...], reference: tuple[CamEdge, ...]) -> tuple[float, float]:
    """How many degrees later the edges come than those of a reference, with the standard uncertainty.

    The turns are laid over each other at any of both crank turns, whichever fits better (the reference tooth
    passes twice in a turn of the camshaft).
    """
    trials = []
    for turn in (0.0, 360.0):
        moved = []
        for edge in edges:
            same = np.array([other.degrees for other in reference if other.rising == edge.rising])
            steps = np.mod(edge.degrees + turn - same + 360.0, CYCLE) - 360.0
            moved += [float(steps[np.argmin(np.abs(steps))])] if same.size else []
        trials.append(moved)
    if not trials[0]:
        return 0.0, float("inf")
    best = min(trials, key=lambda moved: (round(float(np.std(moved)), 1), abs(float(np.mean(moved)))))
    errors = np.mean([edge.spread**2 for edge in edges]) + np.mean([edge.spread**2 for edge in reference])
    return float(np.mean(best)), float(np.sqrt(errors / len(best)))
