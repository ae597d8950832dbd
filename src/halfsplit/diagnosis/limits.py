"""How results are told: limits that a technician would name, readings no finer than the instrument shows them."""

from __future__ import annotations

import math

from halfsplit.diagnosis.evidence import LEAD_OHMS, scale, unscale
from halfsplit.diagnosis.measurement import MILLIVOLTS, Measurement
from halfsplit.diagnosis.words import said_between

ROUNDED = {"ohms": 0.5}
"""Share by which a limit may be moved to a round number where no gap tells where it should be; else a tenth."""
TOLD_APART = {"ohms": 2 * LEAD_OHMS, "volts": 0.04, "amps": 0.05}
"""Readings closer than this are one and the same to whoever reads them (twice the floor of the instrument)."""


def _told_apart(measurement: Measurement) -> float:
    return 2 * MILLIVOLTS if measurement.in_millivolts else TOLD_APART.get(measurement.quantity, 0.0)


def same_reading(test: Measurement, low: float, high: float) -> bool:
    """Whether nobody could tell two readings apart, given on the scale on which they are compared."""
    return unscale(test, high) - unscale(test, low) <= _told_apart(test)


def as_read(test: Measurement, value: float) -> float:
    """A reading no finer than the instrument shows it: nobody reads 8.04 mV from a meter that is 20 mV out."""
    step = 0.5 * _told_apart(test)
    return round(value / step) * step + 0.0 if step and math.isfinite(value) else value


def limit_between(measurement: Measurement, low: float, high: float) -> float | None:
    """The limit that a technician would name between two readings, on the scale on which they are compared."""
    least, most = unscale(measurement, low), unscale(measurement, high)
    middle = unscale(measurement, 0.5 * (low + high))
    room = max(ROUNDED.get(measurement.quantity, 0.1) * abs(middle), 0.5 * _told_apart(measurement))
    if low >= high:
        return scale(measurement, said_between(middle - room, middle + room) or float(f"{middle:.2g}"))
    if measurement.quantity == "ohms":  # midway on the scale of comparison: a kilohm or so from an ohm to OL
        least, most = max(least, middle - room), min(most, middle + room)
    said = said_between(least, most)
    return None if said is None else scale(measurement, said)
