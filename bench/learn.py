"""What closed jobs teach, on simulated workshops whose hidden rates differ from the shipped ones by up to five times.

Jobs are drawn, not worked on: a circuit, then its cause by the hidden rates. Measured are whether the 90 % intervals
hold the hidden shares, and what the learned priors are worth: minutes until the cause is come to where the places are
looked at one after another, the best chance for its minutes first; and the halvings that a fault takes where every test
halves what is left (cross entropy, in bits). Neither counts what complaint and readings rule out: both show the most
that priors can help or harm.
"""

from __future__ import annotations

import argparse
import time
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from halfsplit.circuit.circuit import Circuit
from halfsplit.diagnosis.cost import DEFAULT_REACH, PLACES, TEST_MINUTES
from halfsplit.diagnosis.learned import Cause, CircuitTally, Tally, chances, digest, kind_shares, taught
from halfsplit.diagnosis.priors import default_priors
from halfsplit.notation.checked import check_text
from halfsplit.notation.library import sample

NAMES = (
    "relay-load",
    "tail-lamps",
    "heated-screen",
    "window",
    "fuel-pump",
    "radiator-fans",
    "head-lamps",
    "power-socket",
)
FACTOR = 5.0
LOWEST, HIGHEST = 0.87, 0.93
HARM = 0.10
Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Sheet:
    """A circuit with its single causes, their shipped chances, and the minutes to look at each place."""

    circuit: Circuit
    causes: Sequence[Cause]
    shipped: Floats
    minutes: Floats

    @property
    def shares(self) -> Mapping[str, float]:
        """Kind → share, as shipped."""
        kinds: dict[str, float] = {}
        for cause, chance in zip(self.causes, self.shipped, strict=True):
            kinds[cause.kind] = kinds.get(cause.kind, 0.0) + float(chance)
        return kinds


def sheet(name: str) -> Sheet:
    """A pattern that comes with the program."""
    circuit = check_text(sample(name).text).circuit
    assert circuit is not None
    found = chances(circuit, default_priors())
    minutes = [_minutes(circuit, cause.part) for cause in found]
    return Sheet(circuit, list(found), np.array(list(found.values())), np.array(minutes))


def _minutes(circuit: Circuit, name: str) -> float:
    part = circuit.parts.get((name.split()[1] if name.startswith("wire ") else name).partition(".")[0])
    place = part.place.lower() if part is not None else ""
    reach = next((found for words, found in PLACES if any(word in place for word in words)), DEFAULT_REACH)
    return reach + TEST_MINUTES


@dataclass(frozen=True)
class World:
    """A workshop's hidden rates: for each sheet the true chances of its causes."""

    true: Sequence[Floats]
    turned: Sequence[Floats]


def world(sheets: Sequence[Sheet], generator: np.random.Generator, *, factor: float = FACTOR) -> World:
    """Every kind, and every mode of a kind, oftener or rarer by up to ``factor`` in all; and the same turned round."""
    kinds = sorted({cause.kind for one in sheets for cause in one.causes})
    modes = sorted({(cause.kind, cause.mode) for one in sheets for cause in one.causes})
    most = np.log(factor) / 2.0
    kind = dict(zip(kinds, generator.uniform(-most, most, len(kinds)), strict=True))
    mode = dict(zip(modes, generator.uniform(-most, most, len(modes)), strict=True))
    moves = [np.array([kind[one.kind] + mode[one.kind, one.mode] for one in each.causes]) for each in sheets]
    both = [
        [_scaled(each.shipped * np.exp(sign * move)) for each, move in zip(sheets, moves, strict=True)]
        for sign in (1.0, -1.0)
    ]
    return World(both[0], both[1])


def _scaled(weights: Floats) -> Floats:
    shares: Floats = weights / weights.sum()
    return shares


def worked(
    sheets: Sequence[Sheet], chance: Sequence[Floats], jobs: int, generator: np.random.Generator
) -> Tally:
    """So many closed jobs."""
    each = generator.multinomial(jobs, np.full(len(sheets), 1.0 / len(sheets)))
    circuits = {}
    for one, true, count in zip(sheets, chance, each, strict=True):
        drawn = generator.multinomial(count, true)
        causes = {cause: int(number) for cause, number in zip(one.causes, drawn, strict=True) if number}
        if causes:
            circuits[digest(one.circuit.model)] = CircuitTally(one.shares, causes)
    return Tally(circuits)


def covered(sheets: Sequence[Sheet], true: Sequence[Floats], tally: Tally) -> list[bool]:
    """For each kind, whether its 90 % interval holds the share that it had in the circuits worked on."""
    hidden: dict[str, float] = {}
    for one, chance in zip(sheets, true, strict=True):
        known = tally.circuits.get(digest(one.circuit.model))
        weight = known.jobs / tally.jobs if known else 0.0
        for cause, value in zip(one.causes, chance, strict=True):
            hidden[cause.kind] = hidden.get(cause.kind, 0.0) + weight * float(value)
    return [one.low <= hidden[kind] <= one.high for kind, one in kind_shares(tally).items()]


def believed(one: Sheet, tally: Tally) -> Floats:
    """The chances of a sheet's causes by the learned priors."""
    found = chances(one.circuit, taught(default_priors(), tally, one.circuit))
    return np.array([found[cause] for cause in one.causes])


def looked(one: Sheet, true: Floats, chance: Floats) -> float:
    """Minutes until the cause is come to, the places (repair groups) in the order of chance for minutes."""
    parts = sorted({cause.part for cause in one.causes})
    number = {part: at for at, part in enumerate(parts)}
    where = np.array([number[cause.part] for cause in one.causes])
    real, thought = np.bincount(where, true), np.bincount(where, chance)
    minutes = np.zeros(len(parts))
    minutes[where] = one.minutes
    order = np.argsort(-thought / minutes, kind="stable")
    return float(real[order] @ np.cumsum(minutes[order]))


def halvings(true: Floats, chance: Floats) -> float:
    """Bits that a fault takes with tests that halve what is believed."""
    return float(-(true * np.log2(np.maximum(chance, 1e-12))).sum())


def worth(sheets: Sequence[Sheet], true: Sequence[Floats], tally: Tally | None) -> tuple[float, float]:
    """Minutes and bits, the mean over the sheets."""
    beliefs = [one.shipped if tally is None else believed(one, tally) for one in sheets]
    pairs = [
        (looked(one, hidden, chance), halvings(hidden, chance))
        for one, hidden, chance in zip(sheets, true, beliefs, strict=True)
    ]
    minutes, bits = np.mean(pairs, axis=0)
    return float(minutes), float(bits)


def main(arguments: list[str]) -> int:
    """Print the tables; the exit status is 1 where coverage or harm misses its aim."""
    parser = argparse.ArgumentParser(prog="python -m bench learn", description=__doc__)
    parser.add_argument("--worlds", type=int, default=60, help="for the coverage")
    parser.add_argument("--jobs", type=int, default=100_000)
    parser.add_argument("--shops", type=int, default=3, help="for what it is worth")
    parser.add_argument("--seed", type=int, default=1)
    given = parser.parse_args(arguments)
    generator = np.random.default_rng(given.seed)
    start = time.process_time()
    sheets = [sheet(name) for name in NAMES]
    print(
        f"{len(sheets)} circuits, {sum(len(one.causes) for one in sheets)} causes; {time.process_time() - start:.1f} s"
    )
    sound = _coverage(sheets, given.worlds, given.jobs, generator)
    return 0 if _worth(sheets, given.shops, generator) and sound else 1


def _coverage(sheets: Sequence[Sheet], worlds: int, jobs: int, generator: np.random.Generator) -> bool:
    print(f"{'jobs':>9}{'worlds':>8}{'shares':>8}{'held by their 90 % interval':>29}")
    shares = {}
    for count in (1_000, 10_000, jobs):
        held: list[bool] = []
        for _ in range(worlds):
            true = world(sheets, generator).true
            held += covered(sheets, true, worked(sheets, true, count, generator))
        shares[count] = float(np.mean(held))
        print(f"{count:>9,}{worlds:>8}{len(held):>8}{100 * shares[count]:>27.1f} %")
    return LOWEST <= shares[jobs] <= HIGHEST


def _worth(sheets: Sequence[Sheet], shops: int, generator: np.random.Generator) -> bool:
    print(f"{'jobs':>9}{'minutes':>10}{'':>9}{'bits':>8}{'':>9}   (against the shipped priors)")
    worlds = [world(sheets, generator) for _ in range(shops)]
    base = np.mean([worth(sheets, one.true, None) for one in worlds], axis=0)
    print(f"{0:>9}{base[0]:>10.1f}{'':>9}{base[1]:>8.2f}")
    for count in (10, 100, 1_000, 10_000):
        found = [worth(sheets, one.true, worked(sheets, one.true, count, generator)) for one in worlds]
        _row(f"{count:,}", np.mean(found, axis=0), base)
    harm = 0.0
    for count in (100, 1_000, 10_000):
        found = [worth(sheets, one.true, worked(sheets, one.turned, count, generator)) for one in worlds]
        mean = np.mean(found, axis=0)
        harm = max(harm, float(mean[0] / base[0] - 1.0))
        _row(f"-{count:,}", mean, base)
    print("a minus: the jobs came from a workshop whose rates are turned round")
    return harm <= HARM


def _row(name: str, found: Floats, base: Floats) -> None:
    more = 100 * (found / base - 1.0)
    print(f"{name:>9}{found[0]:>10.1f}{more[0]:>+7.1f} %{found[1]:>8.2f}{more[1]:>+7.1f} %")
