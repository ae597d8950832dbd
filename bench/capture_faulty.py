"""Faulty captures, spoilt as the sound ones of `capture_sound` are: what share is told, and what is called good."""

import functools
from collections import Counter
from collections.abc import Callable

import numpy as np

from bench.capture_sound import VARIANTS, Sound, plain, spoilt
from halfsplit.capture import Capture, Setup, analyse
from tests.capture.signals.bus import can_frame, can_pair, lin_frame, on_wire
from tests.capture.signals.coil import ignite
from tests.capture.signals.engine import crank_engine
from tests.capture.signals.generator import rectified
from tests.capture.signals.motor import run_motor
from tests.capture.signals.solenoid import inject
from tests.capture.signals.wheel import hall, inductive, teeth

DEFAULT = 1000


@functools.cache
def leaking(variant: int) -> Sound:
    """A cylinder that leaks, cranked, with starter current."""
    random = np.random.default_rng(2000 + variant)
    run = crank_engine(leaks={int(random.integers(1, 5)): float(random.uniform(3, 8))}, seconds=2.5)
    return Sound({"starter current": (run.amps, "A")}, 2000.0, Setup(cylinders=4, firing_order=(1, 3, 4, 2)))


@functools.cache
def worn_battery(variant: int) -> Sound:
    """A battery of a high internal resistance."""
    ohms = float(np.random.default_rng(2100 + variant).uniform(0.02, 0.03))
    run = crank_engine(battery_ohms=ohms, seconds=2.5)
    return Sound({"battery volts": (run.volts, "V")}, 2000.0, Setup(cylinders=4, celsius=20.0))


@functools.cache
def broken_tooth(variant: int) -> Sound:
    """A wheel that lacks one tooth more than it should."""
    random = np.random.default_rng(2200 + variant)
    places, missing = ((60, (58, 59)), (36, (35,)), (36, (34, 35)))[variant % 3]
    rpm = float(random.uniform(150, 2500))
    rate = rpm / 60 * places * float(random.uniform(30, 60))
    clock = np.arange(int(10 * 60 / rpm * rate)) / rate
    even = clock * rpm / 60
    speed = rpm * (1 + random.uniform(0, 0.04) * np.sin(4 * np.pi * even))
    angle = np.cumsum(speed) / 60 / rate
    there = teeth(places, *missing, int(random.integers(5, places - 10))).tolist()
    values = inductive(angle, speed, there, 1 / places) if variant % 2 else hall(angle, there, 1 / places)
    return Sound({"crank": (values, "V")}, rate, Setup(teeth=places - len(missing)))


@functools.cache
def generator(variant: int) -> Sound:
    """A generator with an open diode or without a phase."""
    random = np.random.default_rng(2300 + variant)
    load, hertz = float(random.uniform(15, 60)), float(random.uniform(150, 400))
    wrong = {"open_diode": int(random.integers(6))} if variant % 2 else {"missing_phase": True}
    amps = rectified(load_amps=load, hertz=hertz, **wrong)[1]
    return Sound({"generator current": (amps, "A")}, 40_000.0, Setup())


@functools.cache
def motor(variant: int) -> Sound:
    """A motor with a weak segment, or locked."""
    random = np.random.default_rng(2400 + variant)
    if variant % 2:
        amps = run_motor(locked=True, seconds=0.3).amps
    else:
        strengths = np.ones(8)
        strengths[int(random.integers(8))] = random.uniform(0.3, 0.6)
        amps = run_motor(segments=8, strengths=tuple(strengths.tolist()), seconds=0.3).amps
    return Sound({"motor current": (amps, "A")}, 50_000.0, Setup())


@functools.cache
def stuck_needle(variant: int) -> Sound:
    """An injector whose needle does not move."""
    run = inject(stuck=True, ohms=float(np.random.default_rng(2500 + variant).uniform(10, 16)))
    return Sound(
        {"injector volts": (run.volts, "V"), "injector current": (run.amps, "A")}, 200_000.0, Setup()
    )


@functools.cache
def missed_ignition(variant: int) -> Sound:
    """A coil that misses an event, or rings out without a spark."""
    event = (1 + variant % 3,)
    run = ignite(events=5, missed=event) if variant % 2 else ignite(events=5, no_spark=event)
    return Sound({"coil volts": (run.volts, "V"), "coil current": (run.amps, "A")}, 200_000.0, Setup())


@functools.cache
def resistive_path(variant: int) -> Sound:
    """A path that drops 0.8 V and more at the load's current."""
    random = np.random.default_rng(2700 + variant)
    clock = np.arange(10_000) / 10_000.0
    amps = np.where((clock > 0.25) & (clock < 0.75), float(random.uniform(5, 15)), 0.0)
    ohms = float(random.uniform(0.8, 2.0)) / float(amps.max())
    return Sound({"drop volts": (ohms * amps, "V"), "load current": (amps, "A")}, 10_000.0, Setup())


@functools.cache
def can_short(variant: int) -> Sound:
    """A CAN pair with one line open or on body."""
    random = np.random.default_rng(2800 + variant)
    frames = [can_frame(int(random.integers(0x7FF)), random.bytes(4)) for _ in range(5)]
    high, low = can_pair(on_wire(frames, 2e-6, 20e6), 20e6)
    low = np.full(low.size, 2.5 * (variant % 2))
    return Sound({"CAN high": (high, "V"), "CAN low": (low, "V")}, 20e6, Setup())


@functools.cache
def lin_bad(variant: int) -> Sound:
    """A LIN line with a wrong checksum, a wrong parity, a byte missing, or nobody who answers."""
    random = np.random.default_rng(2900 + variant)
    wrong = ({"spoil_checksum": True}, {"spoil_parity": True}, {"drop": 4}, {"response": False})[variant % 4]
    every = variant % 4 == 3
    frames = [
        lin_frame(int(random.integers(60)), random.bytes(4), **(wrong if every or i == 2 else {}))
        for i in range(4)
    ]
    levels = on_wire(frames, 1 / 19_200, 40 * 19_200.0, idle_bits=40).astype(float)
    return Sound({"LIN": (0.8 + 12.0 * levels, "V")}, 40 * 19_200.0, Setup(supply=13.0))


KINDS: dict[str, Callable[[int], Sound]] = {
    "leaking cylinder": leaking,
    "worn battery": worn_battery,
    "broken tooth": broken_tooth,
    "generator": generator,
    "motor": motor,
    "stuck needle": stuck_needle,
    "missed ignition": missed_ignition,
    "resistive path": resistive_path,
    "CAN line open or on body": can_short,
    "LIN": lin_bad,
}


def main(arguments: list[str]) -> int:
    """`python -m bench capture_faulty [COUNT]`: of each fault, as it was made and spoilt, what was said."""
    count = int(arguments[0]) if arguments else DEFAULT
    print(
        "| fault | as made: fault | of | spoilt: fault | cannot tell | good or measured |\n|" + " --- |" * 6
    )
    for kind, make in KINDS.items():
        made: Counter[str] = Counter()
        worse: Counter[str] = Counter()
        for variant in range(VARIANTS):
            made[_said(make(variant), plain(make(variant)))] += 1
        for seed in range(count // len(KINDS)):
            random = np.random.default_rng([8, seed])
            sound = make(int(random.integers(VARIANTS)))
            worse[_said(sound, spoilt(sound, random))] += 1
        cells = (made["fault"], VARIANTS, worse["fault"], worse["cannot tell"], worse["good"])
        print(f"| {kind} | {' | '.join(map(str, cells))} |", flush=True)
    return 0


def _said(sound: Sound, capture: Capture) -> str:
    results = analyse(capture, {name: name for name in sound.traces}, sound.setup)
    verdicts = {result.verdict for result in results}
    return next((verdict for verdict in ("fault", "cannot tell") if verdict in verdicts), "good")
