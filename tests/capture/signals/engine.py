"""A cranking engine: slider-crank kinematics, gas law with leakage, a starter motor and a battery.

Each cylinder holds a gas whose pressure follows p V^1.3 = constant per unit of mass while its valves are shut;
mass leaks in proportion to the pressure difference. The gas force acts on the crank through the slider-crank
linkage. The starter is a direct-current motor (torque and back-EMF with one constant) on a battery with an
internal resistance. Integrated by the explicit Euler method at 2 kHz.
"""

import math
from dataclasses import dataclass, field

import numpy as np

STEP = 5e-4
GAMMA = 1.3
ATMOSPHERE = 1.0e5
BORE_AREA = math.pi / 4 * 0.080**2
CRANK = 0.044
ROD = 0.140
CLEARANCE = 2 * CRANK / 9.5
CLOSE, OPEN = 220.0, 500.0
"""Crank degrees in the cylinder's own cycle: intake valve shuts, exhaust valve opens; 360 is dead centre."""


@dataclass
class Cranking:
    """Arrays at the rate asked for: seconds, battery volts, starter amps, rpm; times of dead centre of number 1."""

    time: np.ndarray
    volts: np.ndarray
    amps: np.ndarray
    rpm: np.ndarray
    dead_centres: list[float] = field(default_factory=list)
    pressures: dict[int, float] = field(default_factory=dict)
    """Highest gas pressure over atmosphere of each cylinder in its last compression, in bar."""


def piston(degrees: float) -> tuple[float, float]:
    """Distance from the top in metres and its change with the crank angle in metres a radian."""
    angle = math.radians(degrees)
    side = math.sqrt(ROD**2 - (CRANK * math.sin(angle)) ** 2)
    down = CRANK + ROD - CRANK * math.cos(angle) - side
    slope = CRANK * math.sin(angle) + CRANK**2 * math.sin(angle) * math.cos(angle) / side
    return down, slope


def crank_engine(
    *,
    cylinders: int = 4,
    order: tuple[int, ...] = (1, 3, 4, 2),
    leaks: dict[int, float] | None = None,
    seconds: float = 3.0,
    rate: float = 2000.0,
    rest: float = 12.5,
    battery_ohms: float = 0.008,
    starter_ohms: float = 0.017,
    friction: float = 32.0,
    quiet: float = 0.3,
    fires_at: float | None = None,
    start_angle: float = 100.0,
) -> Cranking:
    """Crank for `seconds` after `quiet` seconds at rest. `leaks` in 1/s of relative mass at one atmosphere over."""
    leaks = leaks or {}
    spacing = 720.0 / cylinders
    offset = {number: place * spacing for place, number in enumerate(order)}
    mass = dict.fromkeys(order, 1.0)
    angle, speed, inertia, constant = start_angle, 0.0, 0.22, 0.36
    rows = []
    centres = []
    highest = dict.fromkeys(order, 0.0)
    last = dict.fromkeys(order, 0.0)
    engaged = True
    for i in range(int((quiet + seconds) / STEP)):
        now = i * STEP
        torque = 0.0
        for number in order:
            own = (angle - offset[number]) % 720.0
            down, slope = piston(own)
            pressure = ATMOSPHERE
            if CLOSE < own < OPEN:
                full = piston(CLOSE)[0] + CLEARANCE
                pressure = ATMOSPHERE * mass[number] * (full / (down + CLEARANCE)) ** GAMMA
                over = pressure / ATMOSPHERE - 1.0
                mass[number] -= leaks.get(number, 0.3) * over * STEP
                highest[number] = max(highest[number], over)
                if fires_at is not None and now > fires_at and own > 365.0:
                    pressure *= 2.5
            elif highest[number]:
                last[number], highest[number] = highest[number], 0.0
                mass[number] = 1.0
            torque += (pressure - ATMOSPHERE) * BORE_AREA * slope
        amps = 0.0
        if now >= quiet:
            amps = (rest - constant * speed) / (battery_ohms + starter_ohms)
            if fires_at is not None and (speed > 55.0 or not engaged):
                engaged, amps = False, 0.0
            drive = constant * max(amps, 0.0) + torque - (friction if speed > 0 else 0.0)
            speed = max(speed + drive / inertia * STEP, 0.0)
            before = angle
            angle += math.degrees(speed * STEP)
            first = offset[1] + 360.0
            if (angle - first) // 720.0 > (before - first) // 720.0:
                centres.append(now)
        charge = 1.6 if not engaged else 0.0
        rows.append(
            (now, rest - battery_ohms * max(amps, 0.0) + charge, max(amps, 0.0), speed * 60 / (2 * math.pi))
        )
    table = np.array(rows)
    time = np.arange(0.0, table[-1, 0], 1.0 / rate)
    columns = [np.interp(time, table[:, 0], table[:, k]) for k in (1, 2, 3)]
    return Cranking(time, columns[0], columns[1], columns[2], centres, last)
