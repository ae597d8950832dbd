"""Captures: the error of every analysis over noise, sample rate, clipping and offset, as the table of the docs."""

import functools
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from halfsplit.capture.measure.can import can, can_logic
from halfsplit.capture.measure.charging import charging
from halfsplit.capture.measure.crank_cam import crank_cam
from halfsplit.capture.measure.cranking import cranking
from halfsplit.capture.measure.duty_cycle import duty_cycle
from halfsplit.capture.measure.ignition_coil import ignition_coil
from halfsplit.capture.measure.injector import injector
from halfsplit.capture.measure.lin import lin_logic
from halfsplit.capture.measure.motor_current import motor_current
from halfsplit.capture.measure.relative_compression import relative_compression
from halfsplit.capture.measure.result import CannotTell
from halfsplit.capture.measure.sensor import sensor_edges
from halfsplit.capture.measure.signal import edges
from halfsplit.capture.measure.voltage_drop import voltage_drop
from tests.capture.signals.bus import can_frame, can_pair, lin_frame, on_wire
from tests.capture.signals.coil import ignite
from tests.capture.signals.engine import crank_engine
from tests.capture.signals.generator import rectified
from tests.capture.signals.motor import run_motor
from tests.capture.signals.solenoid import inject
from tests.capture.signals.wheel import hall, inductive, teeth, turns_of

Floats = NDArray[np.float64]
CANNOT = "cannot tell"
NOISES = (0.0, 0.01, 0.03, 0.1)


@dataclass(frozen=True)
class Spoil:
    """What is done to a recording: noise, clipping, offset as shares of the swing; one sample in `slower` is kept."""

    noise: float = 0.0
    slower: int = 1
    clip: float = 0.0
    offset: float = 0.0

    def on(self, values: Floats, noise: float = 1.0, *, clip: bool = True) -> Floats:
        """The spoilt values; `noise`: the share of the noise that this trace takes."""
        swing = float(np.ptp(values))
        random = np.random.default_rng(1)
        made = values + random.normal(0, 1, values.size) * self.noise * noise * swing + self.offset * swing
        top = values.max() + self.offset * swing - (self.clip * swing if clip else 0.0)
        return np.asarray(
            np.minimum(made, top)[:: self.slower] if clip and self.clip else made[:: self.slower]
        )


Case = Callable[[Spoil], str]
COLUMNS: dict[str, Spoil] = {
    "as recorded": Spoil(),
    "1 in 4": Spoil(slower=4),
    "1 in 16": Spoil(slower=16),
    "clipped by 0.3": Spoil(clip=0.3),
    "offset by 0.1": Spoil(offset=0.1),
}
"""What is done beside the noise."""


RECTIFIED, INJECTED = functools.cache(rectified), functools.cache(inject)
IGNITED, RAN = functools.cache(ignite), functools.cache(run_motor)
"""Recordings that are simulated once."""


def _percent(found: float, true: float) -> str:
    return f"{100 * (found / true - 1):+.2f} %"


@functools.cache
def _engine() -> tuple[Floats, Floats, Floats, float, list[float]]:
    run = crank_engine(leaks={3: 2.0})
    speed = float(run.rpm[run.time > 0.9].mean())
    share = run.pressures[3] / max(run.pressures.values())
    return run.volts, run.amps, np.array(run.dead_centres), speed, [share]


def _cranking(s: Spoil) -> str:
    volts, amps, _, speed, _ = _engine()
    result = cranking(s.on(volts, clip=False), s.on(amps), 2000 / s.slower, cylinders=4)
    return _percent(result["cranking speed"].value, speed) if "cranking speed" in result else CANNOT


def _compression(s: Spoil) -> str:
    _, amps, centres, _, (share,) = _engine()
    result = relative_compression(
        s.on(amps),
        2000 / s.slower,
        kind="amps",
        cylinders=4,
        firing_order=(1, 3, 4, 2),
        sync=centres,
    )
    return f"{100 * (result.shares[2] - share):+.1f} points" if result.shares else CANNOT


@functools.cache
def _wheel() -> tuple[Floats, float]:
    clock = np.arange(50_000) / 50_000.0
    angle, speed = turns_of(clock, 250.0, ripple=0.2)
    return inductive(angle, speed, teeth(60, 58, 59).tolist(), 1 / 60), float(angle[-1] * 60)


def _crank(s: Spoil) -> str:
    volts, rpm = _wheel()
    try:
        result = crank_cam(sensor_edges(s.on(volts), 50_000 / s.slower))
    except CannotTell:
        return CANNOT
    if result.verdict == "cannot tell":
        return CANNOT
    told = result.wheel if result.wheel == "60-2" else f"wheel {result.wheel or 'not told'}"
    return f"{told}, {_percent(result['speed'].value, rpm)}" if "speed" in result else told


def _charging(s: Spoil) -> str:
    _, amps = RECTIFIED(open_diode=1)[:2]
    result = charging(s.on(np.asarray(amps)), 40_000 / s.slower, kind="amps")
    return result.pattern or result.verdict


def _injector(s: Spoil) -> str:
    run = INJECTED()
    opened = run.opened[0] - run.starts[0]
    result = injector(s.on(run.volts, 0.25, clip=False), s.on(run.amps), 200_000 / s.slower)
    return f"{1e6 * (result.opening - opened):+.0f} us" if np.isfinite(result.opening) else result.verdict


def _coil(s: Spoil) -> str:
    run = IGNITED(events=5)
    result = ignition_coil(s.on(run.amps, clip=False), s.on(run.volts, 0.1), 200_000 / s.slower)
    burn = float(np.median(run.burns))
    return _percent(result["burn time"].value, burn) if "burn time" in result else CANNOT


def _motor(s: Spoil) -> str:
    run = RAN()
    result = motor_current(s.on(run.amps[run.amps.size // 2 :]), 50_000 / s.slower)
    return _percent(result["speed"].value, run.rpm) if "speed" in result else result.verdict


def _duty(s: Spoil) -> str:
    clock = np.arange(50_000) / 100_000.0
    values = np.where(np.mod(clock * 97.3, 1.0) < 0.37, 12.0, 0.3)
    result = duty_cycle(s.on(values), 100_000 / s.slower)
    return f"{result['duty'].value - 37.0:+.2f} points" if "duty" in result else result.verdict


def _drop(s: Spoil) -> str:
    clock = np.arange(20_000) / 10_000.0
    amps = np.where((clock > 0.5) & (clock < 1.5), 8.0, 0.0)
    result = voltage_drop(s.on(0.025 * amps), None, s.on(amps, clip=False), 10_000 / s.slower)
    return _percent(result["resistance"].value, 25.0) if "resistance" in result else result.verdict


def _bus(s: Spoil, *, lin: bool) -> str:
    """The share of frames that are right; thinned from 64 samples a bit."""
    bit, rate = 2e-6, 32e6
    parts = [
        lin_frame(i, bytes([i, 7])) if lin else can_frame(0x100 + i, bytes(range(i))) for i in range(1, 7)
    ]
    levels = s.on(on_wire(parts, bit, rate, idle_bits=40).astype(float))
    wall = 0.5 * (1 - s.clip) + s.offset
    signal = edges(levels, rate / s.slower, wall - 0.15, wall + 0.15)
    found = (lin_logic if lin else can_logic)(signal, levels.size, rate / s.slower).frames
    return f"{sum(frame.status == 'good' for frame in found)} of {len(parts)} frames"


@functools.cache
def _cam_run() -> tuple[Floats, Floats]:
    clock = np.arange(80_000) / 50_000.0
    angle, _ = turns_of(clock, 800.0)
    return hall(angle, teeth(60, 58, 59).tolist(), 1 / 60), hall(angle / 2, [0.1, 0.35, 0.7], 0.1)


def _cam(s: Spoil) -> str:
    """The three steps between the falling cam edges are 180, 252 and 288 degrees of the crankshaft."""
    wheel, cam = _cam_run()
    rate = 50_000 / s.slower
    try:
        result = crank_cam(sensor_edges(s.on(wheel), rate), sensor_edges(s.on(cam), rate))
    except CannotTell:
        return CANNOT
    falls = sorted(edge.degrees for edge in result.cam if not edge.rising)
    if len(falls) != 3:
        return CANNOT if not falls else f"{len(falls)} edges of 3"
    steps = np.sort(np.diff([*falls, falls[0] + 720]))
    return f"{np.abs(steps - (180, 252, 288)).max():.2f} degrees"


PAIRS: tuple[tuple[str, Callable[[Floats, Floats], tuple[Floats, Floats]]], ...] = (
    ("", lambda high, low: (high, low)),
    ("swapped", lambda high, low: (low, high)),
    ("CAN low is shorted to body", lambda high, low: (high, np.full_like(low, 0.03))),
    ("CAN low is shorted to supply", lambda high, low: (high, np.full_like(low, 12.4))),
    ("CAN high is shorted to body", lambda high, low: (np.full_like(high, 0.02), low)),
    ("CAN high is open", lambda _, low: (low + 0.05, low)),
    ("the two lines are together", lambda high, _: (2.5 + 0.1 * (high - 2.5), 2.5 + 0.1 * (high - 2.5))),
)
"""What the verdict on the pair has to say, and what is done to a sound pair."""


@functools.cache
def _lines() -> tuple[Floats, Floats]:
    frames = [can_frame(0x100 + i, bytes(range(i))) for i in range(1, 7)]
    high, low = can_pair(on_wire(frames, 2e-6, 20e6), 20e6)
    return high, low


def _pair(s: Spoil) -> str:
    """Noise is a share of the 1 V that a line swings by; the offset, 0.1 V, is that of one probe."""
    right = 0
    random = np.random.default_rng(1)
    for words, change in PAIRS:
        high, low = change(*_lines())
        noisy = [line + random.normal(0, 1, line.size) * s.noise for line in (high, low)]
        traces = [np.clip(noisy[0] + s.offset, None, 13.0 if not s.clip else 3.5 - s.clip), noisy[1]]
        result = can(traces[0][:: s.slower], traces[1][:: s.slower], 20e6 / s.slower)
        told = result.reason + " ".join(result.notes)
        right += words in told if words else result.verdict == "good"
    return f"{right} of {len(PAIRS)}"


CASES: dict[str, Case] = {
    "cranking speed": _cranking,
    "relative compression, weak cylinder": _compression,
    "crank wheel and speed": _crank,
    "cam edges, largest error": _cam,
    "generator with an open diode": _charging,
    "injector's opening": _injector,
    "coil's burn time": _coil,
    "motor speed": _motor,
    "duty": _duty,
    "resistance of 25 mohm": _drop,
    "CAN frames": functools.partial(_bus, lin=False),
    "condition of the CAN pair": _pair,
    "LIN frames": functools.partial(_bus, lin=True),
}
"""What is measured -> its error under noise, slower sampling and clipping."""


def table() -> list[str]:
    """The errors as lines of a table."""
    lines = [
        f"| what | noise | {' | '.join(COLUMNS)} |",
        "|" + " --- |" * (2 + len(COLUMNS)),
    ]
    for name, case in CASES.items():
        for noise in NOISES:
            cells = [case(Spoil(noise, one.slower, one.clip, one.offset)) for one in COLUMNS.values()]
            lines.append(f"| {name} | {100 * noise:g} % | {' | '.join(cells)} |")
    return lines


def main(_: list[str]) -> int:
    """`python -m bench capture_errors`."""
    print("\n".join(table()))
    return 0
