"""The 12 V battery: state of charge from its rest voltage and temperature, and what a cranking dip says.

Rest voltages: the published table for flooded batteries (`TABLES`, see `docs/drain.md`), at 26.7 °C; its temperature
columns are met by one cubic within 2 mV (the tests compare all of them). Without the type, or without hours of rest,
the answer is a range or 'cannot tell'.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from halfsplit.errors import InputError

REFERENCE = 26.7
STATES = (0.0, 0.25, 0.5, 0.75, 1.0)

# Volts at REFERENCE °C by state of charge. Flooded and gel: published; the others common practice, no source.
TABLES = {
    "flooded": (11.89, 12.06, 12.24, 12.45, 12.65),
    "enhanced flooded": (11.92, 12.10, 12.30, 12.52, 12.73),
    "AGM": (11.80, 12.05, 12.35, 12.62, 12.85),
    "gel": (11.80, 12.00, 12.40, 12.60, 12.80),
}
# Volts against REFERENCE, of d = temperature - REFERENCE: least squares over the table's temperatures, -18 to 49 °C.
SHIFT = (1.143e-3, -3.203e-5, 2.38e-7)

WARNING = 12.2
RESTED = 4.0
SURFACE = 0.3
READING_ERROR = 0.02
TABLE_ERROR = 0.04

# Least volts in the load test by temperature in °C (common practice, no source).
CRANKING = (
    (-18.0, 8.5),
    (-12.0, 8.7),
    (-7.0, 8.9),
    (-1.0, 9.1),
    (4.0, 9.3),
    (10.0, 9.4),
    (16.0, 9.5),
    (20.0, 9.6),
)


@dataclass(frozen=True, slots=True)
class StateOfCharge:
    """share, error: 0 to 1, one standard deviation; share is None where it cannot be told. words: one sentence.

    warning: what must be known before other readings are trusted, or nothing.
    """

    share: float | None
    error: float
    words: str
    warning: str = ""


def rest_volts(share: float, celsius: float = REFERENCE, kind: str = "flooded") -> float:
    """Volts at rest for a state of charge (0 to 1) and a temperature; the way back of `state_of_charge`."""
    d = celsius - REFERENCE
    shift = sum(factor * d ** (power + 1) for power, factor in enumerate(SHIFT))
    return float(np.interp(share, STATES, _table(kind))) + shift


def state_of_charge(
    volts: float, celsius: float = 20.0, kind: str | None = None, rested_hours: float | None = None
) -> StateOfCharge:
    """State of charge from open-circuit volts. kind: a key of `TABLES`, None if not known. Raises InputError.

    rested_hours: since the last charge, None if not known.
    """
    if not 0 <= volts <= 20 or not -50 <= celsius <= 90:
        remedy = "enter the volts of one 12 V battery and its °C"
        raise InputError(f"{volts:g} V at {celsius:g} °C", remedy=remedy)
    flat = f"Below {WARNING} V: charge the battery first, a flat one produces false leads."
    warning = flat if volts < WARNING else ""
    if volts < 10.5:
        words = "Below 10.5 V: flat, or a cell is shorted. Charge it and test it alone."
        return StateOfCharge(None, 0.0, words, warning)
    if rested_hours is not None and rested_hours < RESTED:
        words = (
            f"Cannot tell: {rested_hours:g} h after charging the surface charge can lift the volts by {SURFACE:.1f} V. "
            f"Wait {RESTED:.0f} h, or switch the headlamps on for two minutes and measure a minute after switching off."
        )
        return StateOfCharge(None, 0.0, words, warning)
    shares = []
    for each in [kind] if kind else TABLES:
        shift = rest_volts(1.0, celsius, each) - rest_volts(1.0, REFERENCE, each)
        shares.append(float(np.interp(volts - shift, _table(each), STATES)))
    share = float(np.mean(shares))
    error = float(np.hypot(np.hypot(READING_ERROR / 0.75, TABLE_ERROR), (max(shares) - min(shares)) / 2))
    low, high = max(share - error, 0), min(share + error, 1)
    rest = "" if rested_hours is not None else " If it has rested for hours; else it is less."
    which = "" if kind else " The type is not known: flooded, enhanced flooded, AGM and gel differ."
    words = f"{100 * share:.0f} % charged ({100 * low:.0f} to {100 * high:.0f} %).{which}{rest}"
    return StateOfCharge(share, error, words, warning)


def _table(kind: str) -> tuple[float, ...]:
    if kind not in TABLES:
        raise InputError(f"{kind!r} is no type of battery", remedy=f"choose one of {', '.join(TABLES)}")
    return TABLES[kind]


@dataclass(frozen=True, slots=True)
class Cranking:
    """What a cranking dip says. resistance: ohm, of the battery with its connections, None without a current.

    verdict: 'good', 'weak' or 'cannot tell'. limit: V, the least mean at that temperature. words: one sentence.
    """

    verdict: str
    limit: float
    resistance: float | None
    words: str


def judge_cranking(
    mean_volts: float, celsius: float = 20.0, *, before: float | None = None, amps: float | None = None
) -> Cranking:
    """Judge the mean volts while the engine turns, after the first dip.

    before: V just before. amps: mean starter current. A low value from a battery that was not charged says
    nothing about the battery: charge first.
    """
    temperatures, volts = zip(*CRANKING, strict=True)
    limit = float(np.interp(celsius, temperatures, volts))
    resistance = (before - mean_volts) / amps if before is not None and amps and before > mean_volts else None
    shown = "" if resistance is None else f" Battery and connections: {1000 * resistance:.1f} milliohm."
    if before is not None and before < WARNING:
        words = f"{before:.2f} V before cranking: charge the battery, then crank again.{shown}"
        return Cranking("cannot tell", limit, resistance, words)
    if mean_volts >= limit:
        least = f"at least {limit:.1f} V at {celsius:.0f} °C"
        words = f"{mean_volts:.1f} V while cranking, {least} expected.{shown}"
        return Cranking("good", limit, resistance, words)
    words = (
        f"{mean_volts:.1f} V while cranking, less than {limit:.1f} V at {celsius:.0f} °C: battery weak, or the starter "
        f"draws too much. Measure the starter current, and the drop from post to clamp on both sides.{shown}"
    )
    return Cranking("weak", limit, resistance, words)
