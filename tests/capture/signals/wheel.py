"""Trigger wheels passing a sensor: inductive (volts from the change of flux) and Hall (two levels).

The flux is a sum of bumps at the teeth; the volts are minus its change with the angle times the angular speed. The
angle follows a given speed, with a ripple that comes as often as an engine's compressions.
"""

from collections.abc import Sequence

import numpy as np


def teeth(places: int, *missing: int) -> np.ndarray:
    """Angles in turns of the teeth that are there: `missing` are place numbers."""
    return np.array([i / places for i in range(places) if i not in missing])


def turns_of(
    time: np.ndarray, rpm: float, *, end_rpm: float | None = None, ripple: float = 0.0, waves: int = 2
) -> tuple[np.ndarray, np.ndarray]:
    """Angle in turns and speed in rpm; `ripple` is the share by which the speed swings, `waves` a turn."""
    step = time[1] - time[0]
    speed = np.empty_like(time)
    angle = np.empty_like(time)
    now = 0.0
    for i in range(time.size):
        mean = rpm if end_rpm is None else rpm + (end_rpm - rpm) * i / time.size
        speed[i] = mean * (1 + ripple * np.sin(2 * np.pi * waves * now))
        angle[i] = now
        now += speed[i] / 60 * step
    return angle, speed


def inductive(angle: np.ndarray, speed: np.ndarray, places: Sequence[float], pitch: float) -> np.ndarray:
    """Volts of an inductive sensor: 2 V peak at 1,000 rpm on a tooth of full pitch."""
    width = pitch * 0.3
    within = np.mod(angle, 1.0)
    slope = np.zeros_like(angle)
    for place in places:
        distance = np.mod(within - place + 0.5, 1.0) - 0.5
        slope += -distance / width * np.exp(-0.5 * (distance / width) ** 2)
    return np.asarray(slope * speed / 1000 * 3.3)


def hall(
    angle: np.ndarray, places: Sequence[float], pitch: float, low: float = 0.1, high: float = 5.0
) -> np.ndarray:
    """Volts of a Hall sensor, low over each tooth of half a pitch."""
    within = np.mod(angle, 1.0)
    over = np.zeros(angle.size, bool)
    for place in places:
        over |= np.abs(np.mod(within - place + 0.5, 1.0) - 0.5) < pitch / 4
    return np.where(over, low, high)
