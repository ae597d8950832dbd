"""The battery first: what its rest voltage tells before anything else is measured.

One table for all pages: `halfsplit.drain.battery`, published rest volts of flooded and gel batteries by temperature;
the values of AGM and enhanced flooded batteries are common practice without a source, and told as such.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from halfsplit.drain.battery import RESTED, WARNING, state_of_charge
from halfsplit.errors import InputError

FLAT_BELOW = WARNING
"""Volts below which false leads are to be expected: test on a supported battery."""
KINDS: Mapping[str, str] = {
    "flooded": "flooded",
    "EFB": "enhanced flooded",
    "AGM": "AGM",
    "gel": "gel",
}
"""Type as it is taken in → its name in the table of rest volts."""
TYPES = tuple(KINDS)
PUBLISHED = ("flooded", "gel")
USUAL_CELSIUS = 20.0


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

    >>> battery_state(12.24, 26.7, "flooded", rested=True).charge
    50.0
    >>> battery_state(11.8).low
    True
    """
    low = volts < FLAT_BELOW
    support = " Test on a supported battery: a flat one gives false leads." if low else ""
    if not kind or not rested:
        why = "it has not rested for hours" if kind else "its type is not known"
        return BatteryState(
            f"{volts:.2f} V. The state of charge cannot be read from this: {why}.{support}", low
        )
    try:
        state = state_of_charge(
            volts, USUAL_CELSIUS if celsius is None else celsius, KINDS.get(kind, kind), RESTED
        )
    except InputError as error:
        return BatteryState(
            f"{volts:.2f} V. The state of charge cannot be read from this: {error}{support}", low
        )
    if state.share is None:
        return BatteryState(f"{volts:.2f} V. {state.words}{support}", low)
    charge = round(100 * state.share, 1)
    source = "" if kind in PUBLISHED else " (values of this type: common practice, no source)"
    return BatteryState(f"{volts:.2f} V at rest: about {charge:.0f} % charged{source}.{support}", low, charge)
