"""Captures: text against numpy's reader, windows of long traces, errors over noise, rate and clipping."""

import functools
import io
import itertools
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from halfsplit.capture import Capture, Channel
from halfsplit.capture.measure.can import can_logic
from halfsplit.capture.measure.charging import charging
from halfsplit.capture.measure.crank_cam import crank_cam, sensor_edges
from halfsplit.capture.measure.cranking import cranking
from halfsplit.capture.measure.duty_cycle import duty_cycle
from halfsplit.capture.measure.ignition_coil import ignition_coil
from halfsplit.capture.measure.injector import injector
from halfsplit.capture.measure.lin import lin_logic
from halfsplit.capture.measure.motor_current import motor_current
from halfsplit.capture.measure.relative_compression import relative_compression
from halfsplit.capture.measure.result import CannotTell
from halfsplit.capture.measure.signal import edges
from halfsplit.capture.measure.voltage_drop import voltage_drop
from tests.capture.signals.bus import can_frame, lin_frame, on_wire
from tests.capture.signals.coil import ignite
from tests.capture.signals.engine import crank_engine
from tests.capture.signals.generator import rectified
from tests.capture.signals.motor import run_motor
from tests.capture.signals.solenoid import inject
from tests.capture.signals.wheel import inductive, teeth, turns_of

Floats = NDArray[np.float64]
Case = Callable[[float, int, float], str]
"""Noise as a share of the signal's swing, thinning of the samples, share of the swing that is clipped -> the error."""

NOISES = (0.0, 0.01, 0.03, 0.1)
SLOWER = (1, 4, 16)
CLIPPED = (0.0, 0.3)
AIM_READING = 2.0
AIM_MEMORY = 1e9
AIM_WINDOW = 0.05


def _spoilt(values: Floats, noise: float, slower: int, clip: float) -> Floats:
    swing = float(np.ptp(values))
    noisy = values + np.random.default_rng(1).normal(0, 1, values.size) * noise * swing
    return np.asarray(np.minimum(noisy, values.max() - clip * swing)[::slower] if clip else noisy[::slower])


def _percent(found: float, true: float) -> str:
    return f"{100 * (found / true - 1):+.2f} %"


@functools.cache
def _engine() -> tuple[Floats, Floats, Floats, float, list[float]]:
    run = crank_engine(leaks={3: 2.0})
    speed = float(run.rpm[run.time > 0.9].mean())
    share = run.pressures[3] / max(run.pressures.values())
    return run.volts, run.amps, np.array(run.dead_centres), speed, [share]


def _cranking(noise: float, slower: int, clip: float) -> str:
    volts, amps, _, speed, _ = _engine()
    result = cranking(
        _spoilt(volts, noise, slower, 0.0), _spoilt(amps, noise, slower, clip), 2000 / slower, cylinders=4
    )
    return _percent(result["cranking speed"].value, speed) if "cranking speed" in result else "cannot tell"


def _compression(noise: float, slower: int, clip: float) -> str:
    _, amps, centres, _, (share,) = _engine()
    result = relative_compression(
        _spoilt(amps, noise, slower, clip),
        2000 / slower,
        kind="amps",
        cylinders=4,
        firing_order=(1, 3, 4, 2),
        sync=centres,
    )
    return f"{100 * (result.shares[2] - share):+.1f} points" if result.shares else "cannot tell"


@functools.cache
def _wheel() -> tuple[Floats, float]:
    clock = np.arange(50_000) / 50_000.0
    angle, speed = turns_of(clock, 250.0, ripple=0.2)
    return inductive(angle, speed, teeth(60, 58, 59).tolist(), 1 / 60), float(angle[-1] * 60)


def _crank(noise: float, slower: int, clip: float) -> str:
    volts, rpm = _wheel()
    try:
        result = crank_cam(sensor_edges(_spoilt(volts, noise, slower, clip), 50_000 / slower))
    except CannotTell:
        return "cannot tell"
    told = result.wheel if result.wheel == "60-2" else f"wheel {result.wheel or 'not told'}"
    return f"{told}, {_percent(result['speed'].value, rpm)}" if "speed" in result else told


@functools.cache
def _generator() -> Floats:
    return np.asarray(rectified(open_diode=1)[1])


def _charging(noise: float, slower: int, clip: float) -> str:
    result = charging(_spoilt(_generator(), noise, slower, clip), 40_000 / slower, kind="amps")
    return result.pattern or result.verdict


@functools.cache
def _injection() -> tuple[Floats, Floats, float]:
    run = inject()
    return run.volts, run.amps, run.opened[0] - run.starts[0]


def _injector(noise: float, slower: int, clip: float) -> str:
    volts, amps, opened = _injection()
    result = injector(
        _spoilt(volts, noise / 4, slower, 0.0), _spoilt(amps, noise, slower, clip), 200_000 / slower
    )
    return f"{1e6 * (result.opening - opened):+.0f} us" if np.isfinite(result.opening) else result.verdict


@functools.cache
def _ignition() -> tuple[Floats, Floats, float]:
    run = ignite(events=5)
    return run.volts, run.amps, float(np.median(run.burns))


def _coil(noise: float, slower: int, clip: float) -> str:
    volts, amps, burn = _ignition()
    result = ignition_coil(
        _spoilt(amps, noise, slower, 0.0), _spoilt(volts, noise / 10, slower, clip), 200_000 / slower
    )
    return _percent(result["burn time"].value, burn) if "burn time" in result else "cannot tell"


@functools.cache
def _motor_run() -> tuple[Floats, float]:
    run = run_motor()
    return run.amps, run.rpm


def _motor(noise: float, slower: int, clip: float) -> str:
    amps, rpm = _motor_run()
    steady = amps[amps.size // 2 :]
    result = motor_current(_spoilt(steady, noise, slower, clip), 50_000 / slower)
    return _percent(result["speed"].value, rpm) if "speed" in result else result.verdict


def _duty(noise: float, slower: int, clip: float) -> str:
    clock = np.arange(50_000) / 100_000.0
    values = np.where(np.mod(clock * 97.3, 1.0) < 0.37, 12.0, 0.3)
    result = duty_cycle(_spoilt(values, noise, slower, clip), 100_000 / slower)
    return f"{result['duty'].value - 37.0:+.2f} points" if "duty" in result else result.verdict


def _drop(noise: float, slower: int, clip: float) -> str:
    clock = np.arange(20_000) / 10_000.0
    amps = np.where((clock > 0.5) & (clock < 1.5), 8.0, 0.0)
    drop = _spoilt(0.025 * amps, noise, slower, clip)
    result = voltage_drop(drop, None, _spoilt(amps, noise, slower, 0.0), 10_000 / slower)
    return _percent(result["resistance"].value, 25.0) if "resistance" in result else result.verdict


def _bus(noise: float, slower: int, clip: float, *, lin: bool) -> str:
    """The share of frames that are right; thinned from 64 samples a bit."""
    bit, rate = 2e-6, 32e6
    parts = [
        lin_frame(i, bytes([i, 7])) if lin else can_frame(0x100 + i, bytes(range(i))) for i in range(1, 7)
    ]
    levels = _spoilt(on_wire(parts, bit, rate, idle_bits=40).astype(float), noise, slower, clip)
    wall = 0.5 * (1 - clip)
    signal = edges(levels, rate / slower, wall - 0.15, wall + 0.15)
    found = (lin_logic if lin else can_logic)(signal, levels.size, rate / slower).frames
    return f"{sum(frame.status == 'good' for frame in found)} of {len(parts)} frames"


CASES: dict[str, Case] = {
    "cranking speed": _cranking,
    "relative compression, weak cylinder": _compression,
    "crank wheel and speed": _crank,
    "generator with an open diode": _charging,
    "injector's opening": _injector,
    "coil's burn time": _coil,
    "motor speed": _motor,
    "duty": _duty,
    "resistance of 25 mohm": _drop,
    "CAN frames": functools.partial(_bus, lin=False),
    "LIN frames": functools.partial(_bus, lin=True),
}
"""What is measured -> its error under noise, slower sampling and clipping."""


def _accuracy() -> None:
    print("\nError over noise (share of the swing), samples taken (1 in n) and clipping (share of the swing)")
    for name, case in CASES.items():
        print(f"\n{name}")
        print(f"{'noise':>10}" + "".join(f"{f'1 in {n}':>24}" for n in SLOWER) + f"{'clipped by 0.3':>24}")
        for noise in NOISES:
            cells = [case(noise, slower, 0.0) for slower in SLOWER] + [case(noise, 1, CLIPPED[1])]
            print(f"{noise:>10}" + "".join(f"{cell:>24}" for cell in cells))


def _seconds(run: Callable[[], object]) -> float:
    begin = time.perf_counter()
    run()
    return time.perf_counter() - begin


def _write(path: Path, rows: int) -> None:
    random = np.random.default_rng(1)
    with path.open("w") as file:
        file.write("Time (s),volts (V),amps (A),other (V)\n")
        for first in range(0, rows, 200_000):
            clock = (first + np.arange(200_000)) * 1e-5
            part = io.StringIO()
            np.savetxt(part, np.column_stack([clock, random.normal(size=(200_000, 3))]), "%.5f", ",")
            file.write(part.getvalue())


def _reading(rows: int) -> bool:
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "long.csv"
        _write(path, rows)
        numpy = min(
            _seconds(lambda: np.loadtxt(path, delimiter=",", skiprows=1, dtype=np.float32)) for _ in range(3)
        )
        ours = min(_seconds(lambda: Capture.read(path)) for _ in range(3))
        script = (
            "import resource, sys; from halfsplit.capture import Capture; Capture.read(sys.argv[1]);"
            "print(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss * 1024)"
        )
        told = subprocess.run(
            [sys.executable, "-c", script, str(path)], check=True, capture_output=True, text=True
        )
        memory = float(told.stdout)
        print(f"text of {path.stat().st_size / 1e6:.0f} MB: {ours:.2f} s, numpy.loadtxt {numpy:.2f} s")
    print(
        f"ratio {ours / numpy:.2f} (aim: under {AIM_READING:g}); highest memory {memory / 1e6:.0f} MB (aim: under 1 GB)"
    )
    return ours / numpy < AIM_READING and memory < AIM_MEMORY


def _windows(samples: int) -> bool:
    raw = np.random.default_rng(1).normal(size=samples).astype(np.float32)
    capture = Capture((Channel("trace", raw, rate=1e6),))
    build = _seconds(lambda: capture["trace"].pyramid)
    length = samples / 1e6
    zooms = itertools.product((1.0, 0.3, 0.1, 0.01, 1e-3, 1e-4), (0.0, 0.37, 0.9))
    spans = [(place * length, min(place + share, 1.0) * length) for share, place in zooms]
    slowest = max(_seconds(functools.partial(capture.window, "trace", a, b, 2000)) for a, b in spans)
    print(f"{samples / 1e6:.0f} M samples: pyramid in {build:.2f} s")
    print(
        f"slowest of {len(spans)} windows of 2,000 pixels {1e3 * slowest:.1f} ms (aim: under {1e3 * AIM_WINDOW:g})"
    )
    return slowest < AIM_WINDOW


def main(arguments: list[str]) -> int:
    """`python -m bench capture [MILLIONS OF ROWS] [MILLIONS OF SAMPLES]`; 1 where an aim is missed."""
    rows, samples = (int(float(text) * 1e6) for text in (*arguments, *("1", "100")[len(arguments) :]))
    sound = [_reading(rows), _windows(samples)]
    _accuracy()
    return 0 if all(sound) else 1
