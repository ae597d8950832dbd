"""A three-phase generator: star-connected sources with resistance, six diodes, a battery and a load.

Solved for each moment by bisection: first the star point's potential so that the phase currents add to nothing,
then the output volts so that the rectified current is what battery and load take. No network code is shared.
"""

from fractions import Fraction
from functools import cache

import numpy as np

FORWARD = 0.8
DIODE_OHMS = 0.004


@cache
def rectified(
    *,
    hertz: float = 220.0,
    rate: float = 40_000.0,
    seconds: float = 0.25,
    peak: float = 10.5,
    phase_ohms: float = 0.045,
    battery: float = 13.4,
    battery_ohms: float = 0.012,
    load_amps: float = 15.0,
    open_diode: int | None = None,
    shorted_diode: int | None = None,
    missing_phase: bool = False,
) -> tuple[np.ndarray, np.ndarray]:
    """Battery volts and generator amps. Diode 0 to 2 lead to plus, 3 to 5 to minus.

    Solved as far as the first sample that has the phase of the very first: from there it comes again.
    """
    size = int(rate * seconds)
    time = np.arange(min(size, (Fraction(hertz) / Fraction(rate)).denominator)) / rate
    sources = np.array([peak * np.sin(2 * np.pi * (hertz * time - k / 3)) for k in range(3)])
    phases = range(2) if missing_phase else range(3)

    def currents(star: np.ndarray, output: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        total, positive = np.zeros_like(time), np.zeros_like(time)
        for k in phases:
            level = sources[k] + star
            up = np.maximum(level - output - FORWARD, 0.0) / (phase_ohms + DIODE_OHMS)
            down = np.minimum(level + FORWARD, 0.0) / (phase_ohms + DIODE_OHMS)
            if open_diode == k:
                up = np.zeros_like(up)
            if open_diode == k + 3:
                down = np.zeros_like(down)
            if shorted_diode == k:
                up = (level - output) / (phase_ohms + DIODE_OHMS)
            if shorted_diode == k + 3:
                down = level / (phase_ohms + DIODE_OHMS)
                up = np.zeros_like(up)
            total += up + down
            positive += up
        return total, positive

    def star_point(output: np.ndarray) -> np.ndarray:
        low, high = np.full_like(time, -60.0), np.full_like(time, 60.0)
        for _ in range(34):
            middle = 0.5 * (low + high)
            over = currents(middle, output)[0] > 0
            high, low = np.where(over, middle, high), np.where(over, low, middle)
        return 0.5 * (low + high)

    low, high = np.full_like(time, 5.0), np.full_like(time, 25.0)
    for _ in range(26):
        output = 0.5 * (low + high)
        made = currents(star_point(output), output)[1]
        over = battery + battery_ohms * (made - load_amps) > output
        low, high = np.where(over, output, low), np.where(over, high, output)
    output = 0.5 * (low + high)
    return np.resize(output, size), np.resize(currents(star_point(output), output)[1], size)
