"""An ignition coil: resistance and inductance on a battery, a driver with current limit, a spark that burns.

While the driver is on, L di/dt = V - R i - V_driver; at the limit the driver takes up volts so that the current stays.
At the cut the primary rises to the breakdown volts of the gap over the turns ratio; then the gap burns at an almost
steady voltage until the energy L i^2 / 2 (less losses) is spent, and the rest rings out.
"""

import math
from dataclasses import dataclass

import numpy as np


@dataclass
class Ignition:
    """Arrays at the rate asked for; the true dwell and burn times in seconds, and the cuts."""

    time: np.ndarray
    volts: np.ndarray
    amps: np.ndarray
    dwell: float
    burns: list[float]
    cuts: list[float]


def ignite(  # noqa: C901 (one story from charging to ringing)
    *,
    events: int = 5,
    period: float = 0.025,
    dwell: float = 0.0035,
    henry: float = 0.0035,
    ohms: float = 0.6,
    battery: float = 13.5,
    limit: float | None = 8.0,
    rate: float = 200_000.0,
    breakdown: float = 330.0,
    burn_volts: float = 32.0,
    missed: tuple[int, ...] = (),
    no_spark: tuple[int, ...] = (),
) -> Ignition:
    """Events every `period`; `missed` do not come at all, `no_spark` ring out without burning."""
    step = 1e-6
    rows, burns, cuts = [], [], []
    for event in range(events):
        amps, left, since = 0.0, 0.0, None
        burn = 0.0
        for i in range(int(period / step)):
            inside = i * step
            volts = battery
            if event not in missed and 0.005 <= inside < 0.005 + dwell:
                drive = 0.3
                amps += (battery - drive - ohms * amps) / henry * step
                if limit and amps > limit:
                    amps = limit
                    drive = battery - ohms * amps
                volts = drive
            elif amps > 0 and since is None:
                since = inside
                left = 0.5 * henry * amps**2 * 0.2
                cuts.append(event * period + inside)
                amps = 0.0
            if since is not None:
                after = inside - since
                if after < 12e-6:
                    volts = battery + breakdown * math.sin(math.pi * after / 24e-6)
                elif event in no_spark:
                    volts = battery + breakdown * math.exp(-after / 1.2e-4) * math.cos(
                        2 * math.pi * 9000 * after
                    )
                elif left > 0:
                    spent = burn_volts * 0.35 * step
                    left -= spent
                    burn = after
                    volts = battery + burn_volts * (1 + 0.25 * math.exp(-after / 4e-5))
                else:
                    gone = after - burn
                    volts = battery + 0.8 * burn_volts * math.exp(-gone / 2.5e-4) * math.cos(
                        2 * math.pi * 6500 * gone
                    )
            if i % 2 == 0:
                rows.append((event * period + inside, volts, amps))
        if since is not None and event not in no_spark:
            burns.append(burn)
    table = np.array(rows)
    time = np.arange(0.0, table[-1, 0], 1.0 / rate)
    volts, amps = (np.interp(time, table[:, 0], table[:, k]) for k in (1, 2))
    return Ignition(time, volts, amps, dwell, burns, cuts)
