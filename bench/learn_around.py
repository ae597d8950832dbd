"""What earlier work, places, age and distance teach beside causes: are hidden shares recovered, is it worth anything?

Simulated workshops as in `learn`; besides kinds and modes, places where hands have been, sorts of place and each kind
by age and by distance are the cause oftener or rarer than shipped, by up to as much. Every job is drawn with its
vehicle and the earlier work on it, none is worked on.
"""

from __future__ import annotations

import argparse
from collections import Counter, defaultdict
from collections.abc import Collection, Mapping, Sequence
from dataclasses import replace
from functools import cache
from itertools import product

import numpy as np

from bench.learn import FACTOR, HARM, HIGHEST, LOWEST, NAMES, Floats, Sheet, halvings, looked, sheet, world
from halfsplit.diagnosis.conditions import AGES, DISTANCES, Circumstances, Condition, class_of_part
from halfsplit.diagnosis.learned import (
    EARLIER_WORK,
    Cause,
    CircuitTally,
    Tally,
    chances,
    digest,
    kind_shares,
    share_of,
    taught,
)
from halfsplit.diagnosis.priors import Priors, default_priors
from halfsplit.job import learning
from halfsplit.job.learning import Hands

VEHICLES = tuple((far, old) for (_, far), (_, old) in zip(DISTANCES, AGES, strict=True))
"""Distance and age in coarse words; each as frequent as the others."""
Work = tuple[int, bool] | None
HANDS: tuple[Work, ...] = (None, *product(range(3), (False, True)))
"""No earlier work; else at which pair of parts, and whether the complaint began then."""
WORKED_ON = 0.4
"""Share of the jobs with earlier work. Set here."""
EACH, TOGETHER = FACTOR**0.5, FACTOR**0.2
"""By how much each of five differs: kinds and modes alone by `FACTOR` for the coverage, all together for the worth."""
SITUATIONS = tuple(product(VEHICLES, HANDS))


OFTEN = np.array([(WORKED_ON / (len(HANDS) - 1) if work else 1 - WORKED_ON) for _, work in SITUATIONS]) / len(
    VEHICLES
)
"""How frequent each of them is."""


Shop = Sequence[Sequence[Floats]]
"""Hidden chances of each sheet's causes, for each of `SITUATIONS`."""


def hands(one: Sheet, work: Work) -> Hands:
    """Where hands have been on a sheet's vehicles: at two parts."""
    if work is None:
        return ()
    parts, (pair, began_then) = sorted(one.circuit.parts), work
    return tuple((parts[len(parts) * sixth // 6], began_then) for sixth in (pair, pair + 3))


@cache
def shipped(number: int, work: Work) -> Floats:
    """The shipped chances of a sheet's causes after earlier work."""
    return after_work(known_sheets()[number], default_priors(), work)


def after_work(one: Sheet, priors: Priors, work: Work) -> Floats:
    """The chances of a sheet's causes by some priors after earlier work."""
    touched = {place: priors.factors[EARLIER_WORK[began_then]] for place, began_then in hands(one, work)}
    found = chances(one.circuit, priors, touched)
    return np.array([found[cause] for cause in one.causes])


def shops(sheets: Sequence[Sheet], generator: np.random.Generator, each: float) -> tuple[Shop, Shop]:
    """A shop and the same turned round.

    ``each``: by how much kinds, modes, places, hands, and kinds by age and distance, differ at most.
    """
    base, most = world(sheets, generator, factor=each**2), np.log(each)
    places: Mapping[str, float] = cache(lambda _place: float(generator.uniform(-most, most)))  # type: ignore[assignment]
    bands = cache(lambda _kind, _band: float(generator.uniform(-most / 2, most / 2)))
    touched = generator.uniform(-most, most, len(EARLIER_WORK))

    def moved(sign: float, number: int, vehicle: Sequence[str], work: Work) -> Floats:
        one = sheets[number]
        before, after = one.shipped, shipped(number, work)
        at_hand = after / before > 1.001 * (after / before).min()
        move = np.array(
            [
                places(class_of_part(cause.part, one.circuit.model))  # type: ignore[operator]
                + sum(bands(cause.kind, band) for band in vehicle)
                for cause in one.causes
            ]
        )
        if work is not None:
            move += at_hand * touched[int(work[1])]
        true = base.true if sign > 0 else base.turned
        weights: Floats = true[number] * (after / before) * np.exp(sign * move)
        shares: Floats = weights / weights.sum()
        return shares

    return tuple(  # type: ignore[return-value]
        [[moved(sign, number, *situation) for situation in SITUATIONS] for number in range(len(sheets))]
        for sign in (1.0, -1.0)
    )


@cache
def told(number: int, cause: Cause, vehicle: Sequence[str], work: Work) -> Mapping[str, Condition]:
    """What one job tells besides its cause."""
    one = known_sheets()[number]
    return learning.conditions_of(one.circuit, hands(one, work), cause, one.shares, vehicle)


@cache
def known_sheets() -> tuple[Sheet, ...]:
    """The circuits."""
    return tuple(sheet(name) for name in NAMES)


def worked(shop: Shop, jobs: int, generator: np.random.Generator) -> Tally:
    """So many closed jobs, each with its vehicle."""
    sheets, circuits = known_sheets(), {}
    total: dict[str, Condition] = {}
    each = generator.multinomial(jobs, np.tile(OFTEN, len(sheets)) / len(sheets))
    for number, one in enumerate(sheets):
        causes: Counter[Cause] = Counter()
        for at, situation in enumerate(SITUATIONS):
            drawn = generator.multinomial(each[number * len(SITUATIONS) + at], shop[number][at])
            for cause, count in zip(one.causes, drawn.tolist(), strict=True):
                if count:
                    causes[cause] += count
                    for name, seen in told(number, cause, *situation).items():
                        many = Condition(count * seen.jobs, count * seen.of, count * seen.expected)
                        total[name] = total.get(name, Condition()) + many
        if causes:
            circuits[digest(one.circuit.model)] = CircuitTally(one.shares, dict(causes))
    return Tally(circuits, {}, Circumstances(conditions=total))


def covered(shop: Shop, tally: Tally) -> tuple[list[bool], list[bool]]:
    """For each condition, and for each kind, whether its 90 % interval (Beta) holds the share that it had."""
    hidden: dict[str, float] = defaultdict(float)
    of: dict[str, float] = defaultdict(float)
    kinds: dict[str, float] = defaultdict(float)
    for number, one in enumerate(known_sheets()):
        for at, situation in enumerate(SITUATIONS):
            true = OFTEN[at] / len(NAMES) * shop[number][at]
            for cause, chance in zip(one.causes, true.tolist(), strict=True):
                kinds[cause.kind] += chance
                for name, seen in told(number, cause, *situation).items():
                    hidden[name] += chance * seen.jobs
                    of[name] += chance * seen.of
    conditions = [
        (share_of(seen.jobs, seen.of, seen.expected / seen.of), hidden[name] / of[name])
        for name, seen in tally.circumstances.conditions.items()
    ]
    causes = [(share, kinds[kind]) for kind, share in kind_shares(tally).items()]
    held = [[share.low <= true <= share.high for share, true in pairs] for pairs in (conditions, causes)]
    return held[0], held[1]


def worth(shop: Shop, tally: Tally | None) -> tuple[float, float]:
    """Minutes and bits until the cause, as in `learn`; the mean over sheets, vehicles and earlier work."""
    pairs = []
    for number, one in enumerate(known_sheets()):
        for vehicle in VEHICLES:
            priors = taught(default_priors(), tally, one.circuit, vehicle) if tally else default_priors()
            for work in HANDS:
                belief = after_work(one, priors, work)
                hidden = shop[number][SITUATIONS.index((vehicle, work))]
                pairs.append((looked(one, hidden, belief), halvings(hidden, belief)))
    minutes, bits = np.average(pairs, axis=0, weights=np.tile(OFTEN, len(NAMES)))
    return float(minutes), float(bits)


def only(tally: Tally, names: Collection[str] | None) -> Tally:
    """The causes and some of the conditions, all for None."""
    known = tally.circumstances.conditions
    conditions = {name: condition for name, condition in known.items() if names is None or name in names}
    return replace(tally, circumstances=Circumstances(conditions))


def main(arguments: list[str]) -> int:
    """Print coverage, worth and harm; the exit status is 1 where coverage or harm misses its aim."""
    parser = argparse.ArgumentParser(prog="python -m bench learn_around", description=__doc__)
    parser.add_argument("--worlds", type=int, default=12, help="for the coverage")
    parser.add_argument("--shops", type=int, default=3, help="for what it is worth")
    parser.add_argument("--jobs", type=int, nargs="*", default=[10, 100, 1_000, 10_000])
    parser.add_argument("--seed", type=int, default=1)
    given = parser.parse_args(arguments)
    generator = np.random.default_rng(given.seed)
    sound = _coverage(given.worlds, generator)
    return 0 if _worth(given.shops, given.jobs, generator) <= HARM and sound else 1


def _coverage(worlds: int, generator: np.random.Generator) -> bool:
    drawn = [shops(known_sheets(), generator, EACH)[0] for _ in range(worlds)]
    print(f"{'jobs':>9}{'worlds':>8}{'conditions':>12}{'held':>8}{'kinds':>8}{'held':>8}")
    share = 0.0
    for jobs in (100, 1_000, 10_000, 100_000):
        pairs = [covered(shop, worked(shop, jobs, generator)) for shop in drawn]
        around, kinds = ([one for pair in pairs for one in pair[which]] for which in (0, 1))
        share = float(np.mean(around + kinds))
        row = f"{jobs:>9,}{worlds:>8}{len(around):>12}{100 * np.mean(around):>6.1f} %{len(kinds):>8}"
        print(f"{row}{100 * np.mean(kinds):>6.1f} %", flush=True)
    return LOWEST <= share <= HIGHEST


def _worth(number: int, counts: Sequence[int], generator: np.random.Generator) -> float:
    """Print what it is worth; returns the most that a workshop turned round harms, as a share of the minutes."""
    pairs = [shops(known_sheets(), generator, TOGETHER) for _ in range(number)]
    base = [np.array(worth(shop, None)) for shop, _ in pairs]
    mean = np.mean(base, axis=0)
    print(
        f"{'jobs':>9}{'minutes':>9}{'':>9}{'bits':>7}{'':>9}{'worst':>9}  causes alone     and earlier work"
    )
    print(f"{0:>9}{mean[0]:>9.1f}{'':>9}{mean[1]:>7.2f}", flush=True)
    harm = 0.0
    for sign, jobs in product((1, -1), counts):
        tallies = [worked(shop if sign > 0 else turned, jobs, generator) for shop, turned in pairs]
        rows = [
            np.array(
                [worth(shop, only(tally, names)) for (shop, _), tally in zip(pairs, tallies, strict=True)]
            )
            for names in (None, (), EARLIER_WORK)
        ]
        found, alone, hands_too = (100 * (row.mean(axis=0) / mean - 1.0) for row in rows)
        worst = 100 * max(row[0] / before[0] - 1.0 for row, before in zip(rows[0], base, strict=True))
        harm = max(harm, worst / 100)
        minutes, bits = rows[0].mean(axis=0)
        print(
            f"{sign * jobs:>9,}{minutes:>9.1f}{found[0]:>+7.1f} %{bits:>7.2f}{found[1]:>+7.1f} %{worst:>+7.1f} %"
            f"  {alone[0]:+.1f} %, {alone[1]:+.1f} %  {hands_too[0]:+.1f} %, {hands_too[1]:+.1f} %",
            flush=True,
        )
    print("a minus: the jobs came from a workshop whose rates are turned round; worst: of the workshops")
    return harm
