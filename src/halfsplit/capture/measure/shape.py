"""Which roles a trace can have by its shape alone: extremes, levels, the shortest pulse.

Bounds are common practice, no source: a battery between 9 and 15.5 V, a starter above 60 A, the flyback of an
injector at 40 to 120 V and of a coil above that, the lines of CAN about 2.5 V (ISO 11898-2), LIN at the supply
(ISO 17987-4). A suggestion is a suggestion: it is taken with one press, never by itself.
"""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Final


@dataclass(frozen=True)
class Shape:
    """Extremes, the 2 and 98 % quantiles and the median, all in `unit`.

    `levels` are the two that a switched trace rests at (None without), `shortest` its shortest pulse in seconds (0 if
    not known).
    """

    unit: str
    lowest: float
    highest: float
    low: float
    high: float
    middle: float
    levels: tuple[float, float] | None = None
    shortest: float = 0.0

    @property
    def swing(self) -> float:
        """Between the quantiles."""
        return self.high - self.low


_MOST: Final = 3
_CAN_BIT, _LIN_BIT = 12e-6, 120e-6
"""Seconds: longest pulse of one bit on CAN (125 kbit/s and some) and LIN (9,600 and some)."""


def roles_like(shape: Shape) -> tuple[str, ...]:
    """Two or three roles whose traces look like this, the likeliest first; none where nothing fits."""
    fitting = [role for role, fits in _TESTS.get(shape.unit, _NO_UNIT) if fits(shape)]
    return tuple(dict.fromkeys(fitting))[:_MOST]


def _between(shape: Shape, low: tuple[float, float], high: tuple[float, float]) -> bool:
    if shape.levels is None:
        return False
    return low[0] <= shape.levels[0] <= low[1] and high[0] <= shape.levels[1] <= high[1]


def _bit(shape: Shape, longest: float) -> bool:
    return 0 < shape.shortest <= longest


def _battery(shape: Shape) -> bool:
    held = shape.lowest > 4 and shape.highest < 18
    return shape.levels is None and 8 < shape.middle < 15.5 and held


def _inductive(shape: Shape) -> bool:
    about_zero = shape.low < 0 < shape.high and abs(shape.middle) < 0.3 * shape.swing
    return shape.levels is None and about_zero and shape.swing > 0.2


Tests = tuple[tuple[str, Callable[[Shape], bool]], ...]

_VOLTS: Final[Tests] = (
    ("CAN high", lambda s: _between(s, (1.8, 3.0), (3.0, 4.5)) and _bit(s, _CAN_BIT)),
    ("CAN low", lambda s: _between(s, (0.5, 2.0), (2.0, 3.2)) and _bit(s, _CAN_BIT)),
    ("LIN", lambda s: _between(s, (-0.5, 3.0), (7.0, 16.0)) and _bit(s, _LIN_BIT)),
    ("coil volts", lambda s: s.highest > 130 and 8 < s.middle < 16),
    ("injector volts", lambda s: 35 < s.highest <= 130 and 8 < s.middle < 70),
    ("battery volts", _battery),
    ("upper volts", _battery),
    ("switched signal", lambda s: _between(s, (-1.0, 3.0), (7.0, 60.0))),
    ("crank", _inductive),
    ("cam", _inductive),
    ("crank", lambda s: _between(s, (-0.5, 2.0), (3.0, 16.0)) and s.highest < 25),
    ("cam", lambda s: _between(s, (-0.5, 2.0), (3.0, 16.0)) and s.highest < 25),
    ("switched signal", lambda s: s.levels is not None),
    ("drop volts", lambda s: s.low > -0.5 and s.high < 2.0 and s.swing > 0.01),
)
_AMPS: Final[Tests] = (
    ("starter current", lambda s: s.highest > 60),
    ("generator current", lambda s: s.levels is None and s.middle > 3 and s.lowest > -20),
    ("coil current", lambda s: 3 < s.highest < 25 and abs(s.middle) < 0.3 * s.highest),
    ("injector current", lambda s: 0.3 < s.highest < 25 and abs(s.middle) < 0.3 * s.highest),
    ("motor current", lambda s: 0.1 < s.middle < 60 and s.low > 0),
    ("load current", lambda s: s.levels is not None and s.highest < 60),
    ("battery current", lambda s: s.highest < 60),
)
_NO_UNIT: Final[Tests] = (
    ("CAN receive", lambda s: s.levels is not None and _bit(s, _CAN_BIT)),
    ("LIN", lambda s: s.levels is not None and _bit(s, _LIN_BIT)),
    ("crank", lambda s: not _bit(s, _LIN_BIT)),
    ("cam", lambda s: not _bit(s, _LIN_BIT)),
    ("switched signal", lambda s: s.levels is not None),
)
_TESTS: Final[dict[str, Tests]] = {"V": _VOLTS, "A": _AMPS}
"""Unit -> the roles in it with what their traces look like, in the order in which they are suggested."""
