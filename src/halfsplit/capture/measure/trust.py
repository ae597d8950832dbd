"""What is wrong with a trace as it was recorded, before anything is measured from it: coupling, single wild samples.

An instrument or clamp with alternating coupling takes the mean away: a battery then stands at 0 V and a current flows
backwards half of the time. Nothing that needs the direct part can be measured, and nothing may be called a fault.
"""

from typing import Final

import numpy as np

from halfsplit.capture.measure.signal import Floats, least_step, noise, thinned

_LEAST_BATTERY: Final = 5.0
"""Volts under which no battery of a vehicle that cranks, charges or runs stands: common practice, no source."""

_BELOW: Final = 0.4
"""Volts that a line of a vehicle goes below ground for long at most: a diode's; common practice, no source."""

_BOTH_WAYS: Final = 0.12
"""Share of its swing by which a current that flows one way goes the other way at most."""

_WILD: Final = 0.75
"""How far beyond all other samples, in their whole range, a single one lies that is an outlier."""

_MOST_WILD: Final = 2

_ONE_WAY: Final = frozenset({"starter current", "generator current", "coil current", "injector current"})
_PEAKS: Final = frozenset({"coil volts", "injector volts"})
"""Roles whose trace may have a true peak upwards of one sample."""

_TWO_LEVELS: Final = frozenset({"LIN", "CAN high", "CAN low"})
_ABOVE_GROUND: Final = _PEAKS | _TWO_LEVELS | {"battery volts", "upper volts", "lower volts"}
_FLAT: Final = 0.1

_SET_COUPLING: Final = "the direct part is missing: set the coupling to DC"


def not_whole(role: str, values: Floats) -> str:
    """Why a trace of this role was not recorded whole, its direct part or its upper level, '' where nothing says so."""
    part = thinned(values)
    part = part[np.isfinite(part)]
    if not part.size:
        return ""
    low, middle, high = np.quantile(part, (0.02, 0.5, 0.98))
    error = noise(part)
    if role == "battery volts" and middle < _LEAST_BATTERY:
        return f"the battery would stand at {middle:.2f} V; {_SET_COUPLING}, and check lead and scale"
    if role in _ABOVE_GROUND and low < -(_BELOW + 3 * error):
        return f"the {role} would lie at {low:.2f} V, below ground, for long; {_SET_COUPLING}"
    if role in _TWO_LEVELS and high > low and (cut_off_at_top(part) or cut_off_at_top(-part)):
        return f"the {role} is cut off, at {low:.2f} or {high:.2f} V: choose a wider range"
    if role in _ONE_WAY and coupled(values):
        return f"the {role} would flow both ways, from {low:.1f} to {high:.1f} A; {_SET_COUPLING}"
    return ""


def cut_off_at_top(values: Floats) -> bool:
    """Whether a line of two levels is flat to the last digit at the upper one, while the lower shows its noise."""
    top, floor = float(values.max()), float(values.min())
    lower = values[values <= floor + 0.25 * (top - floor)]
    quantum = least_step(lower) or np.inf
    flat = float(np.mean(values >= top - 1e-9 * abs(top))) > _FLAT
    return bool(flat and float(lower.std()) > 1.5 * quantum)


def coupled(values: Floats) -> bool:
    """Whether a trace swings about zero, more than its noise does."""
    part = thinned(values)
    part = part[np.isfinite(part)]
    if not part.size:
        return False
    low, high = np.quantile(part, (0.02, 0.98))
    least = max(_BOTH_WAYS * float(high - low), 3 * noise(part))
    if low < -least and high > least:
        return True
    # The mean is nought to a hundredth of the swing, though the trace goes to both sides.
    lowest, highest = float(part.min()), float(part.max())
    peak = highest - lowest
    return abs(float(part.mean())) < 0.005 * peak and lowest < -0.1 * peak < 0.1 * peak < highest


def without_wild(role: str, values: Floats) -> tuple[Floats, tuple[int, ...]]:
    """The trace with single wild samples on the straight line between their neighbours, and which these were."""
    if values.size < 50:
        return values, ()
    rank = _MOST_WILD
    lows = np.partition(values, rank)[rank]
    highs = np.partition(values, values.size - 1 - rank)[values.size - 1 - rank]
    wall = _WILD * float(highs - lows)
    wild = np.flatnonzero((values < lows - wall) | ((role not in _PEAKS) & (values > highs + wall)))
    if not 0 < wild.size <= _MOST_WILD or not np.isfinite(wall):
        return values, ()
    mended = values.copy()
    sound = np.delete(np.arange(values.size), wild)
    place = np.searchsorted(sound, wild)
    before, after = sound[np.maximum(place - 1, 0)], sound[np.minimum(place, sound.size - 1)]
    mended[wild] = 0.5 * (values[before] + values[after])
    return mended, tuple(int(i) for i in wild)
