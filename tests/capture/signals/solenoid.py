"""An injector: a coil whose inductance grows as its armature moves, with eddy currents in the iron.

Flux linkage L(x) m obeys m' = V - R i, where the coil's current is i = flux / L(x) + flux' / R_eddy. The armature is
a mass between two stops, pulled by i^2/2 dL/dx against a spring. The driver holds the low side at ground while on; when
it opens, the coil's volts are clamped until the current ends, and then decay with the flux. Explicit Euler at 1 us.
"""

from dataclasses import dataclass

import numpy as np

STEP = 1e-6


@dataclass
class Injection:
    """Arrays at the rate asked for, the low side in volts, and the true times in seconds of the armature."""

    time: np.ndarray
    volts: np.ndarray
    amps: np.ndarray
    starts: list[float]
    opened: list[float]
    closed: list[float]


def inject(  # noqa: C901 (one story from closed to closed)
    *,
    pulses: int = 3,
    on: float = 0.004,
    period: float = 0.02,
    rate: float = 200_000.0,
    battery: float = 13.8,
    ohms: float = 12.0,
    clamp: float = 65.0,
    stuck: bool = False,
    mass: float = 1.5e-3,
) -> Injection:
    """Pulses of `on` seconds every `period`. `stuck`: the armature never moves."""
    travel, gap, base, spring = 80e-6, 110e-6, 0.016, 14.0
    rows = []
    opened: list[float] = []
    closed: list[float] = []
    starts: list[float] = []
    flux, place, speed = 0.0, 0.0, 0.0
    resting_open = False
    for i in range(int(pulses * period / STEP)):
        now = i * STEP
        inside = now % period
        start = 0.004
        driven = start <= inside < start + on
        if driven and (not starts or now - starts[-1] > period / 2):
            starts.append(now)
        reach = gap - place
        inductance = base / (0.35 + reach / (2 * gap) * 1.3)
        change = base * (1.3 / (2 * gap)) / (0.35 + reach / (2 * gap) * 1.3) ** 2
        eddy = 45.0
        bare = flux / inductance
        if driven:
            rise = (battery - ohms * bare) / (1 + ohms / eddy)
        elif bare + (battery - clamp) / eddy > 0.0005:
            rise = battery - clamp
        else:
            rise = -eddy * bare
        amps = max(bare + rise / eddy, 0.0)
        flux = max(flux + rise * STEP, 0.0)
        volts = battery - rise - ohms * amps
        if not stuck:
            force = 0.5 * bare**2 * change - spring - 4e4 * place
            speed += force / mass * STEP
            place += speed * STEP
            if place >= travel:
                place, speed = travel, 0.0
                if not resting_open:
                    opened.append(now)
                    resting_open = True
            if place <= 0.0:
                place, speed = 0.0, 0.0
                if resting_open:
                    closed.append(now)
                    resting_open = False
        if i % 2 == 0:
            rows.append((now, volts, amps))
    table = np.array(rows)
    time = np.arange(0.0, table[-1, 0], 1.0 / rate)
    volts, amps = (np.interp(time, table[:, 0], table[:, k]) for k in (1, 2))
    return Injection(time, volts, amps, starts, opened, closed)
