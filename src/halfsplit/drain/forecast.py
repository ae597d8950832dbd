"""How many days until the battery no longer starts the engine, with the range that the unknowns leave."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from halfsplit.errors import InputError

# State of charge that a start needs, by temperature in °C (common practice, no source).
RESERVE = ((-20.0, 0.75), (0.0, 0.55), (20.0, 0.40), (40.0, 0.35))
RESERVE_ERROR = 0.08
# Share of the nominal capacity that is there, by temperature in °C (common practice, no source).
CAPACITY = ((-20.0, 0.60), (0.0, 0.82), (20.0, 0.97), (25.0, 1.0), (40.0, 1.03))
HEALTH, HEALTH_ERROR = 0.85, 0.10
# Self-discharge of a flooded battery: share of its capacity a day at 20 °C, doubled every 10 K (common practice).
SELF_DISCHARGE = 0.0012
LONGEST = 120.0
"""Days beyond which nothing is foretold: the battery's own ageing, the weather and its use count more by then."""

WIDEST = 30.0
"""A range wider than this, highest to lowest, is no forecast."""

SIGMAS = 1.28
"""Eight of ten cases lie within the range that is given."""


@dataclass(frozen=True, slots=True)
class Battery:
    """capacity: Ah as printed on it. charge, charge_error: state of charge now, 0 to 1. celsius: where it will stand.

    health, health_error: what share of the printed capacity it still has; an unknown battery has 0.85 ± 0.10.
    """

    capacity: float
    charge: float = 1.0
    charge_error: float = 0.08
    celsius: float = 20.0
    health: float = HEALTH
    health_error: float = HEALTH_ERROR


@dataclass(frozen=True, slots=True)
class Forecast:
    """days: the likeliest; low, high: eight of ten cases lie between; none is above `LONGEST`.

    usable: Ah until it no longer starts. loss: Ah a day, self-discharge included. words: one sentence.
    """

    days: float
    low: float
    high: float
    usable: float
    loss: float
    words: str


def days_until_no_start(mean: float, mean_error: float, battery: Battery) -> Forecast:
    """mean, mean_error: A, the current from the first sleep on. Errors are combined in the logarithm of the days.

    Raises InputError for a battery that cannot be.
    """
    if not 5 <= battery.capacity <= 500:
        remedy = "enter the Ah printed on it, 5 to 500"
        raise InputError(f"a battery of {battery.capacity:g} Ah", remedy=remedy)
    if not (0 <= battery.charge <= 1 and 0 < battery.health <= 1.2):
        shares = f"a charge of {battery.charge:g} and a health of {battery.health:g}"
        raise InputError(shares, remedy="enter shares from 0 to 1")
    reserve = _at(RESERVE, battery.celsius)
    full = battery.capacity * battery.health * min(_at(CAPACITY, battery.celsius), 1.0)
    spare = battery.charge - reserve
    own = SELF_DISCHARGE * 2 ** ((battery.celsius - 20) / 10) * battery.capacity
    loss = max(mean, 0.0) * 24 + own
    if spare <= 0:
        words = f"{100 * battery.charge:.0f} % is too little to start now (some {100 * reserve:.0f} % are needed)."
        return Forecast(0.0, 0.0, 0.0, 0.0, loss, words)
    usable = full * spare
    spread = np.sqrt(
        (np.hypot(battery.charge_error, RESERVE_ERROR) / spare) ** 2
        + (battery.health_error / battery.health) ** 2
        + (np.hypot(24 * mean_error, 0.5 * own) / loss) ** 2
    )
    days = usable / loss
    low, high = (min(float(days * np.exp(side * min(spread, 20.0))), LONGEST) for side in (-SIGMAS, SIGMAS))
    days = min(days, LONGEST)
    parts = f"{loss:.2g} Ah a day, {own:.2g} Ah of it the battery's own self-discharge, of {usable:.0f} Ah."
    return Forecast(days, low, high, usable, loss, f"{_told(days, low, high)}: {parts}")


def _told(days: float, low: float, high: float) -> str:
    if low >= LONGEST:
        return f"More than {LONGEST:.0f} days until it may not start"
    if high > WIDEST * low:
        return f"Cannot tell the days: the current is not known well enough ({_days(low)} to {_days(high)})"
    likeliest = _days(days) if days >= LONGEST else f"About {_days(days)}"
    return f"{likeliest[0].upper()}{likeliest[1:]} until it may not start ({_days(low)} to {_days(high)})"


def _at(table: tuple[tuple[float, float], ...], celsius: float) -> float:
    temperatures, values = zip(*table, strict=True)
    return float(np.interp(celsius, temperatures, values))


def _days(days: float) -> str:
    if days >= LONGEST:
        return f"more than {LONGEST:.0f} days"
    if days >= 10:
        return f"{days:.0f} days"
    return f"{days:.1f} days" if days >= 2 else f"{24 * days:.0f} hours"
