"""What closed jobs teach about causes, as counts that stand beside the shipped priors.

Three levels, each held by the one above where it has seen little: modes of a kind (Dirichlet), kinds of item (Beta, of
all causes), repairs of one circuit (Dirichlet). The shipped priors are pseudo-counts: as if so many jobs had gone as
they expect. A circuit's own jobs are left out of what it is given from above, so that no job counts twice. No weight is
moved by more than `LARGEST`: readings outweigh any history.
"""

from __future__ import annotations

import hashlib
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from halfsplit.circuit.circuit import Circuit
from halfsplit.circuit.faults import NOT_IN_MODEL, NOTHING_WRONG, Fault
from halfsplit.circuit.model import Model
from halfsplit.circuit.moving import crossing_wires
from halfsplit.diagnosis.conditions import Circumstances, cause_factor, jobs_for, together
from halfsplit.diagnosis.hypotheses import families
from halfsplit.diagnosis.priors import Priors, default_priors, family_priors

STRENGTH = {"mode": 20.0, "look": 30.0}
"""Jobs (for a look: looks) that the shipped numbers count for; a share of jobs: see `jobs_for`. Set here."""
CIRCUIT_STRENGTHS = (10.0, 30.0, 100.0, 300.0, 1_000.0, 10_000.0)
"""Jobs that its kinds may count for in a circuit; which of them holds, its jobs tell. Set here."""
SHIPPED_KEEPS = 0.5
"""Share that the shipped numbers keep: no cause falls below half of its shipped chance. Set here."""
LARGEST = 10.0
"""The most by which a weight is raised."""
HINGE = "wire through a hinge"
EARLIER_WORK = ("disturbed", "began at that visit")
"""Conditions that stand among the shipped factors: the cause is where hands have been."""
ROUNDS = 200
CLOSE = 1e-9
DIGITS = 6
"""Of a share, as the file has it."""

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Cause:
    """The cause of a job: the part that was repaired, its kind as the priors have it, and how it was broken."""

    part: str
    kind: str
    mode: str


@dataclass(frozen=True)
class CircuitTally:
    """The jobs on one circuit: the shares that the shipped priors give its kinds, and how often each was the cause."""

    shares: Mapping[str, float]
    causes: Mapping[Cause, int]

    @property
    def jobs(self) -> int:
        return sum(self.causes.values())


@dataclass(frozen=True)
class Tally:
    """All that was counted: circuits by their digest, looks by kind (found, missed), and what else jobs told."""

    circuits: Mapping[str, CircuitTally] = field(default_factory=dict)
    looks: Mapping[str, tuple[int, int]] = field(default_factory=dict)
    circumstances: Circumstances = field(default_factory=Circumstances)

    @property
    def jobs(self) -> int:
        return sum(circuit.jobs for circuit in self.circuits.values())

    @property
    def causes(self) -> Counter[tuple[str, str]]:
        """(kind, mode) → jobs, over all circuits."""
        causes: Counter[tuple[str, str]] = Counter()
        for circuit in self.circuits.values():
            for cause, jobs in circuit.causes.items():
                causes[cause.kind, cause.mode] += jobs
        return causes

    def without(self, circuit: str) -> Tally:
        """The same without the jobs of one circuit."""
        others = {name: jobs for name, jobs in self.circuits.items() if name != circuit}
        return replace(self, circuits=others)


def digest(model: Model) -> str:
    """A name for a circuit that tells nothing about its vehicle: the same for the same parts and wires."""
    said = [f"{part.name} {part.kind}" for part in model.parts.values()]
    said += [f"{wire.a} {wire.b}" for wire in model.wires]
    return hashlib.sha256("\n".join(sorted(said)).encode()).hexdigest()[:16]


def merged(tallies: Sequence[Tally]) -> Tally:
    """Several workshops' counts in one."""
    circuits = {}
    for name in sorted({name for tally in tallies for name in tally.circuits}):
        same = [tally.circuits[name] for tally in tallies if name in tally.circuits]
        causes: Counter[Cause] = Counter()
        for circuit_tally in same:
            causes.update(circuit_tally.causes)
        circuits[name] = CircuitTally(same[0].shares, dict(causes))
    looks = {}
    for kind in sorted({kind for tally in tallies for kind in tally.looks}):
        seen, missed = zip(*(tally.looks.get(kind, (0, 0)) for tally in tallies), strict=True)
        looks[kind] = sum(seen), sum(missed)
    return Tally(circuits, looks, together(tally.circumstances for tally in tallies))


# What a circuit's items are, by the shipped priors


def cause_of(fault: Fault, bending: Mapping[str, bool], priors: Priors) -> Cause:
    """The cause that a fault is counted as. ``bending``: the `crossing_wires` of its circuit."""
    kind, mode = priors.key(fault)
    if kind == "wire" and bending.get(fault.part):
        kind = HINGE
    return Cause(fault.part, kind, mode)


def chances(
    circuit: Circuit, priors: Priors, touched: Mapping[str, float] | None = None
) -> dict[Cause, float]:
    """How likely each single cause is before anything is measured; they add up to 1. ``touched``: by earlier work."""
    first = [family[0] for family in families(circuit.faults)]
    weights = family_priors(first, circuit.model, priors, touched or {}, intermittent=False)
    bending = crossing_wires(circuit.model)
    counted: Counter[Cause] = Counter()
    for fault, weight in zip(first, weights, strict=True):
        if fault.name not in (NOTHING_WRONG, NOT_IN_MODEL):
            counted[cause_of(fault, bending, priors)] += weight  # type: ignore[assignment]
    total = sum(counted.values()) or 1.0
    return {cause: weight / total for cause, weight in counted.items()}


@lru_cache(maxsize=256)
def shipped_chances(circuit: Circuit, hands: tuple[str, ...] = (), work: str = "") -> Mapping[Cause, float]:
    """The `chances` by the shipped priors; ``hands``: places of earlier ``work``, one of `EARLIER_WORK`."""
    priors = default_priors()
    return chances(circuit, priors, dict.fromkeys(hands, priors.factors.get(work, 1.0)))


def shipped_shares(circuit: Circuit) -> dict[str, float]:
    """Kind → how likely it is that an item of this kind is the cause, by the shipped priors."""
    counted: Counter[str] = Counter()
    for cause, chance in shipped_chances(circuit).items():
        counted[cause.kind] += chance  # type: ignore[assignment]
    return {kind: round(share, DIGITS) for kind, share in counted.items()}


# Kinds


@dataclass(frozen=True)
class Share:
    """How often something was the cause. ``jobs`` of ``of``; ``shipped``: the share that the shipped priors expect.

    ``share``: what is believed now; ``low`` and ``high``: between them with 90 %.
    """

    jobs: int
    of: int
    shipped: float
    share: float
    low: float
    high: float


def share_of(jobs: int, of: int, shipped: float) -> Share:
    """Beta: the shipped share counts for `jobs_for` it.

    >>> found = share_of(7, 9, 0.1)
    >>> round(found.share, 2), found.low < found.share < found.high
    (0.29, True)
    """
    from scipy.stats import beta

    strength = jobs_for(min(max(shipped, 1e-6), 1.0 - 1e-6))
    a, b = strength * shipped + jobs, strength * (1.0 - shipped) + of - jobs
    low, high = (float(beta.ppf(end, max(a, 1e-9), max(b, 1e-9))) for end in (0.05, 0.95))
    return Share(jobs, of, shipped, a / (a + b), low, high)


def kind_shares(tally: Tally) -> dict[str, Share]:
    """Kind → its share of all causes in the circuits that were worked on, the largest first."""
    of = tally.jobs
    shipped: Counter[str] = Counter()
    for circuit in tally.circuits.values():
        for kind, share in circuit.shares.items():
            shipped[kind] += circuit.jobs * share / of if of else 0.0  # type: ignore[assignment]
    jobs: Counter[str] = Counter()
    for (kind, _), count in tally.causes.items():
        jobs[kind] += count
    kinds = sorted(set(shipped) | set(jobs), key=lambda kind: -shipped[kind])
    return {kind: share_of(jobs[kind], of, shipped[kind]) for kind in kinds}


def kind_factors(tally: Tally) -> dict[str, float]:
    """Kind → by how much its rate is moved, so that over the circuits worked on each kind has its share.

    The shares are those of `kind_shares`; a circuit with more items of a kind expects more of it, which is why shares
    are not taken for rates. Iterative proportional fitting over the circuits (Deming and Stephan 1940).
    """
    if not tally.jobs:
        return {}
    shares = kind_shares(tally)
    kinds = [kind for kind, share in shares.items() if share.shipped > 0.0]
    wanted = np.array([shares[kind].share for kind in kinds])
    table = np.array(
        [[circuit.shares.get(kind, 0.0) for kind in kinds] for circuit in tally.circuits.values()]
    )
    jobs = np.array([circuit.jobs for circuit in tally.circuits.values()], dtype=float)
    factors = _fitted(table, jobs / jobs.sum(), wanted / wanted.sum())
    return dict(zip(kinds, np.clip(factors, 1.0 / LARGEST, LARGEST).tolist(), strict=True))


def _fitted(table: Floats, weight: Floats, wanted: Floats) -> Floats:
    """(circuits, kinds) shares and (circuits,) weights → factors with which the kinds have the shares wanted."""
    factors = np.ones(table.shape[1])
    for _ in range(ROUNDS):
        moved = table * factors
        have = weight @ (moved / moved.sum(axis=1, keepdims=True))
        step = wanted / have
        factors *= step
        if np.abs(step - 1.0).max() < CLOSE:
            break
    mean = float((weight @ table) @ factors)
    return factors / mean


# What the diagnosis of a circuit works with


def taught(priors: Priors, tally: Tally, circuit: Circuit, vehicle: Sequence[str] = ()) -> Priors:
    """The priors for a circuit, moved by what was counted; the same where nothing was. ``vehicle``: its `bands`.

    What was learned and the shipped numbers are mixed, so that a history that misleads does little harm.
    """
    if not tally.jobs:
        return priors
    here = digest(circuit.model)
    above = moved(priors, tally.without(here))
    believed, shipped = chances(circuit, above), chances(circuit, priors)
    known = tally.circuits.get(here)
    factors = _in_circuit(believed, known) if known is not None else {}
    known_here, kinds = tally.circumstances, Counter[str](kind_factors(tally))
    weights = {
        cause: chance
        * factors.get(cause.part, 1.0)
        * cause_factor(known_here, cause.kind, cause.part, circuit.model, vehicle, kinds)
        for cause, chance in believed.items()
    }
    total = sum(weights.values())  # what several conditions move adds up to 1 again before it is mixed
    favoured = {
        (cause.part, cause.mode): _mixed(weights[cause] / total / chance)
        for cause, chance in shipped.items()
        if chance > 0.0
    }
    raised = dict(priors.factors)
    for name in EARLIER_WORK:
        # What was touched is raised, the shipped number keeping its part; it is never lowered.
        if name in known_here.conditions:
            raised[name] = max(1.0, raised[name] * _mixed(known_here.conditions[name].factor))
    return replace(priors, sees=above.sees, favoured=favoured, factors=raised)


def _mixed(factor: float) -> float:
    """What a weight is multiplied by, the shipped one keeping its part."""
    return min(LARGEST, SHIPPED_KEEPS + (1.0 - SHIPPED_KEEPS) * factor)


def moved(priors: Priors, tally: Tally) -> Priors:
    """Rates, modes, looks and the hinge as all jobs of a tally have them."""
    factors = kind_factors(tally)
    rates = {kind: rate * factors.get(kind, 1.0) for kind, rate in priors.rates.items()}
    hinge = priors.factors["hinge"] * factors.get(HINGE, 1.0) / factors.get("wire", 1.0)
    counted = tally.causes
    modes = {kind: _modes(shares, kind, counted) for kind, shares in priors.modes.items()}
    sees, strength = dict[str, float](), STRENGTH["look"]
    for kind, chance in priors.sees.items():
        seen, missed = tally.looks.get(kind, (0, 0))
        sees[kind] = (strength * chance + seen) / (strength + seen + missed)
    moved_factors = {**priors.factors, "hinge": max(1.0, hinge)}
    return replace(priors, rates=rates, modes=modes, sees=sees, factors=moved_factors)


def _modes(
    shares: Mapping[str, float], kind: str, counted: Mapping[tuple[str, str], int]
) -> dict[str, float]:
    """Dirichlet; a wire through a hinge breaks as wires do."""
    kinds = (kind, HINGE) if kind == "wire" else (kind,)
    jobs = {mode: sum(counted.get((kind, mode), 0) for kind in kinds) for mode in shares}
    total, of = sum(shares.values()), sum(jobs.values())
    weight = STRENGTH["mode"]
    return {
        mode: total * (weight * share / total + jobs[mode]) / (weight + of) for mode, share in shares.items()
    }


def _in_circuit(expected: Mapping[Cause, float], known: CircuitTally) -> dict[str, float]:
    """Part → by how much its chance is moved in its own circuit.

    Dirichlet, held by what is expected. How far a circuit follows its kinds is itself unknown: each strength of
    `CIRCUIT_STRENGTHS` counts as it had foretold the jobs (Dirichlet-multinomial).
    """
    from scipy.special import gammaln

    parts = sorted({cause.part for cause in expected} | {cause.part for cause in known.causes})
    number = {part: at for at, part in enumerate(parts)}
    share, jobs = np.full(len(parts), 1e-12), np.zeros(len(parts))
    for cause, chance in expected.items():
        share[number[cause.part]] += chance
    for cause, count in known.causes.items():
        jobs[number[cause.part]] += count
    strengths = np.array(CIRCUIT_STRENGTHS)[:, None]
    pseudo = strengths * share
    likelihood = gammaln(strengths[:, 0]) - gammaln(strengths[:, 0] + jobs.sum())
    likelihood += (gammaln(pseudo + jobs) - gammaln(pseudo)).sum(axis=1)
    weight = np.exp(likelihood - likelihood.max())
    believed = (weight / weight.sum()) @ ((pseudo + jobs) / (strengths + jobs.sum()))
    return dict(zip(parts, (believed / share).tolist(), strict=True))


def said_here(tally: Tally, circuit: Circuit) -> tuple[tuple[str, int, int], ...]:
    """What was the cause in this very circuit before: (part, jobs, of how many), the most frequent first."""
    known = tally.circuits.get(digest(circuit.model))
    if known is None:
        return ()
    jobs: Counter[str] = Counter()
    for cause, count in known.causes.items():
        jobs[cause.part] += count
    return tuple((part, count, known.jobs) for part, count in jobs.most_common())
