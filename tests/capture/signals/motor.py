"""A direct-current motor with a commutator: each segment's coil carries the current while its EMF is the largest.

i = (V - e) / R with e = k w max_j(a_j cos(angle - place_j)); a_j are the segments' own strengths. The rotor follows
J dw/dt = k i - load - friction w. A locked rotor has no EMF. Explicit Euler at the rate of a tenth of a segment.
"""

from dataclasses import dataclass

import numpy as np


@dataclass
class Motor:
    """Arrays at the rate asked for and the speed in rpm at the end."""

    time: np.ndarray
    amps: np.ndarray
    rpm: float


def run_motor(
    *,
    segments: int = 8,
    strengths: tuple[float, ...] | None = None,
    load: float = 0.035,
    seconds: float = 0.4,
    rate: float = 50_000.0,
    battery: float = 13.0,
    ohms: float = 0.7,
    constant: float = 0.016,
    inertia: float = 1.2e-6,
    locked: bool = False,
    quiet: float = 0.02,
) -> Motor:
    """Switched on after `quiet` seconds."""
    a = np.array(
        strengths or (1.0, 0.96, 1.03, 1.01, 0.98, 1.04, 0.97, 0.99, 1.02, 0.95, 1.0, 1.03)[:segments]
    )
    places = 2 * np.pi * np.arange(segments) / segments
    cosines = np.cos(np.linspace(0, 2 * np.pi, 20_001)[:, None] - places[None, :])
    shape = np.max(a[None, :] * cosines, axis=1).tolist()
    step = 2e-5
    angle = speed = 0.0
    rows = []
    for i in range(int(seconds / step)):
        now = i * step
        amps = 0.0
        if now >= quiet:
            part = shape[int((angle % (2 * np.pi)) / (2 * np.pi) * 20_000)]
            amps = (battery - constant * speed * part) / ohms
            if not locked:
                speed += (constant * amps * part - load - 2e-6 * speed) / (inertia * 10) * step
                angle += max(speed, 0.0) * step
        rows.append((now, amps))
    table = np.array(rows)
    time = np.arange(0.0, seconds - step, 1.0 / rate)
    return Motor(time, np.interp(time, table[:, 0], table[:, 1]), speed * 60 / (2 * np.pi))
