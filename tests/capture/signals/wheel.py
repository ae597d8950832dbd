"""Trigger wheels passing a sensor: inductive (volts from the change of flux) and Hall (two levels).

The flux is a sum of bumps at the teeth; the volts are minus its change with the angle times the angular speed. The
angle follows a given speed, with a ripple that comes as often as an engine's compressions.
"""

import math
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
    mean = np.full_like(time, rpm)
    if end_rpm is not None:
        mean += (end_rpm - rpm) * np.arange(time.size) / time.size
    if not ripple:
        return np.concatenate(([0.0], np.cumsum(mean[:-1] / 60 * step))), mean
    angles, speeds, now = [], [], 0.0
    for rate in mean.tolist():
        speed = rate * (1 + ripple * math.sin(2 * math.pi * waves * now))
        angles.append(now)
        speeds.append(speed)
        now += speed / 60 * step
    return np.array(angles), np.array(speeds)


def inductive(angle: np.ndarray, speed: np.ndarray, places: Sequence[float], pitch: float) -> np.ndarray:
    """Volts of an inductive sensor: 2 V peak at 1,000 rpm on a tooth of full pitch."""
    width = pitch * 0.3
    slope = np.zeros_like(angle)
    for distance in _beside(angle, places):
        slope += -distance / width * np.exp(-0.5 * (distance / width) ** 2)
    return np.asarray(slope * speed / 1000 * 3.3)


def hall(
    angle: np.ndarray, places: Sequence[float], pitch: float, low: float = 0.1, high: float = 5.0
) -> np.ndarray:
    """Volts of a Hall sensor, low over each tooth of half a pitch."""
    over = np.abs(_beside(angle, places)).min(axis=0) < pitch / 4
    return np.where(over, low, high)


def _beside(angle: np.ndarray, places: Sequence[float]) -> np.ndarray:
    """Distances from each tooth, or from three on either side, turns: those farther away have no share in the flux."""
    ordered = np.sort(places)
    within = np.mod(angle, 1.0)
    after = np.searchsorted(ordered, within) - 3
    near = ordered[(after + np.arange(min(6, ordered.size))[:, None]) % ordered.size]
    return np.asarray(np.mod(within - near + 0.5, 1.0) - 0.5)
