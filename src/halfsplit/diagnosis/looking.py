"""What a reading could not have seen, what else looks the same, and where to wait for a fault that comes and goes."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

from halfsplit.circuit.faults import SPECIAL
from halfsplit.circuit.instruments import INSTRUMENTS
from halfsplit.diagnosis.candidates import probe_points
from halfsplit.diagnosis.choose import Candidates
from halfsplit.diagnosis.evidence import forecast, forecast_number, forecast_words
from halfsplit.diagnosis.expected import Numeric, Worded
from halfsplit.diagnosis.information import KNEE, Slips, mutual_information
from halfsplit.diagnosis.measurement import Measurement, Reading
from halfsplit.diagnosis.outcomes import outcome_ranges
from halfsplit.diagnosis.shortlist import shortlist
from halfsplit.diagnosis.situation import Situation
from halfsplit.units import format_quantity

Floats = NDArray[np.float64]
Ints = NDArray[np.intp]

SEEN_SHARE = 0.8
"""A lamp is told as dimmer from four fifths of the feed; common practice, no source."""
ALIBI = 0.05
"""A fault with this share of the leader's likelihood gives the same readings as far as anyone can tell."""
SEPARATES = 0.9
CHANNELS = 4
CELLS = 60


def unseen(situation: Situation, reading: Reading) -> str:
    """What a good reading could not have seen, in words; empty where it saw what matters.

    A lamp across a path of R ohm still has four fifths of the feed while R is under a quarter of its own resistance:
    a joint below that is not cleared (calculated).
    """
    measurement = reading.measurement
    used = INSTRUMENTS.get(measurement.instrument or "")
    if measurement.quantity == "lamp" and reading.value == "bright" and used is not None and used.ohms:
        ohms = used.ohms * (1.0 / SEEN_SHARE - 1.0)
        return (
            f"a {used.name} there sees nothing under {format_quantity(ohms, 'ohm', 2)}: "
            "the path is not cleared for a load that draws more"
        )
    if measurement.quantity == "volts" and used is not None and used.ohms and used.ohms > 1e5:
        # Whether, healthy, hardly any current flows through what meets at the point.
        solution = situation.circuit.solve(measurement.state, changes=measurement.changes)
        wires = [wire.name for wire in situation.circuit.model.wires if measurement.at in wire.ends]
        if wires and max(abs(solution.amps(name)) for name in wires) < 0.01:
            return "nothing drew current there: an unloaded meter shows full volts through a bad joint"
    return ""


@dataclass(frozen=True, slots=True)
class Alibi:
    """A fault that gives the same readings as the leader, and the tests that tell them apart, cheapest set first."""

    rivals: tuple[str, ...]
    tests: tuple[Measurement, ...]
    minutes: float
    left: tuple[str, ...]


def alibi(situation: Situation, wanted: Sequence[Measurement]) -> Alibi:
    """Every other repair that explains the readings as well as the leader does whatever its prior.

    With it a cheap set of tests that excludes them all: the one that separates most rivals a minute first, again and
    again.
    """
    posterior = situation.posterior
    names, group = posterior.groups
    prior = np.bincount(group, weights=posterior.belief.prior, minlength=len(names))
    mass = np.bincount(group, weights=posterior.weights.sum(axis=1), minlength=len(names))
    fit = mass / np.maximum(prior, 1e-300)
    leader = int(np.argmax(mass))
    as_well = np.flatnonzero(fit > ALIBI * fit[leader]).tolist()
    rivals = [number for number in as_well if number != leader and names[number] not in SPECIAL]
    left, minutes = set(rivals), 0.0
    chosen: list[Measurement] = []
    apart = []
    for look in wanted:
        # The distributions of their readings and of the leader's hardly overlap.
        expected = forecast(look, situation.context)
        mine, *others = (
            _distribution(expected, posterior.weights, group == each) for each in (leader, *rivals)
        )
        overlaps = zip(rivals, others, strict=True)
        parted = {rival for rival, other in overlaps if 0.5 * np.abs(mine - other).sum() > SEPARATES}
        apart.append((look, parted))
    while left:
        best = max(
            apart, key=lambda item: len(item[1] & left) / _minutes(situation, item[0], chosen), default=None
        )
        if best is None or not best[1] & left:
            break
        minutes += _minutes(situation, best[0], chosen)
        chosen.append(best[0])
        left -= best[1]
    ruled_out = tuple(names[number] for number in rivals)
    return Alibi(ruled_out, tuple(chosen), minutes, tuple(names[number] for number in sorted(left)))


def _minutes(situation: Situation, look: Measurement, made: Sequence[Measurement]) -> float:
    bay = situation.bay
    for other in made:
        bay = bay.after(other)
    return bay.minutes(look)


def _distribution(expected: Numeric | Worded, weights: Floats, rows: NDArray[np.bool_]) -> Floats:
    """Shares of the words, or of the cells of a grid, that a repair group's reading falls into."""
    share = weights[rows] + 1e-300
    share = share / share.sum()
    if isinstance(expected, Worded):
        return np.asarray(np.einsum("cd,cdk->k", share, expected.probability[rows]))
    edges = np.linspace(expected.low, expected.high, CELLS + 1)[1:-1]
    heavy = share > 1e-4 * share.max()
    value, sigma, share = expected.value[rows][heavy], expected.sigma[rows][heavy], share[heavy]
    below = share @ ndtr((edges - value[:, None]) / sigma[:, None])
    return np.diff(np.concatenate([[0.0], below, [share.sum()]]))


def free_looks(situation: Situation) -> tuple[Measurement, ...]:
    """Symptoms that nobody has asked about yet and that the suspects differ in: evidence that costs seconds."""
    asked = {reading.measurement for reading in situation.live}
    looks = [
        Measurement("works", part.name, state)
        for state in situation.circuit.states
        for part in situation.circuit.parts.values()
        if part.kind in ("lamp", "motor", "heater", "solenoid")
    ]
    chosen, weights, group, _ = situation.particles()
    telling = []
    for look in looks:
        if look not in asked:
            chance = forecast_words(look, situation.choosing).at(chosen).chance
            bits = Candidates(np.ones(1), likelihood=chance[None]).bits(weights, group)[0]
            telling.append((float(bits), look))
    telling.sort(key=lambda item: -item[0])
    return tuple(look for bits, look in telling if bits > 0.02)


@dataclass(frozen=True, slots=True)
class Trap:
    """Points to leave channels connected at on a road test, and the bits that all of them tell together."""

    points: tuple[str, ...]
    bits: float


def trap(situation: Situation, state: str, channels: int = CHANNELS) -> Trap:
    """The best places to wait for a fault that comes and goes: greedy in the joint information of all channels."""
    wanted = [
        Measurement("volts", point, state, instrument="meter") for point in probe_points(situation.circuit)
    ]
    chosen, weights, group, _ = situation.particles()
    wanted = shortlist(situation, wanted, chosen, weights)
    labels = []
    for test in wanted:
        # Which of a few ranges the channel would most likely show, per particle.
        expected = forecast_number(test, situation.choosing)
        value, sigma = expected.value.ravel()[chosen][None], expected.sigma.ravel()[chosen][None]
        ranges = outcome_ranges(value, sigma, weights, group, slips=Slips(), knee=np.array([KNEE]))
        labels.append(ranges[0].argmax(axis=1))
    taken: list[int] = []
    joint, best = np.zeros(len(chosen), dtype=np.intp), 0.0
    while len(taken) < min(channels, len(wanted)):
        left = [number for number in range(len(labels)) if number not in taken]
        bits = {number: _joint_bits(joint, labels[number], weights, group) for number in left}
        number = max(bits, key=bits.__getitem__)
        if bits[number] < best + 0.02:
            break
        best = bits[number]
        taken.append(number)
        joint = np.unique(joint * 8 + labels[number], return_inverse=True)[1]
    return Trap(tuple(wanted[number].at for number in taken), best)


def _joint_bits(joint: Ints, label: Ints, weights: Floats, group: Ints) -> float:
    """What two channels tell together."""
    both = np.unique(joint * 8 + label, return_inverse=True)[1]
    table = np.zeros((int(group.max()) + 1, int(both.max()) + 1))
    np.add.at(table, (group, both), weights)
    return float(mutual_information(table[None])[0])
