"""The drain of a day: time against numpy's reader and an exact search, and errors over noise."""

from __future__ import annotations

import io
from itertools import product

import numpy as np
import ruptures
from numpy.typing import NDArray

from bench.shared import quickest
from halfsplit.drain import CurrentLog, analyse, parse_log
from halfsplit.drain.levels import change_points
from halfsplit.drain.plot import plot_svg

Floats = NDArray[np.float64]

DAY = 86_400
HERTZ = 10
LEVEL = 0.022
SHORT = (900.0, 6.0, 0.35)
LONG = (7200.0, 180.0, 1.2)
AIM_ERROR = 0.02
AIM_READING = 4.0
AIM_SEARCH = 0.2
AIM_WHOLE = 2.0
"""Seconds from the text of a day's log to its figures and its plot."""
QUIET_BLOCKS = 20_000


def day(noise: float, seed: int) -> tuple[Floats, Floats]:
    """An invented day of 864,000 samples: awake for 30 min, then two units that wake, with noise in proportion."""
    generator = np.random.default_rng(seed)
    seconds = np.arange(DAY * HERTZ) / HERTZ
    amps = np.full(seconds.size, LEVEL)
    amps[seconds < 1800] = 3.0
    for every, length, added in (SHORT, LONG):
        amps[(seconds >= 4000) & ((seconds - 4000 - every / 2) % every < length)] += added
    return seconds, amps + generator.normal(size=seconds.size) * (0.001 + noise * amps)


def errors(noise: float, lost: float, seed: int) -> tuple[float, float]:
    """Share by which the level asleep and the charge of the short wake-up are off; `lost`: share of the log in gaps."""
    seconds, amps = day(noise, seed)
    kept = np.ones(seconds.size, dtype=bool)
    generator = np.random.default_rng(seed + 1)
    for start in generator.uniform(5000, DAY - 1000, 8):
        kept[(seconds >= start) & (seconds < start + lost * DAY / 8)] = False
    found = analyse(CurrentLog.of(seconds[kept], amps[kept]))
    truth = SHORT[1] * SHORT[2] / 3600
    charge = min((kind.charge for kind in found.kinds), key=lambda charge: abs(charge - truth), default=0.0)
    return abs((found.level or 0.0) / LEVEL - 1), abs(charge / truth - 1)


def whole(text: str) -> str:
    """What a page does with a log: read it, analyse it, draw it."""
    log = parse_log(text)
    return plot_svg(log, analyse(log))


def speed() -> list[tuple[str, float, float, float]]:
    """Rows: what, our seconds, the outside program's seconds, the ratio that is aimed at."""
    seconds, amps = day(0.03, 1)
    text = "time (s),current (A)\n" + "\n".join(
        f"{t:.1f},{a:.5f}" for t, a in zip(seconds, amps, strict=True)
    )
    log = CurrentLog.of(seconds, amps)
    loading = quickest(lambda: np.loadtxt(io.StringIO(text), delimiter=",", skiprows=1))
    quiet = np.random.default_rng(1).normal(0, 0.05, QUIET_BLOCKS)
    penalty = 0.05**2 * 6 * np.log(QUIET_BLOCKS)
    exact = quickest(
        lambda: ruptures.KernelCPD(kernel="linear", min_size=2).fit_predict(quiet.reshape(-1, 1), pen=penalty)
    )
    return [
        ("864,000 samples: read, analysed, drawn / seconds", quickest(lambda: whole(text)), 1.0, AIM_WHOLE),
        ("864,000 samples: analysis / numpy.loadtxt", quickest(lambda: analyse(log)), loading, AIM_READING),
        ("864,000 samples: reading / numpy.loadtxt", quickest(lambda: parse_log(text)), loading, AIM_READING),
        (
            "quiet 20,000 blocks: search / ruptures, exact",
            quickest(lambda: change_points(quiet)),
            exact,
            AIM_SEARCH,
        ),
    ]


def main(arguments: list[str]) -> int:
    """Print both tables; 1 where an aim is missed."""
    missed = False
    print(f"{'time':<48}{'ours, s':>10}{'outside, s':>12}{'ratio':>8}{'aim':>8}")
    for what, ours, outside, aim in speed():
        missed |= ours / outside > aim
        print(f"{what:<48}{ours:>10.2f}{outside:>12.2f}{ours / outside:>8.2f}{aim:>8.2f}")
    print(
        f"\n{'noise':<10}{'in gaps':<10}{'level off by':>14}{'wake-up charge off by':>24}   (worst of 3 days)"
    )
    for noise, lost in product((0.005, 0.03, 0.1), (0.0, 0.1)):
        worst = [max(pair) for pair in zip(*(errors(noise, lost, seed) for seed in range(3)), strict=True)]
        missed |= max(worst) > AIM_ERROR
        print(f"{noise:<10.1%}{lost:<10.0%}{worst[0]:>14.2%}{worst[1]:>24.2%}")
    return int(missed)
