"""What places, age and distance teach beside causes: are hidden shares recovered, and what is it worth or does it harm.

Simulated workshops as in `learn`; besides kinds and modes, sorts of place and each kind by age and by distance are the
cause oftener or rarer than shipped, by up to as much. Every job is drawn with its vehicle, none is worked on.
"""

from __future__ import annotations

import argparse
from collections import Counter, defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cache
from itertools import product

import numpy as np

from bench.learn import FACTOR, HARM, NAMES, Floats, Sheet, halvings, looked, sheet, world
from halfsplit.diagnosis.conditions import (
    AGES,
    DISTANCES,
    STRENGTH,
    Circumstances,
    Condition,
    class_of_part,
)
from halfsplit.diagnosis.learned import Cause, CircuitTally, Tally, chances, digest, share_of, taught
from halfsplit.diagnosis.priors import default_priors
from halfsplit.job import circumstances

VEHICLES = tuple((far, old) for (_, far), (_, old) in product(DISTANCES, AGES))
"""Distance and age in coarse words; each as frequent as the others."""


@dataclass(frozen=True)
class Shop:
    """Hidden chances of each sheet's causes, for each of `VEHICLES`."""

    chance: Sequence[Sequence[Floats]]


def shops(
    sheets: Sequence[Sheet], generator: np.random.Generator, *, around: float = FACTOR
) -> tuple[Shop, Shop]:
    """A shop and the same turned round. ``around``: by how much places, and kinds by age and distance, differ."""
    base, most = world(sheets, generator), np.log(around) / 2.0
    places: Mapping[str, float] = cache(lambda _place: float(generator.uniform(-most, most)))  # type: ignore[assignment]
    bands = cache(lambda _kind, _band: float(generator.uniform(-most / 2, most / 2)))

    def moved(sign: float, chance: Floats, one: Sheet, vehicle: Sequence[str]) -> Floats:
        move = np.array(
            [
                places(class_of_part(cause.part, one.circuit.model))  # type: ignore[operator]
                + sum(bands(cause.kind, band) for band in vehicle)
                for cause in one.causes
            ]
        )
        weights: Floats = chance * np.exp(sign * move)
        shares: Floats = weights / weights.sum()
        return shares

    return tuple(  # type: ignore[return-value]
        Shop(
            [
                [moved(sign, chance, one, vehicle) for vehicle in VEHICLES]
                for one, chance in zip(sheets, true, strict=True)
            ]
        )
        for sign, true in ((1.0, base.true), (-1.0, base.turned))
    )


@cache
def told(number: int, cause: Cause, vehicle: Sequence[str]) -> Mapping[str, Condition]:
    """What one job tells besides its cause."""
    one = known_sheets()[number]
    return circumstances.conditions_of(one.circuit, (), cause, one.shares, vehicle)


@cache
def known_sheets() -> tuple[Sheet, ...]:
    """The circuits."""
    return tuple(sheet(name) for name in NAMES)


def worked(shop: Shop, jobs: int, generator: np.random.Generator) -> Tally:
    """So many closed jobs, each with its vehicle."""
    sheets, circuits = known_sheets(), {}
    total: dict[str, Condition] = {}
    each = generator.multinomial(
        jobs, np.full(len(sheets) * len(VEHICLES), 1 / (len(sheets) * len(VEHICLES)))
    )
    for number, one in enumerate(sheets):
        causes: Counter[Cause] = Counter()
        for at, vehicle in enumerate(VEHICLES):
            drawn = generator.multinomial(each[number * len(VEHICLES) + at], shop.chance[number][at])
            for cause, count in zip(one.causes, drawn.tolist(), strict=True):
                if count:
                    causes[cause] += count
                    for name, seen in told(number, cause, vehicle).items():
                        many = Condition(count * seen.jobs, count * seen.of, count * seen.expected)
                        total[name] = total.get(name, Condition()) + many
        if causes:
            circuits[digest(one.circuit.model)] = CircuitTally(one.shares, dict(causes))
    return Tally(circuits, {}, Circumstances(conditions=total))


def covered(shop: Shop, tally: Tally) -> list[bool]:
    """For each condition, whether its 90 % interval (Beta) holds the share that it had."""
    hidden: dict[str, float] = defaultdict(float)
    of: dict[str, float] = defaultdict(float)
    for number, one in enumerate(known_sheets()):
        for at, vehicle in enumerate(VEHICLES):
            for cause, chance in zip(one.causes, shop.chance[number][at].tolist(), strict=True):
                for name, seen in told(number, cause, vehicle).items():
                    hidden[name] += chance * seen.jobs
                    of[name] += chance * seen.of
    held = []
    for name, seen in tally.circumstances.conditions.items():
        share = share_of(seen.jobs, seen.of, seen.expected / seen.of, STRENGTH)
        held.append(share.low <= hidden[name] / of[name] <= share.high)
    return held


def worth(shop: Shop, tally: Tally | None) -> tuple[float, float]:
    """Minutes and bits until the cause, as in `learn`; the mean over sheets and vehicles."""
    pairs = []
    for number, one in enumerate(known_sheets()):
        for at, vehicle in enumerate(VEHICLES):
            belief = one.shipped
            if tally is not None:
                found = chances(one.circuit, taught(default_priors(), tally, one.circuit, vehicle))
                belief = np.array([found[cause] for cause in one.causes])
            hidden = shop.chance[number][at]
            pairs.append((looked(one, hidden, belief), halvings(hidden, belief)))
    minutes, bits = np.mean(pairs, axis=0)
    return float(minutes), float(bits)


def main(arguments: list[str]) -> int:
    """Print coverage, worth and harm; the exit status is 1 where the harm misses its aim."""
    parser = argparse.ArgumentParser(prog="python -m bench learn_around", description=__doc__)
    parser.add_argument("--shops", type=int, default=2)
    parser.add_argument("--jobs", type=int, nargs="*", default=[100, 1_000, 10_000])
    parser.add_argument("--seed", type=int, default=1)
    given = parser.parse_args(arguments)
    generator = np.random.default_rng(given.seed)
    pairs = [shops(known_sheets(), generator) for _ in range(given.shops)]
    base = np.mean([worth(shop, None) for shop, _ in pairs], axis=0)
    print(f"{'jobs':>9}{'held':>8}{'minutes':>9}{'':>9}{'bits':>7}{'':>9}  causes alone: minutes, bits")
    print(f"{0:>9}{'':>8}{base[0]:>9.1f}{'':>9}{base[1]:>7.2f}", flush=True)
    harm = 0.0
    for sign in (1, -1):
        for jobs in given.jobs:
            held: list[bool] = []
            both, alone = [], []
            for shop, turned in pairs:
                came_from = shop if sign > 0 else turned
                tally = worked(came_from, jobs, generator)
                held += covered(came_from, tally)
                both.append(worth(shop, tally))
                alone.append(worth(shop, replace(tally, circumstances=Circumstances())))
            found, plain = np.mean(both, axis=0), np.mean(alone, axis=0)
            more, less = 100 * (found / base - 1.0), 100 * (plain / base - 1.0)
            harm = max(harm, more[0] / 100)
            print(
                f"{sign * jobs:>9,}{100 * np.mean(held):>6.1f} %{found[0]:>9.1f}{more[0]:>+7.1f} %{found[1]:>7.2f}"
                f"{more[1]:>+7.1f} %  {less[0]:+.1f} %, {less[1]:+.1f} %",
                flush=True,
            )
    print("a minus: the jobs came from a workshop whose rates are turned round")
    return 0 if harm <= HARM else 1
