"""The battery first: what its rest voltage tells before anything else is measured.

State of charge of a 12 V battery, flooded type, rested for hours, at 25 °C: 12.65 V full, 12.45 V 75 %, 12.24 V 50 %,
12.06 V 25 %, 11.89 V flat (common practice, no source). The temperature corrects each cell
by its coefficient, 0.2 mV a kelvin (from memory).
Other types rest higher; for them a range is told instead of a figure.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

FLAT_BELOW = 12.2
"""Volts below which false leads are to be expected: test on a supported battery."""
FULL_AND_LESS = ((12.65, 100.0), (12.45, 75.0), (12.24, 50.0), (12.06, 25.0), (11.89, 0.0))
PER_KELVIN = 6 * 0.2e-3
RESTS_HIGHER = ("AGM", "gel", "EFB")
TYPES = ("flooded", "EFB", "AGM", "gel")


@dataclass(frozen=True)
class BatteryState:
    """``charge`` in per cent, None where it cannot be told. ``low``: support it before testing."""

    words: str
    low: bool
    charge: float | None = None


def battery_state(
    volts: float, celsius: float | None = None, kind: str = "", *, rested: bool = False
) -> BatteryState:
    """What an open-circuit voltage says.

    >>> battery_state(12.24, 25.0, "flooded", rested=True).charge
    50.0
    >>> battery_state(11.8).low
    True
    """
    low = volts < FLAT_BELOW
    support = " Test on a supported battery: a flat one gives false leads." if low else ""
    if kind != "flooded" or not rested:
        why = (
            "it has not rested for hours"
            if kind == "flooded"
            else "its type rests at other volts"
            if kind
            else "its type is not known"
        )
        return BatteryState(f"{volts:.2f} V. The charge cannot be told from this: {why}.{support}", low)
    charge = _charge(volts + PER_KELVIN * (25.0 - (25.0 if celsius is None else celsius)))
    return BatteryState(f"{volts:.2f} V at rest: about {charge:.0f} % charged.{support}", low, charge)


def _charge(volts: float) -> float:
    points = FULL_AND_LESS
    if volts >= points[0][0]:
        return 100.0
    for (high, more), (low, less) in pairwise(points):
        if volts >= low:
            return less + (more - less) * (volts - low) / (high - low)
    return 0.0
