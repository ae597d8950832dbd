"""Sound captures by the thousand, noisy, slow, clipped, coupled, with wild samples: no fault may be told of them."""

import functools
import time
from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from halfsplit.capture import Capture, Setup, analyse
from halfsplit.capture.channel import Channel
from tests.capture.signals.bus import can_frame, can_pair, lin_frame, on_wire
from tests.capture.signals.coil import ignite
from tests.capture.signals.engine import crank_engine
from tests.capture.signals.generator import rectified
from tests.capture.signals.motor import run_motor
from tests.capture.signals.solenoid import inject
from tests.capture.signals.wheel import hall, inductive, teeth

Floats = NDArray[np.float64]
Traces = dict[str, tuple[Floats, str]]
"""Role -> values and unit."""
VARIANTS = 12
"""Different recordings of a kind; each is spoilt anew each time."""

DEFAULT = 3000

WHEELS: tuple[tuple[int, tuple[int, ...]], ...] = (
    (60, (58, 59)),
    (36, (35,)),
    (36, (34, 35)),
    (36, (12, 13, 30)),
    (36, (9, 10, 26, 27, 34, 35)),
    (36, (10, 11, 22, 23, 34, 35)),
    (24, (23,)),
    (24, (22, 23)),
    (12, (11,)),
    (30, (28, 29)),
    (32, (30, 31)),
    (48, (47,)),
    (4, (3,)),
    (24, ()),
    (8, ()),
)
"""Places and the missing ones."""


@dataclass(frozen=True)
class Sound:
    """A sound recording at one rate, with what the technician knows."""

    traces: Traces
    rate: float
    setup: Setup


@functools.cache
def cranked(variant: int) -> Sound:
    """A sound engine cranked by a sound battery, with its current."""
    random = np.random.default_rng(variant)
    cylinders, order = (4, (1, 3, 4, 2)) if variant % 3 else (6, (1, 5, 3, 6, 2, 4))
    run = crank_engine(
        cylinders=cylinders,
        order=order,
        seconds=2.5,
        friction=float(random.uniform(26, 36)),
        start_angle=float(random.uniform(0, 700)),
    )
    both = {"battery volts": (run.volts, "V"), "starter current": (run.amps, "A")}
    first, second = both.items()
    kept = [first, second][: 1 + variant % 2] if variant % 4 else [second]
    return Sound(dict(kept), 2000.0, Setup(cylinders=cylinders, firing_order=order, celsius=20.0))


@functools.cache
def wheel(variant: int) -> Sound:
    """A trigger wheel, inductive or switching, at a speed that ramps and pulses, with or without the cam."""
    random = np.random.default_rng(100 + variant)
    places, missing = WHEELS[int(random.integers(len(WHEELS)))]
    start = float(np.exp(random.uniform(np.log(80), np.log(3000))))
    stop = start * float(np.exp(random.uniform(-0.3, 1.2)))
    turns = float(random.uniform(4, 14))
    seconds = min(turns * 120 / (start + stop), 6.0)
    rate = float(max(start, stop) / 60 * places * random.uniform(30, 60))
    clock = np.arange(int(seconds * rate)) / rate
    mean = start + (stop - start) * clock / seconds
    swing = 0.22 if start < 400 else 0.03
    even = np.cumsum(mean) / 60 / rate
    speed = mean * (1 + random.uniform(0, swing) * np.sin(2 * np.pi * random.choice([1.5, 2, 3]) * even))
    angle = np.cumsum(speed) / 60 / rate + random.uniform()
    there = teeth(places, *missing)
    if random.random() < 0.5:
        values = inductive(angle, speed, there.tolist(), 1 / places)
    else:
        values = hall(angle, there.tolist(), 1 / places)
    traces = {"crank": (values, "V")}
    if random.random() < 0.5:
        traces["cam"] = (hall(angle / 2, [0.1, 0.35, 0.7], 0.1), "V")
    return Sound(traces, rate, Setup())


@functools.cache
def speeding_up(variant: int) -> Sound:
    """An engine that starts: a reluctor whose volts grow with the speed, slowed at each compression, input too narrow.

    Of three inputs one cuts off what is beyond its range, one turns it over, one takes it all; each has 8 bits.
    """
    random = np.random.default_rng(1000 + variant)
    places, missing = WHEELS[int(random.integers(12))]
    start = float(random.uniform(70, 260))
    stop = start * float(random.uniform(1.5, 5))
    rate = float(stop / 60 * places * random.uniform(8, 40))
    clock = np.arange(int(min(float(random.uniform(2, 6)), 4e5 / rate) * rate)) / rate
    share = np.clip(1.3 * clock / clock[-1] - random.uniform(0, 0.3), 0, 1)
    mean = start + (stop - start) * share ** float(random.uniform(0.6, 2))
    turns = np.cumsum(mean) / 60 / rate
    waves = float(random.choice([1.5, 2, 3]))
    speed = mean * (1 + random.uniform(0.03, 0.25) * start / mean * np.sin(2 * np.pi * waves * turns))
    angle = np.cumsum(speed) / 60 / rate + random.uniform()
    values = inductive(angle, speed, teeth(places, *missing).tolist(), 1 / places)
    return Sound({"crank": (_narrow(values, random), "V")}, rate, Setup())


def _narrow(values: Floats, random: np.random.Generator) -> Floats:
    """As an input of 8 bits gives it that may cut off or turn over what is beyond its range."""
    top = float(np.abs(values).max()) * float(random.uniform(0.55, 0.95))
    kind = int(random.integers(3))
    if kind == 0:
        values = np.clip(values, -top, top)
    elif kind == 1:
        values = np.maximum(np.where(values > top, values - 2 * top, values), -top)
    step = float(np.ptp(values)) / 255
    return np.asarray(np.round(values / step) * step)


@functools.cache
def charging(variant: int) -> Sound:
    """A sound generator's current or the battery's volts."""
    random = np.random.default_rng(200 + variant)
    volts, amps = rectified(load_amps=float(random.uniform(5, 60)), hertz=float(random.uniform(150, 400)))[:2]
    trace = {"generator current": (amps, "A")} if variant % 2 else {"battery volts": (volts, "V")}
    return Sound(trace, 40_000.0, Setup())


@functools.cache
def motor(variant: int) -> Sound:
    """A sound motor of 5 to 12 segments with its switching on, or while it runs."""
    random = np.random.default_rng(300 + variant)
    segments = int(random.integers(6, 13))
    strengths = tuple((1 + random.uniform(-0.05, 0.05, segments)).tolist())
    amps = run_motor(segments=segments, strengths=strengths, seconds=0.3).amps
    return Sound({"motor current": (amps if variant % 2 else amps[amps.size // 2 :], "A")}, 50_000.0, Setup())


@functools.cache
def injection(variant: int) -> Sound:
    """A sound injector, volts or current or both."""
    random = np.random.default_rng(400 + variant)
    run = inject(on=float(random.uniform(0.003, 0.006)), ohms=float(random.uniform(10, 16)))
    both = {"injector volts": (run.volts, "V"), "injector current": (run.amps, "A")}
    return Sound(_some(both, variant), 200_000.0, Setup())


def _some(both: Traces, variant: int) -> Traces:
    """Both traces, the first or the second, by turns."""
    first, second = both.items()
    return (both, dict([first]), dict([second]))[variant % 3]


@functools.cache
def coil(variant: int) -> Sound:
    """A sound ignition coil, volts or current or both."""
    random = np.random.default_rng(500 + variant)
    run = ignite(
        events=4, dwell=float(random.uniform(0.003, 0.004)), breakdown=float(random.uniform(260, 360))
    )
    both = {"coil volts": (run.volts, "V"), "coil current": (run.amps, "A")}
    return Sound(_some(both, variant), 200_000.0, Setup())


@functools.cache
def switched(variant: int) -> Sound:
    """A valve or lamp at an even frequency and duty."""
    random = np.random.default_rng(600 + variant)
    hertz, duty = float(random.uniform(20, 400)), float(random.uniform(0.1, 0.9))
    clock = np.arange(30_000) / 60_000.0
    values = np.where(np.mod(clock * hertz, 1.0) < duty, 13.0, 0.2)
    return Sound({"switched signal": (values, "V")}, 60_000.0, Setup())


@functools.cache
def drop(variant: int) -> Sound:
    """A load that is switched on over a sound path."""
    random = np.random.default_rng(700 + variant)
    clock = np.arange(10_000) / 10_000.0
    amps = np.where((clock > 0.25) & (clock < 0.75), float(random.uniform(5, 15)), 0.0)
    return Sound({"drop volts": (0.006 * amps, "V"), "load current": (amps, "A")}, 10_000.0, Setup())


@functools.cache
def can_lines(variant: int) -> Sound:
    """A sound CAN pair of classic frames."""
    random = np.random.default_rng(800 + variant)
    frames = [can_frame(int(random.integers(0x7FF)), random.bytes(int(random.integers(9)))) for _ in range(5)]
    high, low = can_pair(on_wire(frames, 2e-6, 20e6), 20e6)
    return Sound({"CAN high": (high, "V"), "CAN low": (low, "V")}, 20e6, Setup())


@functools.cache
def lin_line(variant: int) -> Sound:
    """A sound LIN line."""
    random = np.random.default_rng(900 + variant)
    bit, rate = 1 / 19_200, 40 * 19_200.0
    frames = [lin_frame(int(random.integers(60)), random.bytes(4)) for _ in range(4)]
    levels = on_wire(frames, bit, rate, idle_bits=40).astype(float)
    return Sound({"LIN": (0.8 + 12.0 * levels, "V")}, rate, Setup(supply=13.0))


KINDS: dict[str, Callable[[int], Sound]] = {
    "cranking": cranked,
    "crank wheel": wheel,
    "engine speeding up": speeding_up,
    "charging": charging,
    "motor": motor,
    "injector": injection,
    "coil": coil,
    "switched signal": switched,
    "voltage drop": drop,
    "CAN": can_lines,
    "LIN": lin_line,
}


def _coupled(values: Floats, rate: float, seconds: float) -> Floats:
    """Without its direct part: a high-pass of the first order, settled before the recording."""
    from scipy.signal import lfilter

    keep = float(np.exp(-1 / (rate * seconds)))
    return np.asarray(lfilter([1, -1], [1, -keep], values - values.mean()))


def plain(sound: Sound) -> Capture:
    """The recording with a thousandth of noise, as a good instrument would have made it."""
    random = np.random.default_rng(1)
    channels = []
    for name, (values, unit) in sound.traces.items():
        made = values + random.normal(0, 0.001 * float(np.ptp(values)) + 1e-6, values.size)
        channels.append(Channel(name, made.astype(np.float32), unit, rate=sound.rate))
    return Capture(tuple(channels))


def spoilt(sound: Sound, random: np.random.Generator) -> Capture:
    """The recording as a clumsy one would have come out: noise, rate, clipping, coupling, an outlier, an offset."""
    slower = int(random.choice([1, 1, 2, 3, 5, 8]))
    coupling = float(random.choice([0.0, 0.0, 0.0, 0.02, 0.1, 1.0]))
    channels = []
    for name, (values, unit) in sound.traces.items():
        swing = float(np.ptp(values))
        made = _coupled(values, sound.rate, coupling) if coupling else values.copy()
        noise = float(random.choice([0, 0.002, 0.01, 0.03, 0.08]))
        made += random.normal(0, 1, made.size) * swing * noise
        if noise and random.random() < 0.2:  # without any noise a cut looks like a lower level
            made = np.minimum(made, made.max() - random.uniform(0.02, 0.3) * swing)
        if noise and random.random() < 0.1:
            made = np.maximum(made, made.min() + random.uniform(0.02, 0.2) * swing)
        if random.random() < 0.3:
            made += random.uniform(-0.02, 0.02) * swing
        if random.random() < 0.15:
            made[int(random.integers(made.size))] -= random.uniform(2, 6) * swing
        channels.append(Channel(name, made[::slower].astype(np.float32), unit, rate=sound.rate / slower))
    return Capture(tuple(channels))


def told(seed: int) -> tuple[str, list[tuple[str, str, str]]]:
    """The kind of the capture of a seed, and analysis, verdict and reason of each result."""
    random = np.random.default_rng([7, seed])
    kind = list(KINDS)[seed % len(KINDS)]
    sound = KINDS[kind](
        int(random.integers(VARIANTS * (3 if kind in ("crank wheel", "engine speeding up") else 1)))
    )
    capture = spoilt(sound, random)
    results = analyse(capture, {name: name for name in sound.traces}, sound.setup)
    return kind, [(one.analysis, one.verdict, one.reason) for one in results]


def main(arguments: list[str]) -> int:
    """`python -m bench capture_sound [COUNT [FIRST]]`: verdicts by kind, and each fault that was invented."""
    count = int(arguments[0]) if arguments else DEFAULT
    first = int(arguments[1]) if len(arguments) > 1 else 0
    verdicts: dict[str, Counter[str]] = {kind: Counter() for kind in KINDS}
    invented = 0
    spent: Counter[str] = Counter()
    for seed in range(first, first + count):
        if seed % 500 == 0:
            print(f"… {seed - first} of {count}", flush=True)
        begun = time.perf_counter()
        kind, results = told(seed)
        spent[kind] += time.perf_counter() - begun  # type: ignore[assignment]
        for analysis, verdict, reason in results:
            verdicts[kind][verdict] += 1
            if verdict == "fault":
                invented += 1
                print(f"seed {seed}: {analysis}: {reason}", flush=True)
    print("| kind | good | measured | cannot tell | fault | seconds each |\n" + "|" + " --- |" * 6)
    for kind, counts in verdicts.items():
        cells = [str(counts[v]) for v in ("good", "measured", "cannot tell", "fault")]
        print(f"| {kind} | {' | '.join(cells)} | {spent[kind] * len(KINDS) / count:.3f} |")
    print(f"{count} captures, {invented} faults invented")
    return 1 if invented else 0
